/* pairs.h: how light changed between neighbouring shots, with how well that is known. The one
 * place where tiles are judged: clipped, moving, lit by lamps, bound by noise. */
#ifndef DW_DECIDE_PAIRS_H
#define DW_DECIDE_PAIRS_H

#include "decide/arena.h"

#include <daywheel/base.h>
#include <stdbool.h>
#include <stdint.h>

/* Light grids of the shots that take part, in order of time. */
struct dw_grids {
    size_t n; /* shots */
    int cols, rows;
    const float *light;      /* n*cols*rows, stops by the record; NAN where a tile does not count */
    const float *noise;      /* its variance, stops^2 */
    const float *lever;      /* change of it per count of black level, stops/DN */
    const double *time;      /* n, seconds, not decreasing */
    const bool *loose;       /* n: has no record, so that it may be off by any amount */
    const float (*shift)[2]; /* n: how far the view is displaced, tiles right and down */
};

/* One comparison: common change of light by the record from shot a to b, the tiles' own smooth
 * drifts taken out. */
struct dw_pair {
    uint32_t a, b;
    double v, var; /* stops, stops^2 */
    bool agree;    /* nearly all tiles changed alike */
};

struct dw_pair_params {
    double drift_window_s;    /* a tile's own drift is a parabola over this long, and at least nine
                               * shots' steps; */
    double doubtful_window_s; /* and even over this, of a tile that mostly moves */
    double floor_stops;       /* no tile is better than this, per comparison */
    double reach_stops;       /* exposure errors of neighbours differ by less than this; learnt, */
    double least_reach_stops; /* but never less than this */
    double moved_stops;       /* of a comparison with a displaced view, beside all else */
    double black_dn; /* the black level's wander between neighbours, when nothing else tells */
    const struct dw_run *run; /* whose workers compare; NULL: one does */
};
#define DW_PAIR_DEFAULTS                                                                           \
    {                                                                                              \
        1080, 1500, 4e-4, 0.15, 0.04, 0.01, 0.3, NULL                                              \
    }

/* What a comparison tells beside the pairs; the caller gives room for n values in each. */
struct dw_beside {
    double unit_s; /* of time, for unrest and along */
    /* how far light itself is seen to bend over shots i .. i+3, whatever the exposure did: third
     * difference per unit_s cubed, stops; 0: not seen to (unrest.c) */
    double *unrest;
    double *along; /* (NULL: not wanted) bends that no region shows by itself, by night (along.c) */
    double *black, *black_var; /* change of the black level from shot i to i+1, DN, as dark tiles
                                * tell, and its variance; INFINITY: unknown */
    double wander;             /* variance of such a change in this shoot, DN^2 */
    int regions;               /* of the picture; n times as many values in the next two */
    float *contrast; /* (NULL: not wanted) change of each region's light beside the common one from
                      * shot i to i+1, stops, shot after shot; NAN unknown */
    float *contrast_var; /* noise of the region's level, stops^2 */
};
/* How many regions a picture of so many tiles is compared in. */
int dw_pair_regions(int cols, int rows);
/* Which of them a tile belongs to. */
int dw_pair_region(int cols, int rows, int tile);
/* Whether the camera stood elsewhere in shot a than in b. shift: as in struct dw_grids. */
bool dw_pair_displaced(const float (*shift)[2], size_t a, size_t b);

/* How many steps to either side tell the slow common change about a step, if shots are usually so
 * many seconds apart: those within a quarter of an hour, 2 to 7. In the middle of dusk light falls
 * faster than before and after it, and a median over hours would have every dusk slower than it is.
 */
size_t dw_steps_about(double usual_s);

/* Compares every shot with the next and the one after: at most 2n-3 pairs, from the arena. Errors:
 * DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_pairs_compare(const struct dw_grids *grids, const struct dw_pair_params *params,
                                struct dw_arena *arena, struct dw_pair **pairs, size_t *n,
                                struct dw_beside *beside, struct dw_error *err);

#endif
