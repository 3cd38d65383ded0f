/* gamut.c: what a curve makes of colours, in the output's primaries and within their reach. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#define NO_ROOM 1e-7f /* keeps divisions finite where black or white leaves colour no room */

/* A curve, the output's primaries and their gamut as one step. The output's matrix keeps luminance
 * and white, so colour can be told as differences from it, all of which the curve and the gamut
 * multiply by the same. Colour reaches downwards to 0 or upwards to 1: of d, how far it reaches in
 * parts of how far it may, the larger counts. Up to the knee all colour is kept; beyond it d
 * becomes knee + room * o / (room + o) with room = 1 - knee, o = d - knee, which never passes 1 and
 * has no kink: of d that keeps (d - knee^2) / ((d + 1 - 2 knee) d), which with d = reach / bound is
 * one division, and 1 at the knee. In two loops, as curves are; add is work space. Told to `tell`,
 * returns whether any colour lay beyond. */
static inline int straight(const struct dw_gamut *q, bool tell, const float *restrict mul,
                           float *restrict add, size_t n, float *restrict r, float *restrict g,
                           float *restrict b)
{
    const struct dw_gamut p = *q;
    const float knee2 = p.knee * p.knee, shift = 1.0f - 2.0f * p.knee;
    float of_red[3], of_blue[3];
    int any = 0;
    for (int c = 0; c < 3; c++) { /* green's difference from luminance follows from the other two */
        of_red[c] = p.matrix[3 * c] - p.matrix[3 * c + 1] * (p.luma[0] / p.luma[1]);
        of_blue[c] = p.matrix[3 * c + 2] - p.matrix[3 * c + 1] * (p.luma[2] / p.luma[1]);
    }
    for (size_t i = 0; i < n; i++) {
        float red = r[i], luma = g[i], blue = b[i];
        float x = of_red[0] * red + of_blue[0] * blue;
        float y = of_red[1] * red + of_blue[1] * blue;
        float z = of_red[2] * red + of_blue[2] * blue;
        r[i] = x;
        g[i] = y;
        b[i] = z;
        add[i] = dwk_min(dwk_max(add[i] + mul[i] * luma, 0.0f), 1.0f);
    }
    for (size_t i = 0; i < n; i++) {
        float x = r[i], y = g[i], z = b[i], l = add[i], up = 1.0f - l;
        float low = dwk_min(dwk_min(x, y), z), high = dwk_max(dwk_max(x, y), z);
        float bound = dwk_max(l * up, NO_ROOM), reach = mul[i] * dwk_max(-low * up, high * l);
        if (tell)
            any |= reach > p.knee * bound;
        reach = dwk_max(reach, p.knee * bound);
        float keep = (reach - knee2 * bound) * bound / ((reach + shift * bound) * reach);
        float colour = keep * mul[i];
        r[i] = dwk_min(dwk_max(l + colour * x, 0.0f), 1.0f);
        g[i] = dwk_min(dwk_max(l + colour * y, 0.0f), 1.0f);
        b[i] = dwk_min(dwk_max(l + colour * z, 0.0f), 1.0f);
    }
    return any;
}

#define BEYOND 1.0001f /* knees; nearer to it next to nothing was drawn in */
/* Of the room beyond the knee; what comes nearer lay 100 times beyond it. */
#define FARTHEST 0.999f
#define BLACK 1e-6f /* light without a colour */
#define ROUNDS 3
/* Of the share at a time: along an edge of the gamut reach tells little of it. */
#define MOST_STEP 1.3f

static inline float third_root(float v)
{
    return dwk_near_exp2(dwk_near_log2(dwk_max(v, BLACK)) * (1.0f / 3.0f));
}

/* How far colour reaches about a grey, in parts of how far it may, times grey * up. */
static inline float reach_of(float x, float y, float z, float grey, float up)
{
    float low = dwk_min(dwk_min(x, y), z), high = dwk_max(dwk_max(x, y), z);
    return dwk_max(-low * up, high * grey);
}

/* Straight to grey, vivid orange turns towards yellow on its way. At constant hue all three of a
 * colour's cones, by their cube roots, go alike towards those of grey, here of its own luminance,
 * until it reaches as far as it does on the straight way. Of a share s of it each channel is then a
 * cubic in s; that share is found by rule of three, as the reach goes nearly with s, and what is
 * left is made up for straight. Where colour came from is told by where it is: the knee has an
 * inverse. */
