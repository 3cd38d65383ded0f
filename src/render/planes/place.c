/* place.c: see place.h. Down first, into one row, then across. Places are taken to a 64th of a
 * pixel, which is finer than any displacement is known. */
#include "render/planes/place.h"

#include "base/lagrange.h"
#include "render/kernels/kernels.h"

#include <math.h>
#include <string.h>

#define PARTS 64
#define TAPS DW_LAGRANGE_TAPS
#define BEFORE (TAPS / 2 - 1) /* taps before the pixel that a place lies in */

bool dw_place_idle(const struct dw_placing *how)
{
    return how->left == 0 && how->top == 0 && how->out_w == how->in_w && how->out_h == how->in_h &&
           fabs(how->shift_x) < 0.5 / PARTS && fabs(how->shift_y) < 0.5 / PARTS &&
           fabs(how->roll) * how->in_w < 0.5 / PARTS;
}

enum dw_status dw_place_open(struct dw_place *p, const struct dw_placing *how, struct dw_error *err)
{
    p->how = *how;
    p->rows = TAPS + 2 + (int)ceil(fabs(how->roll) * how->in_w);
    p->border = TAPS + (int)ceil(fabs(how->shift_x) + fabs(how->roll) * how->in_h);
    size_t wide = (size_t)how->in_w;
    size_t floats = 3 * (size_t)p->rows * wide + wide + 2 * (size_t)p->border;
    if (!dw_grow(&p->work, floats * sizeof(float)) ||
        !dw_grow(&p->held_room, (size_t)p->rows * sizeof(int)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", how->in_w);
    p->held = p->held_room.p;
    for (int i = 0; i < p->rows; i++)
        p->held[i] = -1;
    return DW_OK;
}

void dw_place_free(struct dw_place *p)
{
    dw_grow_free(&p->work);
    dw_grow_free(&p->held_room);
}

static float *ring_row(const struct dw_place *p, int slot, int c)
{
    return (float *)p->work.p + (3 * (size_t)slot + (size_t)c) * (size_t)p->how.in_w;
}

/* Slot of source row y, the border's for rows outside. */
static int fetch(struct dw_place *p, int y, dw_place_source *source, void *ctx)
{
    y = y < 0 ? 0 : y >= p->how.in_h ? p->how.in_h - 1 : y;
    int slot = y % p->rows;
    if (p->held[slot] != y) {
        source(ctx, y,
               (float *const[3]){ring_row(p, slot, 0), ring_row(p, slot, 1), ring_row(p, slot, 2)});
        p->held[slot] = y;
    }
    return slot;
}

/* A place in 64ths, as a pixel and the rest. */
static int split(long place, int *part)
{
    long pixel = place >= 0 ? place / PARTS : -((PARTS - 1 - place) / PARTS);
    *part = (int)(place - pixel * PARTS);
    return (int)pixel;
}

/* Where along source columns the row's height changes: place of column u. */
static long height_at(const struct dw_place *p, int y, int u)
{
    const struct dw_placing *h = &p->how;
    double from_middle = u - h->shift_x - 0.5 * (h->in_w - 1);
    return lround((y + h->top + h->shift_y + h->roll * from_middle) * PARTS);
}

/* Columns [from, to) of all three colours, whose height is the same. */
static void make_part(struct dw_place *p, int c, long place, int from, int to, float *row)
{
    int part, first = split(place, &part);
    const float *tap[TAPS];
    for (int k = 0; k < TAPS; k++) {
        int y = first + k - BEFORE;
        y = y < 0 ? 0 : y >= p->how.in_h ? p->how.in_h - 1 : y;
        tap[k] = ring_row(p, y % p->rows, c) + from;
    }
    size_t n = (size_t)(to - from);
    if (part == 0) {
        memcpy(row + from, tap[BEFORE], n * sizeof *row);
        return;
    }
    float w[TAPS];
    dw_lagrange((float)part / PARTS, w);
    dw_kernels_best()->mosaic->between(tap, n, w, row + from);
}

void dw_place_row(struct dw_place *p, int y, dw_place_source *source, void *ctx,
                  float *const rgb[3])
{
    const struct dw_placing *h = &p->how;
    int last = h->in_w - 1, part;
    long left_end = height_at(p, y, 0), right_end = height_at(p, y, last);
    long low = left_end < right_end ? left_end : right_end, high = left_end + right_end - low;
    for (int v = split(low, &part) - BEFORE; v <= split(high, &part) + TAPS - 1 - BEFORE; v++)
        fetch(p, v, source, ctx);

    double middle = 0.5 * (h->in_h - 1);
    long across = lround((h->left + h->shift_x - h->roll * (y + h->top - middle)) * PARTS);
    int start = split(across, &part);
    float w[TAPS], *row = ring_row(p, p->rows, 0) + p->border;
    dw_lagrange((float)part / PARTS, w);
    for (int c = 0; c < 3; c++) {
        for (int u = 0; u <= last;) {
            long place = height_at(p, y, u);
            int to = last + 1;
            if (left_end != right_end)
                for (to = u + 1; to <= last && height_at(p, y, to) == place;)
                    to++;
            make_part(p, c, place, u, to, row);
            u = to;
        }
        for (int i = 1; i <= p->border; i++) {
            row[-i] = row[0];
            row[last + i] = row[last];
        }
        if (part == 0) {
            memcpy(rgb[c], row + start, (size_t)h->out_w * sizeof *row);
            continue;
        }
        const float *tap[TAPS];
        for (int k = 0; k < TAPS; k++)
            tap[k] = row + start + k - BEFORE;
        dw_kernels_best()->mosaic->between(tap, (size_t)h->out_w, w, rgb[c]);
    }
}
