/* same_light.c: see same_light.h. */
#include "decide/faults/same_light.h"
#include "base/each.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

static const struct dw_same_light_params defaults = DW_SAME_LIGHT_DEFAULTS;

/* What makes a class, in the order in which classes are walked. */
struct key {
    int pose, side, step; /* side: -1 setting, 1 rising, 0 either; step INT_MIN/2: deep night */
    size_t shot;
};
#define DEEP (-10000)

static int side_of(const struct dw_work *w, size_t i)
{
    size_t a = i > 0 ? i - 1 : i, b = i + 1 < w->n ? i + 1 : i;
    return w->alt[b] > w->alt[a] ? 1 : -1;
}

static struct key key_of(const struct dw_work *w, size_t i, bool sides)
{
    double h = w->alt[i];
    struct key k = {w->pose[i], sides && h > defaults.sides_deg ? side_of(w, i) : 0, DEEP, i};
    if (h >= defaults.deep_deg)
        k.step = (int)lround(h / defaults.step_deg);
    return k;
}

static int compare_class(const struct key *p, const struct key *q)
{
    if (p->pose != q->pose)
        return p->pose < q->pose ? -1 : 1;
    if (p->side != q->side)
        return p->side < q->side ? -1 : 1;
    return (p->step > q->step) - (p->step < q->step);
}

static int by_class(const void *a, const void *b)
{
    const struct key *p = a, *q = b;
    int c = compare_class(p, q);
    return c ? c : (p->shot > q->shot) - (p->shot < q->shot);
}

/* Whether two shots show the same things in a tile, but for its edges. */
static bool same_place(const struct dw_work *w, size_t a, size_t b)
{
    if (w->pose[a] == w->pose[b])
        return true;
    const struct dw_shift *p = &w->shift[a], *q = &w->shift[b];
    double half =
        w->survey->measure[a].width / 4.0; /* cells to the edge, where a turn shows most */
    double most = defaults.place * 2 * half / w->survey->cols;
    return hypot((double)(p->x - q->x), (double)(p->y - q->y)) +
               fabs((double)(p->turn - q->turn)) * half <
           most;
}

static bool alike(const struct dw_work *w, const struct key *class, const struct key *other)
{
    if (!same_place(w, class->shot, other->shot))
        return false;
    double h = w->alt[other->shot];
    if (class->step == DEEP)
        return h < defaults.deep_reach_deg;
    double off = fabs(h - class->step * defaults.step_deg);
    if (class->side == 0)
        return off < defaults.reach_deg;
    return off < defaults.side_reach_deg && side_of(w, other->shot) == class->side;
}

struct classes {
    const struct dw_work *w;
    const struct key *key, *sorted; /* n shots: in their order; by class */
    const size_t *shot;             /* as sorted */
    const size_t *first;            /* of each class, in `sorted`; n behind the last */
    size_t n;
    dw_light_judge *judge;
    void *ctx;
};

static enum dw_status judge_classes(void *ctx, void *work, size_t from, size_t to,
                                    struct dw_error *err)
{
    (void)err;
    const struct classes *s = ctx;
    size_t *like = work;
    for (size_t k = from; k < to; k++) {
        size_t a = s->first[k];
        struct dw_light_class c = {s->shot + a, like, s->first[k + 1] - a, 0};
        for (size_t j = 0; j < s->n; j++)
            if (alike(s->w, &s->sorted[a], &s->key[j]))
                like[c.n_like++] = s->key[j].shot;
        s->judge(s->ctx, &c, like + s->n);
    }
    return DW_OK;
}

enum dw_status dw_same_light(struct dw_work *w, const struct dw_ledger_row *ledger,
                             uint32_t without, bool sides, dw_light_judge *judge, void *ctx,
                             size_t work, struct dw_error *err)
{
    struct key *key = malloc((w->n + 1) * sizeof *key), *sorted = malloc((w->n + 1) * sizeof *key);
    size_t *shot = malloc((w->n + 1) * sizeof *shot), *first = malloc((w->n + 1) * sizeof *first);
    enum dw_status status = DW_OK;
    if (!key || !sorted || !shot || !first) {
        status = dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    } else {
        size_t n = 0, classes = 0;
        for (size_t i = 0; i < w->n; i++)
            if (w->usable[i] && !(ledger[i].faults & without))
                sorted[n] = key[n] = key_of(w, i, sides), n++;
        qsort(sorted, n, sizeof *sorted, by_class);
        for (size_t k = 0; k < n; k++) {
            shot[k] = sorted[k].shot;
            if (k == 0 || compare_class(&sorted[k - 1], &sorted[k]) != 0)
                first[classes++] = k;
        }
        first[classes] = n;
        struct classes s = {w, key, sorted, shot, first, n, judge, ctx};
        const struct dw_each each = {classes, 1, n * sizeof *shot + work, judge_classes, &s};
        status = dw_each(&each, w->run, err);
    }
    free(key);
    free(sorted);
    free(shot);
    free(first);
    return status;
}

enum dw_status dw_same_place(struct dw_work *w, const struct dw_ledger_row *ledger,
                             uint32_t without, dw_light_judge *judge, void *ctx, size_t work,
                             struct dw_error *err)
{
    size_t *mine = malloc((w->n + 1) * sizeof *mine), *like = malloc((w->n + 1) * sizeof *like);
    bool *done = calloc(w->n + 1, sizeof *done);
    void *room = malloc(work + 1);
    enum dw_status status = mine && like && done && room
                                ? DW_OK
                                : dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    for (size_t i = 0; i < w->n && status >= 0; i++) {
        if (done[i] || !w->usable[i] || (ledger[i].faults & without))
            continue;
        struct dw_light_class c = {mine, like, 0, 0};
        for (size_t j = 0; j < w->n; j++) {
            if (!w->usable[j] || (ledger[j].faults & without) || !same_place(w, i, j))
                continue;
            like[c.n_like++] = j;
            if (w->pose[j] == w->pose[i]) {
                mine[c.n_mine++] = j;
                done[j] = true;
            }
        }
        judge(ctx, &c, room);
    }
    free(mine);
    free(like);
    free(done);
    free(room);
    return status;
}

void dw_same_light_quantile(const struct dw_light_class *c, const float *value, int tiles, double q,
                            double share, double *out, double *work)
{
    enum { COLUMNS = DW_LIGHT_COLUMNS };
    for (int first = 0; first < tiles; first += COLUMNS) {
        int columns = first + COLUMNS < tiles ? COLUMNS : tiles - first;
        size_t n[COLUMNS] = {0};
        for (size_t j = 0; j < c->n_like; j++) {
            const float *v = value + c->like[j] * (size_t)tiles + first;
            for (int k = 0; k < columns; k++) {
                work[(size_t)k * c->n_like + n[k]] = (double)v[k];
                n[k] += isfinite(v[k]) != 0;
            }
        }
        for (int k = 0; k < columns; k++)
            out[first + k] = n[k] >= 3 && (double)n[k] >= share * (double)c->n_like
                                 ? dw_quantile(work + (size_t)k * c->n_like, n[k], q)
                                 : (double)NAN;
    }
}
