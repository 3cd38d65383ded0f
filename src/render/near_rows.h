/* near_rows.h: three rows of light at a time, for what a pixel's neighbours tell of it. */
#ifndef DW_RENDER_NEAR_ROWS_H
#define DW_RENDER_NEAR_ROWS_H

#include "render/grow.h"
#include "render/look.h"

/* Zero it before the first use. */
struct dw_near_rows {
    struct dw_space_kept room;
    int width, height;
};

/* What is known along the last rows of one picture: the luminance of 3x3 pixels, which tells
 * whether a pixel is a point, and the sky's level and grain. Zero it before the first use. */
struct dw_near_spots {
    struct dw_space_kept room;
    int width;
};

enum dw_status dw_near_spots_open(struct dw_near_spots *s, int width, struct dw_error *err);
void dw_near_spots_free(struct dw_near_spots *s);

/* For pictures of this size. Errors: DW_ERR_MEMORY. */
enum dw_status dw_near_rows_open(struct dw_near_rows *r, int width, int height,
                                 struct dw_error *err);
/* Where row y is to be written: three planes of `width` pixels. */
void dw_near_rows_place(const struct dw_near_rows *r, int y, float *out[3]);
/* Says that row y was written; the three rows up to it are held from then on. */
void dw_near_rows_written(const struct dw_near_rows *r, int y);
/* Row y, written with its neighbours, as the plan's dw_look_finish wants it: rgb and norm, and what
 * lifts it. Where the plan needs no neighbours that is dw_look_prepare's. Rows must come one after
 * the other from 0. background: NULL if the plan does not lift; spots: only if it needs neighbours.
 */
void dw_near_rows_take(const struct dw_near_rows *r, const struct dw_look_plan *plan,
                       struct dw_background *background, struct dw_near_spots *spots, int y,
                       float *const rgb[3], float *norm, struct dw_lift_rows *lift);
void dw_near_rows_free(struct dw_near_rows *r);

#endif
