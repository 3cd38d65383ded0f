/* tiles.c: from the survey's raw levels to light, tile by tile and as one key for the shot. */
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>

#define LOG2_E 1.4426950408889634

/* Which tiles may say how exposure changed (docs/method.md, steadying): */
#define MAX_CLIPPED 1e-4f    /* share of samples at saturation */
#define MIN_SHARE 1e-4       /* of the range between black and white */
#define MAX_NOISE_STOPS 0.05 /* of the tile's mean */

/* The key is the mean of log2 light over all tiles, each limited to this many stops about the
 * shot's median: smooth in every tile, so that it cannot switch from one population of tiles to
 * another as a median does when the sky passes the ground in twilight. */
#define KEY_REACH_STOPS 3.0

static double key_of(const double *share_log2, size_t n, double *work)
{
    if (n == 0)
        return (double)NAN;
    for (size_t k = 0; k < n; k++)
        work[k] = share_log2[k];
    double middle = dw_median(work, n), sum = 0;
    for (size_t k = 0; k < n; k++)
        sum += middle + fmax(-KEY_REACH_STOPS, fmin(KEY_REACH_STOPS, share_log2[k] - middle));
    return sum / (double)n;
}

static void shot_tiles(struct dw_work *w, size_t i, const struct dw_levels *levels,
                       double *share_log2, double *work)
{
    const struct dw_measure *m = &w->survey->measure[i];
    size_t row = i * (size_t)w->tiles, n = 0;
    double black = (double)levels->black[1], range = (double)levels->white - black;
    for (int k = 0; k < w->tiles; k++) {
        const struct dw_tile *t = &m->tile[k];
        size_t at = row + (size_t)k;
        w->light[at] = w->noise[at] = w->lever[at] = NAN;
        double level = (double)t->mean[1] - black;
        if (!isfinite(level))
            continue;
        /* a tile darker than black still counts for the key: as dark as the limit allows */
        share_log2[n++] = log2(fmax(level / range, 1e-9));
        /* For comparing shots all three colours together, each sample with one voice: a quarter
         * less noise than green alone. */
        double sum = 0, var = 0, voices = 0;
        for (int c = 0; c < 3; c++) {
            double voice = c == 1 ? 2 : 1;
            if (!isfinite(t->mean[c]))
                continue;
            sum += voice * (double)(t->mean[c] - levels->black[c]);
            var += voice * voice * fmax((double)t->var[c], 0);
            voices += voice;
        }
        double sd = sqrt(var) / sum * LOG2_E;
        if (t->clipped > MAX_CLIPPED || sum < MIN_SHARE * range * voices || !(sd < MAX_NOISE_STOPS))
            continue;
        w->light[at] = (float)(log2(sum / voices / range) + w->ev[i]);
        w->noise[at] = (float)(sd * sd);
        w->lever[at] = (float)(LOG2_E * voices / sum);
    }
    w->key[i] = key_of(share_log2, n, work) + w->ev[i];
}

enum dw_status dw_tiles(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err)
{
    size_t all = w->n * (size_t)w->tiles;
    if (!w->light) { /* else: once more, with better levels */
        w->light = DW_TAKE(&w->arena, all, float);
        w->noise = DW_TAKE(&w->arena, all, float);
        w->lever = DW_TAKE(&w->arena, all, float);
        w->key = DW_TAKE(&w->arena, w->n, double);
    }
    double *share = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    double *work = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    if (!w->light || !w->noise || !w->lever || !w->key || !share || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu light grids", w->n);
    for (size_t i = 0; i < w->n; i++) {
        if (w->survey->measure[i].usable && w->survey->measure[i].tile) {
            shot_tiles(w, i, dw_facts_levels(facts, &w->shots->shot[i]), share, work);
            continue;
        }
        w->key[i] = (double)NAN;
        for (size_t at = i * (size_t)w->tiles; at < (i + 1) * (size_t)w->tiles; at++)
            w->light[at] = w->noise[at] = w->lever[at] = NAN;
    }
    return DW_OK;
}
