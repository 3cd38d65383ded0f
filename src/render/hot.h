/* hot.h: pixels that are known to be hot are filled from same-coloured neighbours. */
#ifndef DW_RENDER_HOT_H
#define DW_RENDER_HOT_H

#include <daywheel/decide.h>
#include <daywheel/shot.h>

/* The hot pixels of one mosaic row: a stretch of the list, which is sorted by row. */
struct dw_hot_row {
    const struct dw_hot *hot;
    size_t n;
};
struct dw_hot_row dw_hot_in_row(const struct dw_hot *hot, size_t n, int y);

/* What pixel (x, y) would read, judged from same-coloured pixels within two (Bayer) or three
 * (X-Trans) pixels that are not in the list themselves: the median of the four nearest; its own
 * value when there is none. channel: 0 but for interleaved RGB. */
uint16_t dw_hot_repair(const struct dw_mosaic *m, const struct dw_hot *hot, size_t n, int x, int y,
                       int channel);

#endif
