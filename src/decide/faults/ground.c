/* ground.c: see ground.h. */
#include "decide/faults/ground.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

static const struct dw_ground_params {
    double sigma;   /* of middle detail above its noise */
    double clipped; /* share of a tile's samples */
    double stops;   /* detail of at least this share of the light (log2), */
    double share;   /* in so many of the shots above lit_deg: clouds do not stand */
    double lit_deg;
    size_t lit_shots; /* with fewer of those, all shots tell */
} params = {6, 1e-3, -6, 0.6, -9, 40};

double dw_contrast_light(const struct dw_work *w, size_t shot, int tile)
{
    const struct dw_measure *m = &w->survey->measure[shot];
    return fmax((double)(m->tile[tile].mean[1] - m->black[1]), 1);
}

static float contrast_of(const struct dw_work *w, size_t shot, int tile)
{
    const struct dw_measure *m = &w->survey->measure[shot];
    if (!m->usable || !m->tile)
        return NAN;
    const struct dw_tile *t = &m->tile[tile];
    if (!((double)t->middle > params.sigma * (double)t->middle_sd) ||
        (double)t->clipped > params.clipped || !(t->middle > 0) || !isfinite(t->mean[1]))
        return NAN;
    return (float)(0.5 * log2((double)t->middle) - log2(dw_contrast_light(w, shot, tile)));
}

enum { SHOTS_AT_A_TIME = 32 };

static enum dw_status fill(void *ctx, void *work, size_t from, size_t to, struct dw_error *err)
{
    (void)work;
    (void)err;
    struct dw_work *w = ctx;
    for (size_t i = from; i < to; i++)
        for (int k = 0; k < w->tiles; k++)
            w->contrast[i * (size_t)w->tiles + (size_t)k] = contrast_of(w, i, k);
    return DW_OK;
}

enum dw_status dw_contrasts(struct dw_work *w, struct dw_error *err)
{
    if (w->contrast)
        return DW_OK;
    w->contrast = DW_TAKE(&w->arena, w->n * (size_t)w->tiles, float);
    if (!w->contrast)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the contrast of %zu shots", w->n);
    const struct dw_each shots = {w->n, SHOTS_AT_A_TIME, 0, fill, w};
    return dw_each(&shots, w->run, err);
}

int dw_find_ground(const struct dw_work *w, bool *ground, double *work)
{
    size_t lit = 0;
    int found = 0;
    for (size_t i = 0; i < w->n; i++)
        lit += isfinite(w->key[i]) && w->alt[i] > params.lit_deg;
    double least = lit >= params.lit_shots ? params.lit_deg : -91;
    for (int k = 0; k < w->tiles; k++) {
        size_t n = 0, seen = 0;
        for (size_t i = 0; i < w->n; i++) {
            if (!isfinite(w->key[i]) || !(w->alt[i] > least))
                continue;
            float v = w->contrast[i * (size_t)w->tiles + (size_t)k];
            seen++;
            if (isfinite(v))
                work[n++] = (double)v;
        }
        ground[k] =
            n > 0 && (double)n > params.share * (double)seen && dw_median(work, n) > params.stops;
        found += ground[k];
    }
    return found;
}
