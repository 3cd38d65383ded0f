/* encode.c: from finished light to the codes of a picture file. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

/* Share of colour to keep for a saturation d, 1 = at the gamut's boundary: all up to the knee,
 * then gently less, so that d never passes 1 and its slope never jumps. */
static inline float soften(float d, float knee)
{
    float room = 1.0f - knee;
    float over = dwk_max(d - knee, 0.0f) / room;
    float inside = knee + room * over / (1.0f + over);
    return d > knee ? inside / d : 1.0f;
}

static void gamut(const struct dw_gamut *q, size_t n, float *restrict r, float *restrict g,
                  float *restrict b)
{
    const struct dw_gamut p = *q;
    for (size_t i = 0; i < n; i++) {
        float x = p.matrix[0] * r[i] + p.matrix[1] * g[i] + p.matrix[2] * b[i];
        float y = p.matrix[3] * r[i] + p.matrix[4] * g[i] + p.matrix[5] * b[i];
        float z = p.matrix[6] * r[i] + p.matrix[7] * g[i] + p.matrix[8] * b[i];
        float l = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        l = dwk_min(dwk_max(l, 1e-7f), 1.0f - 1e-6f);
        float low = dwk_min(dwk_min(x, y), z), high = dwk_max(dwk_max(x, y), z);
        float keep_low = soften((l - low) / l, p.knee);
        float keep_high = soften((high - l) / (1.0f - l), p.knee);
        float keep = dwk_min(keep_low, keep_high);
        x = l + keep * (x - l);
        y = l + keep * (y - l);
        z = l + keep * (z - l);
        r[i] = dwk_min(dwk_max(x, 0.0f), 1.0f);
        g[i] = dwk_min(dwk_max(y, 0.0f), 1.0f);
        b[i] = dwk_min(dwk_max(z, 0.0f), 1.0f);
    }
}

static void srgb(size_t n, float *restrict v)
{
    for (size_t i = 0; i < n; i++) {
        float x = v[i];
        float power = dwk_exp2(dwk_log2(dwk_max(x, 0.001f)) * (1.0f / 2.4f));
        v[i] = x <= 0.0031308f ? 12.92f * x : 1.055f * power - 0.055f;
    }
}

/* Two rounds of multiply and fold: enough that no pattern is seen in a picture. */
static inline uint32_t scramble(uint32_t h)
{
    h ^= h >> 16;
    h *= 0x7feb352du;
    h ^= h >> 15;
    h *= 0x846ca68bu;
    h ^= h >> 16;
    return h;
}

/* Two bytes of a hash make a triangular distribution in -0.498..0.498. */
static inline float triangular(uint32_t h)
{
    int32_t sum = (int32_t)((h & 255u) + ((h >> 8) & 255u));
    return (float)(sum - 255) * (1.0f / 512.0f);
}

static void pack8(const float *restrict r, const float *restrict g, const float *restrict b,
                  size_t n, uint32_t seed, uint8_t *restrict out)
{
    for (size_t i = 0; i < n; i++) {
        uint32_t h = scramble(seed + (uint32_t)i);
        uint32_t k = h * 0x9e3779b1u;
        out[3 * i] = (uint8_t)(int32_t)(r[i] * 255.0f + 0.5f + triangular(h));
        out[3 * i + 1] = (uint8_t)(int32_t)(g[i] * 255.0f + 0.5f + triangular(h >> 16));
        out[3 * i + 2] = (uint8_t)(int32_t)(b[i] * 255.0f + 0.5f + triangular(k >> 16));
    }
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

const struct dw_encode_kernels DW_KERNEL(encode) = {gamut, srgb, pack8, pack16};
