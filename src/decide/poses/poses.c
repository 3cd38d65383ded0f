/* poses.c: where the camera stood. Neighbouring shots are compared over the blocks that are ground;
 * what is displaced by more than chance and wind begins a new stretch; stretches are compared with
 * those before them, so that a shake that comes back is no new pose. */
#include "decide/poses/ground.h"
#include "decide/steps.h"
#include "base/pool.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Lengths in cells of 2x2 mosaic pixels. */
static const struct {
    double least;  /* a step is no less than this: nobody sees less in a finished picture */
    double sigmas; /* nor than so many of its standard deviations, */
    double habits; /* nor than so many of what neighbours do by wind */
    double known;  /* a comparison with a larger sigma says nothing */
    double agree;  /* nor one in which fewer blocks agree */
    double alike;  /* nor one in which ground does not look like itself */
    int voters;    /* nor one with fewer of them */
    double unlike; /* neighbours less alike than this share of what is usual are looked at again */
    int reach;     /* shots to either side that say what is usual */
    size_t shake;  /* a stretch of up to so many shots that is left for an old place is a shake */
    double gap_s;  /* stretches further apart than this are not compared: other light */
} rules = {0.25, 6, 6, 0.15, 0.5, 0.5, 3, 0.8, 12, 5, 5400};

struct stretch {
    size_t first, n; /* in `known` */
    int pose;
    struct dw_shift by; /* against the stretch before it */
    bool shake;
};

struct chain {
    struct dw_work *w;
    struct dw_ground ground;
    struct dw_viewer viewer; /* of the calling thread */
    struct dw_shift *step;   /* per listed shot: from the one before it */
    size_t *todo;            /* listed shots whose step is looked at again */
    size_t *known, n_known;  /* listed shots whose place is known, in order */
    struct stretch *stretch;
    size_t n_stretches;
    struct dw_shift *pose;
    int n_poses;
};

static bool says(const struct dw_shift *s)
{
    return s->sigma < rules.known && s->agree >= rules.agree && s->alike >= rules.alike &&
           s->voters >= rules.voters;
}

static double length(const struct dw_shift *s)
{
    return hypot(s->x, s->y);
}

/* ---- steps ---- */

#define CHUNK 48

static void *start_viewer(void *ctx, struct dw_error *err)
{
    (void)ctx;
    struct dw_viewer *v = calloc(1, sizeof *v);
    if (!v)
        dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing shots");
    return v;
}

static void end_viewer(void *ctx, void *state)
{
    (void)ctx;
    dw_viewer_free(state);
    free(state);
}

/* One step of the iteration from nothing is enough to see that nothing happened. */
static enum dw_status take_steps(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct chain *c = ctx;
    struct dw_viewer *v = state;
    const struct dw_ground *g = &c->ground;
    const struct dw_shift nothing = {0};
    struct dw_block block[DW_MAX_BLOCKS];
    size_t from = item * CHUNK, to = from + CHUNK < g->shots ? from + CHUNK : g->shots;
    for (size_t i = from ? from - 1 : 0; i < to; i++) {
        enum dw_status s = dw_ground_view(c->w, g->shot[i], &v->work, &v->view[i % 2], err);
        if (s < 0)
            return s;
        if (i < from || i == 0)
            continue;
        const struct dw_view *a = &v->view[(i + 1) % 2], *b = &v->view[i % 2];
        dw_register_step(a, b, g->weight, g->at, &nothing, block);
        dw_vote(block, g->weight, g->at, g->n, false, &nothing, &c->step[i]);
    }
    return DW_OK;
}

static enum dw_status look_again(void *ctx, void *state, size_t item, struct dw_error *err)
{
    struct chain *c = ctx;
    size_t i = c->todo[item];
    return dw_ground_compare(c->w, &c->ground, state, c->ground.shot[i - 1], c->ground.shot[i],
                             &c->step[i], err);
}

/* Steps that are not plainly nothing. work: 2*reach+1 numbers. */
static size_t find_doubtful(struct chain *c)
{
    double work[64];
    size_t n = 0, shots = c->ground.shots, reach = (size_t)rules.reach;
    for (size_t i = 1; i < shots; i++) {
        const struct dw_shift *s = &c->step[i];
        size_t m = 0, from = i > reach ? i - reach : 1,
               to = i + reach < shots ? i + reach : shots - 1;
        for (size_t k = from; k <= to; k++)
            if (isfinite(c->step[k].sigma))
                work[m++] = c->step[k].alike;
        double usual = m ? dw_median(work, m) : 0;
        if (!(usual > 0))
            continue; /* dark: nobody sees anything */
        if (!says(s) || length(s) > 0.4 * rules.least || s->alike < rules.unlike * usual)
            c->todo[n++] = i;
    }
    return n;
}

