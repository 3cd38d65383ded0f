/* edged.c: see edged.h. Areas are joined run by run (union-find; Rosenfeld & Pfaltz 1966, J. ACM
 * 13, 471, from memory). */
#include "render/edged.h"

#include "render/ramp.h"

#include <string.h>

#define BESIDE 2 /* cells: the next one may be a mixture of both sides */
/* A cell there darker than this may be another thing; by so much more, and it is for sure. */
#define OTHER_BELOW 0.7f
#define OTHER_SCALE (1 / 0.2f)
/* An area of whose rim more than this is an edge ends there, and 1 / how much more makes sure of
 * it. A glow behind a skyline is edged on one side. */
#define EDGED_FROM 0.7f
#define EDGED_SCALE (1 / 0.2f)

/* Cells that are lost in part; so, and beside what has lost all; lost wholly. Areas are of one
 * kind, but a seam, cells that the edge of light cuts through, belongs to what it lies along. */
enum kind { NOT_LOST, SOME, SEAM, ALL };

struct run {
    enum kind kind;
    uint8_t level;
    int y, first, last;
    uint32_t area;   /* index of a run of the same area; of the one that stands for it its own */
    float rim, edge; /* cells looked at beside it; how many of them are another thing */
};

static uint32_t area_of(struct run *run, uint32_t i)
{
    while (run[i].area != i) {
        run[i].area = run[run[i].area].area;
        i = run[i].area;
    }
    return i;
}

struct levels {
    const uint8_t *level;
    int width, height;
};

static bool all_lost_about(const struct levels *l, int x, int y)
{
    for (int v = y > 0 ? y - 1 : 0; v <= y + 1 && v < l->height; v++)
        for (int u = x > 0 ? x - 1 : 0; u <= x + 1 && u < l->width; u++)
            if (l->level[(size_t)v * (size_t)l->width + (size_t)u] == DW_ALL_LOST)
                return true;
    return false;
}

static enum kind kind_of(const struct levels *l, int x, int y)
{
    uint8_t level = l->level[(size_t)y * (size_t)l->width + (size_t)x];
    if (level < DW_SOME_LOST)
        return NOT_LOST;
    if (level == DW_ALL_LOST)
        return ALL;
    return all_lost_about(l, x, y) ? SEAM : SOME;
}

static size_t count_runs(const struct levels *l, int y)
{
    size_t n = 0;
    enum kind last = NOT_LOST;
    for (int x = 0; x < l->width; x++) {
        enum kind own = kind_of(l, x, y);
        n += own != NOT_LOST && own != last;
        last = own;
    }
    return n;
}

static void look_at(struct run *r, uint8_t level)
{
    if (level >= DW_SOME_LOST && level >= r->level)
        return;
    r->rim += 1;
    r->edge += level == DW_SOME_LOST
                   ? 0
                   : dw_ramp(-(float)level / DW_LEVEL_STEPS, -OTHER_BELOW, OTHER_SCALE);
}

static void look_beside(struct run *r, const struct levels *l)
{
    int width = l->width, height = l->height;
    const uint8_t *row = l->level + (size_t)r->y * (size_t)width;
    if (r->first >= BESIDE)
        look_at(r, row[r->first - BESIDE]);
    if (r->last + BESIDE < width)
        look_at(r, row[r->last + BESIDE]);
    for (int side = -1; side <= 1; side += 2) {
        int far = r->y + side * BESIDE;
        if (far < 0 || far >= height)
            continue;
        const uint8_t *next = row + side * (ptrdiff_t)width;
        const uint8_t *at = row + side * BESIDE * (ptrdiff_t)width;
        for (int x = r->first; x <= r->last; x++)
            if (next[x] != r->level)
                look_at(r, at[x]);
    }
}

/* Two runs touch. What lies next to light that has lost all is that light's, run by run: or a glow
 * that a lit wall touches would be an end of the wall's seam and be taken for a lamp. */
static void touch(struct run *run, size_t i, size_t k)
{
    enum kind a = run[i].kind, b = run[k].kind;
    if (a == SEAM && b == ALL)
        run[i].area = (uint32_t)k;
    else if (a == ALL && b == SEAM)
        run[k].area = (uint32_t)i;
    else if (a == b && a != SEAM)
        run[area_of(run, (uint32_t)k)].area = area_of(run, (uint32_t)i);
}

/* Appends the runs of row y; gives how many there are then. */
static size_t add_row(struct run *run, size_t n, const struct levels *l, int y)
{
    const uint8_t *row = l->level + (size_t)y * (size_t)l->width;
    for (int x = 0; x < l->width; x++) {
        enum kind kind = kind_of(l, x, y);
        if (kind == NOT_LOST)
            continue;
        struct run r = {kind, row[x], .y = y, .first = x, .area = (uint32_t)n};
        while (x + 1 < l->width && kind_of(l, x + 1, y) == kind)
            x++;
        r.last = x;
        look_beside(&r, l);
        run[n++] = r;
        if (r.first > 0 && row[r.first - 1] >= DW_SOME_LOST)
            touch(run, n - 2, n - 1);
    }
    return n;
}

/* Joins the runs from..middle of a row with those of the next one, middle..end, that they touch. */
static void join(struct run *run, size_t from, size_t middle, size_t end)
{
    size_t first = middle; /* that may touch a run of the row above, also by a corner */
    for (size_t i = from; i < middle; i++) {
        while (first < end && run[first].last + 1 < run[i].first)
            first++;
        for (size_t k = first; k < end && run[k].first <= run[i].last + 1; k++)
            touch(run, i, k);
    }
}

/* What all runs saw, to those that stand for their areas. */
static void add_up(struct run *run, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        struct run *area = &run[area_of(run, (uint32_t)i)];
        if (area == &run[i])
            continue;
        area->rim += run[i].rim;
        area->edge += run[i].edge;
    }
}

enum dw_status dw_edged_find(struct dw_edged *e, const uint8_t *level, const bool *marked,
                             int width, int height, struct dw_error *err)
{
    const struct levels l = {level, width, height};
    size_t n = 0;
    for (int y = 0; y < height; y++)
        if (marked[y])
            n += count_runs(&l, y);
    e->n = 0;
    if (!dw_grow(&e->run, n * sizeof(struct run)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for %zu runs of saturated light", n);
    struct run *run = e->run.p;
    size_t above = 0;
    for (int y = 0; y < height; y++) {
        size_t first = e->n;
        if (marked[y])
            e->n = add_row(run, e->n, &l, y);
        join(run, above, first, e->n);
        above = first;
    }
    add_up(run, e->n);
    return DW_OK;
}

void dw_edged_add(const struct dw_edged *e, int width, int height, struct dw_sums *map, int cols,
                  int rows)
{
    struct run *run = e->run.p;
    for (size_t i = 0; i < e->n; i++) {
        const struct run *r = &run[i], *area = &run[area_of(run, (uint32_t)i)];
        if (!(area->rim > 0))
            continue;
        float share = dw_ramp(area->edge / area->rim, EDGED_FROM, EDGED_SCALE);
        struct dw_sums *row = map + (size_t)((long)r->y * rows / height) * (size_t)cols;
        for (int x = r->first; x <= r->last; x++) {
            struct dw_sums *t = &row[(long)x * cols / width];
            t->lost += 1;
            t->edged += share;
        }
    }
}

void dw_edged_free(struct dw_edged *e)
{
    dw_grow_free(&e->run);
    e->n = 0;
}
