/* unrest.c: where light itself bent. Fog that clears changes sky and ground alike at first sight,
 * and so does an exposure error; but fog does it to each place a little differently, an exposure
 * error exactly alike. So the picture's contrasts (each region beside the common change) tell when
 * light bent, whatever the exposure did. Where a good part of the picture stood still, its still
 * tiles tell the exposure (heap.c) and nothing need be said; where even the stillest fifth of it
 * bent, the common light has bent as well, and by more. A bend that all regions share is none of
 * contrasts, but of where the common change is drawn between them; and contrasts that go on and on
 * bend a little as they go, as when a town's glow takes over from twilight, and are no event. */
#include "decide/compare/compare.h"
#include "decide/solve/third.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>

#define LEAST_TILES 8    /* of a region, or its middle says nothing */
#define LEAST_REGIONS 4  /* of the picture */
#define STILLEST 0.2     /* share of the regions that may stand still in what is called light */
#define MOST_RATIO 3.0   /* the middle region is not believed to bend by more times that */
#define USUAL 15         /* bends on either side that tell what is usual: half an hour at 120 s */
#define USUAL_SHARE 0.65 /* of them rest, or to bend is usual */
#define SMOOTH 0.1       /* of a contrast's change in a step may bend, and it still goes smoothly */
#define MEDIAN_VARIANCE 1.5707963267948966 /* of a median, in variances of a mean: pi/2 */

/* Middle change of each region beside the common one in step j (NAN unknown), and the variance that
 * its level has from noise. */
static void find_middles(const struct dw_compare *c, size_t j, double *change, double *var,
                         double *work)
{
    const float *rel = c->rel + j * c->tiles, *noise = c->g->noise + j * c->tiles;
    const float *excess = c->excess + j / DW_COMPARE_BLOCK * c->tiles;
    size_t n[DW_COMPARE_REGIONS] = {0}, room = DW_COMPARE_REGION * DW_COMPARE_REGION;
    for (int r = 0; r < c->regions; r++)
        var[r] = 0;
    for (size_t k = 0; k < c->tiles; k++) {
        size_t r = (size_t)c->region[k];
        if (!isfinite(rel[k]) || n[r] == room)
            continue;
        work[r * room + n[r]++] = (double)rel[k];
        var[r] += 0.5 * ((double)noise[k] + (double)noise[k + c->tiles] + (double)excess[k]);
    }
    for (size_t r = 0; r < (size_t)c->regions; r++) {
        bool known = n[r] >= LEAST_TILES;
        change[r] = known ? dw_median(work + r * room, n[r]) : (double)NAN;
        var[r] = known ? MEDIAN_VARIANCE * var[r] / (double)(n[r] * n[r]) : 0;
    }
}

/* Square root of quantile q of what is left of squares when noise is taken off. */
static double bend_at(double *square, size_t n, double q)
{
    return sqrt(fmax(0, dw_quantile(square, n, q)));
}

/* Bends of the regions over shots i .. i+3, third differences per unit_s cubed. */
struct bent {
    double *middle;   /* rms of the middle region */
    double *stillest; /* and of the stillest ones */
};

/* Squares of `bend` beside `common` without noise, as the rms of two quantiles. */
static void summarize(struct bent *bent, size_t i, const double *bend, const double *noise,
                      size_t n, double common, double *work)
{
    for (size_t r = 0; r < n; r++)
        work[r] = (bend[r] - common) * (bend[r] - common) - noise[r];
    bent->middle[i] = bend_at(work, n, 0.5);
    bent->stillest[i] = bend_at(work, n, STILLEST);
}

/* whole: as they are; apart: beside the bend that the regions share. Both stay 0 where too few
 * regions are known. */
static void find_bends(const struct dw_compare *c, size_t i, double unit_s, const double *change,
                       const double *var, struct bent *whole, struct bent *apart, double *work)
{
    double w[4], bend[DW_COMPARE_REGIONS], noise[DW_COMPARE_REGIONS];
    size_t regions = (size_t)c->regions, n = 0;
    dw_third_difference(c->g->time + i, unit_s, w);
    double squares = w[0] * w[0] + w[1] * w[1] + w[2] * w[2] + w[3] * w[3];
    for (size_t r = i * regions; r < (i + 1) * regions; r++) {
        double b = dw_third_of_changes(w, change[r], change[r + regions], change[r + 2 * regions]);
        if (!isfinite(b))
            continue;
        bend[n] = work[n] = b;
        noise[n++] = squares * (var[r] + var[r + regions] + var[r + 2 * regions]) / 3;
    }
    if (n < LEAST_REGIONS)
        return;
    double common = dw_median(work, n);
    summarize(whole, i, bend, noise, n, 0, work);
    summarize(apart, i, bend, noise, n, common, work);
}

/* By how much contrasts go on and on over steps i .. i+2, stops per unit_s: of the middle region,
 * the least of its three steps. */
