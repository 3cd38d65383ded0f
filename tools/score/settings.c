/* settings.c: colours and shading that change with the camera's settings: what the truth says of
 * every shot, and what frames.csv takes off it, from frame to frame (a cubic through 7 is taken
 * off; score.h), so that slow changes count nothing. */
#include "score.h"

#include "base/atomic_file.h"
#include "base/csv.h"
#include "base/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { RED, BLUE, CORNER, HALF, QUANTITIES };
static const char *const name[QUANTITIES] = {"red beside green", "blue beside green",
                                             "light in the corner", "light half of r^2 out"};

/* Errors of a frame by the truth, and what its row does about them, stops. */
struct uneven {
    double error[QUANTITIES], correction[QUANTITIES];
};

/* Of a frame with one source; false: it has several, or is not what daywheel writes. */
static bool read_source(const char *text, double correction[QUANTITIES])
{
    double v[12];
    int n = 0;
    for (char *end; n < 12; n++) {
        v[n] = strtod(text, &end);
        if (end == text)
            return false;
        text = end;
        if (*text != ':')
            break;
        text++;
    }
    n++;
    if (*text || (n != 7 && n != 9 && n != 10 && n != 12))
        return false;
    correction[RED] = log2(v[4] / v[5]);
    correction[BLUE] = log2(v[6] / v[5]);
    /* the last two of an even-shaded source: stops times r^2, times r^4 */
    double a = n == 9 || n == 12 ? v[n - 2] : 0, b = n == 9 || n == 12 ? v[n - 1] : 0;
    correction[CORNER] = a + b;
    correction[HALF] = a / 2 + b / 4;
    return true;
}

static size_t read_frames(const struct score_truth *t, const char *out, struct uneven **found)
{
    char *path = dw_join_path(out, "frames.csv"), *data = NULL;
    size_t n = 0, rows = 0;
    struct dw_csv c = {0};
    struct dw_error err = {0};
    *found = NULL;
    if (path && dw_read_whole(path, (size_t)1 << 30, &data, &n, &err) >= 0 &&
        dw_csv_parse(path, data, n, &c, &err) >= 0 && (*found = calloc(c.rows, sizeof **found)))
        rows = c.rows;
    int sources = dw_csv_column(&c, "sources"), files = dw_csv_column(&c, "files");
    size_t hint = 0;
    for (size_t i = 0; i < rows; i++) {
        struct uneven *u = &(*found)[i];
        const struct score_shot *s = score_find_shot(t, dw_csv_field(&c, i, files), hint);
        if (!read_source(dw_csv_field(&c, i, sources), u->correction) || !s || s->faults[0]) {
            for (int q = 0; q < QUANTITIES; q++)
                u->error[q] = u->correction[q] = (double)NAN;
            continue;
        }
        hint = (size_t)(s - t->shot);
        u->error[RED] = s->red_error;
        u->error[BLUE] = s->blue_error;
        u->error[CORNER] = -s->vignetting;
        u->error[HALF] = -s->vignetting * (0.7 * 0.5 + 0.3 * 0.25);
    }
    dw_csv_free(&c);
    free(data);
    free(path);
    return rows;
}

static double rms(const double *x, size_t n, double *worst)
{
    double sum = 0, count = 0;
    *worst = 0;
    for (size_t i = 0; i < n; i++)
        if (isfinite(x[i])) {
            sum += x[i] * x[i];
            count++;
            *worst = fmax(*worst, fabs(x[i]));
        }
    return count > 0 ? sqrt(sum / count) : (double)NAN;
}

void score_settings(const struct score_truth *t, const char *out)
{
    struct uneven *u;
    size_t n = read_frames(t, out, &u), corrected = 0;
    double *x = calloc(n + 1, 2 * sizeof *x);
    if (!x || !u)
        n = 0;
    double *r = x + n;
    for (size_t i = 0; i < n; i++) {
        bool any = false;
        for (int q = 0; q < QUANTITIES; q++)
            any = any || u[i].correction[q] != 0;
        corrected += any;
    }
    printf("colours and shading by settings, stops rms (worst); %zu of %zu frames corrected\n",
           corrected, n);
    for (int q = 0; q < QUANTITIES && n; q++) {
        double was, is, worst_was, worst_is;
        for (size_t i = 0; i < n; i++)
            x[i] = u[i].error[q];
        score_minus_cubic(x, n, r);
        was = rms(r, n, &worst_was);
        for (size_t i = 0; i < n; i++)
            x[i] = u[i].error[q] + u[i].correction[q];
        score_minus_cubic(x, n, r);
        is = rms(r, n, &worst_is);
        printf("  %-24s before %.5f (%.4f)  left %.5f (%.4f)\n", name[q], was, worst_was, is,
               worst_is);
    }
    free(u);
    free(x);
}
