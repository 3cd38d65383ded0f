/* tone.c: from scene-linear light to the brightness of a picture. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#define HIGHEST 1e6f   /* keys; nothing real is brighter, and no sum of it overflows */
#define TINY 1e-20f    /* keeps divisions by nothing finite */

static inline float tame(float x)
{
    x = x > -HIGHEST ? x : 0.0f; /* also what is no number: it compares false */
    return x < HIGHEST ? x : HIGHEST;
}

static void prepare(const struct dw_prepare *q, size_t n, float *restrict r, float *restrict g,
                    float *restrict b, float *restrict norm)
{
    const struct dw_prepare p = *q;
    for (size_t i = 0; i < n; i++) {
        float x = tame(r[i]), y = tame(g[i]), z = tame(b[i]);
        float u = p.matrix[0] * x + p.matrix[1] * y + p.matrix[2] * z;
        float v = p.matrix[3] * x + p.matrix[4] * y + p.matrix[5] * z;
        float w = p.matrix[6] * x + p.matrix[7] * y + p.matrix[8] * z;
        float luma = p.luma[0] * u + p.luma[1] * v + p.luma[2] * w;
        float l = dwk_max(luma, 0.0f);
        /* The share of colour that leaves the lowest channel at zero. */
        float low = dwk_min(dwk_min(u, v), w);
        float keep = low < 0.0f ? l / (l - low) : 1.0f;
        u = dwk_max(l + keep * (u - l), 0.0f);
        v = dwk_max(l + keep * (v - l), 0.0f);
        w = dwk_max(l + keep * (w - l), 0.0f);
        r[i] = u;
        g[i] = v;
        b[i] = w;
        norm[i] = p.norm_y * l + p.norm_max * dwk_max(dwk_max(u, v), w);
    }
}

static void lift(const struct dw_lift *q, const float *restrict background, size_t n,
                 float *restrict r, float *restrict g, float *restrict b, float *restrict norm)
{
    const struct dw_lift p = *q;
    const float ln2 = 0.693147181f, per_ln2 = 1.44269504f;
    for (size_t i = 0; i < n; i++) {
        float base = dwk_max(background[i], TINY);
        float width = p.softness * base;
        float t = (norm[i] - p.threshold * base) / width;
        /* ln(1 + e^t) without overflow: t + ln(1 + e^-t) for t > 0 */
        float small = dwk_max(t < 0.0f ? t : -t, -80.0f);
        float soft = dwk_max(t, 0.0f) + ln2 * dwk_log2(1.0f + dwk_exp2(small * per_ln2));
        float lifted = norm[i] + p.gain * width * soft;
        float f = lifted / dwk_max(norm[i], TINY);
        f = norm[i] > 0.0f ? f : 1.0f;
        r[i] *= f;
        g[i] *= f;
        b[i] *= f;
        norm[i] *= f;
    }
}

/* What a curve makes of one pixel: every channel becomes add + mul * channel. With e = the power
 * and z = norm * e, the norm becomes y = z / (z + pin), and keeping colour means y / norm. The curve's
 * slope in stops, (1 + power * norm / (norm + toe)) * pin / (z + pin), says what a curve on each
 * channel would do to colour: so much colour is kept of the share that is not kept wholly. Unlike a
 * curve on each channel that moves colours straight to or from grey, so hue stays, and it
 * costs no further powers. */
struct act {
    float add, mul;
};

static inline struct act act_of(const struct dw_tone *t, float norm, float log, float near)
{
    float e = dwk_exp2(dwk_min(t->power * log, 100.0f));
    float z = norm * e;
    float q = 1.0f / (z + t->pin);
    float slope = (1.0f + t->power * near) * t->pin * q;
    float keep = t->hue_share + (1.0f - t->hue_share) * slope;
    return (struct act){z * q * (1.0f - keep), keep * e * q};
}

static inline float log_of(const struct dw_tone *t, float norm)
{
    return dwk_log2((norm + t->toe) * t->toe_scale);
}

static void curve(const struct dw_tone *q, const float *restrict norm, size_t n,
                  float *restrict r, float *restrict g, float *restrict b)
{
    const struct dw_tone t = *q;
    for (size_t i = 0; i < n; i++) {
        float x = norm[i];
        struct act a = act_of(&t, x, log_of(&t, x), x / (x + t.toe));
        r[i] = a.add + a.mul * r[i];
        g[i] = a.add + a.mul * g[i];
        b[i] = a.add + a.mul * b[i];
    }
}

static void mix(const struct dw_tone *day_tone, const struct dw_tone *night_tone, float day,
                const float *restrict norm, size_t n, float *restrict r, float *restrict g,
                float *restrict b)
{
    const struct dw_tone d = *day_tone, e = *night_tone;
    const float night = 1.0f - day;
    for (size_t i = 0; i < n; i++) {
        float x = norm[i];
        float log = log_of(&d, x), near = x / (x + d.toe);
        struct act u = act_of(&d, x, log, near), v = act_of(&e, x, log, near);
        float add = day * u.add + night * v.add, mul = day * u.mul + night * v.mul;
        r[i] = add + mul * r[i];
        g[i] = add + mul * g[i];
        b[i] = add + mul * b[i];
    }
}

const struct dw_tone_kernels DW_KERNEL(tone) = {prepare, lift, curve, mix};