static void bend(const struct dw_gamut *q, size_t n, float *restrict r, float *restrict g,
                 float *restrict b)
{
    const struct dw_gamut p = *q;
    const float *m = p.to_cones, *w = p.from_cones, room = 1.0f - p.knee;
    for (size_t i = 0; i < n; i++) {
        float l = p.own_luma[0] * r[i] + p.own_luma[1] * g[i] + p.own_luma[2] * b[i];
        float x = r[i] - l, y = g[i] - l, z = b[i] - l, up = 1.0f - l;
        float to = reach_of(x, y, z, l, up), d = to / dwk_max(l * up, NO_ROOM);
        float over = dwk_min(dwk_max(d - p.knee, 0.0f), FARTHEST * room);
        float whole = (p.knee + room * over / (room - over)) / dwk_max(d, p.knee);
        float u = l + whole * x, v = l + whole * y, t = l + whole * z, root = third_root(l);
        float d0 = third_root(m[0] * u + m[1] * v + m[2] * t) - root;
        float d1 = third_root(m[3] * u + m[4] * v + m[5] * t) - root;
        float d2 = third_root(m[6] * u + m[7] * v + m[8] * t) - root;
        float one = 3.0f * root * root, two = 3.0f * root;
        float s = 1.0f / whole, a = 0, c = 0, e = 0, by = 1;
        for (int round = 0; round < ROUNDS; round++) {
            s *= dwk_min(dwk_max(by, 1.0f / MOST_STEP), MOST_STEP);
            float s0 = s * d0, s1 = s * d1, s2 = s * d2;
            float f0 = s0 * (one + s0 * (two + s0));
            float f1 = s1 * (one + s1 * (two + s1));
            float f2 = s2 * (one + s2 * (two + s2));
            a = w[0] * f0 + w[1] * f1 + w[2] * f2;
            c = w[3] * f0 + w[4] * f1 + w[5] * f2;
            e = w[6] * f0 + w[7] * f1 + w[8] * f2;
            float more = p.own_luma[0] * a + p.own_luma[1] * c + p.own_luma[2] * e;
            a -= more;
            c -= more;
            e -= more;
            by = to / dwk_max(reach_of(a, c, e, l, up), NO_ROOM * NO_ROOM);
        }
        r[i] = dwk_min(dwk_max(r[i] + p.hue * (by * a - x), 0.0f), 1.0f);
        g[i] = dwk_min(dwk_max(g[i] + p.hue * (by * c - y), 0.0f), 1.0f);
        b[i] = dwk_min(dwk_max(b[i] + p.hue * (by * e - z), 0.0f), 1.0f);
    }
}

#define FINISH_PIECE 256 /* pixels; few pieces of most pictures hold a colour beyond the gamut */

/* Which colours of a piece are to be bent; without a branch a pixel. */
static size_t beyond(const struct dw_gamut *q, size_t n, const float *restrict r,
                     const float *restrict g, const float *restrict b, int32_t *restrict which)
{
    const struct dw_gamut p = *q;
    int32_t is[FINISH_PIECE];
    for (size_t i = 0; i < n; i++) {
        float l = p.own_luma[0] * r[i] + p.own_luma[1] * g[i] + p.own_luma[2] * b[i];
        float up = 1.0f - l, reach = reach_of(r[i] - l, g[i] - l, b[i] - l, l, up);
        is[i] = reach > BEYOND * p.knee * dwk_max(l * up, NO_ROOM);
    }
    size_t m = 0;
    for (size_t i = 0; i < n; i++) {
        which[m] = (int32_t)i;
        m += (size_t)is[i];
    }
    return m;
}

static void bend_some(const struct dw_gamut *p, size_t n, float *r, float *g, float *b)
{
    int32_t which[FINISH_PIECE];
    float some[3][FINISH_PIECE], *const from[3] = {r, g, b};
    size_t m = beyond(p, n, r, g, b, which);
    for (int c = 0; c < 3; c++)
        for (size_t i = 0; i < m; i++)
            some[c][i] = from[c][which[i]];
    bend(p, m, some[0], some[1], some[2]);
    for (int c = 0; c < 3; c++)
        for (size_t i = 0; i < m; i++)
            from[c][which[i]] = some[c][i];
}

static void finish(const struct dw_gamut *p, const float *mul, float *add, size_t n, float *r,
                   float *g, float *b)
{
    if (!(p->hue > 0.0f)) {
        straight(p, false, mul, add, n, r, g, b);
        return;
    }
    for (size_t i = 0; i < n; i += FINISH_PIECE) {
        size_t m = n - i < FINISH_PIECE ? n - i : FINISH_PIECE;
        if (straight(p, true, mul + i, add + i, m, r + i, g + i, b + i))
            bend_some(p, m, r + i, g + i, b + i);
    }
}

const struct dw_gamut_kernels DW_KERNEL(gamut) = {finish};
