/* dark_fit.h: what all spells of a shoot (dark.c) together tell of its black levels. */
#ifndef DW_DECIDE_DARK_FIT_H
#define DW_DECIDE_DARK_FIT_H

#include <stddef.h>

/* What a spell tells: the change of black (DN) that would explain its dark tiles, its variance from
 * noise, and what one count of each part of an offset would make of it; and by how much less that
 * would be for each count that black itself changed by, which is in the common change as well. */
struct dw_dark_told {
    double black, var, per_dn[2], less[2];
};

/* Counts of both parts, the posterior's mean. A black that wanders from shot to shot moves dark
 * tiles as well; how much it does is learnt, and counts as noise. work: room for n values. */
void dw_dark_fit(const struct dw_dark_told *told, size_t n, double *work, double found[2]);

#endif
