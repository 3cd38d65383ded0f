/* hot.h: pixels that are known to be hot are filled from same-coloured neighbours. */
#ifndef DW_RENDER_HOT_H
#define DW_RENDER_HOT_H

#include <daywheel/decide.h>
#include <daywheel/shot.h>
#include <daywheel/survey.h>

/* One pixel to repair and where to look for its value. */
struct dw_hot_repair {
    uint16_t x;
    uint8_t n;        /* neighbours found; 0: the pixel stays as it is */
    uint32_t near[4]; /* pixel indices, nearest first */
};

/* All repairs for mosaics of one shape; the list is the same for every frame of a shoot, so it is
 * worked out once. Zero it before the first use. */
struct dw_hot_map {
    struct dw_hot_repair *repair;
    uint32_t *row; /* height + 1 entries: repairs of row y are row[y] .. row[y + 1] - 1 */
    /* what it was made for */
    const struct dw_hot *hot;
    size_t n_hot;
    int width, height, period;
    uint8_t pattern[36];
};

/* Makes the map for this list (sorted by y, then x) and mosaics of m's shape and pattern, unless it
 * is made for them already. Neighbours are the four nearest of the same colour within two pixels
 * (three along the axes) that are not in the list themselves. Errors: DW_ERR_MEMORY. */
enum dw_status dw_hot_map_make(struct dw_hot_map *map, const struct dw_hot *hot, size_t n_hot,
                               const struct dw_mosaic *m, struct dw_error *err);
/* A repaired pixel's value: the median of its neighbours. channel: 0 but for interleaved RGB. */
uint16_t dw_hot_value(const struct dw_mosaic *m, const struct dw_hot_repair *repair, int y,
                      int channel);
void dw_hot_map_free(struct dw_hot_map *map);

/* The same for thumbnails, where a hot pixel is one sample of a block: in blocks that hold one,
 * each colour is kept within the range of the eight blocks around that hold none. rgb: a copy of
 * t->rgb, changed in place; held: work space of a byte a block. By day, when nothing glows, nothing
 * stands out of that range and the picture keeps its detail. */
void dw_hot_thumb(const struct dw_thumb *t, const struct dw_hot *hot, size_t n_hot, float *rgb,
                  uint8_t *held);

#endif
