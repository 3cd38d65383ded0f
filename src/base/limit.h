/* limit.h: numbers kept within limits. As fmax and fmin, which compilers make calls of because of
 * what they promise about NAN and the sign of zero: in a loop over all tiles of all shots that is
 * felt. */
#ifndef DW_BASE_LIMIT_H
#define DW_BASE_LIMIT_H

/* The limit where x is NAN; the limit itself is a number. */
static inline double dw_at_least(double x, double least)
{
    return x > least ? x : least;
}

static inline double dw_at_most(double x, double most)
{
    return x < most ? x : most;
}

#endif
