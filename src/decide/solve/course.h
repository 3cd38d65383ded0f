/* course.h: a quantity's course in time without its noise. */
#ifndef DW_DECIDE_COURSE_H
#define DW_DECIDE_COURSE_H

#include "decide/arena.h"

#include <daywheel/base.h>

/* The likely course of x, n values at these times, s, each with the same noise of variance var:
 * smooth (its third differences per unit_s cubed are about `quiet`), but for the few places where
 * it plainly turns. x: replaced. Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_course(double *x, size_t n, double var, double quiet, const double *time,
                         double unit_s, struct dw_arena *arena);
/* The middle one of x[-2] .. x[2]: what comes and goes within two shots is left out, what goes on
 * one way is left as it is. */
double dw_middle_of_five(const double *x);

#endif
