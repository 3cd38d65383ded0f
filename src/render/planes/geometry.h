/* geometry.h: which pixels of a mosaic become which pixels of a picture. Everything up to the
 * finished pixel happens in the sensor's orientation; a picture is turned when it is stored. */
#ifndef DW_RENDER_GEOMETRY_H
#define DW_RENDER_GEOMETRY_H

#include <daywheel/render.h>

struct dw_geometry {
    int cell;             /* edge of a cell: 2, or 3 for X-Trans */
    int cells_w, cells_h; /* whole cells of the mosaic: the size of `half` */
    bool full;            /* made from the demosaiced picture, else from cells */
    int src_w, src_h;     /* of that picture */
    int out_w, out_h;     /* of the result; smaller than src when it is reduced */
};

/* Errors: DW_ERR_USAGE for a size of nothing or a mosaic smaller than one cell. */
enum dw_status dw_geometry_make(int mosaic_width, int mosaic_height, int turn_deg, enum dw_cfa cfa,
                                const struct dw_size *size, struct dw_geometry *out,
                                struct dw_error *err);

static inline bool dw_turn_swaps(int turn_deg)
{
    return turn_deg == 90 || turn_deg == 270;
}

/* Index of sensor pixel (x, y) of a w x h picture in the upright picture. */
static inline size_t dw_turn_index(int turn_deg, size_t w, size_t h, size_t x, size_t y)
{
    switch (turn_deg) {
    case 90:
        return x * h + (h - 1 - y);
    case 180:
        return (h - 1 - y) * w + (w - 1 - x);
    case 270:
        return (w - 1 - x) * h + y;
    default:
        return y * w + x;
    }
}

/* Stores `rows` rows of a w x h picture in sensor orientation, from row y0 on, into the upright
 * picture dst, turned clockwise. px: bytes of a pixel: 3, 4 or 6. */
void dw_turn_store(void *dst, int w, int h, size_t px, int turn_deg, int y0, int rows,
                   const void *src);
#define DW_TURN_ROWS 16 /* so many at once keep a turned store within the cache */

#endif
