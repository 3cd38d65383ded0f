/* whittaker.c: see whittaker.h. */
#include "decide/solve/whittaker.h"
#include "decide/solve/banded.h"

#include <math.h>
#include <stdlib.h>

static const double difference[4][4] = {{1}, {-1, 1}, {1, -2, 1}, {-1, 3, -3, 1}};

enum dw_status dw_whittaker(const double *y, const double *w, int n, double lambda, int d,
                            double *z)
{
    if (d < 1 || d > 3 || !(lambda >= 0) || n < 0)
        return DW_ERR_USAGE;
    if (n == 0)
        return DW_OK;
    struct dw_banded m = {n, d, calloc((size_t)n * (size_t)(d + 1), sizeof(double))};
    if (!m.a)
        return DW_ERR_MEMORY;
    for (int i = 0; i < n; i++)
        dw_banded_add(&m, i, i, w ? w[i] : 1);
    for (int i = 0; i + d < n; i++)
        for (int p = 0; p <= d; p++)
            for (int q = 0; q <= p; q++)
                dw_banded_add(&m, i + p, i + q, lambda * difference[d][p] * difference[d][q]);
    bool ok = dw_banded_factor(&m);
    for (int i = 0; ok && i < n; i++) {
        double weight = w ? w[i] : 1;
        z[i] = weight > 0 ? weight * y[i] : 0;
    }
    ok = ok && dw_banded_solve(&m, z, 1);
    free(m.a);
    return ok ? DW_OK : DW_ERR_NUMERIC;
}

double dw_whittaker_lambda(double period, int d)
{
    return pow(2 * sin(3.14159265358979323846 / period), -2.0 * d);
}
