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
    if (dw_few_stars(s, i)) {
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
    (void)err;
    const struct dw_stars *s = &w->stars;
    double limit = s->usual_variance + fmax(params.variance, params.share * s->usual_variance);
    for (size_t i = 0; i < w->n; i++)
        /* where too few are left to tell how wide they are, the ground has the word if it shows */
        if (s->variance[i] > limit || (dw_few_stars(s, i) && s->blurred[i] && !w->detail_seen[i]))
            blame(w, &ledger[i], i);
    return DW_OK;
}
