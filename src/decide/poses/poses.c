/* poses.c: where the camera stood. A neighbour that is bumped begins a new stretch; stretches are
 * compared with those before them, so that a shake that comes back is no new pose. */
#include "decide/poses/far.h"
#include "decide/poses/neighbours.h"
#include "decide/steps.h"

#include <math.h>

static const struct {
    size_t shake; /* a stretch of up to so many shots that is left for an old place is a shake */
    double gap_s; /* stretches further apart than this are not compared: other light */
    size_t sure;  /* shots of a stretch from which on it is compared with for its own sake */
    size_t back;  /* so many stretches before one are asked for its place */
} rules = {5, 5400, 3, 4};

struct stretch {
    size_t first, n; /* in `known` */
    int pose;
    struct dw_shift by; /* against the stretch before it */
    bool shake;
    bool far; /* `by` is told by the small pictures: the patches share nothing */
};

struct chain {
    struct dw_work *w;
    struct dw_ground ground;
    struct dw_viewer viewer; /* of the calling thread */
    struct dw_neighbours near;
    size_t *known, n_known; /* listed shots whose place is known, in order */
    struct stretch *stretch;
    size_t n_stretches;
    struct dw_shift *pose;
    int n_poses;
};

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
        if (!dw_shift_says(&s))
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
    for (size_t back = 1; back <= rules.back && back <= k; back++) {
        const struct stretch *old = &c->stretch[k - back];
        if (back > 1 &&
            begin - utc[c->ground.shot[c->known[old->first + old->n - 1]]] > rules.gap_s)
            break;
        if (back > 1 && old->n < rules.sure && c->stretch[k - 1].n >= rules.sure)
            continue;
        struct dw_shift by = s->by;
        enum dw_status status = DW_OK;
        if (back > 1 || !s->far)
            status = between(c, old, s, &by, err);
        if (status < 0)
            return status;
        if (back == 1)
            s->by = by;
        if (!isfinite(by.sigma))
            continue;
        if (dw_shift_length(&by) < DW_LEAST_STEP) {
            s->pose = old->pose;
            return DW_OK;
        }
        if (placed && old->n < rules.sure)
            continue;
        const struct dw_shift *base = &c->pose[old->pose];
        c->pose[c->n_poses] = (struct dw_shift){.x = base->x + by.x,
                                                .y = base->y + by.y,
                                                .turn = base->turn + by.turn,
                                                .sigma = hypot(base->sigma, by.sigma)};
        placed = true;
        if (old->n >= rules.sure)
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
        bool told = i > 0 && dw_shift_says(&c->near.step[i]),
             tells = i + 1 < g->shots && dw_shift_says(&c->near.step[i + 1]);
        if (!told && !tells)
            continue;
        struct dw_shift s = c->near.step[i];
        size_t last = first ? 0 : c->known[c->n_known - 1];
        if (!first && (last + 1 != i || !told)) {
            enum dw_status status =
                dw_ground_compare(c->w, g, &c->viewer, g->shot[last], g->shot[i], &s, err);
            if (status < 0)
                return status;
        }
        bool far = false;
        if (!first && !dw_shift_says(&s) && last + 1 == i && tells &&
            dw_shift_says(&c->near.step[last])) { /* both show ground, and not the same */
            enum dw_status status = dw_far_shift(c->w, g->shot[last], g->shot[i], &s, err);
            if (status < 0)
                return status;
            far = isfinite(s.sigma);
        }
        if (first || far || dw_neighbours_bumped(&c->near, i, &s))
            c->stretch[c->n_stretches++] =
                (struct stretch){.first = c->n_known, .by = s, .far = far};
        c->known[c->n_known++] = i;
        c->stretch[c->n_stretches - 1].n++;
    }
    return DW_OK;
}

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
    c.near = (struct dw_neighbours){.w = w, .ground = &c.ground};
    w->pose = DW_TAKE(&w->arena, w->n, int);
    w->shift = DW_TAKE(&w->arena, w->n, struct dw_shift);
    w->bump = DW_TAKE(&w->arena, w->n, struct dw_bump);
    size_t mark = w->arena.n;
    c.near.step = DW_TAKE(&w->arena, w->n + 1, struct dw_shift);
    c.known = DW_TAKE(&w->arena, w->n, size_t);
    c.stretch = DW_TAKE(&w->arena, w->n, struct stretch);
    c.pose = DW_TAKE(&w->arena, w->n + 1, struct dw_shift);
    if (!w->pose || !w->shift || !w->bump || !c.near.step || !c.known || !c.stretch || !c.pose)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    enum dw_status s = w->params->few ? DW_OK : dw_ground_learn(w, &c.ground, err);
    if (s >= 0 && c.ground.n > 0)
        s = dw_neighbours_compare(&c.near, err);
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
