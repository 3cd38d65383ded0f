/* tints.c: red and blue beside green as the camera's settings change them: amplifiers of each
 * channel have gains of their own, so colours jump with ISO, and with shutter times where a channel
 * is not quite linear. Each tile's ratio of two colours of the same shot knows nothing of exposure;
 * what all tiles' ratios do together, and again whenever a setting is used, is the setting's. */
#include "decide/settings/bends.h"
#include "decide/settings/uneven.h"
#include "decide/steps.h"
#include "base/each.h"

#include <math.h>

#define LOG2_E 1.4426950408889634
#define MAX_CLIPPED 1e-4f /* share of samples at saturation */
#define MIN_SHARE 5e-4    /* of the range between black and white, in either colour */
#define BLACK_DN 0.3      /* rms of black's wander from shot to shot, the same in all colours */
enum { SHOTS_AT_A_TIME = 32 };

struct ratios {
    const struct dw_work *w;
    const struct dw_facts *facts;
    const struct dw_set_shots *p;
    int colour;
    const bool *asked; /* per four shots: whether they are looked at */
    float *ratio, *noise, *lever;
};

/* Whether anybody looks at the j-th shot. */
static bool looked_at(const struct ratios *r, size_t j)
{
    for (size_t i = j > 3 ? j - 3 : 0; i <= j; i++)
        if (r->asked[i])
            return true;
    return false;
}

/* log2(colour / green) of every tile of those of some shots that are looked at, and its variance.
 */
static enum dw_status fill_ratios(void *ctx, void *work, size_t from, size_t to,
                                  struct dw_error *err)
{
    (void)work;
    (void)err;
    const struct ratios *r = ctx;
    for (size_t j = from; j < to; j++) {
        if (!looked_at(r, j))
            continue;
        size_t i = r->p->shot[j], tiles = (size_t)r->w->tiles;
        const struct dw_measure *m = &r->w->survey->measure[i];
        const struct dw_levels *l = dw_facts_levels(r->facts, &r->w->shots->shot[i]);
        double least = MIN_SHARE * (double)(l->white - l->black[1]);
        float *ratio = r->ratio + i * tiles, *noise = r->noise + i * tiles,
              *lever = r->lever + i * tiles;
        for (size_t k = 0; k < tiles; k++) {
            const struct dw_tile *t = &m->tile[k];
            double a = (double)(t->mean[r->colour] - l->black[r->colour]),
                   g = (double)(t->mean[1] - l->black[1]);
            ratio[k] = noise[k] = lever[k] = NAN;
            if (t->clipped > MAX_CLIPPED || !(a > least) || !(g > least))
                continue;
            double by_a = LOG2_E / a, by_g = LOG2_E / g, per = by_a - by_g;
            ratio[k] = log2f((float)(a * by_g) * (float)(1 / LOG2_E));
            noise[k] = (float)((double)t->var[r->colour] * by_a * by_a +
                               (double)t->var[1] * by_g * by_g + BLACK_DN * BLACK_DN * per * per);
            lever[k] = (float)per;
        }
    }
    return DW_OK;
}

static enum dw_status one_colour(struct dw_work *w, struct dw_decision *out,
                                 const struct dw_set_shots *p, int colour, struct dw_error *err)
{
    size_t all = w->n * (size_t)w->tiles, known = (size_t)p->known.n;
    float *ratio = DW_TAKE(&w->arena, all, float), *noise = DW_TAKE(&w->arena, all, float),
          *lever = DW_TAKE(&w->arena, all, float);
    struct dw_bend *bend = DW_TAKE(&w->arena, p->n, struct dw_bend);
    bool *asked = DW_TAKE(&w->arena, p->n, bool);
    struct dw_offset *offset = DW_TAKE(&w->arena, known, struct dw_offset);
    if (!ratio || !noise || !lever || !bend || !asked || !offset)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colours of %zu frames", p->n);
    dw_set_shots_change(p, asked);
    struct ratios ratios = {w, &out->facts, p, colour, asked, ratio, noise, lever};
    const struct dw_each shots = {p->n, SHOTS_AT_A_TIME, 0, fill_ratios, &ratios};
    enum dw_status status = dw_each(&shots, w->run, err);
    struct dw_bends bends = {p->n, p->shot, ratio, noise, lever, asked, 1, {NULL}};
    if (status >= 0)
        status = dw_bends_measure(&bends, w, bend, err);
    if (status < 0)
        return status;
    struct dw_uneven uneven = {p, w->interval, bend, 0};
    struct dw_uneven_params params = DW_UNEVEN_DEFAULTS;
    status = dw_uneven_fit(&uneven, &params, &w->arena, offset, err);
    for (int c = 0; c < p->known.n && status >= 0; c++) {
        if (offset[c].stops == 0)
            continue;
        struct dw_setting_error *s = dw_setting_entry(out, &p->known, c);
        if (!s)
            return dw_fail(err, DW_ERR_MEMORY, "out of memory for the settings");
        *(colour == 0 ? &s->red : &s->blue) = offset[c].stops;
        *(colour == 0 ? &s->red_sigma : &s->blue_sigma) = offset[c].sigma;
    }
    for (size_t i = 0; i < w->n && status >= 0; i++) /* also of those that taught nothing */
        for (int k = 0; k < DW_SETTING_KINDS; k++)
            if (p->every[i][k] >= 0)
                w->tint[i][colour] -= offset[p->every[i][k]].stops;
    return status;
}

enum dw_status dw_tints(struct dw_work *w, struct dw_decision *out, struct dw_error *err)
{
    w->tint = dw_arena_take(&w->arena, w->n, sizeof *w->tint);
    if (!w->tint)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the colours of %zu frames", w->n);
    size_t mark = w->arena.n;
    struct dw_set_shots p;
    enum dw_status status = dw_set_shots_find(w, DW_ALL_SETTINGS, &p, err);
    size_t inner = w->arena.n;
    for (int colour = 0; colour < 3 && status >= 0; colour += 2) {
        status = one_colour(w, out, &p, colour, err);
        dw_arena_free_to(&w->arena, inner);
    }
    dw_arena_free_to(&w->arena, mark);
    return status;
}
