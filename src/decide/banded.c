/* banded.c: see banded.h. */
#include "decide/banded.h"

#include <lapacke.h>

bool dw_banded_factor(struct dw_banded *b)
{
    return LAPACKE_dpbtrf_work(LAPACK_COL_MAJOR, 'L', b->n, b->kd, b->a, b->kd + 1) == 0;
}

bool dw_banded_solve(const struct dw_banded *factor, double *x, int nrhs)
{
    return LAPACKE_dpbtrs_work(LAPACK_COL_MAJOR, 'L', factor->n, factor->kd, nrhs, factor->a,
                               factor->kd + 1, x, factor->n) == 0;
}

void dw_banded_inverse(const struct dw_banded *factor, double *out)
{
    int n = factor->n, kd = factor->kd, ld = kd + 1;
    const double *l = factor->a;
    for (int j = n - 1; j >= 0; j--) {
        int last = j + kd < n ? j + kd : n - 1;
        double diagonal = l[(long)j * ld];
        for (int i = last; i >= j; i--) {
            double sum = i == j ? 1 / diagonal : 0;
            for (int k = j + 1; k <= last; k++) {
                /* Z(i, k), symmetric: column of the smaller index */
                double z = i >= k ? out[(long)k * ld + (i - k)] : out[(long)i * ld + (k - i)];
                sum -= l[(long)j * ld + (k - j)] * z;
            }
            out[(long)j * ld + (i - j)] = sum / diagonal;
        }
    }
}
