/* near_rows.c: see near_rows.h. */
#include "render/near_rows.h"

#include <string.h>

/* A row has one pixel more at either end, which repeats its neighbour. */
static size_t stride(const struct dw_near_rows *r)
{
    return (size_t)r->width + 2;
}

enum dw_status dw_near_rows_open(struct dw_near_rows *r, int width, int height,
                                 struct dw_error *err)
{
    r->width = width;
    r->height = height;
    if (!dw_grow(&r->room, 9 * stride(r) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", width);
    return DW_OK;
}

void dw_near_rows_place(const struct dw_near_rows *r, int y, float *out[3])
{
    for (size_t c = 0; c < 3; c++)
        out[c] = (float *)r->room.p + (3 * (size_t)(y % 3) + c) * stride(r) + 1;
}

void dw_near_rows_written(const struct dw_near_rows *r, int y)
{
    float *row[3];
    dw_near_rows_place(r, y, row);
    for (int c = 0; c < 3; c++) {
        float *padded = row[c] - 1; /* the row with the place before it */
        padded[0] = padded[1];
        padded[r->width + 1] = padded[r->width];
    }
}

enum {
    SPOT_ROWS = DW_SPOT_FAR + 1,
    LEVEL_STEPS = 4 /* in a tile: the rows of each share the sky's level */
};

static size_t spot_stride(const struct dw_near_spots *s)
{
    return (size_t)s->width + 2 * DW_SPOT_FAR;
}

enum dw_status dw_near_spots_open(struct dw_near_spots *s, int width, struct dw_error *err)
{
    s->width = width;
    size_t room = SPOT_ROWS * spot_stride(s) + (DW_SKY_ROWS + 4) * (size_t)width;
    if (!dw_grow(&s->room, room * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for rows of %d pixels", width);
    float *v = s->room.p;
    for (size_t i = 0; i < room; i++)
        v[i] = 1; /* any sky, if none is learnt, */
    for (size_t i = room - 6 * (size_t)width; i < room - 3 * (size_t)width; i++)
        v[i] = 0; /* no air, and no star known */
    return DW_OK;
}

void dw_near_spots_free(struct dw_near_spots *s)
{
    dw_grow_free(&s->room);
}

/* Row y; rows above the picture are its first. */
static float *spot_row(const struct dw_near_spots *s, int y)
{
    return (float *)s->room.p + (size_t)(y > 0 ? y % SPOT_ROWS : 0) * spot_stride(s) + DW_SPOT_FAR;
}

void dw_near_rows_take(const struct dw_near_rows *r, const struct dw_look_plan *plan,
                       struct dw_background *background, struct dw_near_spots *spots, int y,
                       float *const rgb[3], float *norm, struct dw_lift_rows *lift)
{
    float *up[3], *mid[3], *down[3];
    dw_near_rows_place(r, y, mid);
    if (!plan->near) {
        for (int c = 0; c < 3; c++)
            memcpy(rgb[c], mid[c], (size_t)r->width * sizeof *rgb[c]);
        dw_look_prepare(plan, r->width, rgb, norm);
        return;
    }
    dw_near_rows_place(r, y > 0 ? y - 1 : 0, up);
    dw_near_rows_place(r, y + 1 < r->height ? y + 1 : y, down);
    float *spot = spot_row(spots, y);
    plan->k->tone->near(&plan->prepare, plan->smooth, (const float *const *)up,
                        (const float *const *)mid, (const float *const *)down, (size_t)r->width,
                        rgb, norm, spot);
    for (int i = 1; i <= DW_SPOT_FAR; i++) {
        spot[-i] = spot[0];
        spot[r->width - 1 + i] = spot[r->width - 1];
    }
    float *sky[DW_SKY_ROWS];
    for (size_t k = 0; k < DW_SKY_ROWS; k++)
        sky[k] = (float *)spots->room.p + SPOT_ROWS * spot_stride(spots) + k * (size_t)r->width;
    int step = background ? r->height / background->rows / LEVEL_STEPS : 1;
    step = step > 1 ? step : 1;
    if (background && y % step == 0)
        dw_background_row(background, y + step / 2, r->width, r->height, sky);
    *lift = (struct dw_lift_rows){
        sky[0],
        sky[1],
        sky[2],
        {sky[3], sky[4], sky[5]},
        sky[7] + r->width,
        {sky[7] + 2 * r->width, sky[7] + 3 * r->width, sky[7] + 4 * r->width},
        {sky[6], sky[7]},
        {spot, spot_row(spots, y - DW_SPOT_SIDE), spot_row(spots, y - DW_SPOT_FAR)}};
}

void dw_near_rows_free(struct dw_near_rows *r)
{
    dw_grow_free(&r->room);
}
