/* matrix3.h: 3x3 matrices, row-major double[9]. */
#ifndef DW_BASE_MATRIX3_H
#define DW_BASE_MATRIX3_H

#include <stdbool.h>

/* out = a * b; out may be a or b. */
void dw_m3_multiply(const double a[9], const double b[9], double out[9]);
/* out = m * v; out may be v. */
void dw_m3_apply(const double m[9], const double v[3], double out[3]);
/* False for a singular matrix (|det| < 1e-12 of its largest product); out may be m. */
bool dw_m3_invert(const double m[9], double out[9]);

#endif
