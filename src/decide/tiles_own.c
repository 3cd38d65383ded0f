/* tiles_own.c: what is each tile's own doing: its drift beside the common change, its noise when it
 * is still, and how much the black level wanders. */
#include "decide/compare.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define BRISK 0.15 /* stops a step: twilight; there the tiles' drifts change fast */
#define MEDIAN_STEPS 13
#define MOST_WANDER 1.0 /* DN rms between neighbours that are believed of a black level */

enum { GROUP = 16 }; /* tiles that share cache lines, and whose medians slide side by side */

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
 * A weighted mean could not start, because nothing is known yet of which steps were still. */
void dw_own_first_drift(struct dw_compare *c)
{
    enum { HALF = MEDIAN_STEPS / 2 };
    for (size_t first = 0; first < c->tiles; first += GROUP) {
        size_t n = first + GROUP < c->tiles ? GROUP : c->tiles - first;
        struct sliding s = {.known = {0}};
        for (int i = 0; i <= MEDIAN_STEPS; i++)
            for (int k = 0; k < GROUP; k++)
                s.v[i][k] = INFINITY;
        for (size_t j = 0; j < c->steps + HALF; j++) {
            double in[GROUP], out[GROUP];
            take_departures(c, j < c->steps, j, first, n, in);
            take_departures(c, j >= MEDIAN_STEPS, j - MEDIAN_STEPS, first, n, out);
            slide(&s, out, in);
            for (size_t k = 0; k < n; k++)
                s.known[k] += isfinite(in[k]) - isfinite(out[k]);
            for (size_t k = 0; k < n && j >= HALF; k++) {
                int m = s.known[k];
                double middle = m ? (s.v[(m - 1) / 2][k] + s.v[m / 2][k]) / 2 : 0;
                c->rate[(j - HALF) * c->tiles + first + k] = (float)middle;
            }
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

/* Running sums over the window, one of each per tile. */
struct window {
    double *sum, *span, *count;
};

static void add_step(const struct dw_compare *c, size_t j, double sign, const struct window *w)
{
    const float *still = c->still + j * c->tiles, *rel = c->rel + j * c->tiles;
    for (size_t k = 0; k < c->tiles; k++) {
        if (!(still[k] > 0))
            continue;
        double s = sign * (double)still[k];
        w->sum[k] += s * (double)rel[k];
        w->span[k] += s * c->seconds[j];
        w->count[k] += s;
    }
}

/* Drift: mean over the window of the tile's departures from v, weighted by how still it was. The
 * window is symmetric about the step, so that a drift that itself drifts is right too. */
void dw_own_drift(struct dw_compare *c, double *work)
{
    const double *t = c->g->time;
    struct window w = {work, work + c->tiles, work + 2 * c->tiles};
    memset(work, 0, 3 * c->tiles * sizeof *work);
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
        for (size_t k = 0; k < c->tiles; k++) {
            /* a tile that was hardly ever still has no drift to speak of */
            double count = w.count[k], span = w.span[k];
            double rate = count > 0.5 && span > 0 ? w.sum[k] / span * count / (count + 0.25) : 0;
            if (count < few)
                rate = doubtful_rate(c, k, lo, hi, rate);
            c->rate[j * c->tiles + k] = (float)rate;
        }
    }
}

#define QUARTILE 0.31863936396437514  /* of |normal| */
enum { SPAN = 2 * DW_COMPARE_BLOCK }; /* steps that tell of a tile's noise; a power of two */

/* Sorts each column upwards: a merge exchange (Batcher 1968; Knuth, TAOCP 3, 5.2.2 M), whose
 * comparisons do not depend on the values, so that all columns go side by side. */
static void sort_columns(float v[SPAN][GROUP])
{
    for (int p = SPAN / 2; p > 0; p /= 2)
        for (int q = SPAN / 2, r = 0, d = p; d > 0; d = q - p, q /= 2, r = p)
            for (int i = 0; i < SPAN - d; i++) {
                if ((i & p) != r)
                    continue;
                float *restrict low = v[i], *restrict high = v[i + d];
                for (int k = 0; k < GROUP; k++) {
                    float a = low[k], b = high[k];
                    low[k] = a < b ? a : b;
                    high[k] = a > b ? a : b;
                }
            }
}

/* The lower quartile of n values in a column of sorted ones, as dw_quantile has it. */
static double quartile_of(float v[SPAN][GROUP], size_t n, size_t column)
{
    double h = 0.25 * (double)(n - 1), part = h - floor(h);
    size_t k = (size_t)h;
    double low = (double)v[k][column];
    return part > 0 ? low + part * ((double)v[k + 1][column] - low) : low;
}

/* Excess noise of each tile when it is still: from the lower quartile of |departure|, because a
 * tile under broken cloud is still in some pairs and leaps in others. */
void dw_own_noise(struct dw_compare *c)
{
    const float *noise = c->g->noise;
    float v[SPAN][GROUP];
    for (size_t block = 0; block * DW_COMPARE_BLOCK < c->steps; block++) {
        size_t start = block * DW_COMPARE_BLOCK, wing = DW_COMPARE_BLOCK / 2;
        size_t from = start > wing ? start - wing : 0;
        size_t to = from + SPAN < c->steps ? from + SPAN : c->steps;
        for (size_t first = 0; first < c->tiles; first += GROUP) {
            size_t tiles = first + GROUP < c->tiles ? GROUP : c->tiles - first, n[GROUP] = {0};
            double photon[GROUP] = {0};
            for (size_t j = 0; j < SPAN; j++)
                for (size_t k = 0; k < GROUP; k++) {
                    size_t at = (from + j) * c->tiles + first + k;
                    bool known = from + j < to && k < tiles && isfinite(c->rel[at]);
                    v[j][k] = INFINITY;
                    if (!known)
                        continue;
                    photon[k] += (double)noise[at] + (double)noise[at + c->tiles];
                    n[k]++;
                    v[j][k] = (float)fabs((double)c->rel[at] -
                                          (double)c->rate[at] * c->seconds[from + j]);
                }
            sort_columns(v);
            for (size_t k = 0; k < tiles; k++) {
                float *out = &c->excess[block * c->tiles + first + k];
                double sigma = n[k] < 4 ? 0 : quartile_of(v, n[k], k) / QUARTILE;
                *out = n[k] < 4 ? 1e-4f : (float)fmax(0, sigma * sigma - photon[k] / (double)n[k]);
            }
        }
    }
}

/* From the steps that can tell (dark tiles beside bright ones, and all agreeing). A camera whose
 * level stands still must not pay for one that does not: the second unknown costs half the
 * precision at night. With nothing to learn from, the default stays. */
void dw_own_black(struct dw_compare *c, double *work)
{
    size_t n = 0;
    for (size_t j = 0; j < c->steps; j++)
        if (c->wander_var[j] < 1)
            work[n++] =
                c->wander[j] * c->wander[j] * DW_MAD_TO_SIGMA * DW_MAD_TO_SIGMA - c->wander_var[j];
    c->black_learnt = n >= 12;
    if (c->black_learnt)
        c->black_var = fmin(fmax(0, dw_median(work, n)), MOST_WANDER * MOST_WANDER);
}
