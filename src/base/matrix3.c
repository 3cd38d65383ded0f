/* matrix3.c: see matrix3.h. */
#include "base/matrix3.h"

#include <math.h>
#include <string.h>

void dw_m3_multiply(const double a[9], const double b[9], double out[9])
{
    double t[9];
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            t[3 * i + j] = a[3 * i] * b[j] + a[3 * i + 1] * b[3 + j] + a[3 * i + 2] * b[6 + j];
    memcpy(out, t, sizeof t);
}

void dw_m3_apply(const double m[9], const double v[3], double out[3])
{
    double t[3];
    for (int i = 0; i < 3; i++)
        t[i] = m[3 * i] * v[0] + m[3 * i + 1] * v[1] + m[3 * i + 2] * v[2];
    memcpy(out, t, sizeof t);
}

bool dw_m3_invert(const double m[9], double out[9])
{
    double t[9], largest = 0;
    t[0] = m[4] * m[8] - m[5] * m[7];
    t[1] = m[2] * m[7] - m[1] * m[8];
    t[2] = m[1] * m[5] - m[2] * m[4];
    t[3] = m[5] * m[6] - m[3] * m[8];
    t[4] = m[0] * m[8] - m[2] * m[6];
    t[5] = m[2] * m[3] - m[0] * m[5];
    t[6] = m[3] * m[7] - m[4] * m[6];
    t[7] = m[1] * m[6] - m[0] * m[7];
    t[8] = m[0] * m[4] - m[1] * m[3];
    double det = m[0] * t[0] + m[1] * t[3] + m[2] * t[6];
    for (int i = 0; i < 9; i++)
        largest = fmax(largest, fabs(m[i]));
    if (!(fabs(det) > 1e-12 * largest * largest * largest))
        return false;
    for (int i = 0; i < 9; i++)
        out[i] = t[i] / det;
    return true;
}
