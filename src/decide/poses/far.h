/* far.h: displacements too large for the patches, which then share nothing: a kicked tripod. Told
 * from the small pictures of the whole frame, to about a pixel of theirs. */
#ifndef DW_DECIDE_FAR_H
#define DW_DECIDE_FAR_H

#include "decide/work.h"

/* Displacement from shot a to shot b if their small pictures are plainly the same with one and not
 * without; else out->sigma is INFINITY. Tries all places up to half of the frame: for rare use.
 * Errors: DW_ERR_MEMORY, and those of dw_survey_thumb. */
enum dw_status dw_far_shift(const struct dw_work *w, size_t a, size_t b, struct dw_shift *out,
                            struct dw_error *err);

#endif
