/* tone.c: from scene-linear light to the brightness of a picture. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#define HIGHEST 1e6f /* keys; nothing real is brighter, and no sum of it overflows */
#define TINY 1e-20f  /* keeps divisions by nothing finite */

/* On the bits, because the compiler is told that no kernel meets a number that is none. */
static void tame(size_t n, float *restrict v)
{
    const int32_t highest = dwk_bits(HIGHEST), infinity = 0x7f800000;
    for (size_t i = 0; i < n; i++) {
        int32_t bits = dwk_bits(v[i]), size = bits & 0x7fffffff, sign = bits - size;
        size = size > infinity ? 0 : size;
        v[i] = dwk_float(sign + (size < highest ? size : highest));
    }
}

static void prepare(const struct dw_prepare *q, size_t n, float *restrict r, float *restrict g,
                    float *restrict b, float *restrict norm)
{
    const struct dw_prepare p = *q;
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i];
        float u = p.matrix[0] * x + p.matrix[1] * y + p.matrix[2] * z;
        float v = p.matrix[3] * x + p.matrix[4] * y + p.matrix[5] * z;
        float w = p.matrix[6] * x + p.matrix[7] * y + p.matrix[8] * z;
        float luma = p.luma[0] * u + p.luma[1] * v + p.luma[2] * w;
        r[i] = u;
        g[i] = v;
        b[i] = w;
        norm[i] = dwk_max(p.norm_y * luma + p.norm_max * dwk_max(dwk_max(u, v), w), 0.0f);
    }
}

/* Bit by bit from the highest: whole numbers are in the order of the floats that they are read as,
 * as long as none is negative. Slower by the number of operations than a selection that moves
 * values about, but none of its branches depends on them. */
static float rank(const float *restrict v, size_t n, size_t k)
{
    int32_t found = 0;
    for (int bit = 30; bit >= 0; bit--) {
        int32_t tried = found | (int32_t)1 << bit, below = 0;
        for (size_t i = 0; i < n; i++)
            below += dwk_bits(v[i]) < tried;
        found = (size_t)below <= k ? tried : found;
    }
    return dwk_float(found);
}

#define DARK 0.02f /* keys; about and below it colours are no longer compared by their ratios */

static void chroma_row(const float luma[3], float smooth, const float *restrict up_r,
                       const float *restrict up_g, const float *restrict up_b,
                       const float *restrict mid_r, const float *restrict mid_g,
                       const float *restrict mid_b, const float *restrict down_r,
                       const float *restrict down_g, const float *restrict down_b, size_t n,
                       float *restrict r, float *restrict g, float *restrict b)
{
    const float lr = luma[0], lg = luma[1], lb = luma[2];
#define NINE(u, m, d, i)                                                                           \
    (0.0625f * (((u)[(i)-1] + (u)[(i) + 1]) + ((d)[(i)-1] + (d)[(i) + 1])) +                       \
     0.125f * (((u)[i] + (d)[i]) + ((m)[(i)-1] + (m)[(i) + 1])) + 0.25f * (m)[i])
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        float x = NINE(up_r, mid_r, down_r, i);
        float y = NINE(up_g, mid_g, down_g, i);
        float z = NINE(up_b, mid_b, down_b, i);
        float own = lr * mid_r[i] + lg * mid_g[i] + lb * mid_b[i];
        float mean = lr * x + lg * y + lb * z;
        float k = (dwk_max(own, 0.0f) + DARK) / (dwk_max(mean, 0.0f) + DARK);
        k = dwk_min(k, 16.0f); /* a pixel alone in the dark has no more than 4 times their mean */
        float rest = own - k * mean; /* nothing in light: luminance stays in the dark too */
        r[i] = mid_r[i] + smooth * (k * x + rest - mid_r[i]);
        g[i] = mid_g[i] + smooth * (k * y + rest - mid_g[i]);
        b[i] = mid_b[i] + smooth * (k * z + rest - mid_b[i]);
    }
#undef NINE
}

