/* stretch.h: a stretch of local time as a person writes it: 03:10-04:40. */
#ifndef DW_SHOT_STRETCH_H
#define DW_SHOT_STRETCH_H

#include <daywheel/shot.h>

struct dw_stretch {
    bool dated;      /* from and to are instants, else seconds of the day */
    double from, to; /* seconds of the camera's clock; to is not within any more */
};

/* What a text is: not a stretch at all, one with a mistake in it (*why says which), or a good one.
 */
enum dw_stretch_kind { DW_STRETCH_NONE, DW_STRETCH_WRONG, DW_STRETCH_GOOD };
enum dw_stretch_kind dw_stretch_read(const char *text, struct dw_stretch *out, const char **why);

/* Whether an instant of the camera's clock lies within. *day: number of the day on which that turn
 * of the stretch began, counted from 1970-01-01. */
bool dw_stretch_holds(const struct dw_stretch *s, double clock_s, long *day);

#endif
