/* lift.h: the look of a row whose pixels' neighbours count, as their colours are smoothed or what
 * stands out is lifted: the sky behind them, learnt in tiles (background.h), what their neighbours
 * tell (near_rows.h), and the stars that are known (known.h). */
#ifndef DW_RENDER_LIFT_H
#define DW_RENDER_LIFT_H

#include "render/stars/background.h"
#include "render/stars/known.h"
#include "render/look/look.h"
#include "render/planes/near_rows.h"

/* What is known along the last rows of one picture: their light, its means of 3x3 pixels, which
 * tell whether a pixel is a point, and the sky. Zero it before the first use. */
struct dw_lift_memory {
    struct dw_near_rows near;
    struct dw_space_kept room;
};

/* For a picture of this size; nothing is known of it yet. Errors: DW_ERR_MEMORY. */
enum dw_status dw_lift_memory_open(struct dw_lift_memory *m, int width, int height,
                                   struct dw_error *err);
void dw_lift_memory_free(struct dw_lift_memory *m);

/* Row y of light; rows must come one after the other from 0. */
void dw_lift_take(const struct dw_look_plan *plan, struct dw_lift_memory *memory, int y,
                  const float *const light[3]);
/* dw_look_row for a plan that needs neighbours: row y, when that and the one after it were taken
 * and no other, one after the other from 0. background: NULL if the plan does not lift; known:
 * dw_known_row's, or NULL where no stars are known. */
void dw_lift_row(const struct dw_look_plan *plan, struct dw_background *background,
                 struct dw_lift_memory *memory, const float *const known[DW_KNOWN_ROWS], int y,
                 int bits, void *out);

#endif
