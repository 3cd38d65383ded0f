/* clock.h: which offset from UTC the camera's clock must have had, judged from the light. */
#ifndef DW_DECIDE_CLOCK_H
#define DW_DECIDE_CLOCK_H

#include "decide/work.h"

struct dw_clock_fit {
    int offset_s; /* local minus UTC, whole quarter hours */
    bool sure;    /* the light tells it from the other offsets */
};

/* clock: readings of all shots as if they were UTC. */
enum dw_status dw_clock_judge(struct dw_work *w, const struct dw_site *site, const double *clock,
                              struct dw_clock_fit *fit, struct dw_error *err);

#endif
