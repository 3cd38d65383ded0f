/* pixels_xtrans.h: one pixel per pixel of an X-Trans mosaic. */
#ifndef DW_RENDER_PIXELS_XTRANS_H
#define DW_RENDER_PIXELS_XTRANS_H

#include "render/mosaic/pixels.h"

/* As dw_pixels_row. Each colour is the mean of its samples in the 5x5 surround, near ones counting
 * more. Plain, not sharp; `half` is what these mosaics are best used with. */
void dw_pixels_xtrans_row(struct dw_pixels *p, int y, float *const rgb[3], float *peak);

#endif
