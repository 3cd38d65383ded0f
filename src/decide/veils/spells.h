/* spells.h: spells in which light is seen to bend. */
#ifndef DW_DECIDE_SPELLS_H
#define DW_DECIDE_SPELLS_H

#include "decide/compare/pairs.h"

#define DW_MOST_SPELLS 64

struct dw_spell {
    double unrest;      /* its largest bend, stops */
    size_t first, last; /* shots */
};

/* Spells of n shots (at least one), in order of time, from bends that regions show (beside->unrest)
 * or all together (beside->along); returns how many: the first DW_MOST_SPELLS. bump: true where the
 * view of a shot is displaced against the one before it. Where the view moved while light bent,
 * first = last. */
size_t dw_spells_find(const struct dw_beside *beside, const bool *bump, size_t n,
                      struct dw_spell spell[DW_MOST_SPELLS]);

#endif
