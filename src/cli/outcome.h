/* outcome.h: the few calm lines at the end of a job, and its exit status. */
#ifndef DW_CLI_OUTCOME_H
#define DW_CLI_OUTCOME_H

#include "cli/job.h"

struct dw_made {
    size_t now, share;   /* frames made now; frames of this share (--part) in all */
    int width, height;   /* of the pictures */
    size_t other_format; /* frames of an earlier run in another format that lie there as well */
    double took_s;
    bool incomplete; /* some frames could not be made; warnings have named them */
};

/* made: NULL for a survey alone. */
void dw_outcome_tell(struct dw_job *job, const struct dw_made *made);
/* DW_EXIT_DONE, or DW_EXIT_FAULTS when faulty shots were left out or gaps bridged. A shot that a
 * person left out is no fault. */
int dw_outcome_exit(const struct dw_job *job);

#endif
