/* edged.c: see edged.h. The spreading is recursive filtering along rows and columns, held up by
 * steps (Gastal & Oliveira 2011, ACM Trans. Graph. 30, 69). */
#include "render/clipped/edged.h"

#include "render/planes/coarse.h"
#include "render/kernels/fastmath.h"
#include "render/planes/ramp.h"

#include <string.h>

#define BESIDE 2 /* cells: the next one may be a mixture of both sides */
#define HELD (2 * BESIDE + 1)
/* Red over blue from which on light is a lamp's rather than the sky's (as in green_line.c), and 1 /
 * how much more makes sure of it. */
#define WARM_FROM 2.0f
#define WARM_SCALE (1 / 1.5f)
/* Patches whose mean light differs by so much in any channel tell each other little. */
#define WALL_FROM 0.1f
#define WALL_WIDE 0.1f
/* Light far beyond the range is flat, so that beside it less is a step: so much less, from this
 * level of its weakest channel on, and 1 / how much more makes sure of it. */
#define FLAT_LESS 0.6f
#define FLAT_FROM 0.9f
#define FLAT_SCALE (1 / 0.08f)
#define NO_WAY (-1.0f)
#define THROUGH_WALLS 1e-3f
#define FADES 0.96f /* what is left of a rim's say from one patch to the next */
#define ROUNDS 2
/* A rim along which light falls off says more than one that is an edge: a glow behind a skyline is
 * edged below, and there farther from where it falls off. */
#define SMOOTH_SAYS 2.0f
#define EDGED_FROM 0.5f
#define EDGED_SCALE (1 / 0.4f)
#define BORDER 0.1f /* of the picture's size */
#define NEXT_TO_NONE 1e-9f
#define MOST_RIM 0.5f /* of a patch's saturated cells: from there on it lies along an edge */

/* Cells beside a dark edge may be mixtures of both its sides; whole ones are the others. */
struct patch {
    float whole, level[3]; /* whole cells that are saturated, sums of their levels */
    float rim;             /* other cells that are */
    float edge, smooth;    /* rims of either kind */
};

