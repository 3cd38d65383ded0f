/* cmd_survey.c: `daywheel survey`: everything but the pictures. */
#include "cli/cmd.h"
#include "cli/outcome.h"

int dw_cmd_survey(const struct dw_settings *s, const char *const *input, size_t n,
                  struct dw_terminal *t)
{
    struct dw_job job;
    struct dw_settings mine = *s;
    /* A scratch that nobody will find is not worth its disk. Named, it is meant to be found. */
    char off[] = "off";
    if (!s->scratch && !s->keep_scratch)
        mine.scratch = off;
    dw_job_open(&job, &mine, t);
    job.keep_scratch = true;
    int code = DW_EXIT_DONE;
    if (dw_job_begin(&job, input, n) < 0 || dw_job_survey(&job) < 0 || dw_job_decide(&job) < 0)
        code = dw_job_failed(&job);
    else {
        dw_outcome_tell(&job, NULL);
        code = dw_outcome_exit(&job);
    }
    dw_job_close(&job);
    return code;
}
