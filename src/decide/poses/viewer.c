/* viewer.c: see viewer.h. */
#include "decide/poses/viewer.h"

#include <stdlib.h>

enum dw_status dw_viewer_look(struct dw_viewer *v, const struct dw_work *w, size_t shot, int k,
                              const bool *wanted, struct dw_error *err)
{
    enum dw_status status = dw_survey_patches(w->survey, shot, wanted, &v->patches, err);
    if (status < 0)
        return status;
    return dw_view_make(&v->patches, &w->survey->measure[shot], wanted, &v->work, &v->view[k], err);
}

enum dw_status dw_viewer_look_at_two(struct dw_viewer *v, const struct dw_work *w, size_t a,
                                     size_t b, const bool *wanted, struct dw_error *err)
{
    enum dw_status status = dw_viewer_look(v, w, a, 0, wanted, err);
    return status < 0 ? status : dw_viewer_look(v, w, b, 1, wanted, err);
}

void dw_viewer_free(struct dw_viewer *v)
{
    dw_patches_free(&v->patches);
    dw_view_work_free(&v->work);
    dw_register_free(&v->reg);
    dw_view_free(&v->view[0]);
    dw_view_free(&v->view[1]);
}

void *dw_viewer_start(void *ctx, struct dw_error *err)
{
    (void)ctx;
    struct dw_viewer *v = calloc(1, sizeof *v);
    if (!v)
        dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing shots");
    return v;
}

void dw_viewer_finish(void *ctx, void *state)
{
    (void)ctx;
    dw_viewer_free(state);
    free(state);
}
