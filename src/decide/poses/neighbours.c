/* neighbours.c: see neighbours.h. */
#include "decide/poses/neighbours.h"
#include "base/pool.h"
#include "base/robust.h"

#include <math.h>

#define CHUNK 48 /* shots that one worker reads in a row */
#define REACH 12 /* shots to either side that say what is usual */

/* Lengths in cells of 2x2 mosaic pixels. */
static const struct {
    double sigmas; /* a step is no less than so many of its standard deviations, */
    double habits; /* nor than so many of what neighbours do by wind */
    double known;  /* a comparison with a larger sigma says nothing */
    double agree;  /* nor one in which fewer blocks agree */
    double alike;  /* nor one in which ground does not look like itself */
    int voters;    /* nor one with fewer of them */
    int calm;      /* so often must few patches tell that nothing happened to be asked alone */
    double unlike; /* neighbours less alike than this share of what is usual are looked at again, */
    double near;   /* and so are those further apart than this share of the least step */
} rules = {6, 6, 0.15, 0.5, 0.5, 3, 4, 0.8, 0.9};

bool dw_shift_says(const struct dw_shift *s)
{
    return s->sigma < rules.known && s->agree >= rules.agree && s->alike >= rules.alike &&
           s->voters >= rules.voters;
}

double dw_shift_length(const struct dw_shift *s)
{
    return hypot(s->x, s->y);
}

/* By its own word nothing happened. */
static bool plainly_nothing(const struct dw_shift *s)
{
    return dw_shift_says(s) && dw_shift_length(s) <= rules.near * DW_LEAST_STEP;
}

/* One step of the iteration from nothing is enough to see that nothing happened. weight: of the
 * blocks that both views show. */
static void step_from_nothing(const struct dw_ground *g, const struct dw_view *a,
                              const struct dw_view *b, const float *weight, struct dw_block *block,
                              struct dw_shift *out)
{
    const struct dw_shift nothing = {0};
    dw_register_step(a, b, weight, g->at, &nothing, block);
    dw_vote(block, weight, g->at, g->n, false, &nothing, out);
}

/* The views of listed shots i-1 and i at hand. calm: so many shots in a row the patches of the
 * first look told that nothing happened. From rules.calm on they are asked alone, until they do
 * not. */
static enum dw_status take_step(struct dw_neighbours *nb, struct dw_viewer *v, size_t i, int *calm,
                                struct dw_error *err)
{
    const struct dw_ground *g = nb->ground;
    const struct dw_shift nothing = {0};
    const struct dw_view *a = &v->view[(i + 1) % 2], *b = &v->view[i % 2];
    struct dw_block block[DW_MAX_BLOCKS];
    struct dw_shift *step = &nb->step[i];
    enum dw_status status = DW_OK;
    if (*calm >= rules.calm) {
        step_from_nothing(g, a, b, g->first_weight, block, step);
        if (plainly_nothing(step))
            return DW_OK;
        *calm = 0;
        for (size_t k = i - 1; k <= i && status >= 0; k++)
            status = dw_viewer_look(v, nb->w, g->shot[k], k % 2, g->patch, err);
        if (status < 0)
            return status;
    }
    step_from_nothing(g, a, b, g->weight, block, step);
    struct dw_shift first;
    dw_vote(block, g->first_weight, g->at, g->n, false, &nothing, &first);
    *calm = plainly_nothing(&first) ? *calm + 1 : 0;
    return DW_OK;
}

static enum dw_status take_steps(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct dw_neighbours *nb = ctx;
    const struct dw_ground *g = nb->ground;
    size_t from = item * CHUNK, to = from + CHUNK < g->shots ? from + CHUNK : g->shots;
    int calm = rules.calm;
    for (size_t i = from ? from - 1 : 0; i < to; i++) {
        const bool *wanted = calm >= rules.calm ? g->first_patch : g->patch;
        enum dw_status s = dw_viewer_look(state, nb->w, g->shot[i], i % 2, wanted, err);
        if (s >= 0 && i >= from && i > 0)
            s = take_step(nb, state, i, &calm, err);
        if (s < 0)
            return s;
    }
    return DW_OK;
}

static enum dw_status look_again(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct dw_neighbours *nb = ctx;
    size_t i = nb->doubtful[item];
    return dw_ground_compare(nb->w, nb->ground, state, nb->ground->shot[i - 1], nb->ground->shot[i],
                             &nb->step[i], err);
}

/* Steps that are not plainly nothing. */
static size_t find_doubtful(struct dw_neighbours *nb)
{
    double work[2 * REACH + 1];
    size_t n = 0, shots = nb->ground->shots;
    for (size_t i = 1; i < shots; i++) {
        const struct dw_shift *s = &nb->step[i];
        size_t m = 0, from = i > REACH ? i - REACH : 1,
               to = i + REACH < shots ? i + REACH : shots - 1;
        for (size_t k = from; k <= to; k++)
            if (isfinite(nb->step[k].sigma))
                work[m++] = nb->step[k].alike;
        double usual = m ? dw_median(work, m) : 0;
        if (!(usual > 0))
            continue; /* dark: nobody sees anything */
        if (!plainly_nothing(s) || s->alike < rules.unlike * usual)
            nb->doubtful[n++] = i;
    }
    return n;
}

enum dw_status dw_neighbours_compare(struct dw_neighbours *nb, struct dw_error *err)
{
    size_t mark = nb->w->arena.n, shots = nb->ground->shots;
    nb->doubtful = DW_TAKE(&nb->w->arena, shots, size_t);
    if (!nb->doubtful)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", shots);
    for (size_t i = 0; i < shots; i++)
        nb->step[i].sigma = (double)INFINITY;
    struct dw_pool_work pool = {dw_viewer_start, take_steps, dw_viewer_finish, nb, "comparing"};
    enum dw_status s = dw_pool_run(&pool, (shots + CHUNK - 1) / CHUNK, nb->w->run, err);
    size_t n = s < 0 ? 0 : find_doubtful(nb);
    pool.item = look_again;
    if (n)
        s = dw_pool_run(&pool, n, nb->w->run, err);
    dw_arena_free_to(&nb->w->arena, mark);
    return s;
}

/* How far neighbours of listed shot i stray from one another: wind, heat. */
static double habit(const struct dw_neighbours *nb, size_t i)
{
    double work[2 * REACH + 1];
    size_t n = 0;
    for (size_t k = i > REACH ? i - REACH : 1; k < nb->ground->shots && k <= i + REACH; k++)
        if (k != i && dw_shift_says(&nb->step[k]))
            work[n++] = dw_shift_length(&nb->step[k]);
    return n ? dw_median(work, n) : 0;
}

bool dw_neighbours_bumped(const struct dw_neighbours *nb, size_t i, const struct dw_shift *s)
{
    double least = fmax(rules.sigmas * s->sigma, rules.habits * habit(nb, i));
    return dw_shift_says(s) && dw_shift_length(s) > fmax(DW_LEAST_STEP, least);
}
