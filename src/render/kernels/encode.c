/* encode.c: from finished light to the codes of a picture file. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <math.h>

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

/* The same curve in units of DITHER-ths of a code, for 8 bit: with u the root of x, a polynomial of
 * degree four and a pole at u = -0.115 follow it to 1/300 of a code (minimax too), in less time, as
 * a division takes less than a second root. Half a unit is in its constant, which is cut off to a
 * whole one; straight near black, where it is not, codes are 1/2000 too low. 1 becomes 255 codes
 * exactly, for what lies higher would be none. */
#define DITHER 1024
static inline float srgb_codes(float x)
{
    float u = sqrtf(x), near_black = -2159.70393f / (u + 0.115f);
    float p = ((6394.86311f + 304436.842f * u) + near_black) +
              x * ((-75471.3958f + 36578.9267f * u) - 8881.78138f * x);
    return x <= 0.0031308f ? 12.92f * 255.0f * DITHER * x : p;
}

/* To 8 bit by adding ten bits of a hash below the point and cutting them off. They lie evenly
 * over one code: then the mean of many pixels is exactly what it was before, which is what keeps
 * bands out of a night sky (Lipshitz, Wannamaker & Vanderkooy 1992, J. Audio Eng. Soc. 40, 355). A
 * triangle of this width would not do that, one of twice the width would cost more noise. 0 and 1
 * stay 0 and 255. */
static inline uint32_t dithered(float v, uint32_t noise)
{
    return (uint32_t)((int32_t)srgb_codes(v) + (int32_t)noise);
}

/* Three of those, to a byte of a word each. */
static inline uint32_t pixel8(float r, float g, float b, uint32_t h)
{
    return dithered(r, h & 1023u) / DITHER |
           (dithered(g, h >> 10 & 1023u) / (DITHER >> 8) & 0xff00u) |
           (dithered(b, h >> 22) * ((1u << 16) / DITHER) & 0xff0000u);
}

/* Pixels between the two steps; a multiple of four. So few that a processor sees both at a time:
 * roots and divisions keep one part of it busy, moving bytes another. */
#define WORDS 64

typedef uint32_t __attribute__((aligned(1), may_alias)) anywhere; /* a word at any byte */

/* Four pixels of one word each to three words, which this machine keeps lowest byte first; what is
 * left over, and everything on machines that do not, byte by byte. */
__attribute__((always_inline)) /* so that the compiler knows the length */
static inline void
pack_words(const uint32_t word[restrict WORDS], size_t n, uint8_t *restrict out)
{
    anywhere *restrict three = (anywhere *)out;
    size_t quads = __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__ ? n / 4 : 0;
    for (size_t i = 0; i < quads; i++) {
        uint32_t a = word[4 * i], b = word[4 * i + 1], c = word[4 * i + 2], d = word[4 * i + 3];
        three[3 * i] = a | b << 24;
        three[3 * i + 1] = b >> 8 | c << 16;
        three[3 * i + 2] = c >> 16 | d << 8;
    }
    for (size_t i = 4 * quads; i < n; i++)
        for (size_t c = 0; c < 3; c++)
            out[3 * i + c] = (uint8_t)(word[i] >> 8 * c);
}

__attribute__((always_inline)) /* the same */
static inline void
pack_piece(const float *restrict r, const float *restrict g, const float *restrict b, int32_t n,
           uint32_t seed, uint8_t *restrict out)
{
    _Alignas(64) uint32_t word[WORDS];
    for (int32_t i = 0; i < n; i++) /* a longer index would cost a tenth */
        word[i] = pixel8(r[i], g[i], b[i], scramble(seed + (uint32_t)i));
    pack_words(word, (size_t)n, out);
}

static void pack8(const float *restrict r, const float *restrict g, const float *restrict b,
                  size_t n, uint32_t seed, uint8_t *restrict out)
{
    size_t i = 0;
    for (; i + WORDS <= n; i += WORDS)
        pack_piece(r + i, g + i, b + i, WORDS, seed + (uint32_t)i, out + 3 * i);
    if (i < n)
        pack_piece(r + i, g + i, b + i, (int32_t)(n - i), seed + (uint32_t)i, out + 3 * i);
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

const struct dw_encode_kernels DW_KERNEL(encode) = {srgb, pack8, pack16, pack_half, ramp};
