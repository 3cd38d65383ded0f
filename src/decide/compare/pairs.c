/* pairs.c: robust changes of light between neighbours. Model of tile k from shot a to b:
 *
 *   d_k = v + (drift of tile k) + (black level's wander) * lever_k + noise_k
 *
 * v is what exposure and the common light did. In a few passes v, the tiles' drifts and their noise
 * are found from one another. */
#include "decide/compare/compare.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define PASSES 2
#define ABOUT_S 870.0   /* seven steps of two minutes, and a little */
#define MOST_WANDER 1.0 /* DN rms between neighbours that are believed of a black level */
enum {
    ABOUT_LEAST = 2,
    ABOUT_MOST = 7,
    PAIRS_AT_A_TIME = 32,                  /* that one worker compares in a row */
    TILES_AT_A_TIME = 5 * DW_COMPARE_GROUP /* or looks at */
};

bool dw_pair_displaced(const float (*shift)[2], size_t a, size_t b)
{
    return fabsf(shift[a][0] - shift[b][0]) > 1e-3f || fabsf(shift[a][1] - shift[b][1]) > 1e-3f;
}

struct dw_compare dw_compare_at_work(const struct dw_compare *shared, void *work)
{
    struct dw_compare c = *shared;
    double **tiles[6] = {&c.d, &c.w, &c.sigma, &c.narrow, &c.lever, &c.gamma}, *room = work;
    for (int i = 0; i < 6; i++, room += c.tiles)
        *tiles[i] = room;
    c.tile = (void *)room;
    return c;
}

size_t dw_compare_work(const struct dw_compare *c)
{
    return c->tiles * (6 * sizeof(double) + sizeof(int));
}

size_t dw_steps_about(double usual_s)
{
    return (size_t)fmin(fmax(ABOUT_S / usual_s, ABOUT_LEAST), ABOUT_MOST);
}

/* The slow common change about each step: a running median of what the steps found. */
static void find_centres(struct dw_compare *c)
{
    const struct dw_grids *g = c->g;
    double work[2 * ABOUT_MOST + 1];
    for (size_t j = 0; j < c->steps; j++) {
        size_t n = 0, first = j > c->about ? j - c->about : 0;
        for (size_t i = first; i < c->steps && i <= j + c->about; i++)
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

/* How much the black level wanders, from the steps that can tell (dark tiles beside bright ones,
 * and all agreeing). A camera whose level stands still must not pay for one that does not: the
 * second unknown costs half the precision at night. With nothing to learn from, the default stays.
 */
static void learn_black(struct dw_compare *c, double *work)
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

static enum dw_status look_at_steps(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    struct dw_compare c = dw_compare_at_work(ctx, work);
    for (size_t j = from; j < to; j++)
        c.kernels->look(&c, j);
    return DW_OK;
}

static enum dw_status first_drift(void *ctx, void *work, size_t from, size_t to,
                                  struct dw_error *err)
{
    (void)err;
    struct dw_compare *c = ctx;
    c->kernels->first_drift(c, from, to, work);
    return DW_OK;
}

static enum dw_status compare_steps(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    struct dw_compare c = dw_compare_at_work(ctx, work);
    for (size_t j = from; j < to; j++)
        c.pair[j] = c.kernels->compare(&c, j, j + 1);
    return DW_OK;
}

static enum dw_status compare_over_one(void *ctx, void *work, size_t from, size_t to,
                                       struct dw_error *err)
{
    (void)err;
    struct dw_compare c = dw_compare_at_work(ctx, work);
    for (size_t j = from; j < to; j++)
        c.pair[c.steps + j] = c.kernels->compare(&c, j, j + 2);
    return DW_OK;
}

static enum dw_status look_at_tiles(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    struct dw_compare *c = ctx;
    c->kernels->drift(c, from, to, work);
    c->kernels->noise(c, from, to, work);
    return DW_OK;
}

static size_t own_work(size_t tiles)
{
    size_t drift = dw_own_drift_work(tiles), noise = dw_own_noise_work(tiles);
    return drift > noise ? drift : noise;
}

/* All comparisons, in passes; work: room for `steps` doubles. */
static enum dw_status compare(struct dw_compare *c, double *work, struct dw_error *err)
{
    const struct dw_run *run = c->p->run;
    struct dw_each steps = {c->steps, PAIRS_AT_A_TIME, dw_compare_work(c), look_at_steps, c};
    struct dw_each tiles = {c->tiles, TILES_AT_A_TIME, own_work(TILES_AT_A_TIME), first_drift, c};
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
        learn_black(c, work);
        find_centres(c);
        learn_reach(c, work);
    }
    c->last = true;
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
    c.kernels = dw_compare_kernels_best();
    c.tiles = (size_t)(grids->cols * grids->rows);
    c.steps = grids->n - 1;
    c.black_var = params->black_dn * params->black_dn;
    c.reach = params->reach_stops;
    c.about = dw_steps_about(beside->unit_s);
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
