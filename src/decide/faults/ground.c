/* ground.c: see ground.h. */
#include "decide/faults/ground.h"
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

float dw_contrast(const struct dw_work *w, size_t shot, int tile)
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

int dw_find_ground(const struct dw_work *w, const float *contrast, bool *ground, double *work)
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
            float v = contrast[i * (size_t)w->tiles + (size_t)k];
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
