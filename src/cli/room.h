/* room.h: how much disk a job will want, roughly, so that it is said before hours are spent and the
 * scratch, which is never needed, does not take what the results need. */
#ifndef DW_CLI_ROOM_H
#define DW_CLI_ROOM_H

#include "cli/job.h"

/* Frames of this share in all sequences, n of them in the whole, at this size; bytes. */
double dw_room_for_frames(const struct dw_settings *s, size_t n, int width, int height);
/* What is still to be written to OUT beside the scratch, judged from the shots alone: the survey,
 * twice because it is put in order by copying, and the frames if the job makes any; bytes. */
double dw_room_for_results(const struct dw_job *job);
/* Says so when the disk has less room than all frames need. */
void dw_room_check(struct dw_job *job, int width, int height);

/* How many of n frames belong to a share K of N. */
size_t dw_share_of(size_t n, const int part[2]);

#endif
