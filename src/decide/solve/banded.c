/* banded.c: see banded.h. */
#include "decide/solve/banded.h"

#include <lapacke.h>
#include <stdlib.h>

bool dw_banded_factor(struct dw_banded *b)
{
    return LAPACKE_dpbtrf_work(LAPACK_COL_MAJOR, 'L', b->n, b->kd, b->a, b->kd + 1) == 0;
}

/* Right-hand sides that are solved side by side: alone, each would wait for its own last value. */
enum { SIDES = 8 };

/* Row i of x takes its share off row j, of which it is `l` times: x[j] -= l * x[i]. */
static inline void take_off(double *restrict xj, const double *restrict xi, double l)
{
    for (int r = 0; r < SIDES; r++)
        xj[r] -= l * xi[r];
}

/* The first row of x, n rows of SIDES, in which not all are 0. */
static int first_row(const double *x, int n)
{
    long k = 0, all = (long)n * SIDES;
    while (k < all && x[k] == 0)
        k++;
    return (int)(k / SIDES);
}

/* x: n rows of SIDES. In the order of the reference BLAS's dtbsv. */
static void solve_sides(const struct dw_banded *f, double *x)
{
    const int n = f->n, kd = f->kd;
    for (int j = first_row(x, n); j < n; j++) { /* what lies before it stays 0 */
        const double *l = f->a + (long)j * (kd + 1);
        double *xj = x + (long)j * SIDES, part = 1 / l[0];
        for (int r = 0; r < SIDES; r++)
            xj[r] *= part;
        for (int i = 1; i <= kd && j + i < n; i++)
            take_off(xj + (long)i * SIDES, xj, l[i]);
    }
    for (int j = n - 1; j >= 0; j--) {
        const double *l = f->a + (long)j * (kd + 1);
        double *xj = x + (long)j * SIDES, part = 1 / l[0];
        for (int i = kd < n - 1 - j ? kd : n - 1 - j; i >= 1; i--)
            take_off(xj, xj + (long)i * SIDES, l[i]);
        for (int r = 0; r < SIDES; r++)
            xj[r] *= part;
    }
}

bool dw_banded_solve(const struct dw_banded *factor, double *x, int nrhs)
{
    const long n = factor->n;
    if (nrhs == 1)
        return LAPACKE_dpbtrs_work(LAPACK_COL_MAJOR, 'L', factor->n, factor->kd, nrhs, factor->a,
                                   factor->kd + 1, x, factor->n) == 0;
    double *work = malloc((size_t)n * SIDES * sizeof *work);
    for (int first = 0; first < nrhs && work; first += SIDES) {
        int sides = nrhs - first < SIDES ? nrhs - first : SIDES;
        double *from = x + first * n;
        for (long i = 0; i < n; i++)
            for (int r = 0; r < SIDES; r++)
                work[i * SIDES + r] = r < sides ? from[r * n + i] : 0;
        solve_sides(factor, work);
        for (long i = 0; i < n; i++)
            for (int r = 0; r < sides; r++)
                from[r * n + i] = work[i * SIDES + r];
    }
    free(work);
    return work != NULL || nrhs == 0;
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