static enum dw_status find_steps(struct chain *c, struct dw_error *err)
{
    for (size_t i = 0; i < c->ground.shots; i++)
        c->step[i].sigma = (double)INFINITY;
    struct dw_pool_work pool = {start_viewer, take_steps, end_viewer, c, "comparing"};
    enum dw_status s = dw_pool_run(&pool, (c->ground.shots + CHUNK - 1) / CHUNK, c->w->run, err);
    if (s < 0)
        return s;
    pool.item = look_again;
    size_t n = find_doubtful(c);
    return n ? dw_pool_run(&pool, n, c->w->run, err) : DW_OK;
}

/* How far neighbours of listed shot i stray from one another: wind, heat. */
static double habit(const struct chain *c, size_t i)
{
    double work[64];
    size_t n = 0, reach = (size_t)rules.reach;
    for (size_t k = i > reach ? i - reach : 1; k < c->ground.shots && k <= i + reach; k++)
        if (k != i && says(&c->step[k]))
            work[n++] = length(&c->step[k]);
    return n ? dw_median(work, n) : 0;
}

static bool is_step(const struct dw_shift *s, double wind)
{
    return says(s) &&
           length(s) > fmax(rules.least, fmax(rules.sigmas * s->sigma, rules.habits * wind));
}

/* ---- stretches ---- */

/* Displacement from one stretch to another: the weighted mean over a few pairs of their near ends,
 * whose light is most alike. sigma = INFINITY when they do not tell. */
static enum dw_status between(struct chain *c, const struct stretch *a, const struct stretch *b,
                              struct dw_shift *out, struct dw_error *err)
{
    static const size_t pair[][2] = {{0, 0}, {1, 0}, {0, 1}, {1, 1}, {2, 0}, {0, 2}};
    double sum[4] = {0};
    *out = (struct dw_shift){.sigma = (double)INFINITY};
    for (size_t k = 0; k < sizeof pair / sizeof *pair; k++) {
        if (pair[k][0] >= a->n || pair[k][1] >= b->n)
            continue;
        size_t i = c->known[a->first + a->n - 1 - pair[k][0]], j = c->known[b->first + pair[k][1]];
        struct dw_shift s;
        enum dw_status status = dw_ground_compare(c->w, &c->ground, &c->viewer, c->ground.shot[i],
                                                  c->ground.shot[j], &s, err);
        if (status < 0)
            return status;
        if (!says(&s))
            continue;
        double weight = 1 / (s.sigma * s.sigma + 1e-4);
        sum[0] += weight;
        sum[1] += weight * s.x;
        sum[2] += weight * s.y;
        sum[3] += weight * s.turn;
        out->agree = fmax(out->agree, s.agree);
        out->alike = fmax(out->alike, s.alike);
        out->voters = s.voters > out->voters ? s.voters : out->voters;
    }
    if (sum[0] > 0) {
        out->x = sum[1] / sum[0];
        out->y = sum[2] / sum[0];
        out->turn = sum[3] / sum[0];
        out->sigma = 1 / sqrt(sum[0]);
    }
    return DW_OK;
}

/* A stretch that goes on in an earlier one's place has its pose; else it gets a new one. */
static enum dw_status place(struct chain *c, size_t k, struct dw_error *err)
{
    struct stretch *s = &c->stretch[k];
    const double *utc = c->w->utc;
    double begin = utc[c->ground.shot[c->known[s->first]]];
    bool placed = false;
    for (size_t back = 1; back <= 4 && back <= k; back++) {
        const struct stretch *old = &c->stretch[k - back];
        if (back > 1 &&
            begin - utc[c->ground.shot[c->known[old->first + old->n - 1]]] > rules.gap_s)
            break;
        if (back > 1 && old->n < 3 && c->stretch[k - 1].n >= 3)
            continue;
        struct dw_shift by;
        enum dw_status status = between(c, old, s, &by, err);
        if (status < 0)
            return status;
        if (back == 1)
            s->by = by;
        if (!isfinite(by.sigma))
            continue;
        if (length(&by) < rules.least) {
            s->pose = old->pose;
            return DW_OK;
        }
        if (placed && old->n < 3)
            continue;
        const struct dw_shift *base = &c->pose[old->pose];
        c->pose[c->n_poses] = (struct dw_shift){.x = base->x + by.x,
                                                .y = base->y + by.y,
                                                .turn = base->turn + by.turn,
                                                .sigma = hypot(base->sigma, by.sigma)};
        placed = true;
        if (old->n >= 3)
            break;
    }
    s->pose = placed ? c->n_poses++ : c->stretch[k - 1].pose;
    return DW_OK;
}

