/* near_rows.c: see near_rows.h. */
#include "render/planes/near_rows.h"

#define BEFORE (DW_LINE / sizeof(float)) /* pixels before a row, of which the last counts */

/* A row has one pixel more at either end, which repeats its neighbour. */
static size_t stride(const struct dw_near_rows *r)
{
    return dw_row_stride(BEFORE + (size_t)r->width + 1);
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
        out[c] = (float *)r->room.p + (3 * (size_t)(y % 3) + c) * stride(r) + BEFORE;
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

void dw_near_rows_around(const struct dw_near_rows *r, int y, float *up[3], float *mid[3],
                         float *down[3])
{
    dw_near_rows_place(r, y > 0 ? y - 1 : 0, up);
    dw_near_rows_place(r, y, mid);
    dw_near_rows_place(r, y + 1 < r->height ? y + 1 : y, down);
}

void dw_near_rows_free(struct dw_near_rows *r)
{
    dw_grow_free(&r->room);
}
