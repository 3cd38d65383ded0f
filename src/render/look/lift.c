/* lift.c: see lift.h. */
#include "render/look/lift.h"

#include <string.h>

enum {
    SPOT_ROWS = DW_SPOT_FAR + 1,
    LEVEL_STEPS = 4 /* in a tile: the rows of each share the sky's level */
};

/* Rows of the picture's width, after those of the spots: the sky's as dw_background_row has them,
 * then what a map of stars tells. */
enum {
    LEVEL,
    BASE,
    GRAIN,
    COLOUR,
    AIR = COLOUR + 3,
    KNOWN = DW_SKY_ROWS,
    TINTED,
    BRIGHTER,
    TINT,
    ROWS = TINT + 3
};

#define BEFORE (DW_LINE / sizeof(float)) /* numbers before a row, of which the last few count */

static size_t spot_stride(const struct dw_lift_memory *m)
{
    return dw_row_stride(BEFORE + (size_t)m->near.width + DW_SPOT_FAR);
}

/* Row y; rows above the picture are its first. */
static float *spot_row(const struct dw_lift_memory *m, int y)
{
    return (float *)m->room.p + (size_t)(y > 0 ? y % SPOT_ROWS : 0) * spot_stride(m) + BEFORE;
}

static float *row_of(const struct dw_lift_memory *m, size_t which)
{
    return (float *)m->room.p + SPOT_ROWS * spot_stride(m) +
           which * dw_row_stride((size_t)m->near.width);
}

enum dw_status dw_lift_memory_open(struct dw_lift_memory *m, int width, int height,
                                   struct dw_error *err)
{
    enum dw_status s = dw_near_rows_open(&m->near, width, height, err);
    if (s < 0)
        return s;
    size_t room = SPOT_ROWS * spot_stride(m) + ROWS * dw_row_stride((size_t)width);
    if (!dw_grow(&m->room, room * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", width);
    float *v = m->room.p;
    for (size_t i = 0; i < room; i++)
        v[i] = 1; /* any sky, if none is learnt, */
    for (float *x = row_of(m, AIR); x < row_of(m, TINT); x++)
        *x = 0; /* no air, and no star known */
    return DW_OK;
}

void dw_lift_memory_free(struct dw_lift_memory *m)
{
    dw_near_rows_free(&m->near);
    dw_grow_free(&m->room);
}

/* The sky along row y, which rows that lie close together share. */
static void look_up_sky(struct dw_background *background, const struct dw_lift_memory *m, int y)
{
    const int height = m->near.height;
    int step = height / background->rows / LEVEL_STEPS;
    step = step > 1 ? step : 1;
    if (y % step != 0)
        return;
    float *sky[DW_SKY_ROWS];
    for (size_t k = 0; k < DW_SKY_ROWS; k++)
        sky[k] = row_of(m, k);
    dw_background_row(background, y + step / 2, m->near.width, height, sky);
}

static struct dw_lift_rows lift_at(const struct dw_lift_memory *m, int y)
{
    float *light[3];
    dw_near_rows_place(&m->near, y, light);
    return (struct dw_lift_rows){
        .own = light[1],
        .level = row_of(m, LEVEL),
        .base = row_of(m, BASE),
        .grain = row_of(m, GRAIN),
        .sky = {row_of(m, COLOUR), row_of(m, COLOUR + 1), row_of(m, COLOUR + 2)},
        .known = row_of(m, KNOWN),
        .tinted = row_of(m, TINTED),
        .brighter = row_of(m, BRIGHTER),
        .tint = {row_of(m, TINT), row_of(m, TINT + 1), row_of(m, TINT + 2)},
        .air = {row_of(m, AIR), row_of(m, AIR + 1)},
        .spot = {spot_row(m, y), spot_row(m, y - DW_SPOT_SIDE), spot_row(m, y - DW_SPOT_FAR)}};
}

/* What lifts the pixels of row y, where stars are known these too. */
static struct dw_lift_rows lift_of(const struct dw_lift_memory *m,
                                   const float *const known[DW_KNOWN_ROWS], int y)
{
    struct dw_lift_rows rows = lift_at(m, y);
    if (known) {
        rows.known = known[0];
        rows.tinted = known[1];
        rows.brighter = known[2];
        memcpy(rows.tint, known + 3, sizeof rows.tint);
    }
    return rows;
}

void dw_lift_take(const struct dw_look_plan *plan, struct dw_lift_memory *memory, int y,
                  const float *const light[3])
{
    float *row[3];
    dw_near_rows_place(&memory->near, y, row);
    plan->k->tone->split(&plan->prepare, light, (size_t)memory->near.width, row[0], row[1], row[2]);
    dw_near_rows_written(&memory->near, y);
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

#define AHEAD (DW_LINE / sizeof(float)) /* pixels: no fewer than DW_SPOT_FAR */

/* Piece by piece from light to codes: between its steps what is made stays in the first cache.
 * Means count some pixels away, so that they are made a little ahead. */
void dw_lift_row(const struct dw_look_plan *plan, struct dw_background *background,
                 struct dw_lift_memory *memory, const float *const known[DW_KNOWN_ROWS], int y,
                 int bits, void *out)
{
    if (background)
        look_up_sky(background, memory, y);
    const struct dw_lift_rows rows = lift_of(memory, known, y);
    const size_t w = (size_t)memory->near.width;
    float *up[3], *mid[3], *down[3], *spot = spot_row(memory, y);
    _Alignas(DW_LINE) float red[DW_LOOK_PIECE + AHEAD], blue[DW_LOOK_PIECE + AHEAD];
    _Alignas(DW_LINE) float row[4][DW_LOOK_PIECE];
    const float *const mean[2] = {red, blue};
    float *const piece[3] = {row[0], row[1], row[2]}, *norm = row[3];
    dw_near_rows_around(&memory->near, y, up, mid, down);
    for (size_t x = 0, seen = 0; x < w; x += DW_LOOK_PIECE) {
        size_t n = least(w - x, DW_LOOK_PIECE), more = least(w, x + n + AHEAD) - seen;
        const float *const u[3] = {up[0] + seen, up[1] + seen, up[2] + seen};
        const float *const v[3] = {mid[0] + seen, mid[1] + seen, mid[2] + seen};
        const float *const d[3] = {down[0] + seen, down[1] + seen, down[2] + seen};
        plan->k->lift->near(plan->smooth, u, v, d, more, red + (seen - x), spot + seen,
                            blue + (seen - x));
        seen += more;
        for (int i = 1; i <= DW_SPOT_FAR; i++) { /* spots go on beyond either end */
            if (x == 0)
                spot[-i] = spot[0];
            if (seen == w)
                spot[w - 1 + (size_t)i] = spot[w - 1];
        }
        const struct dw_lift_rows at = dw_lift_rows_from(&rows, x);
        plan->k->lift->lift(&plan->lift, &at, mean, n, piece[0], piece[1], piece[2], norm);
        dw_look_finish(plan, n, piece, norm);
        dw_look_pack(plan, x, n, y, bits, piece, out);
        memcpy(red, red + DW_LOOK_PIECE, AHEAD * sizeof *red); /* what the next begins with */
        memcpy(blue, blue + DW_LOOK_PIECE, AHEAD * sizeof *blue);
    }
}
