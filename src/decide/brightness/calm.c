/* calm.c: real light that changes faster than about an hour and in all the picture alike: what
 * --steady may take out. Exposure errors are gone before; what is left of a tile beside its own
 * hourly mean is weather, foliage, people. Under broken cloud sky and ground answer the sun
 * differently, so that one gain for both may calm the one and stir the other: only what all
 * regions do together is taken, and no more of it than helps the region that it helps least. */
#include "decide/steps.h"
#include "base/limit.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define HALF_HOUR_S 1800.0
#define REGION 5 /* tiles, across and down */
#define MOST_REGIONS 64
#define LIMIT_STOPS 2.0 /* a tile that changed more is a lamp, not light */
#define COMMON 0.2      /* quantile of the regions that must agree in sign */
#define WINDOW 20       /* shots to either side in which help is judged */
#define LEAST_VAR 1e-8  /* of the common change: below a ten-thousandth of a stop */

/* Region light of every shot in use, beside its hourly mean. */
struct regions {
    size_t n; /* shots in use */
    const size_t *shot;
    int count;
    int *of_tile;
    double *f; /* n*count, stops; NAN where nothing is known */
};

static void lay_out(const struct dw_work *w, struct regions *r)
{
    int cols = w->survey->cols, rows = w->survey->rows, size = REGION;
    while ((cols + size - 1) / size * ((rows + size - 1) / size) > MOST_REGIONS)
        size++;
    int across = (cols + size - 1) / size;
    for (int y = 0; y < rows; y++)
        for (int x = 0; x < cols; x++)
            r->of_tile[y * cols + x] = y / size * across + x / size;
    r->count = across * ((rows + size - 1) / size);
}

/* Light of tile k in the i-th shot in use, error and line taken off. */
static double tile_rest(const struct dw_work *w, const struct regions *r, size_t i, size_t k)
{
    size_t shot = r->shot[i];
    return (double)w->light[shot * (size_t)w->tiles + k] - w->error[shot] - w->line[shot];
}

static void add_shot(const struct dw_work *w, const struct regions *r, size_t i, double sign,
                     double *sum, double *count)
{
    for (size_t k = 0; k < (size_t)w->tiles; k++) {
        double v = tile_rest(w, r, i, k);
        if (isfinite(v)) {
            sum[k] += sign * v;
            count[k] += sign;
        }
    }
}

static void find_fluctuations(const struct dw_work *w, struct regions *r, double *sum,
                              double *count)
{
    size_t lo = 0, hi = 0;
    for (size_t i = 0; i < r->n; i++) {
        double t = w->utc[r->shot[i]];
        for (; hi < r->n && w->utc[r->shot[hi]] <= t + HALF_HOUR_S; hi++)
            add_shot(w, r, hi, 1, sum, count);
        for (; w->utc[r->shot[lo]] < t - HALF_HOUR_S; lo++)
            add_shot(w, r, lo, -1, sum, count);
        double total[MOST_REGIONS] = {0}, members[MOST_REGIONS] = {0};
        for (size_t k = 0; k < (size_t)w->tiles; k++) {
            double v = tile_rest(w, r, i, k);
            if (!isfinite(v) || count[k] < 2.5)
                continue;
            v -= sum[k] / count[k];
            total[r->of_tile[k]] += dw_at_least(dw_at_most(v, LIMIT_STOPS), -LIMIT_STOPS);
            members[r->of_tile[k]]++;
        }
        for (int g = 0; g < r->count; g++)
            r->f[i * (size_t)r->count + (size_t)g] =
                members[g] > 2 ? total[g] / members[g] : (double)NAN;
    }
}

/* What nearly all regions do alike: the least of them if they agree in sign, else nothing. */
static double common_part(const struct regions *r, size_t i)
{
    double v[MOST_REGIONS];
    size_t n = 0;
    for (int g = 0; g < r->count; g++)
        if (isfinite(r->f[i * (size_t)r->count + (size_t)g]))
            v[n++] = r->f[i * (size_t)r->count + (size_t)g];
    if (n < 3)
        return 0;
    double low = dw_quantile(v, n, COMMON), high = dw_quantile(v, n, 1 - COMMON);
    return low > 0 ? low : high < 0 ? high : 0;
}

/* The fast part of a series: second difference. */
static double fast(const double *v, size_t i, size_t stride)
{
    return v[i * stride] - 0.5 * (v[(i - 1) * stride] + v[(i + 1) * stride]);
}

/* The share of the common change that helps every region: regression of each region's fast part
 * on the common one; beyond the slope, taking more stirs the region up again. */
static double helpful_share(const struct regions *r, const double *common, size_t i)
{
    size_t first = i > WINDOW ? i - WINDOW : 1, stride = (size_t)r->count;
    size_t last = i + WINDOW + 1 < r->n ? i + WINDOW : r->n - 2;
    double var = 0, least = 1;
    for (size_t j = first; j <= last; j++)
        var += fast(common, j, 1) * fast(common, j, 1);
    if (!(var > LEAST_VAR))
        return 1;
    for (int g = 0; g < r->count; g++) {
        double both = 0;
        size_t known = 0;
        for (size_t j = first; j <= last; j++) {
            double f = fast(r->f + g, j, stride);
            if (isfinite(f)) {
                both += f * fast(common, j, 1);
                known++;
            }
        }
        if (known > WINDOW / 2)
            least = dw_at_most(both / var, least);
    }
    return fmax(0, least);
}

/* Shots that took no part: between their neighbours, never from themselves. */
static void fill(struct dw_work *w, const struct regions *r, const double *calm)
{
    for (size_t i = 0, k = 0; i < w->n; i++) {
        while (k + 1 < r->n && r->shot[k + 1] <= i)
            k++;
        w->calm[i] = calm[k];
        if (r->shot[k] >= i || k + 1 >= r->n)
            continue;
        double span = w->utc[r->shot[k + 1]] - w->utc[r->shot[k]];
        double part = span > 0 ? (w->utc[i] - w->utc[r->shot[k]]) / span : 0;
        w->calm[i] += part * (calm[k + 1] - calm[k]);
    }
}

enum dw_status dw_calm(struct dw_work *w, struct dw_error *err)
{
    w->calm = DW_TAKE(&w->arena, w->n, double);
    if (!w->calm)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    if (!(w->params->steady > 0))
        return DW_OK;
    size_t mark = w->arena.n, *shot = DW_TAKE(&w->arena, w->n, size_t);
    struct regions r = {0, shot, 0, DW_TAKE(&w->arena, (size_t)w->tiles, int),
                        DW_TAKE(&w->arena, w->n * MOST_REGIONS, double)};
    double *sum = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    double *count = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    double *common = DW_TAKE(&w->arena, w->n, double), *calm = DW_TAKE(&w->arena, w->n, double);
    if (!shot || !r.of_tile || !r.f || !sum || !count || !common || !calm)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i])
            shot[r.n++] = i;
    if (r.n >= 5) {
        lay_out(w, &r);
        find_fluctuations(w, &r, sum, count);
        for (size_t i = 0; i < r.n; i++)
            common[i] = common_part(&r, i);
        for (size_t i = 0; i < r.n; i++)
            calm[i] = common[i] * fmin(w->params->steady, helpful_share(&r, common, i));
        fill(w, &r, calm);
    }
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}
