/* banded.h: symmetric positive definite systems whose entries lie near the diagonal, with or
 * without a dense border: time and memory grow linearly with the number of unknowns. */
#ifndef DW_DECIDE_BANDED_H
#define DW_DECIDE_BANDED_H

#include <stdbool.h>

/* Lower band, column-major as LAPACK wants it: entry (i, j), i >= j, at a[j*(kd+1) + i-j]. */
struct dw_banded {
    int n, kd; /* unknowns; sub-diagonals */
    double *a; /* n*(kd+1) */
};

/* Adds v to entry (i, j) and, the matrix being symmetric, to (j, i); |i-j| <= kd. */
static inline void dw_banded_add(struct dw_banded *b, int i, int j, double v)
{
    if (i < j) {
        int t = i;
        i = j;
        j = t;
    }
    b->a[(long)j * (b->kd + 1) + (i - j)] += v;
}
/* Replaces the matrix by its Cholesky factor; false if it is not positive definite. */
bool dw_banded_factor(struct dw_banded *b);
/* Solves with the factor; x holds nrhs right-hand sides of n values each, replaced. False when
 * memory ran out. */
bool dw_banded_solve(const struct dw_banded *factor, double *x, int nrhs);
/* The part of the inverse that lies in the band, from the factor, laid out alike.
 * Source: Takahashi, Fagan & Chin 1973 (sparse inverse subset). out: n*(kd+1). */
void dw_banded_inverse(const struct dw_banded *factor, double *out);

#endif
