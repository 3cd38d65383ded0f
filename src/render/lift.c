/* lift.c: see lift.h. */
#include "render/lift.h"

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

static size_t spot_stride(const struct dw_lift_memory *m)
{
    return (size_t)m->width + 2 * DW_SPOT_FAR;
}

/* Row y; rows above the picture are its first. */
static float *spot_row(const struct dw_lift_memory *m, int y)
{
    return (float *)m->room.p + (size_t)(y > 0 ? y % SPOT_ROWS : 0) * spot_stride(m) + DW_SPOT_FAR;
}

static float *sky_row(const struct dw_lift_memory *m, size_t which)
{
    return (float *)m->room.p + SPOT_ROWS * spot_stride(m) + which * (size_t)m->width;
}

enum dw_status dw_lift_memory_open(struct dw_lift_memory *m, int width, struct dw_error *err)
{
    m->width = width;
    size_t room = SPOT_ROWS * spot_stride(m) + ROWS * (size_t)width;
    if (!dw_grow(&m->room, room * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", width);
    float *v = m->room.p;
    for (size_t i = 0; i < room; i++)
        v[i] = 1; /* any sky, if none is learnt, */
    for (float *x = sky_row(m, AIR); x < sky_row(m, TINT); x++)
        *x = 0; /* no air, and no star known */
    return DW_OK;
}

void dw_lift_memory_free(struct dw_lift_memory *m)
{
    dw_grow_free(&m->room);
}

/* The sky along row y, which rows that lie close together share. */
static void look_up_sky(struct dw_background *background, const struct dw_lift_memory *m, int y,
                        int height)
{
    int step = height / background->rows / LEVEL_STEPS;
    step = step > 1 ? step : 1;
    if (y % step != 0)
        return;
    float *sky[DW_SKY_ROWS];
    for (size_t k = 0; k < DW_SKY_ROWS; k++)
        sky[k] = sky_row(m, k);
    dw_background_row(background, y + step / 2, m->width, height, sky);
}

/* The light of row y, and its spots, which go on beyond either end. */
static void look_around(const struct dw_look_plan *plan, const struct dw_near_rows *near,
                        const struct dw_lift_memory *m, int y, float *const rgb[3], float *norm)
{
    float *up[3], *mid[3], *down[3], *spot = spot_row(m, y);
    dw_near_rows_around(near, y, up, mid, down);
    plan->k->tone->near(&plan->prepare, plan->smooth, (const float *const *)up,
                        (const float *const *)mid, (const float *const *)down, (size_t)m->width,
                        rgb, norm, spot);
    for (int i = 1; i <= DW_SPOT_FAR; i++) {
        spot[-i] = spot[0];
        spot[m->width - 1 + i] = spot[m->width - 1];
    }
}

static struct dw_lift_rows lift_at(const struct dw_lift_memory *m, int y)
{
    return (struct dw_lift_rows){
        .level = sky_row(m, LEVEL),
        .base = sky_row(m, BASE),
        .grain = sky_row(m, GRAIN),
        .sky = {sky_row(m, COLOUR), sky_row(m, COLOUR + 1), sky_row(m, COLOUR + 2)},
        .known = sky_row(m, KNOWN),
        .tinted = sky_row(m, TINTED),
        .brighter = sky_row(m, BRIGHTER),
        .tint = {sky_row(m, TINT), sky_row(m, TINT + 1), sky_row(m, TINT + 2)},
        .air = {sky_row(m, AIR), sky_row(m, AIR + 1)},
        .spot = {spot_row(m, y), spot_row(m, y - DW_SPOT_SIDE), spot_row(m, y - DW_SPOT_FAR)}};
}

void dw_lift_take(const struct dw_look_plan *plan, const struct dw_near_rows *near,
                  struct dw_background *background, struct dw_lift_memory *memory, int y,
                  float *const rgb[3], float *norm, struct dw_lift_rows *lift)
{
    if (!plan->near) {
        float *row[3];
        dw_near_rows_place(near, y, row);
        for (int c = 0; c < 3; c++)
            memcpy(rgb[c], row[c], (size_t)near->width * sizeof *rgb[c]);
        dw_look_prepare(plan, near->width, rgb, norm);
        return;
    }
    look_around(plan, near, memory, y, rgb, norm);
    if (background)
        look_up_sky(background, memory, y, near->height);
    *lift = lift_at(memory, y);
}
