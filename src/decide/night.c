/* night.c: the night sky's colour, level and noise, from the darkest shots. */
#include "decide/steps.h"
#include "base/primaries.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

#define DARKEST 40
#define FEW_WITHIN 1.0   /* stops from the darkest */
#define SKY_QUANTILE 0.6 /* tiles at least this bright by night count as sky */

struct by_light {
    double light;
    size_t shot;
};

static int darker(const void *a, const void *b)
{
    const struct by_light *x = a, *y = b;
    if (x->light != y->light)
        return x->light < y->light ? -1 : 1;
    return (x->shot > y->shot) - (x->shot < y->shot);
}

/* Sky tiles: at night the sky is what is bright and even. A tile counts when its level is above
 * the shot's 60th percentile but not among lamps (eight times the median). */
struct sky_sum {
    double level[3]; /* (DN-black)/(white-black), summed */
    double noise;    /* relative, of one half-size pixel */
    double keys;
    double n;
};

static void add_sky(const struct dw_work *w, const struct dw_facts *facts, size_t i, double *work,
                    struct sky_sum *sum)
{
    const struct dw_measure *m = &w->survey->measure[i];
    const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[i]);
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++)
        if (isfinite(m->tile[k].mean[1]))
            work[n++] = (double)(m->tile[k].mean[1] - l->black[1]);
    double middle = dw_median(work, n), least = dw_quantile(work, n, SKY_QUANTILE);
    /* half-size pixels a tile: each the mean of two greens */
    double pixels = (double)m->width * m->height / 4 / w->tiles;
    double gain = exp2(dw_gain(w, i));
    for (int k = 0; k < w->tiles; k++) {
        const struct dw_tile *t = &m->tile[k];
        double level[3];
        bool good = t->clipped < 1e-2f;
        for (int c = 0; c < 3; c++) {
            level[c] = (double)(t->mean[c] - l->black[c]);
            good = good && level[c] > 0;
        }
        if (!good || level[1] < least || level[1] > 8 * middle)
            continue;
        for (int c = 0; c < 3; c++)
            sum->level[c] += level[c] / (double)(l->white - l->black[c]);
        sum->noise += sqrt(fmax((double)t->var[1], 0) * pixels) / level[1];
        sum->keys += level[1] / (double)(l->white - l->black[1]) * gain;
        sum->n++;
    }
}

/* Multipliers towards grey, then towards the cool side on which eyes see moonlight. */
static void night_balance(const struct dw_facts *facts, const struct sky_sum *sum, float out[3])
{
    double rgb[3], mul[3], to_xyz[9], before = 0, after = 0;
    dw_primaries_to_xyz(&dw_primaries_bt2020, to_xyz);
    const double *luminance = to_xyz + 3;
    const double cool[3] = {0.88, 1, 1.35};
    for (int row = 0; row < 3; row++) {
        rgb[row] = 0;
        for (int c = 0; c < 3; c++)
            rgb[row] += (double)facts->cam_to_wide[3 * row + c] * sum->level[c] / sum->n *
                        (double)facts->white_mul[c];
    }
    for (int c = 0; c < 3; c++) {
        double grey = rgb[c] > 0 && rgb[1] > 0 ? rgb[1] / rgb[c] : 1;
        mul[c] = fmax(0.7, fmin(1.4, grey)) * cool[c];
        before += luminance[c] * fmax(rgb[c], 0);
        after += luminance[c] * fmax(rgb[c], 0) * mul[c];
    }
    for (int c = 0; c < 3; c++)
        out[c] = (float)(after > 0 ? mul[c] * before / after : mul[c]);
}

enum dw_status dw_night(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    struct by_light *order = DW_TAKE(&w->arena, w->n, struct by_light);
    double *work = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    if (!order || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the night's facts");
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        /* a shoot without a night has no night sky to learn from */
        if (w->usable[i] && w->alt[i] < facts->day_deg)
            order[n++] = (struct by_light){w->line[i], i};
    qsort(order, n, sizeof *order, darker);
    struct sky_sum sum = {{0, 0, 0}, 0, 0, 0};
    for (size_t k = 0; k < n && k < DARKEST; k++) {
        /* among few shots the darkest forty reach far into the blue hour */
        if (w->params->few && order[k].light > order[0].light + FEW_WITHIN)
            break;
        add_sky(w, facts, order[k].shot, work, &sum);
    }
    if (sum.n > 0) {
        night_balance(facts, &sum, facts->night_mul);
        facts->night_sky_keys = sum.keys / sum.n;
        facts->night_noise = sum.noise / sum.n;
        return DW_OK;
    }
    /* values seen on invented shoots; nothing is rendered as night without one */
    facts->night_mul[0] = 0.88f;
    facts->night_mul[1] = 1;
    facts->night_mul[2] = 1.35f;
    facts->night_sky_keys = 1.55;
    facts->night_noise = 0.05;
    return DW_OK;
}
