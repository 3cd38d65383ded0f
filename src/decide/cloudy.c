/* cloudy.c: see cloudy.h. Pairs of shots are a start; then what comes back to where it was, between
 * two clouds, tells a shot's light better than any neighbour does. */
#include "decide/cloudy.h"
#include "decide/returns.h"

#include <math.h>
#include <string.h>

#define DISAGREE 0.3     /* of the steps: cloud */
#define MOST_WRONG 100.0 /* in variances, that one pair counts for */

static enum dw_status no_room(struct dw_error *err)
{
    return dw_fail(err, DW_ERR_MEMORY, "out of memory for the steadying under cloud");
}

bool dw_cloudy(const struct dw_pair *pair, size_t n)
{
    size_t disagree = 0;
    for (size_t i = 0; i + 1 < n; i++)
        disagree += !pair[i].agree;
    return disagree > DISAGREE * (double)n;
}

/* Takes over what the shots' light is by what comes back to where it was, where that is known
 * better. What pairs say is trusted less by as much as it is seen to be wrong: under cloud they all
 * can agree about what no exposure did. pair: as they were before the law was taken out. */
static void take_over(struct dw_share *share, const struct dw_pair *pair, const double *light,
                      const double *var)
{
    double wrong = 0, known = 0;
    for (size_t k = 0; k < share->n_pairs; k++) {
        const struct dw_pair *p = &pair[k];
        double both = var[p->a] + var[p->b], d = light[p->b] - light[p->a] - p->v;
        if (isfinite(both)) {
            wrong += fmin(fmax(0, d * d - both) / p->var, MOST_WRONG);
            known++;
        }
    }
    double factor = known > 0 ? fmax(1, wrong / known) : 1;
    for (size_t k = 0; k < share->n_pairs; k++) {
        struct dw_pair *p = &share->pair[k];
        double both = var[pair[k].a] + var[pair[k].b];
        *p = pair[k];
        p->var *= factor;
        if (both < p->var) {
            p->v = light[p->b] - light[p->a];
            p->var = both;
        }
    }
}

enum dw_status dw_cloudy_share_out(const struct dw_cloudy *cloud, struct dw_share *share,
                                   struct dw_arena *arena, struct dw_error *err)
{
    size_t n = share->n;
    const double *jump = cloud->jump;
    struct dw_pair *pair = DW_TAKE(arena, share->n_pairs + 1, struct dw_pair);
    double *start = DW_TAKE(arena, n, double), *light = DW_TAKE(arena, n, double);
    double *var = DW_TAKE(arena, n, double);
    if (!pair || !start || !light || !var)
        return no_room(err);
    memcpy(pair, share->pair, share->n_pairs * sizeof *pair);
    enum dw_status status = dw_share_out(share, arena, err);
    if (status < 0)
        return status;
    /* the law went off the pairs, but belongs to what all tiles did */
    for (size_t i = 0; i + 1 < n; i++)
        start[i + 1] = start[i] + share->e[i + 1] - share->e[i] + jump[i + 1] - jump[i] +
                       pair[i].v - share->pair[i].v;
    const struct dw_returns_params params = DW_RETURNS_DEFAULTS;
    if (dw_returns_find(cloud->grids, &params, start, share->e_fast, cloud->bump, arena, light,
                        var) < 0)
        return no_room(err);
    for (size_t i = 0; i < n; i++) /* pairs are without it */
        light[i] -= jump[i];
    take_over(share, pair, light, var);
    return dw_share_out(share, arena, err);
}
