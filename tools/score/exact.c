/* exact.c: the flicker of finished pictures against what the same renderer makes with the true
 * exposures (and colours and shading, where settings change them): what is left beyond noise,
 * dither and the scene's own light is the fault of what was found. Renders OUT's frames a second
 * time, to OUT/exact, with the truth put into their rows. */
#include "score.h"

#include "base/atomic_file.h"
#include "base/text.h"

#include <daywheel/daywheel.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* How much brighter all errors found are than the true ones: nobody knows the level of errors. */
static double common_error(const struct score_truth *t)
{
    double *d = malloc((t->n_shots + 1) * sizeof *d), middle = 0;
    size_t n = 0;
    for (size_t i = 0; d && i < t->n_shots; i++)
        if (score_clean(&t->shot[i]))
            d[n++] = t->shot[i].flicker - t->shot[i].error_stops;
    if (n) {
        qsort(d, n, sizeof *d, by_value);
        middle = d[n / 2];
    }
    free(d);
    return middle;
}

static void put_truth(const struct score_truth *t, const struct dw_shots *shots,
                      struct dw_decision *d)
{
    double common = common_error(t);
    for (size_t i = 0; i < d->n_frames; i++)
        for (int k = 0; k < d->frame[i].n_sources; k++) {
            struct dw_source *s = &d->frame[i].source[k];
            const struct score_shot *shot =
                score_find_shot(t, dw_text_basename(shots->shot[s->shot].name), s->shot);
            if (!shot || !isfinite(shot->flicker))
                continue;
            s->gain_stops += shot->flicker - common - shot->error_stops;
            s->chroma[0] = (float)exp2(-shot->red_error);
            s->chroma[2] = (float)exp2(-shot->blue_error);
            /* the shading of the invented lens (tools/invent/README.md), to a common one */
            double more = shot->vignetting - t->shot[0].vignetting;
            s->shade[0] = 0.7 * more;
            s->shade[1] = 0.3 * more;
        }
}

static bool render(const struct score_truth *t, const char *shoot, const char *out, const char *to)
{
    struct dw_shots shots = {0};
    struct dw_decision d = {0};
    struct dw_writer *writer = NULL;
    struct dw_error err = {0};
    const struct dw_run run = {.jobs = 2};
    const struct dw_scan_params scan = DW_SCAN_DEFAULTS;
    const struct dw_render_params params = DW_RENDER_DEFAULTS;
    struct dw_writer_params files = DW_WRITER_DEFAULTS;
    size_t made;
    char *dir = dw_join_path(to, "frames");
    files.dir = dir;
    bool ok = dir && dw_scan(&shoot, 1, &scan, &run, &shots, &err) >= 0 &&
              dw_read_facts(out, &d.facts, &err) >= 0 &&
              dw_read_frames(out, &shots, &d.frame, &d.n_frames, &err) >= 0;
    if (ok) {
        put_truth(t, &shots, &d);
        ok = dw_writer_new(&files, &params, &shots, &d, &writer, &err) >= 0;
    }
    if (ok) {
        const struct dw_sink sink = dw_writer_sink(writer);
        ok = dw_render(&shots, &d, NULL, &params, &run, &sink, 1, &made, &err) >= 0;
    }
    if (!ok)
        fprintf(stderr, "daywheel-score: %s\n", err.text);
    dw_writer_free(writer);
    dw_decision_free(&d);
    dw_shots_free(&shots);
    free(dir);
    return ok;
}

/* Of all patches of a kind (0 ground, 1 sky), by part of the day: sums of squares of light, and of
 * red and blue beside green, in stops without a cubic through 7 frames. */
enum { LIGHT, RED, BLUE, QUANTITIES };
struct flicker {
    double sum[2][3][QUANTITIES], n[2][3];
    int width, height; /* of the pictures */
};

