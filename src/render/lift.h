/* lift.h: what a row's pixels are lifted by: the sky behind them, learnt in tiles (background.h),
 * and what their neighbours tell (near_rows.h). */
#ifndef DW_RENDER_LIFT_H
#define DW_RENDER_LIFT_H

#include "render/background.h"
#include "render/look.h"
#include "render/near_rows.h"

/* What is known along the last rows of one picture: the luminance of 3x3 pixels, which tells
 * whether a pixel is a point, and the sky. Zero it before the first use. */
struct dw_lift_memory {
    struct dw_space_kept room;
    int width;
};

/* For a picture of this width; nothing is known of it yet. Errors: DW_ERR_MEMORY. */
enum dw_status dw_lift_memory_open(struct dw_lift_memory *m, int width, struct dw_error *err);
void dw_lift_memory_free(struct dw_lift_memory *m);

/* Row y, written with its neighbours, as the plan's dw_look_finish wants it: rgb and norm, and what
 * lifts it. Where the plan needs no neighbours that is dw_look_prepare's. Rows must come one after
 * the other from 0. background: NULL if the plan does not lift; memory: only if the plan needs
 * neighbours. */
void dw_lift_take(const struct dw_look_plan *plan, const struct dw_near_rows *near,
                  struct dw_background *background, struct dw_lift_memory *memory, int y,
                  float *const rgb[3], float *norm, struct dw_lift_rows *lift);

#endif
