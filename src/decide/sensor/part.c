/* part.c: see dw_levels_part. Black levels are learnt by classes that hold many shots (levels.c),
 * but dark current grows with the time: were all long exposures of one ISO given the same, dark
 * ground would step with every change of the shutter. */
#include "decide/steps.h"

#include <math.h>
#include <stdlib.h>

#define SAME_STOPS 0.1 /* shutter times */

/* A class and its shots. */
struct members {
    const struct dw_work *w;
    const size_t *of; /* number of each shot's class */
    size_t number;
    const struct dw_levels *levels;
};

/* Shutter time of shot i if it is one of the class and has one, else 0. */
static double time_in(const struct members *c, size_t i)
{
    const struct dw_shot *s = &c->w->shots->shot[i];
    return c->of[i] == c->number && s->has_shutter && s->shutter_s > 0 ? s->shutter_s : 0;
}

static bool is_wide(const struct members *c, double dn_per_s, double least_dn)
{
    double least = INFINITY, most = 0;
    for (size_t i = 0; i < c->w->n; i++) {
        double t = time_in(c, i);
        if (t > 0) {
            least = fmin(least, t);
            most = fmax(most, t);
        }
    }
    return fabs(dn_per_s) * c->levels->iso / 100 * (most - least) > least_dn;
}

/* The class once for each shutter time; returns how many. */
static size_t by_time(const struct members *c, struct dw_levels *out)
{
    size_t n = 0;
    for (size_t i = 0; i < c->w->n; i++) {
        double t = time_in(c, i);
        size_t k = 0;
        while (k < n && t > 0 && fabs(log2(t / out[k].shutter_s)) >= SAME_STOPS)
            k++;
        if (t > 0 && k == n) {
            out[n] = *c->levels;
            out[n++].shutter_s = t;
        }
    }
    return n;
}

enum dw_status dw_levels_part(const struct dw_work *w, double dn_per_s, double least_dn,
                              struct dw_facts *facts, struct dw_error *err)
{
    size_t *of = calloc(w->n, sizeof *of), n = 0;
    /* every time of a class is of one shot at least, and a class may keep its one entry */
    struct dw_levels *levels = calloc(w->n + facts->n_levels, sizeof *levels);
    if (!of || !levels) {
        free(of);
        free(levels);
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for level classes");
    }
    for (size_t i = 0; i < w->n; i++)
        of[i] = (size_t)(dw_facts_levels(facts, &w->shots->shot[i]) - facts->levels);
    for (size_t l = 0; l < facts->n_levels; l++) {
        const struct members c = {w, of, l, &facts->levels[l]};
        if (is_wide(&c, dn_per_s, least_dn))
            n += by_time(&c, levels + n);
        else
            levels[n++] = *c.levels;
    }
    free(of);
    free(facts->levels);
    facts->levels = levels;
    facts->n_levels = n;
    struct dw_levels *fit = realloc(levels, n * sizeof *levels);
    if (fit)
        facts->levels = fit;
    return DW_OK;
}
