/* drift.c: what each tile does by itself beside the common change, smoothly: dusk leaves one before
 * the other, a moon or a town's glow takes over here sooner than there. Compiled twice: see
 * compare.h. */
#include "decide/compare/compare.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define DRIFT_STEPS 4    /* on either side, at least, tell of a tile's drift */
#define UNIT_S 600.0     /* of time in sums */
#define LEAST_STILL 0.5  /* steps: a tile that was still for less has no drift to speak of */
#define DRAWN 0.25       /* steps: as if it had been without any for so many */
#define FEW_STILL 0.6    /* of the window: a tile that was still for less is doubtful */
#define MOST_DOUBTFUL 64 /* steps of a doubtful tile that are looked at */
#define HELD 1e-3        /* of the largest that the determinant can be: a parabola is told */
#define ANEW 32          /* steps, after which sums begin anew */
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

static double middle_of(const struct dw_compare *c, size_t j)
{
    return 0.5 * (c->g->time[j] + c->g->time[j + 1]);
}

/* The window of a doubtful tile at step j, from the usual one on. */
static void reach_out(const struct dw_compare *c, size_t j, size_t *lo, size_t *hi)
{
    const size_t most = MOST_DOUBTFUL / 2;
    double mid = middle_of(c, j), reach = c->p->doubtful_window_s / 2;
    while (*lo > 0 && j - *lo < most && mid - middle_of(c, *lo - 1) <= reach)
        --*lo;
    while (*hi < c->steps && *hi - j < most && middle_of(c, *hi) - mid <= reach)
        ++*hi;
    *lo = j - *lo > most ? j - most : *lo;
    *hi = *hi - j > most ? j + most : *hi;
}

/* A tile that was mostly out of the heap: has it moved, or was its drift wrong? Whichever of what
 * its still steps say and the plain median explains more of its steps is kept. */
static double doubtful_rate(const struct dw_compare *c, size_t k, size_t lo, size_t hi, double told)
{
    double work[MOST_DOUBTFUL];
    size_t n = 0;
    for (size_t j = lo; j < hi && n < MOST_DOUBTFUL; j++)
        if (isfinite(c->rel[j * c->tiles + k]))
            work[n++] = (double)c->rel[j * c->tiles + k] / c->seconds[j];
    if (n == 0)
        return told;
    double middle = dw_median(work, n);
    return support(c, k, lo, hi, middle) > support(c, k, lo, hi, told) ? middle : told;
}

/* Steps lo..hi-1, and running sums over them, one of each for the n tiles from `first` on: of how
 * still a tile was; of that times a step's length, and times its departure, each times powers of
 * the step's time from the one at work, in units of UNIT_S. */
enum { POWERS = 5, SUMS = POWERS + 3 };
struct window {
    size_t first, n, lo, hi;
    double at, reach;          /* the time that the sums are about, and how far they reach */
    double *count, *sum[SUMS]; /* POWERS of lengths, then three of departures */
};

/* sign: 1, or -1 to take it away. */
static void add_step(const struct dw_compare *c, size_t j, double sign, const struct window *w)
{
    const float *still = c->still + j * c->tiles + w->first,
                *rel = c->rel + j * c->tiles + w->first;
    double *restrict count = w->count, *restrict m0 = w->sum[0], *restrict m1 = w->sum[1];
    double *restrict m2 = w->sum[2], *restrict m3 = w->sum[3], *restrict m4 = w->sum[4];
    double *restrict r0 = w->sum[5], *restrict r1 = w->sum[6], *restrict r2 = w->sum[7];
    const double seconds = c->seconds[j], u = (middle_of(c, j) - w->at) / UNIT_S;
    const double u2 = u * u, u3 = u2 * u, u4 = u2 * u2;
    for (size_t k = 0; k < w->n; k++) {
        double s = still[k] > 0 ? sign * (double)still[k] : 0;
        double r = still[k] > 0 ? s * (double)rel[k] : 0; /* else it may be unknown */
        count[k] += s;
        s *= seconds;
        m0[k] += s;
        m1[k] += s * u;
        m2[k] += s * u2;
        m3[k] += s * u3;
        m4[k] += s * u4;
        r0[k] += r;
        r1[k] += r * u;
        r2[k] += r * u2;
    }
}

/* From here on the sums are about this time. */
static void move_on(struct window *w, double at)
{
    const double u = (at - w->at) / UNIT_S;
    double *restrict m0 = w->sum[0], *restrict m1 = w->sum[1], *restrict m2 = w->sum[2];
    double *restrict m3 = w->sum[3], *restrict m4 = w->sum[4];
    double *restrict r0 = w->sum[5], *restrict r1 = w->sum[6], *restrict r2 = w->sum[7];
    for (size_t k = 0; k < w->n; k++) {
        double a = m0[k], b = m1[k], d = m2[k], e = m3[k], f = m4[k], g = r0[k], h = r1[k];
        m1[k] = b - u * a;
        m2[k] = d - u * (2 * b - u * a);
        m3[k] = e - u * (3 * d - u * (3 * b - u * a));
        m4[k] = f - u * (4 * e - u * (6 * d - u * (4 * b - u * a)));
        r1[k] = h - u * g;
        r2[k] = r2[k] - u * (2 * h - u * g);
    }
    w->at = at;
}

