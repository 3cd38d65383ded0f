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

/* z of the curve; see struct dw_tone. log: log2((x + toe) / (1 + toe)). */
static inline float raise(float x, float power, float log)
{
    return x * dwk_exp2(dwk_min(power * log, 100.0f));
}

static inline float bend(const struct dw_tone *t, float x)
{
    float z = raise(x, t->power, dwk_log2((x + t->toe) * t->toe_scale));
    return z / (z + t->pin);
}

static void curve_keeping_hue(const struct dw_tone *q, const float *restrict norm, size_t n,
                              float *restrict r, float *restrict g, float *restrict b)
{
    const struct dw_tone t = *q;
    for (size_t i = 0; i < n; i++) {
        float f = bend(&t, norm[i]) / dwk_max(norm[i], TINY);
        r[i] *= f;
        g[i] *= f;
        b[i] *= f;
    }
}

static void curve_shared(const struct dw_tone *q, const float *restrict norm, size_t n,
                         float *restrict r, float *restrict g, float *restrict b)
{
    const struct dw_tone t = *q;
    const float rest = 1.0f - t.hue_share;
    for (size_t i = 0; i < n; i++) {
        float f = t.hue_share * bend(&t, norm[i]) / dwk_max(norm[i], TINY);
        r[i] = f * r[i] + rest * bend(&t, r[i]);
        g[i] = f * g[i] + rest * bend(&t, g[i]);
        b[i] = f * b[i] + rest * bend(&t, b[i]);
    }
}

static void curve(const struct dw_tone *t, const float *restrict norm, size_t n,
                  float *restrict r, float *restrict g, float *restrict b)
{
    if (t->hue_share >= 1.0f)
        curve_keeping_hue(t, norm, n, r, g, b);
    else
        curve_shared(t, norm, n, r, g, b);
}

/* Weights of the four parts of a mix: each curve on the norm (hue kept) and on the channels. */
struct parts {
    struct dw_tone day, night;
    float day_norm, night_norm, day_channel, night_channel;
};

static inline float mixed_norm(const struct parts *p, float x)
{
    float log = dwk_log2((x + p->day.toe) * p->day.toe_scale);
    float d = raise(x, p->day.power, log), e = raise(x, p->night.power, log);
    return p->day_norm * (d / (d + p->day.pin)) + p->night_norm * (e / (e + p->night.pin));
}

static inline float mixed_channel(const struct parts *p, float x)
{
    float log = dwk_log2((x + p->day.toe) * p->day.toe_scale);
    float d = raise(x, p->day.power, log), e = raise(x, p->night.power, log);
    return p->day_channel * (d / (d + p->day.pin)) + p->night_channel * (e / (e + p->night.pin));
}

static void mix_shared(const struct parts *q, const float *restrict norm, size_t n,
                       float *restrict r, float *restrict g, float *restrict b)
{
    const struct parts p = *q;
    for (size_t i = 0; i < n; i++) {
        float f = mixed_norm(&p, norm[i]) / dwk_max(norm[i], TINY);
        r[i] = f * r[i] + mixed_channel(&p, r[i]);
        g[i] = f * g[i] + mixed_channel(&p, g[i]);
        b[i] = f * b[i] + mixed_channel(&p, b[i]);
    }
}

/* The same where the night keeps hue wholly, as it does by default: three powers a pixel less. */
static void mix_night_keeping_hue(const struct parts *q, const float *restrict norm, size_t n,
                                  float *restrict r, float *restrict g, float *restrict b)
{
    const struct parts p = *q;
    for (size_t i = 0; i < n; i++) {
        float f = mixed_norm(&p, norm[i]) / dwk_max(norm[i], TINY);
        r[i] = f * r[i] + p.day_channel * bend(&p.day, r[i]);
        g[i] = f * g[i] + p.day_channel * bend(&p.day, g[i]);
        b[i] = f * b[i] + p.day_channel * bend(&p.day, b[i]);
    }
}

static void mix(const struct dw_tone *day_tone, const struct dw_tone *night_tone, float day,
                const float *restrict norm, size_t n, float *restrict r, float *restrict g,
                float *restrict b)
{
    float night = 1.0f - day;
    const struct parts p = {*day_tone,
                            *night_tone,
                            day * day_tone->hue_share,
                            night * night_tone->hue_share,
                            day * (1.0f - day_tone->hue_share),
                            night * (1.0f - night_tone->hue_share)};
    if (p.night_channel > 0.0f)
        mix_shared(&p, norm, n, r, g, b);
    else
        mix_night_keeping_hue(&p, norm, n, r, g, b);
}

const struct dw_tone_kernels DW_KERNEL(tone) = {prepare, lift, curve, mix};