enum dw_status dw_edged_begin(struct dw_edged *e, int width, int height, int patch,
                              struct dw_error *err)
{
    e->width = width;
    e->height = height;
    e->cols = dw_coarse_tiles(width, patch);
    e->rows = dw_coarse_tiles(height, patch);
    e->first = e->last = -1;
    size_t n = (size_t)e->cols * (size_t)e->rows;
    if (!dw_grow(&e->ring, ((size_t)HELD + 1) * 3 * (size_t)width * sizeof(float)) ||
        !dw_grow(&e->patch, n * sizeof(struct patch)) || !dw_grow(&e->share, n * sizeof(float)) ||
        !dw_grow(&e->glow, n * sizeof(float)) || !dw_grow(&e->pass, 2 * n * sizeof(float)) ||
        !dw_grow(&e->line, 2 * (size_t)(e->cols + e->rows) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the rims of saturated light");
    memset(e->patch.p, 0, n * sizeof(struct patch));
    memset(e->glow.p, 0, n * sizeof(float));
    return DW_OK;
}

float *dw_edged_levels(struct dw_edged *e, int y)
{
    return (float *)e->ring.p + (size_t)(y % HELD) * 3 * (size_t)e->width;
}

/* How far a cell's light is redder than a sky's: a lamp's, which may fall off smoothly as well. */
static float warmth(const struct dw_edged *e, const float v[3])
{
    return v[2] > 0 ? dw_ramp(v[0] * e->red_to_blue / v[2], WARM_FROM, WARM_SCALE) : 0;
}

/* What the cells of row y see in the rows beside it, of which some may not be held, and beside
 * themselves: edge, smooth, dark; rows behind those that are held. */
static float *look(struct dw_edged *e, int y)
{
    void (*rims)(const float *, const float *, size_t, size_t, float *, float *, float *) =
        dw_kernels_best()->develop->rims;
    size_t width = (size_t)e->width;
    const float *row = dw_edged_levels(e, y);
    float *edge = (float *)e->ring.p + (size_t)HELD * 3 * width, *smooth = edge + width,
          *dark = smooth + width;
    memset(edge, 0, 3 * width * sizeof *edge);
    if (y - BESIDE >= e->first)
        rims(row, dw_edged_levels(e, y - BESIDE), width, width, edge, smooth, dark);
    if (y + BESIDE <= e->last)
        rims(row, dw_edged_levels(e, y + BESIDE), width, width, edge, smooth, dark);
    if (width > BESIDE) {
        size_t n = width - BESIDE;
        rims(row, row + BESIDE, width, n, edge, smooth, dark);
        rims(row + BESIDE, row, width, n, edge + BESIDE, smooth + BESIDE, dark + BESIDE);
    }
    return edge;
}

/* Looks at all cells of row y. */
static void look_at_row(struct dw_edged *e, int y)
{
    size_t width = (size_t)e->width, end = 0;
    const float *row = dw_edged_levels(e, y);
    const float *edge = look(e, y), *smooth = edge + width, *dark = smooth + width;
    size_t first = (size_t)((long)y * e->rows / e->height) * (size_t)e->cols;
    struct patch *p = (struct patch *)e->patch.p + first;
    const float *glow = (const float *)e->glow.p + first;
    for (int q = 0; q < e->cols; q++, p++, glow++) {
        size_t x = end;
        end = (size_t)((long)(q + 1) * e->width / e->cols);
        for (; x < end; x++) {
            float v[3] = {row[x], row[width + x], row[2 * width + x]};
            if (v[0] < DW_LOST_FROM && v[1] < DW_LOST_FROM && v[2] < DW_LOST_FROM)
                continue;
            for (int c = 0; c < 3; c++)
                v[c] = v[c] < 1 ? v[c] : 1;
            p->edge += edge[x];
            if (smooth[x] > 0)
                p->smooth += smooth[x] * (1 - warmth(e, v) * (1 - *glow));
            if (dark[x] > 0.5f) {
                p->rim += 1;
                continue;
            }
            p->whole += 1;
            for (int c = 0; c < 3; c++)
                p->level[c] += v[c];
        }
    }
}

void dw_edged_row(struct dw_edged *e, int y)
{
    if (y != e->last + 1 || e->first < 0)
        e->first = y;
    e->last = y;
    if (y - BESIDE >= e->first)
        look_at_row(e, y - BESIDE);
}

float dw_edged_inside(const struct dw_edged *e, int x, int y, float least)
{
    const size_t at = (size_t)((long)y * e->rows / e->height) * (size_t)e->cols +
                      (size_t)((long)x * e->cols / e->width);
    const struct patch *p = (const struct patch *)e->patch.p + at;
    const float glow = ((const float *)e->glow.p)[at];
    return 1 - dwk_max(glow, least) *
                   dw_ramp(p->rim / (p->rim + p->whole + NEXT_TO_NONE), 0, 1 / MOST_RIM);
}

static bool is_lit(const struct patch *p)
{
    return p->whole + p->rim > 0;
}

/* By how much the light of two patches differs in any channel, and how flat it is because it lies
 * far beyond the range, 0 to 1. NO_WAY, less than 0, where nothing goes from one to the other. */
static float step_between(const struct patch *a, const struct patch *b, float *flat)
{
    *flat = 0;
    if (!is_lit(a) || !is_lit(b) || (a->whole > 0) != (b->whole > 0))
        return NO_WAY;
    float off = 0, least_a = 1, least_b = 1;
    for (int c = 0; c < 3 && a->whole > 0; c++) {
        float v = a->level[c] / a->whole, w = b->level[c] / b->whole, d = v < w ? w - v : v - w;
        off = d > off ? d : off;
        least_a = v < least_a ? v : least_a;
        least_b = w < least_b ? w : least_b;
    }
    *flat = dw_ramp(least_a > least_b ? least_a : least_b, FLAT_FROM, FLAT_SCALE);
    return off;
}

/* Along a line of n patches, each `step` after the last: how much of its say a rim keeps from each
 * to the next. What goes on beyond a patch more on either side is no wall, but light that falls off
 * steeply: a glow towards the horizon does by a tenth a patch. work: 2 n values. */
static void find_passes(const struct patch *p, size_t n, size_t step, float *pass, float *work)
{
    float *steps = work, *flat = work + n;
    for (size_t i = 0; i + 1 < n; i++)
        steps[i] = step_between(&p[i * step], &p[(i + 1) * step], &flat[i]);
    for (size_t i = 0; i + 1 < n; i++) {
        float before = i >= 2 ? steps[i - 2] : 0, behind = i + 3 < n ? steps[i + 2] : 0;
        float slope = dwk_max(dwk_max(before, behind), 0), unit = 1 - FLAT_LESS * flat[i];
        float through = 1 - dw_ramp(steps[i] - slope, WALL_FROM * unit, 1 / (WALL_WIDE * unit));
        pass[i * step] = steps[i] < 0 ? 0 : FADES * (THROUGH_WALLS + (1 - THROUGH_WALLS) * through);
    }
    if (n > 0)
        pass[(n - 1) * step] = 0;
}

/* Along a line of n patches, each `step` after the last: what both sides' rims say, added. */
static void spread_line(struct patch *p, const float *pass, size_t n, size_t step, float *before)
{
    size_t first = 0, end = n;
    while (first < n && !is_lit(&p[first * step]))
        first++;
    while (end > first && !is_lit(&p[(end - 1) * step]))
        end--;
    float edge = 0, smooth = 0;
    for (size_t i = first; i < end; i++) { /* towards the end, kept aside */
        struct patch *t = &p[i * step];
        before[2 * i] = edge;
        before[2 * i + 1] = smooth;
        edge = pass[i * step] * (edge + t->edge);
        smooth = pass[i * step] * (smooth + t->smooth);
    }
    edge = smooth = 0;
    for (size_t i = end; i-- > first;) { /* then back */
        struct patch *t = &p[i * step];
        float own_edge = t->edge, own_smooth = t->smooth,
              last = i > first ? pass[(i - 1) * step] : 0;
        t->edge += before[2 * i] + edge;
        t->smooth += before[2 * i + 1] + smooth;
        edge = last * (edge + own_edge);
        smooth = last * (smooth + own_smooth);
    }
}

/* A rim says the less the nearer it is to the picture's own, beyond which it goes on unseen: so a
 * wall that burns out towards it does not change at once when that reaches it. */
static float inside(int at, int n)
{
    float near = (float)(at < n - 1 - at ? at : n - 1 - at) + 0.5f;
    return dw_ramp(near / (float)n, 0, 1 / BORDER);
}

static void weigh(struct dw_edged *e)
{
    struct patch *p = e->patch.p;
    for (int y = 0; y < e->rows; y++)
        for (int x = 0; x < e->cols; x++, p++) {
            float w = inside(x, e->cols) * inside(y, e->rows);
            p->edge *= w;
            p->smooth *= w;
        }
}

/* The patches about one, and itself. */
struct about {
    int x0, x1, y0, y1; /* up to and without x1, y1 */
};

static struct about about(const struct dw_edged *e, int x, int y)
{
    return (struct about){x > 0 ? x - 1 : 0, x + 1 < e->cols ? x + 2 : x + 1, y > 0 ? y - 1 : 0,
                          y + 1 < e->rows ? y + 2 : y + 1};
}

/* What patches of rims alone saw goes to those of whole cells about them. */
static void hand_over(struct dw_edged *e)
{
    struct patch *p = e->patch.p;
    for (int y = 0; y < e->rows; y++)
        for (int x = 0; x < e->cols; x++) {
            const struct patch *from = &p[y * e->cols + x];
            if (from->whole > 0 || !(from->rim > 0))
                continue;
            const struct about a = about(e, x, y);
            float n = 0;
            for (int v = a.y0; v < a.y1; v++)
                for (int u = a.x0; u < a.x1; u++)
                    n += p[v * e->cols + u].whole > 0;
            for (int v = a.y0; v < a.y1 && n > 0; v++)
                for (int u = a.x0; u < a.x1; u++) {
                    struct patch *to = &p[v * e->cols + u];
                    if (to->whole > 0) {
                        to->edge += from->edge / n;
                        to->smooth += from->smooth / n;
                    }
                }
        }
}

static float share_of(const struct patch *p)
{
    return dw_ramp(p->edge / (p->edge + SMOOTH_SAYS * p->smooth + NEXT_TO_NONE), EDGED_FROM,
                   EDGED_SCALE);
}

/* Of a patch without whole cells: as those about it have, else its own, else as rims about it. */
static float share_about(const struct dw_edged *e, int x, int y)
{
    const struct patch *p = e->patch.p;
    const struct about a = about(e, x, y);
    float whole = 0, n_whole = 0, rim = 0, n_rim = 0;
    for (int v = a.y0; v < a.y1; v++)
        for (int u = a.x0; u < a.x1; u++) {
            const struct patch *t = &p[v * e->cols + u];
            if (t->whole > 0) {
                whole += share_of(t);
                n_whole += 1;
            } else if (t->rim > 0) {
                rim += share_of(t);
                n_rim += 1;
            }
        }
    if (n_whole > 0)
        return whole / n_whole;
    if (p[y * e->cols + x].rim > 0)
        return share_of(&p[y * e->cols + x]);
    return n_rim > 0 ? rim / n_rim : 0;
}

void dw_edged_end(struct dw_edged *e)
{
    struct patch *p = e->patch.p;
    float *share = e->share.p;
    size_t cols = (size_t)e->cols, rows = (size_t)e->rows;
    for (int y = e->last - BESIDE + 1; y <= e->last; y++)
        if (e->first >= 0 && y >= e->first)
            look_at_row(e, y);
    weigh(e);
    hand_over(e);
    float *right = e->pass.p, *down = right + cols * rows;
    for (size_t y = 0; y < rows; y++)
        find_passes(p + y * cols, cols, 1, right + y * cols, e->line.p);
    for (size_t x = 0; x < cols; x++)
        find_passes(p + x, rows, cols, down + x, e->line.p);
    for (int round = 0; round < ROUNDS; round++) {
        for (size_t y = 0; y < rows; y++)
            spread_line(p + y * cols, right + y * cols, cols, 1, e->line.p);
        for (size_t x = 0; x < cols; x++)
            spread_line(p + x, down + x, rows, cols, e->line.p);
    }
    for (int y = 0; y < e->rows; y++)
        for (int x = 0; x < e->cols; x++)
            *share++ =
                p[y * e->cols + x].whole > 0 ? share_of(&p[y * e->cols + x]) : share_about(e, x, y);
}

void dw_edged_free(struct dw_edged *e)
{
    dw_grow_free(&e->ring);
    dw_grow_free(&e->patch);
    dw_grow_free(&e->glow);
    dw_grow_free(&e->share);
    dw_grow_free(&e->line);
    dw_grow_free(&e->pass);
}
