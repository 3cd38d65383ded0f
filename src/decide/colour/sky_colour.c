/* sky_colour.c: see sky_colour.h. */
#include "decide/colour/sky_colour.h"
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>

static const struct dw_sky_params SKY = DW_SKY_DEFAULTS;

/* Neither what lamps light, nor the dark room about a window, nor a town's glow. */
static bool is_night(const struct dw_work *w, const struct dw_facts *facts, int k)
{
    int x = k % w->survey->cols * DW_HOLD_COLS / w->survey->cols,
        y = k / w->survey->cols * DW_HOLD_ROWS / w->survey->rows;
    return !w->lamp[k] && (double)facts->hold.rise[y][x] <= SKY.held;
}

void dw_sky_tiles_add(const struct dw_work *w, const struct dw_facts *facts, size_t i, double *work,
                      struct dw_sky_tiles *sky)
{
    const struct dw_measure *m = &w->survey->measure[i];
    const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[i]);
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++)
        if (isfinite(m->tile[k].mean[1]) && is_night(w, facts, k))
            work[n++] = (double)(m->tile[k].mean[1] - l->black[1]);
    if (n == 0)
        return;
    double middle = dw_median(work, n), least = dw_quantile(work, n, SKY.quantile);
    /* half-size pixels a tile: each the mean of two greens */
    double pixels = (double)m->width * m->height / 4 / w->tiles;
    double gain = exp2(dw_gain(w, i));
    for (int k = 0; k < w->tiles; k++) {
        const struct dw_tile *t = &m->tile[k];
        double level[3], balanced[3];
        bool good = t->clipped < 1e-2f;
        for (int c = 0; c < 3; c++) {
            level[c] = (double)(t->mean[c] - l->black[c]);
            balanced[c] = level[c] / (double)(l->white - l->black[c]) * (double)facts->white_mul[c];
            good = good && level[c] > 0;
        }
        if (!good || !is_night(w, facts, k) || level[1] < least || level[1] > SKY.lamp * middle)
            continue;
        sky->red[sky->n] = balanced[0] / balanced[1];
        sky->blue[sky->n] = balanced[2] / balanced[1];
        sky->noise += sqrt(fmax((double)t->var[1], 0) * pixels) / level[1];
        sky->keys += level[1] / (double)(l->white - l->black[1]) * gain;
        sky->n++;
    }
}

void dw_sky_tiles_colour(const struct dw_facts *facts, const struct dw_sky_tiles *sky,
                         double rgb[3])
{
    const double camera[3] = {dw_median(sky->red, sky->n), 1, dw_median(sky->blue, sky->n)};
    for (int row = 0; row < 3; row++) {
        rgb[row] = 0;
        for (int c = 0; c < 3; c++)
            rgb[row] += (double)facts->cam_to_wide[3 * row + c] * camera[c];
    }
}
