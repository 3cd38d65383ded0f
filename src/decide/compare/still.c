/* still.c: how far a tile stands off the common change by chance when it is still. Compiled twice:
 * see compare.h. */
#include "decide/compare/compare.h"

#include <math.h>
#include <string.h>

enum { GROUP = DW_COMPARE_GROUP };

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

size_t dw_own_noise_work(size_t tiles)
{
    return (tiles + GROUP - 1) / GROUP * sizeof(struct noisy);
}
