/* third.c: see third.h. */
#include "decide/solve/third.h"

#include <math.h>

void dw_third_difference(const double time[4], double unit_s, double out[4])
{
    double t[4];
    for (int i = 0; i < 4; i++)
        t[i] = time[i] / unit_s;
    for (int i = 1; i < 4; i++)
        t[i] = fmax(t[i], t[i - 1] + 1e-3 / unit_s);
    for (int i = 0; i < 4; i++) {
        double product = 1;
        for (int k = 0; k < 4; k++)
            if (k != i)
                product *= t[i] - t[k];
        /* six times the divided difference: 1 -3 3 -1 for equal unit steps */
        out[i] = 6 / product;
    }
}
