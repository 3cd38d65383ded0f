/* claim.h: making sure that an output folder is ours to write to. */
#ifndef DW_CLI_CLAIM_H
#define DW_CLI_CLAIM_H

#include "cli/job.h"

bool dw_folder_exists(const char *path);

/* Refuses an output folder that is one of the folders the frames lie in, or no folder at all. */
enum dw_status dw_claim_place(const char *dir, const char *const *input, size_t n,
                              struct dw_error *err);

/* Locks the folder (made if missing) for job->lock. A run of one share (--part K/N) waits for
 * other shares that are still surveying; a run of everything is refused while somebody works. */
enum dw_status dw_claim_lock(struct dw_job *job, const char *dir);
/* For the rendering of one share: lets other shares in, and keeps a lock for this share alone.
 * Does nothing for a run of everything. */
enum dw_status dw_claim_share(struct dw_job *job, const char *dir);

/* Refuses a folder that holds another shoot (its ledger has no file in common with these shots, by
 * name and time), or pictures in a folder `frames` that are nobody's. */
enum dw_status dw_claim_same_shoot(const char *dir, const struct dw_shots *shots,
                                   struct dw_error *err);

#endif
