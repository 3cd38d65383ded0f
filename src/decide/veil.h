/* veil.h: light that follows the picture's contrasts, as it does in fog. */
#ifndef DW_DECIDE_VEIL_H
#define DW_DECIDE_VEIL_H

#include "decide/pairs.h"
#include "decide/steady.h"

/* Finds the spells in which light is seen to bend (spells.h) and all contrasts go with one cause,
 * and what to hold the common light against in each. time: n values, s; bump: n values, true where
 * the view of a shot is displaced against the one before it. follow: *n_follow of them, from the
 * arena; both NULL and 0 where there are none. rest: n values, where spells are: by how much
 * contrasts bend beside what light is held against (as unrest). Errors: DW_ERR_MEMORY,
 * DW_ERR_NUMERIC. */
enum dw_status dw_veils_find(const struct dw_beside *beside, const double *time, const bool *bump,
                             size_t n, struct dw_arena *arena, struct dw_follow **follow,
                             int *n_follow, double *rest);

#endif
