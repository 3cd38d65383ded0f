/* came.h: how probable it is that each tile of a shot shows its own light, with no cloud before it
 * or before what lights it. */
#ifndef DW_DECIDE_CAME_H
#define DW_DECIDE_CAME_H

#include "decide/arena.h"

#include <stdbool.h>
#include <stddef.h>

/* The tiles of one shot on their grid, a value each. */
struct dw_came {
    int cols, rows;
    const float *off, *var; /* stops from what is expected of it, stops^2; INFINITY: not known */
    /* filled by dw_came_look: how much more often a tile that has come back is found just where it
     * is expected than a covered one; 0: not known. And one over how many beside it are known. */
    float *likely, *beside;
    float *odds, *across, *none, *before; /* at work; none: zeros */
};

/* Takes room for a grid. Returns false where there is none. */
bool dw_came_take_room(struct dw_came *c, int cols, int rows, struct dw_arena *arena);
/* Looks at another shot. */
void dw_came_look(struct dw_came *c, const float *off, const float *var);
/* The odds of tile k by itself, if as many tiles come back as do not, when the shot is off by dm.
 */
double dw_came_odds(const struct dw_came *c, size_t k, double dm);
/* chance: a value a tile, 0..1, that it has come back when the shot is off by dm; by itself and by
 * those beside it. */
void dw_came_weigh(const struct dw_came *c, double dm, float *chance);

#endif
