/* corner.c: see corner.h. */
#include "decide/solve/corner.h"

#include <math.h>
#include <stddef.h>

bool dw_corner_eliminate(double *corner, double *right, int n, int some)
{
    for (int k = 0; k < some; k++) {
        double *restrict l = corner + (size_t)k * (size_t)n;
        if (!(l[k] > 0))
            return false;
        double root = sqrt(l[k]);
        for (int i = k; i < n; i++)
            l[i] /= root;
        right[k] /= root;
        for (int c = k + 1; c < n; c++) {
            double *restrict column = corner + (size_t)c * (size_t)n;
            for (int i = c; i < n; i++)
                column[i] -= l[i] * l[c];
            right[c] -= l[c] * right[k];
        }
    }
    return true;
}

void dw_corner_solve(const double *corner, double *right, int n, int some)
{
    for (int k = some - 1; k >= 0; k--) {
        const double *l = corner + (size_t)k * (size_t)n;
        for (int i = k + 1; i < n; i++)
            right[k] -= l[i] * right[i];
        right[k] /= l[k];
    }
}
