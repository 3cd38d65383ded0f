/* record.c: what is wrong with a file or its place in the row, whatever the picture shows. */
#include "decide/faults/judges.h"

#include <math.h>

#define GAP_INTERVALS 1.6 /* steps of time that count as one missing frame */

enum dw_status dw_judge_record(struct dw_work *w, struct dw_ledger_row *ledger,
                               struct dw_error *err)
{
    (void)err;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shot *s = &w->shots->shot[i];
        const struct dw_measure *m = &w->survey->measure[i];
        if (!s->readable || !m->usable) {
            const char *why = !s->readable ? s->problem : m->problem;
            dw_blame(&ledger[i], DW_UNREADABLE, 1, "the file %.170s",
                     why[0] ? why : "holds no picture"); /* why: "is cut short: ..." */
        }
        if (!w->recorded[i] && !w->no_records && s->readable) {
            dw_blame(&ledger[i], DW_NO_EXPOSURE, 0.2, "%s not recorded; judged from the picture",
                     !s->has_shutter && !s->has_iso ? "shutter time and ISO are"
                     : !s->has_shutter              ? "the shutter time is"
                     : !s->has_iso                  ? "the ISO is"
                                                    : "the exposure is");
        }
        double step = i ? (w->utc[i] - w->utc[i - 1]) / w->interval : 1;
        /* a step that its own neighbours share is a change of interval, not a gap */
        double next = i + 1 < w->n ? (w->utc[i + 1] - w->utc[i]) / w->interval : 1;
        double last = i > 1 ? (w->utc[i - 1] - w->utc[i - 2]) / w->interval : next;
        double usual = fmax(1, fmin(next, last));
        if (step > GAP_INTERVALS * usual) {
            double missing = round(step / usual) - 1;
            ledger[i].missing_before = (uint32_t)fmin(missing, 1e9);
            dw_blame(&ledger[i], DW_GAP, fmin(0.1 * missing, 1),
                     "%.0f frame%s missing before this one (%.0f s without a picture)", missing,
                     missing > 1 ? "s are" : " is", step * w->interval);
        }
    }
    return DW_OK;
}