/* Begins a stretch at every step; shots that show nothing are passed over. */
static enum dw_status find_stretches(struct chain *c, struct dw_error *err)
{
    const struct dw_ground *g = &c->ground;
    for (size_t i = 0; i < g->shots; i++) {
        bool first = c->n_known == 0;
        /* a shot whose neighbour behind it agrees with it shows something */
        bool told = i > 0 && says(&c->step[i]), tells = i + 1 < g->shots && says(&c->step[i + 1]);
        if (!told && !tells)
            continue;
        struct dw_shift s = c->step[i];
        size_t last = first ? 0 : c->known[c->n_known - 1];
        if (!first && (last + 1 != i || !told)) {
            enum dw_status status =
                dw_ground_compare(c->w, g, &c->viewer, g->shot[last], g->shot[i], &s, err);
            if (status < 0)
                return status;
        }
        if (first || is_step(&s, habit(c, i)))
            c->stretch[c->n_stretches++] = (struct stretch){.first = c->n_known};
        c->known[c->n_known++] = i;
        c->stretch[c->n_stretches - 1].n++;
    }
    return DW_OK;
}

/* ---- what the others get ---- */

static void number_from_the_longest(struct chain *c)
{
    size_t best = 0;
    int longest = 0;
    for (int p = 0; p < c->n_poses; p++) {
        size_t n = 0;
        for (size_t k = 0; k < c->n_stretches; k++)
            n += c->stretch[k].pose == p ? c->stretch[k].n : 0;
        if (n > best) {
            best = n;
            longest = p;
        }
    }
    struct dw_shift base = c->pose[longest];
    for (int p = 0; p < c->n_poses; p++) {
        c->pose[p].x -= base.x;
        c->pose[p].y -= base.y;
        c->pose[p].turn -= base.turn;
    }
    for (size_t k = 0; k < c->n_stretches; k++) {
        int p = c->stretch[k].pose;
        c->stretch[k].pose = p == longest ? 0 : p == 0 ? longest : p;
    }
    c->pose[longest] = c->pose[0];
    c->pose[0] = (struct dw_shift){0};
}

static void tell(struct chain *c)
{
    struct dw_work *w = c->w;
    size_t shot = 0;
    for (size_t k = 0; k < c->n_stretches; k++) {
        struct stretch *s = &c->stretch[k];
        bool left = k + 1 < c->n_stretches && c->stretch[k + 1].pose != s->pose;
        bool back = false;
        for (size_t b = 0; b < k && left; b++)
            back |= c->stretch[b].pose == c->stretch[k + 1].pose;
        s->shake = k > 0 && back && s->n <= rules.shake && c->stretch[k - 1].pose != s->pose &&
                   !c->stretch[k - 1].shake;
        bool moved = k > 0 && c->stretch[k - 1].pose != s->pose && !c->stretch[k - 1].shake;
        for (size_t m = 0; moved && m < (s->shake ? s->n : 1); m++) {
            size_t i = c->ground.shot[c->known[s->first + m]];
            w->bump[i] = (struct dw_bump){s->shake ? DW_SHAKEN : DW_BUMPED, s->by,
                                          c->ground.shot[c->known[s->first - 1]]};
        }
        /* shots that show nothing stay with the stretch before them */
        size_t end =
            k + 1 < c->n_stretches ? c->ground.shot[c->known[c->stretch[k + 1].first]] : w->n;
        for (; shot < end; shot++) {
            w->pose[shot] = s->pose;
            w->shift[shot] = c->pose[s->pose];
        }
    }
}

enum dw_status dw_poses(struct dw_work *w, struct dw_error *err)
{
    struct chain c = {.w = w};
    w->pose = DW_TAKE(&w->arena, w->n, int);
    w->shift = DW_TAKE(&w->arena, w->n, struct dw_shift);
    w->bump = DW_TAKE(&w->arena, w->n, struct dw_bump);
    size_t mark = w->arena.n;
    c.step = DW_TAKE(&w->arena, w->n + 1, struct dw_shift);
    c.todo = DW_TAKE(&w->arena, w->n, size_t);
    c.known = DW_TAKE(&w->arena, w->n, size_t);
    c.stretch = DW_TAKE(&w->arena, w->n, struct stretch);
    c.pose = DW_TAKE(&w->arena, w->n + 1, struct dw_shift);
    if (!w->pose || !w->shift || !w->bump || !c.step || !c.todo || !c.known || !c.stretch ||
        !c.pose)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    enum dw_status s = w->params->few ? DW_OK : dw_ground_learn(w, &c.ground, err);
    if (s >= 0 && c.ground.n > 0)
        s = find_steps(&c, err);
    if (s >= 0 && c.ground.n > 0)
        s = find_stretches(&c, err);
    if (s >= 0 && c.n_stretches > 0)
        c.n_poses = 1; /* the first stretch's */
    for (size_t k = 1; k < c.n_stretches && s >= 0; k++)
        s = place(&c, k, err);
    if (s >= 0 && c.n_stretches > 1) {
        number_from_the_longest(&c);
        tell(&c);
    }
    dw_viewer_free(&c.viewer);
    dw_arena_free_to(&w->arena, mark);
    return s;
}
