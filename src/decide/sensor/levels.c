/* levels.c: black and white level of each class of settings, frozen to the median of its shots:
 * a black level that a camera measures anew for every frame jitters, and one count of 100 is
 * 0.014 stop of flicker. */
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

/* A class is one ISO and either brief or long exposures: dark current and the camera's own long
 * exposure treatment move the black level only there. */
#define LONG_S 1.0

static bool is_long(const struct dw_shot *s)
{
    return s->has_shutter && s->shutter_s >= LONG_S;
}

static bool same_class(const struct dw_shot *a, const struct dw_shot *b)
{
    return is_long(a) == is_long(b) && a->has_iso == b->has_iso &&
           (!a->has_iso || fabs(log2(a->iso / b->iso)) < 0.1);
}

static bool counts(const struct dw_work *w, size_t i)
{
    return w->survey->measure[i].usable && w->survey->measure[i].white > 0;
}

static float read_dn(const struct dw_measure *m)
{
    return m->noise_dn;
}

static float photon_dn(const struct dw_measure *m)
{
    return m->photon_dn;
}

/* Median over a class of what was measured; 0 where nothing was. */
static float middle_of(const struct dw_work *w, size_t lead,
                       float (*measured)(const struct dw_measure *m), double *v)
{
    size_t n = 0;
    for (size_t i = lead; i < w->n; i++) {
        float x = measured(&w->survey->measure[i]);
        if (counts(w, i) && isfinite(x) && same_class(&w->shots->shot[lead], &w->shots->shot[i]))
            v[n++] = (double)x;
    }
    return n ? (float)fmax(dw_median(v, n), 0) : 0;
}

/* Learns the class of shot `lead` from all its members; marks them done. */
static void learn(struct dw_work *w, size_t lead, bool *done, double *v, struct dw_levels *out)
{
    const struct dw_shot *shot = w->shots->shot;
    for (int c = 0; c < 4; c++) {
        size_t n = 0;
        for (size_t i = lead; i < w->n; i++)
            if (counts(w, i) && same_class(&shot[lead], &shot[i]))
                v[n++] =
                    (double)(c < 3 ? w->survey->measure[i].black[c] : w->survey->measure[i].white);
        float middle = (float)dw_median(v, n);
        if (c < 3)
            out->black[c] = middle;
        else
            out->white = middle;
    }
    out->read_dn = middle_of(w, lead, read_dn, v);
    out->photon_dn = middle_of(w, lead, photon_dn, v);
    double sum = 0;
    size_t n = 0;
    for (size_t i = lead; i < w->n; i++) {
        if (!same_class(&shot[lead], &shot[i]))
            continue;
        done[i] = true;
        if (shot[i].has_shutter && shot[i].shutter_s > 0) {
            sum += log2(shot[i].shutter_s);
            n++;
        }
    }
    out->iso = shot[lead].has_iso ? shot[lead].iso : 0;
    out->shutter_s = n ? exp2(sum / (double)n) : 0;
}

enum dw_status dw_levels_learn(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    bool *done = DW_TAKE(&w->arena, w->n, bool);
    double *v = DW_TAKE(&w->arena, w->n, double);
    struct dw_levels *levels = calloc(w->n, sizeof *levels);
    facts->levels = levels;
    if (!done || !v || !levels)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for level classes");
    for (size_t i = 0; i < w->n; i++)
        if (counts(w, i) && !done[i])
            learn(w, i, done, v, &levels[facts->n_levels++]);
    if (facts->n_levels == 0)
        return dw_fail(err, DW_ERR_EMPTY,
                       "none of the %zu frames could be decoded to a believable picture", w->n);
    struct dw_levels *fit = realloc(levels, facts->n_levels * sizeof *levels);
    if (fit)
        facts->levels = fit;
    return DW_OK;
}

const struct dw_levels *dw_facts_levels(const struct dw_facts *facts, const struct dw_shot *shot)
{
    const struct dw_levels *best = facts->levels;
    double least = INFINITY;
    for (size_t i = 0; i < facts->n_levels; i++) {
        const struct dw_levels *l = &facts->levels[i];
        /* the same ISO first, then the same kind of exposure, then the nearest time */
        double far = 0;
        if (shot->has_iso && l->iso > 0)
            far += 100 * fabs(log2(shot->iso / l->iso));
        else if (shot->has_iso != (l->iso > 0))
            far += 1000;
        if (shot->has_shutter && shot->shutter_s > 0 && l->shutter_s > 0)
            far += ((l->shutter_s >= LONG_S) != is_long(shot) ? 10 : 0) +
                   0.1 * fabs(log2(shot->shutter_s / l->shutter_s));
        if (far < least) {
            least = far;
            best = l;
        }
    }
    return best;
}