static void chroma(const struct dw_prepare *p, float smooth, const float *const up[3],
                   const float *const mid[3], const float *const down[3], size_t n,
                   float *const out[3])
{
    chroma_row(p->luma, smooth, up[0], up[1], up[2], mid[0], mid[1], mid[2], down[0], down[1],
               down[2], n, out[0], out[1], out[2]);
}

/* Raises what stands above the sky, and gives it its own balance. A bright pixel is sky and star:
 * the part that is not sky, weighted by how far it reaches beyond the threshold, is raised, so that
 * a star's colour depends neither on how bright it is nor on how bright the sky is behind it. The
 * bend about the threshold is a parabola over three softnesses on either side, so the sky below is
 * not touched at all. A star's norm is its largest channel: a vivid one rather stays darker than it
 * burns out to white. */
static void lift(const struct dw_lift *q, const float *restrict background, size_t n,
                 float *restrict r, float *restrict g, float *restrict b, float *restrict norm)
{
    const struct dw_lift p = *q;
    for (size_t i = 0; i < n; i++) {
        float sky = dwk_min(background[i], p.ceiling), base = dwk_max(sky, p.floor),
              width = 3.0f * p.softness * base;
        float excess = norm[i] - p.threshold * base;
        float bend = dwk_min(dwk_max(excess + width, 0.0f), 2.0f * width);
        float over = dwk_max(excess - width, 0.0f);
        /* bend^2 / (4 width) + over as a share of what is above the sky, as one division */
        /* not less than rounding errors on flat ground, such as a burnt-out wall */
        float above = dwk_max(dwk_max(norm[i] - base, 1e-3f * base), TINY);
        float share = (bend * bend + 4.0f * width * over) / (4.0f * dwk_max(width, TINY) * above);
        share = dwk_min(share, 1.0f);
        float x = r[i] + share * p.raise[0] * (r[i] - p.sky[0] * sky);
        float y = g[i] + share * p.raise[1] * (g[i] - p.sky[1] * sky);
        float z = b[i] + share * p.raise[2] * (b[i] - p.sky[2] * sky);
        float largest = dwk_max(dwk_max(x, y), z);
        float luma = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        float plain = p.norm_y * luma + p.norm_max * largest;
        r[i] = x;
        g[i] = y;
        b[i] = z;
        norm[i] = dwk_max(plain + share * (largest - plain), 0.0f);
    }
}

/* What a curve makes of one pixel: every channel becomes add + mul * channel. With e = the power
 * and z = norm * e, the norm becomes y = z / (z + pin), and keeping colour means y / norm. The
 * curve's slope in stops, (1 + power * norm / (norm + toe)) * pin / (z + pin), says what a curve on
 * each channel would do to colour: so much colour is kept of the share that is not kept wholly.
 * Unlike a curve on each channel that moves colours straight to or from grey, so hue stays, and it
 * costs no further powers. */
struct act {
    float add, mul;
};

static inline float power_of(const struct dw_tone *t, float log)
{
    return dwk_near_exp2(t->power * log);
}

static inline float log_of(const struct dw_tone *t, float norm)
{
    return dwk_near_log2((norm + t->toe) * t->toe_scale);
}

static inline struct act act_of(const struct dw_tone *t, float norm, float e)
{
    float z = norm * e, high = z + t->pin, far = norm + t->toe;
    float w = 1.0f / (high * far); /* one division for both */
    float q = far * w;
    float slope = t->pin * (q + t->power * norm * w);
    float keep = t->hue_share + (1.0f - t->hue_share) * slope;
    float f = e * q;
    return (struct act){norm * (f - keep * f), keep * f};
}

static void curve_keeping_colour(const struct dw_tone *q, size_t n, float *restrict norm,
                                 float *restrict add)
{
    const struct dw_tone t = *q;
    for (size_t i = 0; i < n; i++) {
        float e = power_of(&t, log_of(&t, norm[i]));
        norm[i] = e / (norm[i] * e + t.pin);
        add[i] = 0.0f;
    }
}

