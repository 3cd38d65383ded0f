/* tiles_own.c: what is each tile's own doing: its drift beside the common change, and its noise
 * when it is still. Compiled twice: see compare.h. */
#include "decide/compare/compare.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define BRISK 0.15 /* stops a step: twilight; there the tiles' drifts change fast */
#define MEDIAN_STEPS 13

enum { GROUP = DW_COMPARE_GROUP };

/* The last MEDIAN_STEPS values of each tile of a group, sorted; INFINITY stands for unknown ones.
 */
struct sliding {
    double v[MEDIAN_STEPS + 1][GROUP]; /* the last row is never a value */
    int known[GROUP];
};

/* One row of the sorted values of a group: without `out` it takes what the next one holds from
 * where `out` was on; `in` comes in where it belongs. before: what the row before held without
 * `out`. */
static inline void slide_row(double *restrict row, const double *restrict next,
                             const double *restrict out, const double *restrict in,
                             double *restrict before)
{
    for (int k = 0; k < GROUP; k++) {
        double here = row[k], there = next[k], was = before[k], gone = out[k], come = in[k];
        double rest = here < gone ? here : there;
        double low = rest < come ? rest : come;
        row[k] = was > low ? was : low;
        before[k] = rest;
    }
}

/* Takes `out` from each tile's values and puts `in` among them, without asking where that is: as
 * many steps whatever the values are, and the same for all tiles. */
static void slide(struct sliding *s, const double out[GROUP], const double in[GROUP])
{
    double before[GROUP];
    for (int k = 0; k < GROUP; k++)
        before[k] = -(double)INFINITY;
    for (int i = 0; i < MEDIAN_STEPS; i++)
        slide_row(s->v[i], s->v[i + 1], out, in, before);
}

/* rel a second in one step, of the tiles from `first` on; INFINITY unknown, or no such step. */
static void take_departures(const struct dw_compare *c, bool any, size_t j, size_t first, size_t n,
                            double out[GROUP])
{
    for (size_t k = 0; k < GROUP; k++) {
        double v = any && k < n ? (double)c->rel[j * c->tiles + first + k] / c->seconds[j]
                                : (double)INFINITY;
        out[k] = isfinite(v) ? v : (double)INFINITY;
    }
}

/* First drift of each tile: running medians of its departures, which half of the steps may spoil.
 * A weighted mean could not start, because nothing is known yet of which steps were still. The
 * groups go on together, step by step: what lies beside each other is fetched together. */
void dw_own_first_drift(struct dw_compare *c, size_t first, size_t end, void *work)
{
    enum { HALF = MEDIAN_STEPS / 2 };
    struct sliding *groups = work;
    for (size_t g = 0; g * GROUP < end - first; g++) {
        groups[g] = (struct sliding){.known = {0}};
        for (int i = 0; i <= MEDIAN_STEPS; i++)
            for (int k = 0; k < GROUP; k++)
                groups[g].v[i][k] = INFINITY;
    }
    for (size_t j = 0; j < c->steps + HALF; j++)
        for (size_t at = first; at < end; at += GROUP) {
            struct sliding *s = &groups[(at - first) / GROUP];
            size_t n = at + GROUP < end ? GROUP : end - at;
            double in[GROUP], out[GROUP];
            take_departures(c, j < c->steps, j, at, n, in);
            take_departures(c, j >= MEDIAN_STEPS, j - MEDIAN_STEPS, at, n, out);
            slide(s, out, in);
            for (size_t k = 0; k < n; k++)
                s->known[k] += isfinite(in[k]) - isfinite(out[k]);
            for (size_t k = 0; k < n && j >= HALF; k++) {
                int m = s->known[k];
                double middle = m ? (s->v[(m - 1) / 2][k] + s->v[m / 2][k]) / 2 : 0;
                c->rate[(j - HALF) * c->tiles + at + k] = (float)middle;
            }
        }
}

/* Steps lo..hi-1 of tile k in which it departed by no more than its noise from this drift. */
static double support(const struct dw_compare *c, size_t k, size_t lo, size_t hi, double rate)
{
    const float *noise = c->g->noise;
    double sum = 0;
    for (size_t j = lo; j < hi; j++) {
        double rel = (double)c->rel[j * c->tiles + k];
        double var = (double)c->excess[j / DW_COMPARE_BLOCK * c->tiles + k] +
                     (double)noise[j * c->tiles + k] + (double)noise[(j + 1) * c->tiles + k];
        if (isfinite(rel))
            sum += dw_tukey_weight(rel - rate * c->seconds[j], DW_TUKEY * sqrt(fmax(var, 1e-6)));
    }
    return sum;
}

/* A tile that was mostly out of the heap: has it moved, or was its drift wrong? Whichever of the
 * weighted mean and the plain median explains more of its steps is kept. */
