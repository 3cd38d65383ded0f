/* soft_stars.c: stars blurred by dew or focus. On a moonless night the ground shows no detail by
 * which soft.c could tell, and blur hides the faint stars as a cloud would; but a cloud leaves
 * those that are seen as sharp as they were. */
#include "decide/faults/judges.h"
#include "decide/faults/stars.h"

#include <math.h>

static const struct dw_soft_stars_params {
    double variance; /* px^2 more than usual: what soft.c's limit means for stars, */
    double share;    /* or this share more where stars are wide by habit */
} params = {2.6, 0.6};

static void blame(const struct dw_work *w, struct dw_ledger_row *row, size_t i)
{
    const struct dw_stars *s = &w->stars;
    if (dw_few_stars(&w->stars, i)) {
        dw_blame(row, DW_SOFT, 1,
                 "detail is lost, by dew or focus: stars were blurred until hardly one is seen");
        return;
    }
    double over = s->variance[i] / fmax(params.variance, params.share * s->usual_variance);
    dw_blame(row, DW_SOFT, 0.2 + 0.1 * over,
             "detail is lost, by dew or focus: stars are %.1f px wide where %.1f are usual",
             2.355 * sqrt(s->variance[i]), 2.355 * sqrt(s->usual_variance));
}

enum dw_status dw_judge_soft_stars(struct dw_work *w, struct dw_ledger_row *ledger,
                                   struct dw_error *err)
{
    const struct dw_stars *s = &w->stars;
    bool *soft = DW_TAKE(&w->arena, w->n, bool);
    if (!soft)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the stars of %zu shots", w->n);
    double limit = s->usual_variance + fmax(params.variance, params.share * s->usual_variance);
    for (size_t i = 0; i < w->n; i++)
        soft[i] = s->variance[i] > limit;
    /* Where too few are seen to tell their width, it is as before or after: dew does not come and
     * go unseen. */
    for (size_t i = 1; i < w->n; i++)
        soft[i] |= dw_few_stars(&w->stars, i) && soft[i - 1];
    for (size_t i = w->n > 0 ? w->n - 1 : 0; i-- > 0;)
        soft[i] |= dw_few_stars(&w->stars, i) && soft[i + 1];
    for (size_t i = 0; i < w->n; i++)
        if (soft[i])
            blame(w, &ledger[i], i);
    return DW_OK;
}
