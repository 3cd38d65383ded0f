/* returns.h: light of shots under broken cloud, told by what comes back to where it was. */
#ifndef DW_DECIDE_RETURNS_H
#define DW_DECIDE_RETURNS_H

#include "decide/compare/pairs.h"

struct dw_returns_params {
    double reach_s;      /* a tile is judged by the shots of this long on either side */
    double floor_stops;  /* no tile comes back more closely than this */
    double wander_stops; /* rms of what its light with nothing before it wanders in 120 s, beside
                          * its slope; */
    double bend_stops;   /* and of how much its slope, stops in 120 s, does */
    double least_share;  /* of the shots about that must have one light for it to be a tile's own,
                          * at first sight */
    int rounds;          /* of learning tiles and shots from one another */
};
#define DW_RETURNS_DEFAULTS                                                                        \
    {                                                                                              \
        1800, 2e-3, 4e-3, 1e-3, 0.15, 4                                                            \
    }

/* start, start_var: n values, what exposure errors and the law of light did to each shot, as far as
 * known, stops, and the variance of the errors. turn: n values, how much slopes of tiles' own light
 * bend beside the usual (turns.h). bump: n values, true where the view is displaced
 * against the shot before. light: n values, as `start`, but better; var: its variance, stops^2,
 * INFINITY where too little came back to tell. Slow changes of `light` mean nothing. Linear in n.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_returns_find(const struct dw_grids *grids, const struct dw_returns_params *params,
                               const double *start, const double *start_var, const double *turn,
                               const bool *bump, struct dw_arena *arena, double *light,
                               double *var);

#endif