static double doubtful_rate(const struct dw_compare *c, size_t k, size_t lo, size_t hi, double mean)
{
    double work[64];
    size_t n = 0;
    for (size_t j = lo; j < hi && n < 64; j++)
        if (isfinite(c->rel[j * c->tiles + k]))
            work[n++] = (double)c->rel[j * c->tiles + k] / c->seconds[j];
    if (n == 0)
        return mean;
    double middle = dw_median(work, n);
    return support(c, k, lo, hi, middle) > support(c, k, lo, hi, mean) ? middle : mean;
}

/* Running sums over the window, one of each for the n tiles from `first` on. */
struct window {
    size_t first, n;
    double *sum, *span, *count;
};

static void add_step(const struct dw_compare *c, size_t j, double sign, const struct window *w)
{
    const float *still = c->still + j * c->tiles + w->first,
                *rel = c->rel + j * c->tiles + w->first;
    double *restrict sum = w->sum, *restrict span = w->span, *restrict count = w->count;
    const double seconds = c->seconds[j];
    for (size_t k = 0; k < w->n; k++) {
        double s = still[k] > 0 ? sign * (double)still[k] : 0;
        double r = still[k] > 0 ? (double)rel[k] : 0; /* else it may be unknown */
        sum[k] += s * r;
        span[k] += s * seconds;
        count[k] += s;
    }
}

/* Drift: mean over the window of the tile's departures from v, weighted by how still it was. The
 * window is symmetric about the step, so that a drift that itself drifts is right too. */
void dw_own_drift(struct dw_compare *c, size_t first, size_t end, void *work)
{
    const double *t = c->g->time;
    size_t n = end - first;
    struct window w = {first, n, work, (double *)work + n, (double *)work + 2 * n};
    memset(work, 0, 3 * n * sizeof(double));
    size_t lo = 0, hi = 0; /* the window holds steps lo..hi-1 */
    for (size_t j = 0; j < c->steps; j++) {
        double mid = 0.5 * (t[j] + t[j + 1]), half = c->p->drift_window_s / 2;
        double reach = fmin(half, fmin(mid - t[0], t[c->steps] - mid));
        /* in twilight drifts come and go with the light, and light is not what is scarce */
        reach /= 1 + fabs(c->centre[j]) / BRISK;
        reach = fmax(reach, fmin(half, 2.5 * c->seconds[j]));
        for (; hi < c->steps && 0.5 * (t[hi] + t[hi + 1]) <= mid + reach; hi++)
            add_step(c, hi, 1, &w);
        for (; hi > j + 1 && 0.5 * (t[hi - 1] + t[hi]) > mid + reach; hi--)
            add_step(c, hi - 1, -1, &w);
        for (; lo < j && 0.5 * (t[lo] + t[lo + 1]) < mid - reach; lo++)
            add_step(c, lo, -1, &w);
        for (; lo > 0 && 0.5 * (t[lo - 1] + t[lo]) >= mid - reach; lo--)
            add_step(c, lo - 1, 1, &w);
        double few = 0.6 * (double)(hi - lo);
        for (size_t k = 0; k < n; k++) {
            /* a tile that was hardly ever still has no drift to speak of */
            double count = w.count[k], span = w.span[k];
            double rate = count > 0.5 && span > 0 ? w.sum[k] / span * count / (count + 0.25) : 0;
            if (count < few)
                rate = doubtful_rate(c, first + k, lo, hi, rate);
            c->rate[j * c->tiles + first + k] = (float)rate;
        }
    }
}

#define QUARTILE 0.31863936396437514                         /* of |normal| */
enum { HALF_SPAN = DW_COMPARE_BLOCK, SPAN = 2 * HALF_SPAN }; /* steps that tell of a tile's noise */

/* Departures of a group's tiles in half of those steps, sorted; INFINITY stands for unknown ones.
 * Two blocks share it: for the one it is the later half, for the next the earlier. */
struct half {
    float v[HALF_SPAN][GROUP];
    double photon[GROUP], known[GROUP]; /* variance by photons, summed over the known ones */
};

static inline void exchange(float *restrict low, float *restrict high)
{
    for (int k = 0; k < GROUP; k++) {
        float a = low[k], b = high[k];
        low[k] = a < b ? a : b;
        high[k] = a > b ? a : b;
    }
}

/* Sorts each column upwards: a merge exchange (Batcher 1968; Knuth, TAOCP 3, 5.2.2 M), whose
 * comparisons do not depend on the values, so that all columns go side by side. */
static void sort_columns(float v[HALF_SPAN][GROUP])
{
    for (int p = HALF_SPAN / 2; p > 0; p /= 2)
        for (int q = HALF_SPAN / 2, r = 0, d = p; d > 0; d = q - p, q /= 2, r = p)
            for (int i = 0; i < HALF_SPAN - d; i++) {
                if ((i & p) != r)
                    continue;
                exchange(v[i], v[i + d]);
            }
}

/* One step of n tiles: departures into v, INFINITY for unknown ones; of known ones the photons'
 * variance is added to two sums, and they are counted. One loop for each choice, so that compilers
 * make no branch of them. */
