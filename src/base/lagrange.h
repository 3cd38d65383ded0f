/* lagrange.h: values between samples. */
#ifndef DW_BASE_LAGRANGE_H
#define DW_BASE_LAGRANGE_H

#define DW_LAGRANGE_TAPS 6

/* Lagrange's weights of the six samples about a place t of 0..1 between the middle two: exact for
 * polynomials of the fifth degree. They sum to 1. */
static inline void dw_lagrange(float t, float w[DW_LAGRANGE_TAPS])
{
    for (int i = 0; i < DW_LAGRANGE_TAPS; i++) {
        w[i] = 1;
        for (int k = 0; k < DW_LAGRANGE_TAPS; k++)
            if (k != i)
                w[i] *= (t + 2 - (float)k) / (float)(i - k);
    }
}

#endif
