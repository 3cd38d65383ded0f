/* night.c: the night sky's colour, level and noise, from the darkest shots. */
#include "decide/colour/sky_colour.h"
#include "decide/steps.h"
#include "base/primaries.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

/* Which shots tell of the night sky, and what it is to look like. */
struct night_params {
    size_t darkest;    /* shots at most */
    double near_stops; /* no more light than the darkest has by so much: twilight is blue */
    /* The cool side on which eyes see a night: red and blue against green, linear BT.2020. The sky
     * is brought there as far as these limits of the multipliers let it: a street lamp's colour is
     * not undone wholly, and a sky that is bluer already, as by moonlight, is never warmed. */
    double cool[3], least[3], most[3];
};
static const struct night_params NIGHT = {40, 0.7, {0.90, 1, 1.6}, {0.45, 1, 1}, {1, 1, 2.5}};

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

/* The part of a multiplier, in stops, that its limit allows. All channels stop where the first one
 * must: were blue alone held back, a town's orange glow would turn green. Where the limit is none
 * at all, as for blue that is to be taken, it holds that channel and no other. */
static double part_within(double mul, double least, double most)
{
    double limit = mul < 1 ? least : most;
    bool beyond = mul < 1 ? mul < limit : mul > limit;
    return beyond && limit != 1 ? log(limit) / log(mul) : 1;
}

/* Multipliers towards grey, then towards the cool side; luminance of the sky is kept. And the
 * colour that the sky has without them. */
static void night_balance(const struct dw_facts *facts, const struct dw_sky_tiles *sky,
                          float out[3], float colour[3])
{
    double rgb[3], mul[3], to_xyz[9], before = 0, after = 0;
    dw_primaries_to_xyz(&dw_primaries_bt2020, to_xyz);
    const double *luminance = to_xyz + 3;
    dw_sky_tiles_colour(facts, sky, rgb);
    double part = 1;
    for (int c = 0; c < 3; c++) {
        double grey = rgb[c] > 0 && rgb[1] > 0 ? rgb[1] / rgb[c] : 1;
        mul[c] = grey * NIGHT.cool[c];
        part = fmin(part, part_within(mul[c], NIGHT.least[c], NIGHT.most[c]));
    }
    for (int c = 0; c < 3; c++) {
        mul[c] = fmax(NIGHT.least[c], fmin(NIGHT.most[c], pow(mul[c], part)));
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
    struct dw_sky_tiles sky = {DW_TAKE(&w->arena, room, double), DW_TAKE(&w->arena, room, double),
                               0, 0, 0};
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
            dw_sky_tiles_add(w, facts, order[k].shot, work, &sky);
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
