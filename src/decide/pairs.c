/* pairs.c: robust changes of light between neighbours. Model of tile k from shot a to b:
 *
 *   d_k = v + (drift of tile k) + (black level's wander) * lever_k + noise_k
 *
 * v is what exposure and the common light did. In a few passes v, the tiles' drifts and their noise
 * are found from one another. */
#include "decide/compare.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define PASSES 2
#define MIN_TILES 3
#define CENTRE_REACH 7
enum {
    PAIRS_AT_A_TIME = 32,                  /* that one worker compares in a row */
    TILES_AT_A_TIME = 5 * DW_COMPARE_GROUP /* or looks at */
};

bool dw_pair_displaced(const float (*shift)[2], size_t a, size_t b)
{
    return fabsf(shift[a][0] - shift[b][0]) > 1e-3f || fabsf(shift[a][1] - shift[b][1]) > 1e-3f;
}

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

/* A worker's own state: all is shared but the pair at work. */
static struct dw_compare at_work(const struct dw_compare *shared, double *work)
{
    struct dw_compare c = *shared;
    double **tiles[6] = {&c.d, &c.w, &c.sigma, &c.narrow, &c.lever, &c.gamma};
    for (int i = 0; i < 6; i++, work += c.tiles)
        *tiles[i] = work;
    c.tile = (void *)work;
    return c;
}

static size_t work_bytes(const struct dw_compare *c)
{
    return c->tiles * (6 * sizeof(double) + sizeof(int));
}

static struct dw_pair compare_pair(struct dw_compare *c, size_t a, size_t b)
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
    pair.var = dw_heap_variance(c, v, black) + doubt;
    if (b == a + 1) {
        c->agreed[a] = pair.agree;
        learn_step(c, a, v, black, pair.agree);
    }
    if (dw_pair_displaced(c->g->shift, a, b)) /* what a tile shows there is not quite the same */
        pair.var += c->p->moved_stops * c->p->moved_stops;
    return pair;
}

/* The slow common change about each step: a running median of what the steps found. */
static void find_centres(struct dw_compare *c)
{
    const struct dw_grids *g = c->g;
    double work[2 * CENTRE_REACH + 1];
    for (size_t j = 0; j < c->steps; j++) {
        size_t n = 0, first = j > CENTRE_REACH ? j - CENTRE_REACH : 0;
        for (size_t i = first; i < c->steps && i <= j + CENTRE_REACH; i++)
            if (!g->loose[i] && !g->loose[i + 1])
                work[n++] = c->v[i] / c->seconds[i];
        c->centre[j] = n ? dw_median(work, n) * c->seconds[j] : c->v[j];
    }
}

/* How far errors of neighbours differ in this shoot, from the steps in which nearly all tiles
 * agree: a lens that stays open errs by a third of what one errs that closes its blades for each
 * shot. */
static void learn_reach(struct dw_compare *c, double *work)
{
    size_t n = 0;
    for (size_t j = 0; j < c->steps; j++)
        if (c->agreed[j])
            work[n++] = fabs(c->v[j] - c->centre[j]);
    if (n < 12)
        return;
    double sigma = DW_MAD_TO_SIGMA * dw_median(work, n);
    c->reach = fmin(c->p->reach_stops, fmax(c->p->least_reach_stops, 3.0 * sigma));
}

/* A first v for every step: medians, before anything is known of the tiles. */
static enum dw_status look_at_steps(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    struct dw_compare c = at_work(ctx, work);
    for (size_t j = from; j < to; j++) {
        gather(&c, j, j + 1);
        memcpy(c.gamma, c.d, c.n * sizeof(double));
        c.v[j] = c.n ? dw_median(c.gamma, c.n) : 0;
        for (size_t k = 0; k < c.tiles; k++)
            c.rel[j * c.tiles + k] = NAN;
        for (size_t k = 0; k < c.n; k++)
            c.rel[j * c.tiles + (size_t)c.tile[k]] = (float)(c.d[k] - c.v[j]);
    }
    return DW_OK;
}

static enum dw_status first_drift(void *ctx, void *work, size_t from, size_t to,
                                  struct dw_error *err)
{
    (void)err;
    dw_own_first_drift(ctx, from, to, work);
    return DW_OK;
}

static enum dw_status compare_steps(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    struct dw_compare c = at_work(ctx, work);
    for (size_t j = from; j < to; j++)
        c.pair[j] = compare_pair(&c, j, j + 1);
    return DW_OK;
}

static enum dw_status compare_over_one(void *ctx, void *work, size_t from, size_t to,
                                       struct dw_error *err)
{
    (void)err;
    struct dw_compare c = at_work(ctx, work);
    for (size_t j = from; j < to; j++)
        c.pair[c.steps + j] = compare_pair(&c, j, j + 2);
    return DW_OK;
}

static enum dw_status look_at_tiles(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    dw_own_drift(ctx, from, to, work);
    dw_own_noise(ctx, from, to, work);
    return DW_OK;
}

