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

/* Shares of eight values at 0 .. 7 in the value at x, by the polynomial through them all: of a wave
 * of w radians a step it misses, between the middle two, less than 0.0011 w^8. */
static inline void dw_lagrange_eight(double x, double share[8])
{
    /* 1 over the products of i - k */
    static const double scale[8] = {-1 / 5040.0, 1 / 720.0, -1 / 240.0, 1 / 144.0,
                                    -1 / 144.0,  1 / 240.0, -1 / 720.0, 1 / 5040.0};
    double below = 1, above = 1;
    for (int i = 0; i < 8; i++) {
        share[i] = scale[i] * below;
        below *= x - i;
    }
    for (int i = 7; i >= 0; i--) {
        share[i] *= above;
        above *= x - i;
    }
}

#endif