static double progress(const struct dw_compare *c, size_t i, double unit_s, const double *change,
                       const double *var, double *work)
{
    size_t regions = (size_t)c->regions, n = 0;
    for (size_t r = 0; r < regions; r++) {
        double least = INFINITY;
        for (size_t j = i; j < i + 3; j++) {
            double rate = unit_s / c->seconds[j], step = change[j * regions + r];
            least = fmin(least, (step * step - 2 * var[j * regions + r]) * rate * rate);
        }
        if (isfinite(change[i * regions + r] + change[(i + 1) * regions + r] +
                     change[(i + 2) * regions + r]))
            work[n++] = least;
    }
    return n ? bend_at(work, n, 0.5) : 0;
}

void dw_unusual_unrest(const double *own, size_t n, double *unrest)
{
    for (size_t i = 0; i < n; i++) {
        size_t first = i > USUAL ? i - USUAL : 0, end = i + USUAL < n ? i + USUAL + 1 : n;
        double work[2 * USUAL + 1];
        for (size_t k = first; k < end; k++)
            work[k - first] = own[k];
        double usual = dw_quantile(work, end - first, USUAL_SHARE);
        unrest[i] = sqrt(fmax(0, own[i] * own[i] - usual * usual));
    }
}

/* What of the middle region's bends is believed. */
static void believe(const struct bent *bent, size_t bends, double *own)
{
    for (size_t i = 0; i < bends; i++) {
        /* a bend that passes through zero is no rest: its neighbours speak for it */
        double around = fmax(bent->stillest[i], i ? bent->stillest[i - 1] : 0);
        around = fmax(around, i + 1 < bends ? bent->stillest[i + 1] : 0);
        own[i] = fmin(bent->middle[i], MOST_RATIO * around);
    }
}

/* All that is told of each step, and of each bend. */
struct told {
    const struct dw_compare *c;
    double unit_s, *change, *var; /* steps*regions */
    struct bent whole, apart;
    double *smooth; /* that a bend may be as contrasts go on */
};
enum { STEPS_AT_A_TIME = 128 };

static enum dw_status tell_steps(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    (void)err;
    const struct told *t = ctx;
    size_t regions = (size_t)t->c->regions;
    for (size_t j = from; j < to; j++)
        find_middles(t->c, j, t->change + j * regions, t->var + j * regions, work);
    return DW_OK;
}

static enum dw_status tell_bends(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    (void)err;
    struct told *t = ctx;
    for (size_t i = from; i < to; i++) {
        find_bends(t->c, i, t->unit_s, t->change, t->var, &t->whole, &t->apart, work);
        t->smooth[i] = SMOOTH * progress(t->c, i, t->unit_s, t->change, t->var, work);
    }
    return DW_OK;
}

enum dw_status dw_own_unrest(const struct dw_compare *c, struct dw_arena *arena,
                             struct dw_beside *beside, struct dw_error *err)
{
    double *unrest = beside->unrest;
    size_t mark = arena->n, regions = (size_t)c->regions, bends = c->steps > 2 ? c->steps - 2 : 0;
    struct told t = {c,
                     beside->unit_s,
                     DW_TAKE(arena, c->steps * regions, double),
                     DW_TAKE(arena, c->steps * regions, double),
                     {DW_TAKE(arena, bends, double), DW_TAKE(arena, bends, double)},
                     {DW_TAKE(arena, bends, double), DW_TAKE(arena, bends, double)},
                     DW_TAKE(arena, bends, double)};
    double *own = DW_TAKE(arena, bends, double), *unusual = DW_TAKE(arena, bends, double);
    for (size_t i = 0; i < c->g->n; i++)
        unrest[i] = 0;
    if (!t.change || !t.var || !own || !unusual || !t.whole.middle || !t.whole.stillest ||
        !t.apart.middle || !t.apart.stillest || !t.smooth)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", c->g->n);
    size_t room = regions * DW_COMPARE_REGION * DW_COMPARE_REGION * sizeof(double);
    const struct dw_each steps = {c->steps, STEPS_AT_A_TIME, room, tell_steps, &t};
    const struct dw_each each_bend = {bends, STEPS_AT_A_TIME, room, tell_bends, &t};
    enum dw_status status = dw_each(&steps, c->p->run, err);
    if (status >= 0)
        status = dw_each(&each_bend, c->p->run, err);
    if (status < 0)
        return status;
    believe(&t.whole, bends, own);
    dw_unusual_unrest(own, bends, unrest);
    believe(&t.apart, bends, own);
    for (size_t i = 0; i < bends; i++)
        own[i] = sqrt(fmax(0, own[i] * own[i] - t.smooth[i] * t.smooth[i]));
    dw_unusual_unrest(own, bends, unusual);
    for (size_t i = 0; i < bends; i++)
        unrest[i] = fmin(unrest[i], unusual[i]);
    if (beside->along && !dw_own_along(c, arena, t.unit_s, t.change, t.var, beside->along))
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", c->g->n);
    beside->regions = c->regions;
    for (size_t k = 0; k < c->steps * regions && beside->contrast; k++) {
        beside->contrast[k] = (float)t.change[k];
        beside->contrast_var[k] = (float)t.var[k];
    }
    dw_arena_free_to(arena, mark);
    return DW_OK;
}
