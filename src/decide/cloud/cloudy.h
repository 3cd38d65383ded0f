/* cloudy.h: sharing out between light and exposure where broken cloud passes, when from one shot to
 * the next hardly a tile stands still. */
#ifndef DW_DECIDE_CLOUDY_H
#define DW_DECIDE_CLOUDY_H

#include "decide/cloud/turns.h"
#include "decide/share/share.h"

/* What is known of the shots beside their pairs; n values each, as many as share->n. */
struct dw_cloudy {
    const struct dw_grids *grids;
    const bool *bump;   /* the view is displaced against the shot before */
    const double *jump; /* the record is wrong by this, stops; already taken out of the pairs */
    struct dw_sources by;
};

/* Whether cloud passes: from shot to shot tiles disagree, for a good part of the shoot. pair: the
 * lag-1 pairs of n shots, in order (n-1 of them). */
bool dw_cloudy(const struct dw_pair *pair, size_t n);
/* Instead of dw_share_out: shares out three times, from the second on with what comes back to where
 * it was (returns.h). Leaves in share->pair what the last time went by, without the law. Errors:
 * DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_cloudy_share_out(const struct dw_cloudy *cloud, struct dw_share *share,
                                   struct dw_arena *arena, struct dw_error *err);

#endif
