/* repair.h: shots that were fine when surveyed and cannot be read now. */
#ifndef DW_CLI_REPAIR_H
#define DW_CLI_REPAIR_H

#include "cli/job.h"

/* After a rendering that could not make all frames: tries to read the sources of every frame that
 * some sink does not have, and notes those that fail as unreadable in the job's survey (in memory
 * only: a card that comes back is good again next time). *found: how many. The job should then
 * decide again and render again, and those frames are bridged like any other.
 * Errors: DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_repair(struct dw_job *job, const struct dw_sink *sinks, size_t n, size_t *found);

#endif
