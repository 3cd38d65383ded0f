/* viewer.h: what one worker needs for reading shots as views and comparing two of them. */
#ifndef DW_DECIDE_VIEWER_H
#define DW_DECIDE_VIEWER_H

#include "decide/poses/register.h"
#include "decide/work.h"

/* Zero it before the first use. */
struct dw_viewer {
    struct dw_patches patches;
    struct dw_view_work work;
    struct dw_register reg;
    struct dw_view view[2];
};

/* Makes v->view[k] the view of a shot; wanted: as of dw_view_make. Errors: DW_ERR_MEMORY,
 * DW_ERR_IO, DW_ERR_FORMAT. */
enum dw_status dw_viewer_look(struct dw_viewer *v, const struct dw_work *w, size_t shot, int k,
                              const bool *wanted, struct dw_error *err);
/* View 0 of shot a, view 1 of shot b. */
enum dw_status dw_viewer_look_at_two(struct dw_viewer *v, const struct dw_work *w, size_t a,
                                     size_t b, const bool *wanted, struct dw_error *err);
void dw_viewer_free(struct dw_viewer *v);

/* For a pool (base/pool.h) whose workers' state is a viewer each. */
void *dw_viewer_start(void *ctx, struct dw_error *err);
void dw_viewer_finish(void *ctx, void *state);

#endif
