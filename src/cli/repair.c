/* repair.c: see repair.h. */
#include "cli/repair.h"

#include "base/text.h"

#include <stdio.h>

/* Reads one shot; notes it as unreadable if that fails. */
static bool is_lost(struct dw_job *job, struct dw_decoder *decoder, size_t shot,
                    struct dw_mosaic *mosaic)
{
    struct dw_measure *m = &job->survey.measure[shot];
    struct dw_error why;
    if (!m->usable)
        return false; /* known already */
    enum dw_status status =
        dw_fetch_mosaic(job->scratch, decoder, &job->shots.shot[shot], mosaic, &why);
    if (status >= 0 || status == DW_ERR_MEMORY)
        return false;
    m->usable = false;
    snprintf(m->problem, sizeof m->problem, "%.250s",
             dw_text_after_name(why.text, job->shots.shot[shot].path));
    return true;
}

static bool all_have(const struct dw_sink *sinks, size_t n, const struct dw_frame *frame)
{
    for (size_t i = 0; i < n; i++) {
        struct dw_frame row = dw_frame_as(frame, sinks[i].rendering);
        if (!sinks[i].have(sinks[i].ctx, &row))
            return false;
    }
    return true;
}

enum dw_status dw_repair(struct dw_job *job, const struct dw_sink *sinks, size_t n, size_t *found)
{
    const struct dw_decision *d = &job->decision;
    struct dw_mosaic mosaic = {0};
    struct dw_decoder *decoder = dw_decoder_new();
    *found = 0;
    if (!decoder)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory to read frames once more");
    enum dw_status status = DW_OK;
    for (size_t i = 0; i < d->n_frames && status >= 0; i++) {
        if (dw_stopping(&job->run))
            status = dw_fail(&job->error, DW_ERR_INTERRUPTED, "stopped");
        else if (!all_have(sinks, n, &d->frame[i]))
            for (int k = 0; k < d->frame[i].n_sources; k++)
                *found += is_lost(job, decoder, d->frame[i].source[k].shot, &mosaic);
    }
    dw_mosaic_free(&mosaic);
    dw_decoder_free(decoder);
    return status;
}