static void forget(const struct window *w)
{
    memset(w->count, 0, w->n * sizeof *w->count);
    for (int i = 0; i < SUMS; i++)
        memset(w->sum[i], 0, w->n * sizeof(double));
}

/* Drifts at the step at work: parabolas through departures, or, where these hold none, means drawn
 * a little towards 0. One loop without a branch. rate: n values. */
static void take_rates(const struct window *w, double *restrict rate)
{
    const double *restrict m0 = w->sum[0], *restrict m1 = w->sum[1], *restrict m2 = w->sum[2];
    const double *restrict m3 = w->sum[3], *restrict m4 = w->sum[4], *restrict count = w->count;
    const double *restrict r0 = w->sum[5], *restrict r1 = w->sum[6], *restrict r2 = w->sum[7];
    for (size_t k = 0; k < w->n; k++) {
        double a = m2[k] * m4[k] - m3[k] * m3[k], b = m1[k] * m4[k] - m2[k] * m3[k];
        double d = m1[k] * m3[k] - m2[k] * m2[k];
        double det = m0[k] * a - m1[k] * b + m2[k] * d;
        double top = r0[k] * a - r1[k] * b + r2[k] * d;
        bool bent = det > HELD * m0[k] * m2[k] * m4[k];
        double drawn = count[k] / (count[k] + DRAWN);
        top = bent ? top : drawn * r0[k];
        det = bent ? det : m0[k];
        bool some = (count[k] > LEAST_STILL) & (det > 0);
        det = some ? det : 1;
        rate[k] = some ? top / det : 0;
    }
}

/* Seconds from shot to shot about step j, which may be a gap itself, or lie beside one. */
static double usual_step(const struct dw_compare *c, size_t j)
{
    if (c->steps == 1)
        return c->seconds[0];
    double before = c->seconds[j > 0 ? j - 1 : 1];
    double after = c->seconds[j + 1 < c->steps ? j + 1 : j - 1];
    return before < after ? before : after;
}

/* Sums that are moved keep a little rounding of all that they ever held, and more the farther they
 * are moved: the window begins anew every so often, and where it leaps or shrinks at once. */
static bool begins_anew(const struct window *w, size_t j, double mid, double reach)
{
    return j % ANEW == 0 || mid - w->at > reach || w->reach > 2 * reach;
}

/* Brings the window to step j. */
static void bring_to(const struct dw_compare *c, size_t j, struct window *w)
{
    double mid = middle_of(c, j);
    double reach = fmax(c->p->drift_window_s / 2, (DRIFT_STEPS + 0.5) * usual_step(c, j));
    if (begins_anew(w, j, mid, reach)) {
        forget(w);
        w->at = mid;
        w->lo = w->hi = j;
    } else {
        move_on(w, mid);
    }
    w->reach = reach;
    while (w->hi < c->steps && middle_of(c, w->hi) <= mid + reach)
        add_step(c, w->hi++, 1, w);
    while (w->hi > j + 1 && middle_of(c, w->hi - 1) > mid + reach)
        add_step(c, --w->hi, -1, w);
    while (w->lo < j && middle_of(c, w->lo) < mid - reach)
        add_step(c, w->lo++, -1, w);
    while (w->lo > 0 && middle_of(c, w->lo - 1) >= mid - reach)
        add_step(c, --w->lo, 1, w);
}

/* Drift: a parabola over the window through the tile's departures from v, weighted by how still it
 * was. A mean would do where drifts are even; by twilight, and where a moon takes over, they bend
 * within minutes, each tile's otherwise. */
void dw_own_drift(struct dw_compare *c, size_t first, size_t end, void *work)
{
    size_t n = end - first;
    struct window w = {.first = first, .n = n, .count = work};
    for (int i = 0; i < SUMS; i++)
        w.sum[i] = (double *)work + (size_t)(i + 1) * n;
    double *rate = (double *)work + (size_t)(SUMS + 1) * n;
    forget(&w);
    for (size_t j = 0; j < c->steps; j++) {
        bring_to(c, j, &w);
        take_rates(&w, rate);
        double few = FEW_STILL * (double)(w.hi - w.lo);
        size_t lo = w.lo, hi = w.hi;
        reach_out(c, j, &lo, &hi);
        for (size_t k = 0; k < n; k++) {
            if (w.count[k] < few)
                rate[k] = doubtful_rate(c, first + k, lo, hi, rate[k]);
            c->rate[j * c->tiles + first + k] = (float)rate[k];
        }
    }
}

size_t dw_own_drift_work(size_t tiles)
{
    size_t groups = (tiles + GROUP - 1) / GROUP, sums = (SUMS + 2) * tiles * sizeof(double);
    size_t sliding = groups * sizeof(struct sliding);
    return sums > sliding ? sums : sliding;
}
