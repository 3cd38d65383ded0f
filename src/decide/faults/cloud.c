/* cloud.c: stars hidden by cloud, counted by the bright spots that move. Only in the dark, where
 * the count does not hang on the twilight. */
#include "decide/faults/cloud.h"
#include "decide/faults/judges.h"
#include "decide/faults/same_light.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_cloud_params {
    size_t least_shots; /* of night; fewer tell nothing */
    double least_stars; /* usual count from which missing ones say something */
    double middle;      /* quantile that the count usually has, clouds or not */
    double quantile;    /* the clear side of shots in the same light */
    double share;       /* of the usual count: fewer stars are hidden ones, */
    double habit;       /* or, if the count is unsteady by habit (scattered cloud), this many
                           times its spread below usual */
    double always;      /* so few are hidden ones whatever the habit, */
    size_t core;        /* in so many shots in a row: scattered clouds hide all for a moment */
    double near_s, near_quantile; /* the sky turns, the moon rises: fewer than in the clear part
                                     of these seconds before and after, too */
} params = {12, 60, 0.6, 0.75, 0.62, 12, 0.15, 3, 9000, 0.9};

struct cloud {
    struct dw_work *w;
    struct dw_ledger_row *ledger;
    double *ratio, *usual, *work;
};

static void judge_class(void *ctx, const struct dw_light_class *class, void *work)
{
    struct cloud *c = ctx;
    double *depth = work;
    size_t n = 0;
    for (size_t j = 0; j < class->n_like; j++)
        if (isfinite(c->w->stars.depth[class->like[j]]))
            depth[n++] = c->w->stars.depth[class->like[j]];
    if (n < params.least_shots / 2)
        return;
    double usual = dw_quantile(depth, n, params.quantile);
    for (size_t j = 0; j < class->n_mine; j++) {
        size_t i = class->mine[j];
        if (!(usual > 0) || !isfinite(c->w->stars.depth[i]))
            continue;
        c->ratio[i] = c->w->stars.depth[i] / usual;
        c->usual[i] = c->w->stars.count[i] / fmax(c->ratio[i], 1e-3);
    }
}

/* The ratio that the clear part of the hours before and after reaches. */
static double near_by(const struct cloud *c, size_t i)
{
    size_t n = 0;
    for (size_t j = 0; j < c->w->n; j++)
        if (isfinite(c->ratio[j]) && fabs(c->w->utc[j] - c->w->utc[i]) < params.near_s)
            c->work[n++] = c->ratio[j];
    return dw_quantile(c->work, n, params.near_quantile);
}

void dw_cloud_bank(const double *ratio, const bool *lower, size_t n, bool *bank)
{
    for (size_t a = 0, b; a < n; a = b) {
        b = a + 1;
        bank[a] = false;
        if (!lower[a])
            continue;
        size_t core = 0, longest = 0;
        for (b = a; b < n && (lower[b] || !isfinite(ratio[b])); b++) {
            if (isfinite(ratio[b])) /* a shot that is not known ends nothing */
                core = ratio[b] < params.always ? core + 1 : 0;
            longest = core > longest ? core : longest;
        }
        for (size_t i = a; i < b; i++)
            bank[i] = lower[i] && longest >= params.core;
    }
}

static enum dw_status judge_ratios(struct cloud *c, struct dw_error *err)
{
    size_t n = 0;
    for (size_t i = 0; i < c->w->n; i++)
        if (isfinite(c->ratio[i]))
            c->work[n++] = c->ratio[i];
    if (n < params.least_shots)
        return DW_OK;
    double middle = dw_quantile(c->work, n, params.middle),
           upper = dw_quantile(c->work, n, params.quantile);
    double limit = fmin(params.share, upper - params.habit * (upper - middle));
    bool *lower = DW_TAKE(&c->w->arena, c->w->n, bool),
         *bank = DW_TAKE(&c->w->arena, c->w->n, bool);
    if (!lower || !bank)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", c->w->n);
    for (size_t i = 0; i < c->w->n; i++) {
        double r = c->ratio[i];
        lower[i] = isfinite(r) && !c->w->stars.blurred[i] && c->usual[i] >= params.least_stars &&
                   r < params.share && r < params.share * near_by(c, i);
    }
    dw_cloud_bank(c->ratio, lower, c->w->n, bank);
    for (size_t i = 0; i < c->w->n; i++)
        if (bank[i] || (lower[i] && c->ratio[i] < limit))
            dw_blame(
                &c->ledger[i], DW_CLOUD, 1 - c->ratio[i],
                "clouds hide the stars: %.0f are seen where about %.0f are usual in this light",
                c->w->stars.count[i], c->usual[i]);
    return DW_OK;
}

enum dw_status dw_judge_cloud(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    struct cloud c = {w, ledger, DW_TAKE(&w->arena, w->n, double), DW_TAKE(&w->arena, w->n, double),
                      DW_TAKE(&w->arena, w->n, double)};
    if (!c.ratio || !c.usual || !c.work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the stars of %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++)
        c.ratio[i] = c.usual[i] = (double)NAN;
    enum dw_status status = dw_same_light(w, ledger, DW_SPOILED | DW_HAZE | DW_SOFT | DW_REFLECTION,
                                          false, judge_class, &c, w->n * sizeof(double), err);
    return status < 0 ? status : judge_ratios(&c, err);
}
