/* stars.h: the stars of every night shot: how many, and how sharp. Only in the dark, where neither
 * hangs on the twilight. */
#ifndef DW_DECIDE_FAULTS_STARS_H
#define DW_DECIDE_FAULTS_STARS_H

#include "decide/work.h"

/* Fills w->stars from the survey's bright spots. Spots that stand still through the night (hot
 * pixels, lamps) are no stars. Errors: DW_ERR_MEMORY, and those of dw_survey_spikes. */
enum dw_status dw_find_stars(struct dw_work *w, const struct dw_ledger_row *ledger,
                             struct dw_error *err);

/* Whether it is night and too few bright stars are seen to tell how wide they are. */
bool dw_few_stars(const struct dw_stars *s, size_t i);

#endif
