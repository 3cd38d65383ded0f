/* night.c: the night sky's colour, level and noise, from the darkest shots. */
#include "decide/steps.h"
#include "base/primaries.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

/* Which shots and tiles tell of the night sky. */
struct night_params {
    size_t darkest;      /* shots at most */
    double near_stops;   /* no more light than the darkest has by so much: twilight is blue */
    double sky_quantile; /* tiles at least this bright by night count as sky */
    double lamp;         /* and those beyond so many times the median are lamps */
    /* The cool side on which eyes see a night: red and blue against green, linear BT.2020. The sky is
     * brought there as far as these limits of the multipliers let it: a street lamp's colour is not
     * undone wholly, and a sky that is bluer already, as by moonlight, is never warmed. */
    double cool[3], least[3], most[3];
};
static const struct night_params NIGHT = {40, 0.7, 0.6, 8, {0.90, 1, 1.6}, {0.45, 1, 1}, {1, 1, 2.5}};

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

/* What the sky's tiles of all these shots say, each once. */
struct sky {
    double *red, *blue; /* balanced level over that of green */
    double noise;       /* relative, of one half-size pixel; summed */
    double keys;        /* summed */
    size_t n;
};

/* Sky tiles: at night the sky is what is bright and even. A tile counts when its level is above
 * the shot's 60th percentile but not among lamps. */
static void add_sky(const struct dw_work *w, const struct dw_facts *facts, size_t i, double *work,
                    struct sky *sky)
{
    const struct dw_measure *m = &w->survey->measure[i];
    const struct dw_levels *l = dw_facts_levels(facts, &w->shots->shot[i]);
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++)
        if (isfinite(m->tile[k].mean[1]))
            work[n++] = (double)(m->tile[k].mean[1] - l->black[1]);
    double middle = dw_median(work, n), least = dw_quantile(work, n, NIGHT.sky_quantile);
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
        if (!good || w->lamp[k] || level[1] < least || level[1] > NIGHT.lamp * middle)
            continue;
        sky->red[sky->n] = balanced[0] / balanced[1];
        sky->blue[sky->n] = balanced[2] / balanced[1];
        sky->noise += sqrt(fmax((double)t->var[1], 0) * pixels) / level[1];
        sky->keys += level[1] / (double)(l->white - l->black[1]) * gain;
        sky->n++;
    }
}

/* Multipliers towards grey, then towards the cool side; luminance of the sky is kept. And the colour
 * that the sky has without them. */
static void night_balance(const struct dw_facts *facts, const struct sky *sky, float out[3],
                          float colour[3])
{
    const double camera[3] = {dw_median(sky->red, sky->n), 1, dw_median(sky->blue, sky->n)};
    double rgb[3], mul[3], to_xyz[9], before = 0, after = 0;
    dw_primaries_to_xyz(&dw_primaries_bt2020, to_xyz);
    const double *luminance = to_xyz + 3;
    for (int row = 0; row < 3; row++) {
        rgb[row] = 0;
        for (int c = 0; c < 3; c++)
            rgb[row] += (double)facts->cam_to_wide[3 * row + c] * camera[c];
    }
    for (int c = 0; c < 3; c++) {
        double grey = rgb[c] > 0 && rgb[1] > 0 ? rgb[1] / rgb[c] : 1;
        mul[c] = fmax(NIGHT.least[c], fmin(NIGHT.most[c], grey * NIGHT.cool[c]));
        before += luminance[c] * fmax(rgb[c], 0);
        after += luminance[c] * fmax(rgb[c], 0) * mul[c];
    }
    for (int c = 0; c < 3; c++)
        out[c] = (float)(after > 0 ? mul[c] * before / after : mul[c]);
    for (int c = 0; c < 3; c++)
        colour[c] = (float)(rgb[1] > 0 ? fmax(rgb[c] / rgb[1], 0.05) : 1);
}

enum dw_status dw_night(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    size_t room = NIGHT.darkest * (size_t)w->tiles;
    struct by_light *order = DW_TAKE(&w->arena, w->n, struct by_light);
    double *work = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    struct sky sky = {DW_TAKE(&w->arena, room, double), DW_TAKE(&w->arena, room, double), 0, 0, 0};
    if (!order || !work || !sky.red || !sky.blue)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the night's facts");
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        /* a shoot without a night has no night sky to learn from */
        if (w->usable[i] && w->alt[i] < facts->day_deg)
            order[n++] = (struct by_light){w->line[i], i};
    qsort(order, n, sizeof *order, darker);
    for (size_t k = 0; k < n && k < NIGHT.darkest; k++)
        if (order[k].light <= order[0].light + NIGHT.near_stops)
            add_sky(w, facts, order[k].shot, work, &sky);
    if (sky.n > 0) {
        night_balance(facts, &sky, facts->night_mul, facts->night_sky);
        facts->night_sky_keys = (float)(sky.keys / (double)sky.n);
        facts->night_noise = (float)(sky.noise / (double)sky.n);
        return DW_OK;
    }
    /* values seen on invented shoots; nothing is rendered as night without one */
    for (int c = 0; c < 3; c++) {
        facts->night_mul[c] = (float)NIGHT.cool[c];
        facts->night_sky[c] = 1;
    }
    facts->night_sky_keys = 1.55f;
    facts->night_noise = 0.05f;
    return DW_OK;
}
