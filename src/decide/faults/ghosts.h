/* ghosts.h: finds what looks like a lamp mirrored in the pane before the camera: a blurred light
 * that stands still in the picture, over sky or ground, once it is dark enough outside. */
#ifndef DW_DECIDE_FAULTS_GHOSTS_H
#define DW_DECIDE_FAULTS_GHOSTS_H

#include "decide/steps.h"

/* One ghost. */
struct dw_ghost {
    size_t first, last; /* shots between which it was found, both included */
    int tile;           /* where it is brightest */
    double tiles;       /* how many it covers to half its height */
    float *share; /* of every shot: its light beside what lies behind it; 0 where it is off, NAN
                   * by day and where nothing is known */
};

/* The ghosts of a shoot, *n of them in order of their first shots; memory from the arena.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_find_ghosts(struct dw_work *w, const struct dw_ledger_row *ledger,
                              struct dw_ghost **ghost, size_t *n, struct dw_error *err);

#endif
