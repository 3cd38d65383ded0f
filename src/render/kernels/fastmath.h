/* fastmath.h: log2 and exp2 by two accuracies, in plain arithmetic, so that a compiler can
 * run eight at a time and every machine gets the same bits. Measured errors stand in
 * tests/test_kernels.c.
 *
 * log2: x = 2^e * m with m in [sqrt(1/2), sqrt(2)); log2 m is the odd series of
 * 2 atanh((m-1)/(m+1)) / ln 2, its coefficients by Chebyshev interpolation (1.2e-7 relative).
 * exp2: x = i + f with |f| <= 1/2; 2^f = 1 + f * q(f), q by Chebyshev interpolation (2.1e-7), so
 * that 2^0 is 1 exactly. Polynomials are written in pairs (Estrin's scheme), because what limits
 * these chains is not how many operations they have but how many must wait for each other.
 *
 * The near ones are for powers in curves, where a millionth is nothing: polynomials alone, no
 * division, by Remez's exchange. log2 (1 + t) = t + t (t - 1) q(t) over a whole octave, so that
 * octaves join and log2 1 is 0 exactly (1.6e-5 absolute); 2^f - 1 = f q(f) (3.6e-6 relative). */
#ifndef DW_RENDER_FASTMATH_H
#define DW_RENDER_FASTMATH_H

#include <stdint.h>
#include <string.h>

static inline int32_t dwk_bits(float x)
{
    int32_t i;
    memcpy(&i, &x, sizeof i);
    return i;
}

static inline float dwk_float(int32_t i)
{
    float x;
    memcpy(&x, &i, sizeof x);
    return x;
}

static inline float dwk_min(float a, float b)
{
    return a < b ? a : b;
}

static inline float dwk_max(float a, float b)
{
    return a > b ? a : b;
}

/* x: a positive normal number. */
static inline float dwk_log2(float x)
{
    int32_t i = dwk_bits(x);
    int32_t e = (i - 0x3f3504f3) & (int32_t)0xff800000; /* exponent, still in its place */
    float m = dwk_float(i - e);
    float s = (m - 1.0f) / (m + 1.0f);
    float t = s * s;
    float p = (2.88539042f + 0.961588947f * t) + 0.595759607f * (t * t);
    return (float)(e >> 23) + s * p;
}

/* -126 <= x <= 127 */
static inline float dwk_exp2(float x)
{
    const float magic = 12582912.0f; /* 1.5 * 2^23: adding it rounds to a whole number */
    float whole = x + magic;
    float f = x - (whole - magic);
    float f2 = f * f;
    float q = (0.693147181f + 0.24022349f * f) +
              f2 * ((0.0555038101f + 0.00966636852f * f) + 0.00133813025f * f2);
    return dwk_float(dwk_bits(1.0f + f * q) + (int32_t)((uint32_t)dwk_bits(whole) << 23));
}

/* x: a positive normal number. */
static inline float dwk_near_log2(float x)
{
    int32_t i = dwk_bits(x);
    float t = dwk_float((i & 0x7fffff) | 0x3f800000) - 1.0f;
    float t2 = t * t;
    float q = (-0.44191704f + 0.26717942f * t) + t2 * (-0.148426675f + 0.0451490616f * t);
    return ((float)((i >> 23) - 127) + t) + (t2 - t) * q;
}

/* -126 <= x <= 127 */
static inline float dwk_near_exp2(float x)
{
    const float magic = 12582912.0f;
    float whole = x + magic;
    float f = x - (whole - magic);
    float q = (0.693113604f + 0.240207111f * f) + (f * f) * (0.0559768836f + 0.00978291255f * f);
    return dwk_float(dwk_bits(1.0f + f * q) + (int32_t)((uint32_t)dwk_bits(whole) << 23));
}

#endif
