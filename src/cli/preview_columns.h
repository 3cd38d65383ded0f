/* preview_columns.h: the columns of the preview's sheet, made from thumbnails. */
#ifndef DW_CLI_PREVIEW_COLUMNS_H
#define DW_CLI_PREVIEW_COLUMNS_H

#include <daywheel/daywheel.h>

/* What pictures are made from: a decision and the shots that it is about, and a survey of some of
 * these shots (the rows are shared) that holds thumbnails. */
struct dw_preview_view {
    const struct dw_shots *shots;
    const struct dw_decision *decision;
    const struct dw_shots *few;
    const struct dw_survey *pictures;
    struct dw_look_params look;
};

/* Makes the column of one frame: its first source that is among the few, in all renderings.
 * Errors: DW_ERR_EMPTY (no source is), those of the survey and of rendering. */
enum dw_status dw_preview_column(const struct dw_preview_view *v, const struct dw_frame *frame,
                                 struct dw_strip_column *out, struct dw_error *err);
void dw_preview_column_free(struct dw_strip_column *c);

#endif
