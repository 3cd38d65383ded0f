/* veil.h: spells of fog or cloud, in which light is told by the picture's contrasts. */
#ifndef DW_DECIDE_VEIL_H
#define DW_DECIDE_VEIL_H

#include "decide/compare/pairs.h"
#include "decide/veils/mixture.h"

/* What is known of n shots before light and exposure are told apart. */
struct dw_veil_view {
    const struct dw_grids *grids;
    const struct dw_beside *beside; /* where light is seen to bend (spells.h) */
    const double *black;            /* n: how far its black is off, DN */
    const bool *bump; /* n: true where the view of a shot is displaced against the one before it */
};

/* Finds the spells in which light is seen to bend and all contrasts go with one cause, and what
 * light is a mixture of in each. mixture: *n_mixtures of them, from the arena; NULL and 0 where
 * there are none. rest: n values, where spells are: by how much contrasts bend beside the mixture
 * (as unrest). Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_veils_find(const struct dw_veil_view *view, struct dw_arena *arena,
                             struct dw_mixture **mixture, int *n_mixtures, double *rest);

#endif
