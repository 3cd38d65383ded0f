/* geometry.c: see geometry.h. */
#include "render/planes/geometry.h"

#include <math.h>
#include <string.h>

static int at_least_one(double x)
{
    return x < 1.0 ? 1 : (int)x;
}

enum dw_status dw_geometry_make(int mosaic_width, int mosaic_height, int turn_deg, enum dw_cfa cfa,
                                const struct dw_size *size, struct dw_geometry *out,
                                struct dw_error *err)
{
    int cell = cfa == DW_CFA_XTRANS ? 3 : 2;
    if (mosaic_width < cell || mosaic_height < cell)
        return dw_fail(err, DW_ERR_USAGE, "a mosaic of %dx%d is smaller than one cell of %dx%d",
                       mosaic_width, mosaic_height, cell, cell);
    struct dw_geometry g = {.cell = cell,
                            .cells_w = mosaic_width / cell,
                            .cells_h = mosaic_height / cell,
                            .full = size->kind == DW_SIZE_FULL};
    g.out_w = g.full ? mosaic_width : g.cells_w;
    g.out_h = g.full ? mosaic_height : g.cells_h;
    if (size->kind == DW_SIZE_FIT) {
        if (size->width < 1 || size->height < 1)
            return dw_fail(err, DW_ERR_USAGE,
                           "size %dx%d: both sides must be at least 1 pixel, for example 1920x1280",
                           size->width, size->height);
        bool swap = dw_turn_swaps(turn_deg);
        int box_w = swap ? size->height : size->width, box_h = swap ? size->width : size->height;
        double scale = fmin((double)box_w / mosaic_width, (double)box_h / mosaic_height);
        scale = fmin(scale, 1.0);
        g.out_w = at_least_one(floor(mosaic_width * scale + 0.5));
        g.out_h = at_least_one(floor(mosaic_height * scale + 0.5));
        g.full = g.out_w > g.cells_w || g.out_h > g.cells_h;
    }
    g.src_w = g.full ? mosaic_width : g.cells_w;
    g.src_h = g.full ? mosaic_height : g.cells_h;
    *out = g;
    return DW_OK;
}

enum dw_status dw_output_size(int mosaic_width, int mosaic_height, int turn_deg, enum dw_cfa cfa,
                              const struct dw_size *size, int *width, int *height,
                              struct dw_error *err)
{
    struct dw_geometry g;
    enum dw_status s = dw_geometry_make(mosaic_width, mosaic_height, turn_deg, cfa, size, &g, err);
    if (s < 0)
        return s;
    *width = dw_turn_swaps(turn_deg) ? g.out_h : g.out_w;
    *height = dw_turn_swaps(turn_deg) ? g.out_w : g.out_h;
    return DW_OK;
}

/* One pixel size and turn each, so that the copies are single moves. The rows of a block end up
 * side by side after a quarter turn, so the inner loop runs over them. */
static inline void store(unsigned char *dst, int w, int h, size_t px, int turn_deg, int y0,
                         int rows, const unsigned char *src)
{
    size_t width = (size_t)w, height = (size_t)h;
    for (size_t x = 0; x < width; x++)
        for (size_t k = 0; k < (size_t)rows; k++)
            memcpy(dst + dw_turn_index(turn_deg, width, height, x, (size_t)y0 + k) * px,
                   src + (k * width + x) * px, px);
}

#define STORE(px)                                                                                  \
    do {                                                                                           \
        if (turn_deg == 90)                                                                        \
            store(dst, w, h, px, 90, y0, rows, src);                                               \
        else if (turn_deg == 180)                                                                  \
            store(dst, w, h, px, 180, y0, rows, src);                                              \
        else                                                                                       \
            store(dst, w, h, px, 270, y0, rows, src);                                              \
    } while (0)

void dw_turn_store(void *dst, int w, int h, size_t px, int turn_deg, int y0, int rows,
                   const void *src)
{
    if (turn_deg == 0)
        memcpy((unsigned char *)dst + (size_t)y0 * (size_t)w * px, src,
               (size_t)rows * (size_t)w * px);
    else if (px == 3)
        STORE(3);
    else if (px == 4)
        STORE(4);
    else
        STORE(6);
}
