/* ground.c: see ground.h. */
#include "decide/poses/ground.h"
#include "base/pool.h"
#include "base/robust.h"

#include <math.h>

#define SAMPLES 128   /* pairs of shots that are looked at, spread over the shoot */
#define LATER_S 900.0 /* between the two of a pair; at least LEAST_STEPS shots */
#define LEAST_STEPS 3
#define ENOUGH_PAIRS 5
/* Correlation at which a block begins to count as ground, and where it wholly does. Taken at its
 * upper quarter: fog and cloud shadows may rule for hours. */
#define ALIKE_FROM 0.5
#define ALIKE_TO 0.8
#define QUANTILE 0.75
#define ENOUGH_BLOCKS 4.0f
/* A first look is by this share of all ground, and by no fewer blocks. */
#define FIRST_SHARE 0.3f
#define FIRST_BLOCKS 32.0f

enum dw_status dw_ground_compare(const struct dw_work *w, const struct dw_ground *g,
                                 struct dw_viewer *v, size_t a, size_t b, struct dw_shift *out,
                                 struct dw_error *err)
{
    enum dw_status status = dw_viewer_look_at_two(v, w, a, b, g->patch, err);
    if (status < 0)
        return status;
    return dw_register(&v->reg, &v->view[0], &v->view[1], g->weight, g->at, out, err);
}

/* ---- learning ---- */

struct lesson {
    const struct dw_work *w;
    const struct dw_ground *g;
    size_t steps, pairs;
    float *alike; /* pairs * blocks; NAN where either shot shows nothing */
};

static size_t first_of(const struct lesson *l, size_t pair)
{
    size_t room = l->g->shots - l->steps; /* > 0 */
    return l->pairs > 1 ? pair * (room - 1) / (l->pairs - 1) : 0;
}

static enum dw_status look_at_pair(void *ctx, void *state, size_t pair, struct dw_error *err)
{
    struct lesson *l = ctx;
    struct dw_viewer *v = state;
    size_t i = first_of(l, pair);
    enum dw_status status =
        dw_viewer_look_at_two(v, l->w, l->g->shot[i], l->g->shot[i + l->steps], NULL, err);
    if (status < 0)
        return status;
    float *alike = l->alike + pair * (size_t)l->g->n;
    for (int b = 0; b < l->g->n; b++) {
        size_t patch = (size_t)(b / DW_PATCH_BLOCKS) * DW_PATCH_CELLS;
        alike[b] = NAN;
        if (!v->view[0].structure[b] || !v->view[1].structure[b])
            continue;
        struct dw_block block;
        dw_block_step(v->view[0].band + patch, v->view[1].band + patch, b % DW_PATCH_BLOCKS, 0, 0,
                      &block);
        alike[b] = (float)block.alike;
    }
    return DW_OK;
}

static float weigh(const struct lesson *l, int block, double *work)
{
    size_t n = 0;
    for (size_t k = 0; k < l->pairs; k++) {
        float a = l->alike[k * (size_t)l->g->n + (size_t)block];
        if (isfinite(a))
            work[n++] = (double)a;
    }
    if (n < ENOUGH_PAIRS)
        return 0;
    double q = (dw_quantile(work, n, QUANTILE) - ALIKE_FROM) / (ALIKE_TO - ALIKE_FROM);
    return (float)fmax(0, fmin(1, q));
}

/* Picks the patches of the first look, those with the most ground first. */
static void pick_first(struct dw_ground *g, float all)
{
    float sum[DW_PATCHES] = {0}, picked = 0, enough = fmaxf(FIRST_SHARE * all, FIRST_BLOCKS);
    for (int b = 0; b < g->n; b++)
        sum[b / DW_PATCH_BLOCKS] += g->weight[b];
    while (picked < enough) {
        int best = -1;
        for (int i = 0; i < DW_PATCHES; i++)
            if (g->patch[i] && !g->first_patch[i] && (best < 0 || sum[i] > sum[best]))
                best = i;
        if (best < 0)
            break; /* there is no more */
        g->first_patch[best] = true;
        picked += sum[best];
    }
    for (int b = 0; b < g->n; b++)
        g->first_weight[b] = g->first_patch[b / DW_PATCH_BLOCKS] ? g->weight[b] : 0;
}

static void list_shots(const struct dw_work *w, struct dw_ground *g)
{
    const struct dw_measure *first = NULL; /* places hold for its size alone */
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_measure *m = &w->survey->measure[i];
        if (!m->usable || m->n_patches == 0 ||
            (first && (m->width != first->width || m->height != first->height)))
            continue;
        if (!first) {
            first = m;
            struct dw_patch_place at[DW_PATCHES];
            int n = dw_patch_places(m->width, m->height, at);
            g->n = dw_block_places(at, n, m->width, m->height, g->at);
        }
        g->shot[g->shots++] = i;
    }
}

enum dw_status dw_ground_learn(struct dw_work *w, struct dw_ground *g, struct dw_error *err)
{
    *g = (struct dw_ground){0};
    g->shot = DW_TAKE(&w->arena, w->n, size_t);
    if (!g->shot)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    list_shots(w, g);
    struct lesson l = {.w = w, .g = g};
    l.steps = (size_t)fmax(LEAST_STEPS, fmin(LATER_S / w->interval, 60));
    if (g->n == 0 || g->shots < l.steps + ENOUGH_PAIRS) {
        g->n = 0;
        return DW_OK;
    }
    l.pairs = g->shots - l.steps < SAMPLES ? g->shots - l.steps : SAMPLES;
    size_t mark = w->arena.n;
    l.alike = DW_TAKE(&w->arena, l.pairs * (size_t)g->n, float);
    double *work = DW_TAKE(&w->arena, l.pairs, double);
    if (!l.alike || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", g->shots);
    struct dw_pool_work pool = {dw_viewer_start, look_at_pair, dw_viewer_finish, &l, "comparing"};
    enum dw_status status = dw_pool_run(&pool, l.pairs, w->run, err);
    float sum = 0;
    for (int b = 0; b < g->n && status >= 0; b++) {
        sum += g->weight[b] = weigh(&l, b, work);
        g->patch[b / DW_PATCH_BLOCKS] |= g->weight[b] > 0;
    }
    if (sum < ENOUGH_BLOCKS)
        g->n = 0;
    pick_first(g, sum);
    dw_arena_free_to(&w->arena, mark);
    return status;
}
