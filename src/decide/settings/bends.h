/* bends.h: how the picture bends in time: third differences of all tiles over four shots in a row,
 * in which slow light and its slow changes from place to place are lost, and steps are not. */
#ifndef DW_DECIDE_BENDS_H
#define DW_DECIDE_BENDS_H

#include "decide/work.h"

/* What all tiles do alike is told apart by place: term 0 everywhere the same, the others by the
 * caller's own functions of place. The last one is the black's. */
#define DW_BEND_TERMS 4

struct dw_bends {
    size_t n;           /* shots that take part */
    const size_t *shot; /* which of the table's they are, in order of time */
    const float *value; /* of all shots of the table, by tile: stops; NAN where it does not count */
    const float *noise; /* its variance, stops^2 */
    const float *lever; /* change of it per count of black level, stops/DN: an untold black changes
                         * dark tiles' share with every step of exposure; found and put aside */
    const bool *asked;  /* per four shots: whether they are looked at at all */
    int terms;
    const double *basis[DW_BEND_TERMS]; /* tiles values each; [0] is not read: it is 1 */
};

/* A row for each four shots i..i+3, n-3 of them: */
struct dw_bend {
    double size[DW_BEND_TERMS]; /* [terms]: black, DN; the others: third divided difference of each
                                   term, stops per interval^3 */
    double var[DW_BEND_TERMS];  /* variance of it as regions of the picture disagree; at least
                                 * DW_BEND_UNKNOWN where the four tell nothing */
};
#define DW_BEND_UNKNOWN 1.0

/* Errors: DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_bends_measure(const struct dw_bends *b, struct dw_work *w, struct dw_bend *out,
                                struct dw_error *err);

#endif
