/* scan.h: the steps of a scan that stand in files of their own. */
#ifndef DW_SHOT_SCAN_H
#define DW_SHOT_SCAN_H

#include "shot/find.h"

/* Marks true duplicates (the same file by another path, the same content twice) as dropped and
 * returns how many. The first in the list stays. */
size_t dw_drop_duplicates(struct dw_find *find, size_t n);

/* Decides for every camera file whether its clockwork runs steps or exact marks, from what the
 * whole shoot's record says, and fills the exposures again. exact: the person says so. */
void dw_settle_timing(struct dw_find *find, size_t n, bool exact, const struct dw_run *run);

/* Where no frame carries an offset: local time minus the time of the position fixes, when these
 * agree with one another. */
void dw_settle_offset(struct dw_find *find, size_t n, const struct dw_run *run);

/* DW_ERR_MIXED unless all frames come from one camera, size, orientation and pattern. */
enum dw_status dw_agree(const struct dw_find *find, size_t n, struct dw_error *err);

/* Puts the rows into the order of capture, guesses the time of rows without one, takes jumps of the
 * clock out. DW_ERR_MEMORY only. */
enum dw_status dw_order(struct dw_shot *shot, size_t n, const struct dw_run *run,
                        struct dw_error *err);

#endif
