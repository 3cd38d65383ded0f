/* encode.c: from finished light to the codes of a picture file. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <math.h>

static void gamut(const struct dw_gamut *q, size_t n, float *restrict r, float *restrict g,
                  float *restrict b)
{
    const struct dw_gamut p = *q;
    const float room = 1.0f - p.knee;
    for (size_t i = 0; i < n; i++) {
        float x = p.matrix[0] * r[i] + p.matrix[1] * g[i] + p.matrix[2] * b[i];
        float y = p.matrix[3] * r[i] + p.matrix[4] * g[i] + p.matrix[5] * b[i];
        float z = p.matrix[6] * r[i] + p.matrix[7] * g[i] + p.matrix[8] * b[i];
        float l = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        l = dwk_min(dwk_max(l, 1e-7f), 1.0f - 1e-6f);
        float low = dwk_min(dwk_min(x, y), z), high = dwk_max(dwk_max(x, y), z);
        /* How far colour reaches from grey, `reach`, and how far it may, `limit`: downwards to 0 or
         * upwards to 1, whichever is the nearer to its bound. */
        float down = l - low, up = high - l;
        bool below = down * (1.0f - l) > up * l;
        float reach = below ? down : up, limit = below ? l : 1.0f - l;
        /* With d = reach / limit: up to the knee all colour is kept; beyond it d becomes
         * knee + room * o / (room + o), o = d - knee, which never passes 1 and has no kink. */
        float over = dwk_max(reach - p.knee * limit, 0.0f);
        float span = room * limit + over;
        float keep = (p.knee * span + room * over) * limit / (span * reach);
        keep = over > 0.0f ? keep : 1.0f;
        x = l + keep * (x - l);
        y = l + keep * (y - l);
        z = l + keep * (z - l);
        r[i] = dwk_min(dwk_max(x, 0.0f), 1.0f);
        g[i] = dwk_min(dwk_max(y, 0.0f), 1.0f);
        b[i] = dwk_min(dwk_max(z, 0.0f), 1.0f);
    }
}

/* 1.055 x^(1/2.4) - 0.055 is a power 5/3 of the fourth root, which a polynomial of degree six
 * follows to 1.5e-6 from the joint at 0.0031308 up to 1 (minimax, by Remez's exchange): less than a
 * tenth of a 16-bit code, and two roots are exact and cheap where a logarithm is neither. */
static void srgb(size_t n, float *restrict v)
{
    for (size_t i = 0; i < n; i++) {
        float x = v[i];
        float q = sqrtf(sqrtf(x));
        float p = 0.0682079778f;
        p = p * q - 0.318415988f;
        p = p * q + 0.657188285f;
        p = p * q - 0.85295745f;
        p = p * q + 1.36592105f;
        p = p * q + 0.139604136f;
        p = p * q - 0.0595466087f;
        v[i] = x <= 0.0031308f ? 12.92f * x : p;
    }
}

/* A hash of a pixel's place in a row whose seed is itself well mixed. */
static inline uint32_t scramble(uint32_t h)
{
    h *= 0x9e3779b1u;
    h ^= h >> 15;
    h *= 0x85ebca6bu;
    h ^= h >> 13;
    return h;
}

/* To 8 bit by adding ten bits of a hash below the point and cutting them off. They lie evenly
 * over one code: then the mean of many pixels is exactly what it was before, which is what keeps
 * bands out of a night sky (Lipshitz, Wannamaker & Vanderkooy 1992, J. Audio Eng. Soc. 40, 355). A
 * triangle of this width would not do that, one of twice the width would cost more noise. 0 and 1
 * stay 0 and 255. */
static inline uint8_t dithered(float v, uint32_t noise)
{
    return (uint8_t)(((int32_t)(v * (255.0f * 1024.0f) + 0.5f) + (int32_t)(noise & 1023u)) >> 10);
}

static void pack8(const float *restrict r, const float *restrict g, const float *restrict b,
                  size_t n, uint32_t seed, uint8_t *restrict out)
{
    for (size_t i = 0; i < n; i++) {
        uint32_t h = scramble(seed + (uint32_t)i);
        out[3 * i] = dithered(r[i], h);
        out[3 * i + 1] = dithered(g[i], h >> 10);
        out[3 * i + 2] = dithered(b[i], h >> 20);
    }
}

/* out[i] = from + i * slope */
static void ramp(float from, float slope, size_t n, float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = from + (float)(int32_t)i * slope;
}

static void pack16(const float *restrict r, const float *restrict g, const float *restrict b,
                   size_t n, uint16_t *restrict out)
{
    for (size_t i = 0; i < n; i++) {
        out[3 * i] = (uint16_t)(int32_t)(r[i] * 65535.0f + 0.5f);
        out[3 * i + 1] = (uint16_t)(int32_t)(g[i] * 65535.0f + 0.5f);
        out[3 * i + 2] = (uint16_t)(int32_t)(b[i] * 65535.0f + 0.5f);
    }
}

/* The bits of the nearest half float, ties to even. Adding `denormal` lets the addition itself
 * round numbers below the least normal half (2^-14) at the right place; for the others half a unit
 * is added below the cut, less a little where the last digit is even. Zero has no sign: which one
 * the larger of 0 and -0 has differs between compilations. */
static inline uint16_t half(float v)
{
    const int32_t largest = 0x477fe000, normal = 113 << 23, denormal = 126 << 23;
    int32_t bits = dwk_bits(v), size = bits & 0x7fffffff;
    int32_t sign = size == 0 ? 0 : (bits >> 16) & 0x8000;
    size = size < largest ? size : largest;
    int32_t small = dwk_bits(dwk_float(size) + dwk_float(denormal)) - denormal;
    int32_t usual = (size - (112 << 23) + 0xfff + (size >> 13 & 1)) >> 13;
    return (uint16_t)(sign | (size < normal ? small : usual));
}

static void pack_half(const float *restrict r, const float *restrict g, const float *restrict b,
                      size_t n, float scale, uint16_t *restrict out)
{
    for (size_t i = 0; i < n; i++) {
        out[3 * i] = half(r[i] * scale);
        out[3 * i + 1] = half(g[i] * scale);
        out[3 * i + 2] = half(b[i] * scale);
    }
}

const struct dw_encode_kernels DW_KERNEL(encode) = {gamut, srgb, pack8, pack16, pack_half, ramp};
