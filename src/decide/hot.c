/* hot.c: see dw_hot_pixels; first form learns nothing yet. */
#include "decide/steps.h"

enum dw_status dw_hot_pixels(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    (void)w;
    (void)err;
    facts->n_hot = 0;
    return DW_OK;
}
