/* corner.h: the small dense system that is left when a band is eliminated, taken apart once more:
 * what comes first in it is eliminated as well, as what comes last is solved by other means. */
#ifndef DW_DECIDE_CORNER_H
#define DW_DECIDE_CORNER_H

#include <stdbool.h>

/* Cholesky's elimination of the first `some` unknowns of a symmetric system of n, of which the
 * lower half is read, column by column: their columns become those of its factor; the rest, of the
 * matrix and of right (n values), is what they leave of it. False: not positive definite. */
bool dw_corner_eliminate(double *corner, double *right, int n, int some);
/* The solution of these, from that of the rest, which stands in right beyond them. */
void dw_corner_solve(const double *corner, double *right, int n, int some);

#endif
