/* pair.c: what one pair of shots says. Compiled twice: see compare.h. */
#include "decide/compare/compare.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define MIN_TILES 3

/* Light of b where tile k of a has gone, from the four tiles that share it: what gradients there
 * are, of the sky and over the ground, would else pass for a change of light. */
static float light_there(const struct dw_compare *c, size_t a, size_t b, size_t k)
{
    const struct dw_grids *g = c->g;
    const float *lb = g->light + b * c->tiles;
    float x = (float)(k % (size_t)g->cols) + g->shift[b][0] - g->shift[a][0];
    float y = (float)(k / (size_t)g->cols) + g->shift[b][1] - g->shift[a][1];
    if (!(x >= 0 && y >= 0 && x <= (float)(g->cols - 1) && y <= (float)(g->rows - 1)))
        return NAN;
    int i = (int)x, j = (int)y;
    i = i > g->cols - 2 ? g->cols - 2 : i;
    j = j > g->rows - 2 ? g->rows - 2 : j;
    if (i < 0 || j < 0)
        return NAN;
    const float *at = lb + j * g->cols + i;
    float u = x - (float)i, v = y - (float)j;
    return (at[0] * (1 - u) + at[1] * u) * (1 - v) +
           (at[g->cols] * (1 - u) + at[g->cols + 1] * u) * v;
}

/* Changes of light of n tiles from a to b: not finite where either does not know. */
static void take_changes(const float *restrict a, const float *restrict b, size_t n,
                         double *restrict d)
{
    for (size_t k = 0; k < n; k++)
        d[k] = (double)b[k] - (double)a[k];
}

static void take_displaced(const struct dw_compare *c, size_t a, size_t b, double *d)
{
    const float *la = c->g->light + a * c->tiles, *lb = c->g->light + b * c->tiles;
    for (size_t k = 0; k < c->tiles; k++)
        d[k] = isfinite(lb[k]) ? (double)light_there(c, a, b, k) - (double)la[k] : (double)NAN;
}

static void take_drift_off(const float *restrict rate, double seconds, size_t n, double *restrict d)
{
    for (size_t k = 0; k < n; k++)
        d[k] -= (double)rate[k] * seconds;
}

/* Variances of the changes of n tiles, and how black's wander moves them. */
static void take_noise(const float *restrict na, const float *restrict nb,
                       const float *restrict excess, double floor, size_t n, double *restrict var)
{
    for (size_t k = 0; k < n; k++)
        var[k] = (double)na[k] + (double)nb[k] + (double)excess[k] + floor;
}

static void take_lever(const float *restrict ea, const float *restrict eb, size_t n,
                       double *restrict lever)
{
    for (size_t k = 0; k < n; k++)
        lever[k] = 0.5 * ((double)ea[k] + (double)eb[k]);
}

/* Leaves of all tiles those with a known change, without asking a branch; c->w holds variances. */
static void keep_known(struct dw_compare *c)
{
    double *restrict d = c->d, *restrict w = c->w, *restrict lever = c->lever;
    size_t n = 0;
    for (size_t k = 0; k < c->tiles; k++) {
        double change = d[k];
        d[n] = change;
        w[n] = w[k];
        lever[n] = lever[k];
        c->tile[n] = (int)k;
        n += fabs(change) < (double)INFINITY;
    }
    c->n = n;
}

/* Gathers the tiles that both shots have: difference without drift, its own noise. Loops of one
 * thing each, so that several tiles go at a time. */
static void gather(struct dw_compare *c, size_t a, size_t b)
{
    const struct dw_grids *g = c->g;
    size_t n = c->tiles, at = a * n, to = b * n;
    if (dw_pair_displaced(g->shift, a, b))
        take_displaced(c, a, b, c->d);
    else
        take_changes(g->light + at, g->light + to, n, c->d);
    for (size_t j = a; j < b; j++)
        take_drift_off(c->rate + j * n, c->seconds[j], n, c->d);
    take_noise(g->noise + at, g->noise + to, c->excess + a / DW_COMPARE_BLOCK * n,
               c->p->floor_stops * c->p->floor_stops, n, c->w);
    take_lever(g->lever + at, g->lever + to, n, c->lever);
    keep_known(c);
    for (size_t k = 0; k < c->n; k++) {
        c->sigma[k] = sqrt(c->w[k]);
        c->w[k] = 1 / c->w[k];
        c->narrow[k] = c->sigma[k] * c->w[k] * (1 / DW_TUKEY);
    }
}

/* What a step teaches about its tiles. */
static void learn_step(struct dw_compare *c, size_t j, double v, double black, bool agree)
{
    float *rel = c->rel + j * c->tiles, *still = c->still + j * c->tiles;
    c->v[j] = v;
    if (agree)
        dw_heap_wander(c, &c->wander[j], &c->wander_var[j]);
    for (size_t k = 0; k < c->tiles; k++) {
        rel[k] = NAN;
        still[k] = 0;
    }
    for (size_t k = 0; k < c->n; k++) {
        size_t at = (size_t)c->tile[k];
        double own = (double)c->rate[j * c->tiles + at] * c->seconds[j];
        rel[at] = (float)(c->d[k] + own - v - black * c->lever[k]);
        still[at] = (float)c->gamma[k];
    }
}

struct dw_pair dw_pair_compare(struct dw_compare *c, size_t a, size_t b)
{
    struct dw_pair pair = {(uint32_t)a, (uint32_t)b, 0, 100, false};
    double centre = 0, v = 0, black = 0;
    for (size_t j = a; j < b; j++) {
        centre += c->centre[j];
        v += c->v[j];
    }
    if (b == a + 1)
        c->wander_var[a] = INFINITY;
    gather(c, a, b);
    if (c->n < MIN_TILES)
        return pair;
    bool free = c->g->loose[a] || c->g->loose[b];
    double doubt = dw_heap_find(c, centre, free, &v, &black, &pair.agree);
    pair.v = v;
    if (c->last)
        pair.var = dw_heap_variance(c, v, black) + doubt;
    if (b == a + 1) {
        c->agreed[a] = pair.agree;
        learn_step(c, a, v, black, pair.agree);
    }
    if (dw_pair_displaced(c->g->shift, a, b)) /* what a tile shows there is not quite the same */
        pair.var += c->p->moved_stops * c->p->moved_stops;
    return pair;
}

void dw_pair_look(struct dw_compare *c, size_t j)
{
    float *rel = c->rel + j * c->tiles;
    gather(c, j, j + 1);
    memcpy(c->gamma, c->d, c->n * sizeof(double));
    c->v[j] = c->n ? dw_median(c->gamma, c->n) : 0;
    for (size_t k = 0; k < c->tiles; k++)
        rel[k] = NAN;
    for (size_t k = 0; k < c->n; k++)
        rel[c->tile[k]] = (float)(c->d[k] - c->v[j]);
}