/* y[q*n + i]: what patch p shows in frame i+1; NAN where there is no clean frame. */
static bool measure(const struct score_truth *t, const char *out, struct flicker *f)
{
    size_t n = 0;
    for (size_t i = 0; i < t->n_shots; i++)
        if (t->shot[i].frame > (long)n)
            n = (size_t)t->shot[i].frame;
    size_t patches = t->n_patches, all = n * patches * QUANTITIES;
    double *y = malloc((all + 1) * sizeof *y), *r = malloc((n + 1) * sizeof *r);
    double *alt = malloc((n + 1) * sizeof *alt);
    bool ok = y && r && alt;
    *f = (struct flicker){0};
    for (size_t i = 0; ok && i < all; i++)
        y[i] = (double)NAN;
    for (size_t i = 0; ok && i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        struct score_picture p = {0};
        if (s->frame < 1 || !score_clean(s))
            continue;
        size_t at = (size_t)s->frame - 1;
        alt[at] = s->alt_deg;
        if (!score_read_frame(out, s->frame, &p)) {
            fprintf(stderr, "daywheel-score: %s has no frame %ld; render it first\n", out,
                    s->frame);
            ok = false;
            break;
        }
        for (size_t k = 0; k < patches; k++) {
            double rgb[3];
            if (!score_patch_rgb(t, &t->patch[k], &p, rgb))
                continue;
            double *to = y + k * QUANTITIES * n + at;
            to[LIGHT * n] = log2(0.21264 * rgb[0] + 0.71517 * rgb[1] + 0.07219 * rgb[2]);
            to[RED * n] = log2(rgb[0] / rgb[1]);
            to[BLUE * n] = log2(rgb[2] / rgb[1]);
        }
        f->width = p.width;
        f->height = p.height;
        free(p.rgb);
    }
    for (size_t k = 0; ok && k < patches; k++) {
        if (!t->patch[k].ground && !t->patch[k].sky)
            continue;
        int kind = t->patch[k].sky;
        for (size_t q = 0; q < QUANTITIES; q++) {
            score_minus_cubic(y + (k * QUANTITIES + q) * n, n, r);
            for (size_t i = 0; i < n; i++)
                if (isfinite(r[i])) {
                    int part = score_part(alt[i]);
                    f->sum[kind][part][q] += r[i] * r[i];
                    f->n[kind][part] += q == LIGHT;
                }
        }
    }
    free(y);
    free(r);
    free(alt);
    return ok;
}

static void show(const struct flicker *found, const struct flicker *exact)
{
    static const char *const kind[2] = {"still ground", "sky"};
    static const char *const part[4] = {"day", "twilight", "night", "all"};
    printf("flicker of finished pictures, stops rms with their noise: as found, with the true "
           "exposures, ratio\n");
    for (int k = 0; k < 2; k++)
        for (int p = 0; p < 4; p++) {
            double a[QUANTITIES] = {0}, b[QUANTITIES] = {0}, n = 0;
            for (int i = p < 3 ? p : 0; i <= (p < 3 ? p : 2); i++) {
                n += found->n[k][i];
                for (int q = 0; q < QUANTITIES; q++) {
                    a[q] += found->sum[k][i][q];
                    b[q] += exact->sum[k][i][q];
                }
            }
            if (n == 0)
                continue;
            printf("  %-12s %-9s light %.5f %.5f %.3f   red %.5f %.5f %.3f   blue %.5f %.5f %.3f\n",
                   kind[k], part[p], sqrt(a[0] / n), sqrt(b[0] / n), sqrt(a[0] / b[0]),
                   sqrt(a[1] / n), sqrt(b[1] / n), sqrt(a[1] / b[1]), sqrt(a[2] / n),
                   sqrt(b[2] / n), sqrt(a[2] / b[2]));
        }
}

bool score_exact(const struct score_truth *t, const char *shoot, const char *out)
{
    char *to = dw_join_path(out, "exact");
    struct flicker found, exact;
    bool ok = to && render(t, shoot, out, to) && measure(t, out, &found) && measure(t, to, &exact);
    if (ok && (found.width != exact.width || found.height != exact.height)) {
        /* pixels of another size have other noise: the ratio would say nothing */
        fprintf(stderr,
                "daywheel-score: the frames of %s are %dx%d, with the true exposures %dx%d; "
                "render them at the usual size\n",
                out, found.width, found.height, exact.width, exact.height);
        ok = false;
    }
    if (ok)
        show(&found, &exact);
    free(to);
    return ok;
}