static inline void take_step(size_t n, const float *rel, const float *rate, double seconds,
                             const float *noise, const float *later, float *restrict v,
                             double *restrict photon, double *restrict both, double *restrict known)
{
    double var[GROUP];
    for (size_t k = 0; k < n; k++) {
        float off = (float)fabs((double)rel[k] - (double)rate[k] * seconds);
        v[k] = fabsf(rel[k]) < INFINITY ? off : INFINITY;
    }
    for (size_t k = 0; k < n; k++) {
        double sum = (double)noise[k] + (double)later[k];
        var[k] = v[k] < INFINITY ? sum : 0;
    }
    for (size_t k = 0; k < n; k++) {
        photon[k] += var[k];
        both[k] += var[k];
        known[k] += v[k] < INFINITY ? 1 : 0;
    }
}

/* Steps from..to-1 (none from HALF_SPAN on). photon: of the half before it, becomes that of both.
 */
static void take_half(const struct dw_compare *c, size_t from, size_t to, size_t first, size_t n,
                      struct half *h, double photon[GROUP])
{
    for (size_t k = 0; k < GROUP; k++)
        h->photon[k] = h->known[k] = 0;
    for (size_t j = 0; j < HALF_SPAN; j++) {
        for (size_t k = 0; k < GROUP; k++)
            h->v[j][k] = INFINITY;
        if (from + j >= to)
            continue;
        const size_t at = (from + j) * c->tiles + first;
        const float *rel = c->rel + at, *rate = c->rate + at, *noise = c->g->noise + at;
        if (n == GROUP) /* nearly always, and a loop of known length */
            take_step(GROUP, rel, rate, c->seconds[from + j], noise, noise + c->tiles, h->v[j],
                      h->photon, photon, h->known);
        else
            take_step(n, rel, rate, c->seconds[from + j], noise, noise + c->tiles, h->v[j],
                      h->photon, photon, h->known);
    }
    sort_columns(h->v);
}

/* The lower quartile of n values, the known ones of a column in both halves, as dw_quantile has it.
 */
static double quartile_of(const struct half *a, const struct half *b, size_t n, size_t column)
{
    double h = 0.25 * (double)(n - 1), part = h - floor(h), low = 0, next = 0;
    size_t k = (size_t)h, i = 0;
    for (size_t j = 0; j <= k + 1; j++) { /* merges; i of the j values come from a */
        float p = a->v[i][column], q = b->v[j - i][column];
        low = next;
        next = (double)(p < q ? p : q);
        i += p < q;
    }
    return part > 0 ? low + part * (next - low) : low;
}

/* What goes with a group from block to block. */
struct noisy {
    struct half early, late;
};

/* Excess noise of each tile when it is still: from the lower quartile of |departure|, because a
 * tile under broken cloud is still in some pairs and leaps in others. again: the later half of the
 * block before is the earlier one of this. */
static void block_noise(struct dw_compare *c, size_t block, size_t from, bool again, size_t first,
                        size_t n, struct noisy *g)
{
    size_t middle = from + HALF_SPAN, to = from + SPAN < c->steps ? from + SPAN : c->steps;
    double photon[GROUP] = {0};
    if (again)
        g->early = g->late;
    else
        take_half(c, from, to, first, n, &g->early, photon);
    memcpy(photon, g->early.photon, sizeof photon);
    take_half(c, middle, to, first, n, &g->late, photon);
    for (size_t k = 0; k < n; k++) {
        size_t known = (size_t)(g->early.known[k] + g->late.known[k]);
        double sigma = known < 4 ? 0 : quartile_of(&g->early, &g->late, known, k) / QUARTILE;
        c->excess[block * c->tiles + first + k] =
            known < 4 ? 1e-4f : (float)fmax(0, sigma * sigma - photon[k] / (double)known);
    }
}

void dw_own_noise(struct dw_compare *c, size_t first, size_t end, void *work)
{
    struct noisy *groups = work;
    size_t last = 0;
    for (size_t block = 0; block * DW_COMPARE_BLOCK < c->steps; block++) {
        size_t start = block * DW_COMPARE_BLOCK, wing = DW_COMPARE_BLOCK / 2;
        size_t from = start > wing ? start - wing : 0;
        bool again = block > 0 && from == last + HALF_SPAN;
        for (size_t at = first; at < end; at += GROUP)
            block_noise(c, block, from, again, at, at + GROUP < end ? GROUP : end - at,
                        &groups[(at - first) / GROUP]);
        last = from;
    }
}

size_t dw_own_work(size_t tiles)
{
    size_t group = sizeof(struct noisy), groups = (tiles + GROUP - 1) / GROUP;
    group = group > sizeof(struct sliding) ? group : sizeof(struct sliding);
    group = group > 3 * GROUP * sizeof(double) ? group : 3 * GROUP * sizeof(double);
    return groups * group;
}
