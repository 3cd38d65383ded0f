/* cmd_render.c: `daywheel render`: the whole job. */
#include "cli/claim.h"
#include "cli/cmd.h"
#include "cli/outcome.h"
#include "cli/preview.h"
#include "cli/repair.h"
#include "cli/room.h"
#include "cli/sequences.h"

#include <stdlib.h>

/* More shots than this and than one in fifty, lost while rendering, are a matter of the disk that
 * they lie on, not of the shots. */
#define MOST_LOST 5

/* Renders once. *lost: shots that could not be read any more, noted in the job's survey. */
static enum dw_status render_once(struct dw_job *job, struct dw_made *made, size_t *lost)
{
    const bool whole = job->settings->part[1] == 1;
    const struct dw_render_params params = dw_job_render_params(job->settings);
    struct dw_sequences q;
    *lost = 0;
    enum dw_status status = dw_sequences_open(&q, job, &params);
    if (status < 0)
        return status;
    double began = dw_now_s();
    size_t now = 0;
    status = dw_render(&job->shots, &job->decision, job->scratch, &params, &job->run, q.sink, q.n,
                       &now, &job->error);
    made->now += now;
    made->took_s += dw_now_s() - began;
    made->incomplete = status == DW_WARN;
    dw_terminal_end_stage(job->terminal);
    /* a share alone cannot decide anew: the others would not know */
    if (status == DW_WARN && whole)
        status = dw_repair(job, q.sink, q.n, lost);
    /* other shares may be writing: their temporaries are not leftovers */
    if (status >= 0 && whole)
        made->other_format = dw_sequences_tidy(&q);
    dw_sequences_close(&q);
    return status;
}

static enum dw_status render(struct dw_job *job, struct dw_made *made)
{
    size_t lost;
    enum dw_status status = render_once(job, made, &lost);
    if (status < 0 || lost == 0)
        return status;
    if (lost > MOST_LOST && lost > job->shots.n / 50)
        return dw_fail(&job->error, DW_ERR_IO,
                       "%zu of %zu shots that were fine when surveyed cannot be read any more; is "
                       "their card or disk still there? Run the same command again when it is, and "
                       "it goes on where it stopped",
                       lost, job->shots.n);
    dw_say(&job->run, DW_WARNING,
           "%zu shots that were fine when surveyed cannot be read now; their places are bridged",
           lost);
    status = dw_job_decide(job);
    if (status >= 0)
        status = render_once(job, made, &lost);
    return status;
}

static enum dw_status measure_output(struct dw_job *job, struct dw_made *made)
{
    const struct dw_facts *facts = &job->decision.facts;
    enum dw_cfa cfa = DW_CFA_BAYER;
    for (size_t i = 0; i < job->shots.n; i++) {
        if (job->shots.shot[i].readable) {
            cfa = job->shots.shot[i].cfa;
            break;
        }
    }
    const struct dw_crop *c = &facts->crop;
    return dw_output_size(facts->mosaic_width - c->left - c->right,
                          facts->mosaic_height - c->top - c->bottom, facts->turn_deg, cfa,
                          &job->settings->size, &made->width, &made->height, &job->error);
}

static enum dw_status run(struct dw_job *job, const char *const *input, size_t n,
                          struct dw_made *made)
{
    enum dw_status status = dw_job_begin(job, input, n);
    if (status >= 0)
        status = dw_job_survey(job);
    if (status >= 0)
        status = dw_job_decide(job);
    if (status >= 0)
        status = measure_output(job, made);
    if (status >= 0)
        status = dw_claim_share(job, job->settings->output);
    if (status >= 0) {
        dw_room_check(job, made->width, made->height);
        status = render(job, made);
    }
    return status;
}

int dw_cmd_render(const struct dw_settings *s, const char *const *input, size_t n,
                  struct dw_terminal *t)
{
    struct dw_job job;
    struct dw_made made = {0};
    int code;
    if (s->preview > 0)
        return dw_preview(s, input, n, t);
    dw_job_open(&job, s, t);
    job.renders = true;
    if (run(&job, input, n, &made) < 0)
        code = dw_job_failed(&job);
    else {
        made.share = dw_share_of(job.decision.n_frames, s->part); /* of the last decision */
        dw_outcome_tell(&job, &made);
        code = made.incomplete ? DW_EXIT_FAULTS : dw_outcome_exit(&job);
    }
    dw_job_close(&job);
    return code;
}