/* All comparisons, in passes; work: room for `steps` doubles. */
static enum dw_status compare(struct dw_compare *c, double *work, struct dw_error *err)
{
    const struct dw_run *run = c->p->run;
    struct dw_each steps = {c->steps, PAIRS_AT_A_TIME, work_bytes(c), look_at_steps, c};
    struct dw_each tiles = {c->tiles, TILES_AT_A_TIME, dw_own_work(TILES_AT_A_TIME), first_drift,
                            c};
    for (size_t k = 0; k < (c->steps / DW_COMPARE_BLOCK + 1) * c->tiles; k++)
        c->excess[k] = 1e-4f; /* a hundredth of a stop */
    enum dw_status status = dw_each(&steps, run, err);
    find_centres(c);
    if (status >= 0)
        status = dw_each(&tiles, run, err);
    steps.of = compare_steps;
    tiles.of = look_at_tiles;
    for (int pass = 0; pass < PASSES && status >= 0; pass++) {
        status = dw_each(&steps, run, err);
        if (status >= 0)
            status = dw_each(&tiles, run, err);
        dw_own_black(c, work);
        find_centres(c);
        learn_reach(c, work);
    }
    if (status >= 0)
        status = dw_each(&steps, run, err);
    steps.of = compare_over_one;
    steps.n--;
    return status < 0 ? status : dw_each(&steps, run, err);
}

static bool take_room(struct dw_compare *c, struct dw_arena *arena)
{
    size_t all = c->steps * c->tiles, blocks = c->steps / DW_COMPARE_BLOCK + 1;
    float **grids[4] = {&c->rate, &c->still, &c->rel, &c->excess};
    double **steps[5] = {&c->seconds, &c->v, &c->centre, &c->wander, &c->wander_var};
    bool ok = true;
    for (int i = 0; i < 4; i++)
        ok = (*grids[i] = DW_TAKE(arena, i < 3 ? all : blocks * c->tiles, float)) && ok;
    for (int i = 0; i < 5; i++)
        ok = (*steps[i] = DW_TAKE(arena, c->steps, double)) && ok;
    c->region = DW_TAKE(arena, c->tiles, int);
    c->agreed = DW_TAKE(arena, c->steps, bool);
    return ok && c->region && c->agreed;
}

/* Side of a region, in tiles. */
static int region_side(int cols, int rows)
{
    int size = DW_COMPARE_REGION;
    while ((cols + size - 1) / size * ((rows + size - 1) / size) > DW_COMPARE_REGIONS)
        size++;
    return size;
}

int dw_pair_regions(int cols, int rows)
{
    int size = region_side(cols, rows);
    return (cols + size - 1) / size * ((rows + size - 1) / size);
}

int dw_pair_region(int cols, int rows, int tile)
{
    int size = region_side(cols, rows), across = (cols + size - 1) / size;
    return tile / cols / size * across + tile % cols / size;
}

enum dw_status dw_pairs_compare(const struct dw_grids *grids, const struct dw_pair_params *params,
                                struct dw_arena *arena, struct dw_pair **pairs, size_t *n,
                                struct dw_beside *beside, struct dw_error *err)
{
    *n = 0;
    *pairs = DW_TAKE(arena, 2 * grids->n + 1, struct dw_pair);
    if (!*pairs)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", grids->n);
    for (size_t i = 0; i < grids->n; i++) {
        beside->unrest[i] = beside->black[i] = 0;
        if (beside->along)
            beside->along[i] = 0;
        beside->black_var[i] = INFINITY;
    }
    beside->wander = 0;
    if (grids->n < 2)
        return DW_OK;
    size_t mark = arena->n;
    struct dw_compare c = {.g = grids, .p = params, .pair = *pairs};
    c.tiles = (size_t)(grids->cols * grids->rows);
    c.steps = grids->n - 1;
    c.black_var = params->black_dn * params->black_dn;
    c.reach = params->reach_stops;
    double *work = DW_TAKE(arena, c.steps, double);
    if (!work || !take_room(&c, arena))
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", grids->n);
    for (size_t j = 0; j < c.steps; j++)
        c.seconds[j] = fmax(grids->time[j + 1] - grids->time[j], 1e-3);
    c.regions = dw_pair_regions(grids->cols, grids->rows);
    for (size_t k = 0; k < c.tiles; k++)
        c.region[k] = dw_pair_region(grids->cols, grids->rows, (int)k);
    enum dw_status status = compare(&c, work, err);
    if (status >= 0)
        status = dw_own_unrest(&c, arena, beside, err);
    if (status < 0)
        return status;
    *n = 2 * c.steps - 1;
    memcpy(beside->black, c.wander, c.steps * sizeof *c.wander);
    memcpy(beside->black_var, c.wander_var, c.steps * sizeof *c.wander_var);
    beside->wander = c.black_learnt ? c.black_var : 0;
    dw_arena_free_to(arena, mark);
    return DW_OK;
}