/* This and the mix go over their pixels twice, with what the first loop found kept in `add`: all in
 * one would be a chain of operations that wait for each other, too long for a processor to see
 * enough pixels at a time to stay busy (a quarter slower, measured). */
static void curve_fading_colour(const struct dw_tone *q, size_t n, float *restrict norm,
                                float *restrict add)
{
    const struct dw_tone t = *q;
    for (size_t i = 0; i < n; i++)
        add[i] = power_of(&t, log_of(&t, norm[i]));
    for (size_t i = 0; i < n; i++) {
        struct act a = act_of(&t, norm[i], add[i]);
        norm[i] = a.mul;
        add[i] = a.add;
    }
}

static void curve(const struct dw_tone *t, size_t n, float *norm, float *add)
{
    if (t->hue_share >= 1.0f)
        curve_keeping_colour(t, n, norm, add);
    else
        curve_fading_colour(t, n, norm, add);
}

static void mix(const struct dw_tone *day_tone, const struct dw_tone *night_tone, float day,
                size_t n, float *restrict norm, float *restrict add)
{
    const struct dw_tone d = *day_tone, e = *night_tone;
    const float night = 1.0f - day;
    for (size_t i = 0; i < n; i++)
        add[i] = log_of(&d, norm[i]);
    for (size_t i = 0; i < n; i++) {
        float x = norm[i], log = add[i];
        struct act u = act_of(&d, x, power_of(&d, log)), v = act_of(&e, x, power_of(&e, log));
        norm[i] = day * u.mul + night * v.mul;
        add[i] = day * u.add + night * v.add;
    }
}

#define NO_ROOM 1e-7f /* keeps divisions finite where black or white leaves colour no room */

/* A curve, the output's primaries and their gamut as one step. The output's matrix keeps luminance,
 * so colour can be told as differences from it, all of which the curve and the gamut multiply by
 * the same. Colour reaches downwards to 0 or upwards to 1: of d, how far it reaches in parts of how
 * far it may, the larger counts. Up to the knee all colour is kept; beyond it d becomes
 * knee + room * o / (room + o) with room = 1 - knee, o = d - knee, which never passes 1 and has no
 * kink: of d that keeps (d - knee^2) / ((d + 1 - 2 knee) d), which with d = reach / bound is one
 * division, and 1 at the knee. */
static void finish(const struct dw_gamut *q, const float *restrict mul, const float *restrict add,
                   size_t n, float *restrict r, float *restrict g, float *restrict b)
{
    const struct dw_gamut p = *q;
    const float knee2 = p.knee * p.knee, shift = 1.0f - 2.0f * p.knee;
    for (size_t i = 0; i < n; i++) {
        float red = r[i], green = g[i], blue = b[i];
        float luma = p.luma[0] * red + p.luma[1] * green + p.luma[2] * blue;
        float x = p.matrix[0] * red + p.matrix[1] * green + p.matrix[2] * blue - luma;
        float y = p.matrix[3] * red + p.matrix[4] * green + p.matrix[5] * blue - luma;
        float z = p.matrix[6] * red + p.matrix[7] * green + p.matrix[8] * blue - luma;
        float low = dwk_min(dwk_min(x, y), z), high = dwk_max(dwk_max(x, y), z);
        float l = dwk_min(dwk_max(add[i] + mul[i] * luma, 0.0f), 1.0f), up = 1.0f - l;
        float bound = dwk_max(l * up, NO_ROOM), reach = mul[i] * dwk_max(-low * up, high * l);
        reach = dwk_max(reach, p.knee * bound);
        float keep = (reach - knee2 * bound) * bound / ((reach + shift * bound) * reach);
        float colour = keep * mul[i];
        r[i] = dwk_min(dwk_max(l + colour * x, 0.0f), 1.0f);
        g[i] = dwk_min(dwk_max(l + colour * y, 0.0f), 1.0f);
        b[i] = dwk_min(dwk_max(l + colour * z, 0.0f), 1.0f);
    }
}

const struct dw_tone_kernels DW_KERNEL(tone) = {tame, prepare, rank, chroma,
                                                lift, curve,   mix,  finish};
