/* near_rows.h: three rows of three planes at a time, for what a pixel's neighbours tell of it. */
#ifndef DW_RENDER_NEAR_ROWS_H
#define DW_RENDER_NEAR_ROWS_H

#include <daywheel/base.h>

#include "render/planes/grow.h"

/* Zero it before the first use. */
struct dw_near_rows {
    struct dw_space_kept room;
    int width, height;
};

/* For pictures of this size. Errors: DW_ERR_MEMORY. */
enum dw_status dw_near_rows_open(struct dw_near_rows *r, int width, int height,
                                 struct dw_error *err);
/* Where row y is to be written: three planes of `width` pixels. */
void dw_near_rows_place(const struct dw_near_rows *r, int y, float *out[3]);
/* Says that row y was written; the three rows up to it are held from then on. */
void dw_near_rows_written(const struct dw_near_rows *r, int y);
/* Row y, written, and the rows above and below it; beyond the picture's edge that is y itself. One
 * more pixel may be read at either end of each. */
void dw_near_rows_around(const struct dw_near_rows *r, int y, float *up[3], float *mid[3],
                         float *down[3]);
void dw_near_rows_free(struct dw_near_rows *r);

#endif
