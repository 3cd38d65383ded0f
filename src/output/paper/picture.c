/* picture.c: see picture.h. */
#include "output/paper/picture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The frame that shows the shot, else the nearest in time that has a main source. */
static const struct dw_frame *frame_for(const struct dw_decision *d, size_t i)
{
    const struct dw_ledger_row *row = &d->ledger[i];
    if (row->frame > 0 && row->frame <= d->n_frames)
        return &d->frame[row->frame - 1];
    const struct dw_frame *best = NULL;
    for (size_t k = 0; k < d->n_frames; k++)
        if (d->frame[k].n_sources > 0 &&
            (!best || fabs(d->frame[k].utc_s - row->utc_s) < fabs(best->utc_s - row->utc_s)))
            best = &d->frame[k];
    return best;
}

/* The shot as a source of that frame: its own entry if it has one, else the heaviest's gain moved
 * by what the two records say. */
static struct dw_source source_for(const struct dw_shots *shots, const struct dw_frame *f, size_t i)
{
    int main = 0;
    for (int k = 0; k < f->n_sources; k++) {
        if (f->source[k].shot == i) {
            main = k;
            break;
        }
        if (f->source[k].weight > f->source[main].weight)
            main = k;
    }
    struct dw_source s = f->source[main];
    if (s.shot != i && s.shot < shots->n) {
        double step = shots->shot[i].ev100 - shots->shot[s.shot].ev100;
        if (isfinite(step))
            s.gain_stops += step;
    }
    s.shot = (uint32_t)i;
    s.weight = 1;
    s.turn_deg = 0;
    return s;
}

static bool refuse(char why[80], const char *text)
{
    snprintf(why, 80, "%s", text);
    return false;
}

/* The part of source sample k that lies within from..to, 0 to 1. */
static double overlap(double from, double to, int k)
{
    return fmin(to, k + 1) - fmax(from, k);
}

/* Sums rows or columns of one line by area: n samples `step` floats apart become m. */
static void shrink_line(const float *from, int n, size_t step, int m, float *to, size_t to_step)
{
    const double scale = (double)n / m;
    for (int i = 0; i < m; i++) {
        double a = i * scale, b = (i + 1) * scale, sum = 0;
        for (int k = (int)a; k < n && k < b; k++)
            sum += overlap(a, b, k) * (double)from[(size_t)k * step];
        to[(size_t)i * to_step] = (float)(sum / scale);
    }
}

/* Makes the thumbnail smaller by area means, in linear light. False without memory. */
static bool shrink(struct dw_thumb *t, int longest)
{
    int most = t->width > t->height ? t->width : t->height;
    if (longest <= 0 || most <= longest)
        return true;
    int w = (t->width * longest + most / 2) / most, h = (t->height * longest + most / 2) / most;
    w = w > 0 ? w : 1;
    h = h > 0 ? h : 1;
    float *across = malloc((size_t)w * (size_t)t->height * 3 * sizeof *across);
    float *down = malloc((size_t)w * (size_t)h * 3 * sizeof *down);
    for (size_t c = 0; c < 3 && across && down; c++) {
        for (size_t y = 0; y < (size_t)t->height; y++)
            shrink_line(t->rgb + y * (size_t)t->width * 3 + c, t->width, 3, w,
                        across + y * (size_t)w * 3 + c, 3);
        for (size_t x = 0; x < (size_t)w; x++)
            shrink_line(across + 3 * x + c, t->height, 3 * (size_t)w, h, down + 3 * x + c,
                        3 * (size_t)w);
    }
    bool made = across && down;
    free(across);
    if (made) {
        free(t->rgb);
        t->block = t->block * t->width / w;
        t->width = w;
        t->height = h;
        t->rgb = down;
    } else {
        free(down);
    }
    return made;
}

bool dw_sheet_picture(const struct dw_shots *shots, const struct dw_survey *survey,
                      const struct dw_decision *d, size_t i, size_t like,
                      const struct dw_look_params *look, int longest, struct dw_image *out,
                      char why[80])
{
    *out = (struct dw_image){.bits = 8, .space = DW_SPACE_SRGB};
    const struct dw_frame *f = frame_for(d, like);
    if (i >= survey->n || !survey->measure[i].usable)
        return refuse(why, "no picture in this file");
    if (!f || d->facts.n_levels == 0)
        return refuse(why, "no frame to develop it after");
    const struct dw_look_params standard = DW_LOOK_DEFAULTS;
    struct dw_source source = source_for(shots, f, like);
    source.shot = (uint32_t)i;
    struct dw_thumb thumb = {0};
    struct dw_linear light = {0};
    struct dw_error err = {0};
    enum dw_status s = dw_survey_thumb(survey, i, &thumb, &err);
    if (s >= 0 && !shrink(&thumb, longest))
        s = DW_ERR_MEMORY;
    if (s >= 0)
        s = dw_linear_from_thumb(&thumb, &survey->measure[i],
                                 dw_facts_levels(&d->facts, &shots->shot[i]), &d->facts, &source,
                                 &light, &err);
    if (s >= 0)
        s = dw_look(&light, f, &d->facts, look ? look : &standard, out, &err);
    dw_linear_free(&light);
    free(thumb.rgb);
    if (s >= 0)
        return true;
    dw_image_free(out);
    return refuse(why, "no thumbnail in the survey");
}
