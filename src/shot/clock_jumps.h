/* clock_jumps.h: a camera's clock that jumps while its counter goes on. */
#ifndef DW_SHOT_CLOCK_JUMPS_H
#define DW_SHOT_CLOCK_JUMPS_H

#include <daywheel/shot.h>

/* A shot on its way to its place in the order. */
struct dw_place {
    struct dw_shot *shot;
    long count;   /* unwrapped file number, -1 without */
    bool timed;   /* t is known */
    double t;     /* seconds, the usual offset taken off */
    int offset;   /* that was taken off */
    double shift; /* that putting the clock right has added */
    double guess;
};

/* The usual time from one shot to the next: median of the differences of neighbours in the list
 * that are timed, per number where numbered. 0 when there are none. */
double dw_usual_step(const struct dw_place *p, size_t n, bool numbered);

/* The list is in the order of its numbers. Where the clock falls back, or leaps by exactly an hour,
 * while the numbers go on evenly, everything behind is shifted: by whole hours if those make the
 * spacing even (a change of daylight saving time, or a person's correction), otherwise by what
 * keeps the usual spacing. Each is told through run. Does nothing when the clock falls back so
 * often that the numbers cannot be the order. */
void dw_take_out_clock_jumps(struct dw_place *p, size_t n, const struct dw_run *run);

#endif
