/* tone.c: from scene-linear light to luminance and colour beside it, and the curves that make it
 * the brightness of a picture. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#define HIGHEST 1e6f /* keys; nothing real is brighter, and no sum of it overflows */

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

static void level(const struct dw_prepare *q, size_t n, float *restrict r, float *restrict g,
                  float *restrict b, float *restrict luma)
{
    const struct dw_prepare p = *q;
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i];
        float u = p.matrix[0] * x + p.matrix[1] * y + p.matrix[2] * z;
        float v = p.matrix[3] * x + p.matrix[4] * y + p.matrix[5] * z;
        float w = p.matrix[6] * x + p.matrix[7] * y + p.matrix[8] * z;
        r[i] = u;
        g[i] = v;
        b[i] = w;
        luma[i] = dwk_max(p.luma[0] * u + p.luma[1] * v + p.luma[2] * w, 0.0f);
    }
}

/* From here to the curves light is luminance and how far red and blue are from it: green's follows
 * from theirs, as luminance has none, and curve and gamut multiply all three by the same. */
struct apart {
    float luma[3], red[3], blue[3]; /* of balanced light, from light before it */
    float green_of[2];              /* green's difference, from red's and blue's */
};

static struct apart apart_by(const struct dw_prepare *p)
{
    struct apart a;
    for (int c = 0; c < 3; c++) {
        a.luma[c] = p->own[c];
        a.red[c] = p->matrix[c] - p->own[c];
        a.blue[c] = p->matrix[6 + c] - p->own[c];
    }
    for (int c = 0; c < 2; c++)
        a.green_of[c] = -p->luma[2 * c] / p->luma[1];
    return a;
}

static void split(const struct dw_prepare *q, const float *const light[3], size_t n,
                  float *restrict red, float *restrict luma, float *restrict blue)
{
    const struct apart p = apart_by(q);
    const float *restrict r = light[0], *restrict g = light[1], *restrict b = light[2];
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i];
        red[i] = p.red[0] * x + p.red[1] * y + p.red[2] * z;
        luma[i] = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        blue[i] = p.blue[0] * x + p.blue[1] * y + p.blue[2] * z;
    }
}

static void prepare(const struct dw_prepare *q, const float *const light[3], size_t n,
                    float *restrict red, float *restrict luma, float *restrict blue,
                    float *restrict norm)
{
    const struct apart p = apart_by(q);
    const float of_largest = q->norm_max;
    const float *restrict r = light[0], *restrict g = light[1], *restrict b = light[2];
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i];
        float u = p.red[0] * x + p.red[1] * y + p.red[2] * z;
        float v = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        float w = p.blue[0] * x + p.blue[1] * y + p.blue[2] * z;
        float largest = dwk_max(dwk_max(u, p.green_of[0] * u + p.green_of[1] * w), w);
        red[i] = u;
        luma[i] = v;
        blue[i] = w;
        norm[i] = dwk_max(v + of_largest * largest, 0.0f);
    }
}

/* What a curve makes of one pixel: every channel becomes add + mul * channel. With e = the power
 * and z = norm * e, the norm becomes y = z / (z + pin), and keeping colour means y / norm. The
 * curve's slope in stops, (1 + power * norm / (norm + toe)) * pin / (z + pin) but for what opens
 * shadows, says what a curve on each channel would do to colour: so much colour is kept of the
 * share that is not kept wholly. With the factor that opens shadows both of that ratio's terms are
 * taken times norm + open. Unlike a curve on each channel that moves colours straight to or from
 * grey, so hue stays, and it costs no further powers. */
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
    float m = e * (norm + t->open_to), low = t->pin * (norm + t->open);
    float high = norm * m + low, far = norm + t->toe;
    float w = 1.0f / (high * far); /* one division for all */
    float q = far * w;
    float slope = low * (q + t->power * norm * w);
    float keep = t->hue_share + (1.0f - t->hue_share) * slope;
    float f = m * q;
    return (struct act){norm * (f - keep * f), keep * f};
}

/* Curves go over their pixels twice, with what the first loop found kept in `add`: all in one would
 * be a chain of operations that wait for each other, too long for a processor to see enough pixels
 * at a time to stay busy (a quarter slower, measured). */
static void curve_keeping_colour(const struct dw_tone *q, size_t n, float *restrict norm,
                                 float *restrict add)
{
    const struct dw_tone t = *q;
    for (size_t i = 0; i < n; i++)
        add[i] = log_of(&t, norm[i]);
    for (size_t i = 0; i < n; i++) {
        float x = norm[i], m = power_of(&t, add[i]) * (x + t.open_to);
        norm[i] = m / (x * m + t.pin * (x + t.open));
        add[i] = 0.0f;
    }
}

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

const struct dw_tone_kernels DW_KERNEL(tone) = {tame, level, split, prepare, curve, mix};
