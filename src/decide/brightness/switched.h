/* switched.h: tiles that go on or off at once by night, and stay so. */
#ifndef DW_DECIDE_SWITCHED_H
#define DW_DECIDE_SWITCHED_H

#include "decide/work.h"

/* The night's shots in order, with the light of every tile. */
struct dw_night {
    size_t n;
    const size_t *shot;
    float *light; /* n*tiles, stops; of a burnt-out tile the least that it can be */
    bool *burnt;  /* n*tiles */
    double *work; /* tiles */
};

/* How often in a night a tile's light leaps, and how often it then keeps to it. */
struct dw_leaps {
    int all, kept;
};

/* Adds the leaps of all tiles between the night's shots j-1 and j, from 1 on. stands_before,
 * stands_after: tiles that stand out in either, as only a lit one does; step: room for a number a
 * tile. Uses up g->work. */
void dw_count_leaps(const struct dw_work *w, const struct dw_night *g, size_t j,
                    const bool *stands_before, const bool *stands_after, double *step,
                    struct dw_leaps *leaps);

#endif
