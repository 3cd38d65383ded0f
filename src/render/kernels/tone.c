/* tone.c: from scene-linear light to the brightness of a picture. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <string.h>

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

#define COLUMNS 16 /* at a time */

/* Bit by bit from the highest: whole numbers are in the order of the floats that they are read as,
 * as long as none is negative. Slower by the number of operations than a selection that moves
 * values about, but none of its branches depends on them, and columns go side by side. */
static void rank_some(const float *restrict v, size_t stride, size_t n, const int32_t *restrict k,
                      float *restrict out)
{
    int32_t found[COLUMNS] = {0}, tried[COLUMNS], below[COLUMNS], any = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t c = 0; c < COLUMNS; c++)
            any |= dwk_bits(v[i * stride + c]);
    for (int bit = 30; bit >= 0; bit--) {
        if (!(any >> bit & 1))
            continue; /* no value has it */
        for (size_t c = 0; c < COLUMNS; c++) {
            tried[c] = found[c] | (int32_t)1 << bit;
            below[c] = 0;
        }
        for (size_t i = 0; i < n; i++)
            for (size_t c = 0; c < COLUMNS; c++)
                below[c] += dwk_bits(v[i * stride + c]) < tried[c];
        for (size_t c = 0; c < COLUMNS; c++)
            found[c] = below[c] <= k[c] ? tried[c] : found[c];
    }
    for (size_t c = 0; c < COLUMNS; c++)
        out[c] = dwk_float(found[c]);
}

static void rank(const float *v, size_t columns, size_t n, const int32_t *k, float *out)
{
    for (size_t c = 0; c < columns; c += COLUMNS)
        rank_some(v + c, columns, n, k + c, out + c);
}

/* Adds one of the n values of each column. */
static void add_within(size_t columns, const float *restrict a, const float *restrict b,
                       const float *restrict c, const float *restrict d,
                       const float *restrict middle, const float *restrict most,
                       float *restrict of_a, float *restrict of_b, float *restrict of_c,
                       float *restrict of_d)
{
    for (size_t k = 0; k < columns; k++) {
        float off = a[k] - middle[k], in = dwk_max(off, -off) <= most[k] ? 1.0f : 0.0f;
        of_a[k] += in * a[k];
        of_b[k] += in * b[k];
        of_c[k] += in * c[k];
        of_d[k] += in * d[k];
    }
}

static void within(const float *const v[4], size_t columns, size_t n, const float *middle,
                   const float *most, float *const sum[4])
{
    for (size_t c = 0; c < 4; c++)
        memset(sum[c], 0, columns * sizeof *sum[c]);
    for (size_t i = 0; i < n * columns; i += columns)
        add_within(columns, v[0] + i, v[1] + i, v[2] + i, v[3] + i, middle, most, sum[0], sum[1],
                   sum[2], sum[3]);
}

#define NEAR_PIECE 512 /* pixels whose column sums stay in the first cache */
#define NEAR_LINE 16   /* numbers of a cache line: the sums of a piece begin one */

struct columns {
    _Alignas(64) float sum[NEAR_LINE + NEAR_PIECE + NEAR_LINE];
};

/* Along a row, and one more at either end. */
static const float *down_columns(float side, const float *restrict up, const float *restrict mid,
                                 const float *restrict down, size_t n, struct columns *out)
{
    float *restrict sum = out->sum + NEAR_LINE;
    for (size_t i = 0; i < n; i++)
        sum[i] = mid[i] + side * (up[i] + down[i]);
    sum[-1] = mid[-1] + side * (up[-1] + down[-1]);
    sum[n] = mid[n] + side * (up[n] + down[n]);
    return sum;
}

/* The mean along each row, of its neighbours one pixel away by `side`. */
static void along(float centre, float side, const float *const col[3], size_t n,
                  float *restrict red, float *restrict luma, float *restrict blue)
{
    const float *restrict u = col[0], *restrict v = col[1], *restrict w = col[2];
    const float *before_u = u - 1, *before_v = v - 1, *before_w = w - 1;
    const float *after_u = u + 1, *after_v = v + 1, *after_w = w + 1;
    for (size_t i = 0; i < n; i++) {
        red[i] = centre * u[i] + side * (before_u[i] + after_u[i]);
        luma[i] = centre * v[i] + side * (before_v[i] + after_v[i]);
        blue[i] = centre * w[i] + side * (before_w[i] + after_w[i]);
    }
}

static void near(float smooth, const float *const up[3], const float *const mid[3],
                 const float *const down[3], size_t n, float *red, float *luma, float *blue)
{
    /* columns are taken in parts of the middle's weight, which rows make up for */
    const float centre = 1.0f - 0.5f * smooth, side = 0.25f * smooth;
    const float beside = side / centre, all = centre * centre, along_side = centre * side;
    struct columns columns[3];
    if (!(side > 0.0f)) { /* nothing beside it counts */
        memcpy(red, mid[0], n * sizeof *red);
        memcpy(luma, mid[1], n * sizeof *luma);
        memcpy(blue, mid[2], n * sizeof *blue);
        return;
    }
    for (size_t from = 0; from < n; from += NEAR_PIECE) {
        size_t m = n - from < NEAR_PIECE ? n - from : NEAR_PIECE;
        const float *col[3];
        for (int c = 0; c < 3; c++)
            col[c] =
                down_columns(beside, up[c] + from, mid[c] + from, down[c] + from, m, &columns[c]);
        along(all, along_side, col, m, red + from, luma + from, blue + from);
    }
}

#define DARK 0.02f    /* keys; about and below it colours are no longer compared by their ratios */
#define NOTHING 1e-3f /* keeps divisions finite */
#define TINY 1e-12f   /* the same, of squares */
#define BESIDE 2.0f   /* means of 3x3 pixels beside a star that its own light is taken for */
#define LONE 0.16f    /* what a point alone adds to the mean of the 3x3 about it is 0.25 of it */

#define LIFT_RUN 16 /* pixels: most such runs of a starry sky hold nothing to raise */
#define LIFT_PIECE (16 * LIFT_RUN) /* at most, so that each run has a bit of a whole number */

/* A pixel takes the colour of the 3x3 about it and keeps its luminance, and what stands above the
 * sky is raised and gets a balance of its own. A bright pixel is sky and star: so the sky is taken
 * off both its luminance and its neighbours' light, and their colour is then the star's, whatever
 * its brightness and that of the sky.
 *
 * The share that is raised is that of Wiener's filter, signal^2 / (signal^2 + noise^2), of what
 * stands more than `start` sigmas of the sky's grain above it: by itself, or with its neighbours,
 * whose mean has less grain and tells a star from a grain of it (N. Wiener, Extrapolation,
 * Interpolation, and Smoothing of Stationary Time Series, 1949; from memory). What is as bright
 * farther along the row or above is no point, and stands above that at most. A star's norm is its
 * largest channel: a vivid one rather stays darker than it burns out to white. Where the shoot's
 * map has a star less is asked for: what stands there is starlight. And as noise is mostly colour,
 * the fainter a star stands above the sky the less of its colour is believed, as the eye sees none
 * in faint stars: Wiener's share again; the rest is grey, or has the map's colour of the star.
 *
 * That colour is laid over the 3x3 pixels rather than where the light is, as the eye does, and
 * files keep it better; it is shown stronger where the star adds little to the sky's light, which
 * would dilute it; and no pixel takes more of it than if all its light were the star's. */
struct stands {
    float above[LIFT_RUN], over[LIFT_RUN]; /* what it stands out from; that and `start` */
};

/* How far pixels stand out. */
__attribute__((always_inline)) /* so that what is the same for all runs stays in registers */
static inline void
stand_out(const struct dw_lift *q, const struct dw_lift_rows *rows, size_t from, size_t n,
          struct stands *restrict out)
{
    const struct dw_lift p = *q;
    const float *restrict pixel = rows->own + from;
    const float *restrict level = rows->level + from, *restrict ground = rows->base + from;
    const float *restrict grain = rows->grain + from, *restrict known = rows->known + from;
    const float *restrict spot = rows->spot[0] + from, *restrict up = rows->spot[1] + from;
    const float *restrict far_up = rows->spot[2] + from;
    const float *left = spot - DW_SPOT_SIDE, *right = spot + DW_SPOT_SIDE;
    const float *far_left = spot - DW_SPOT_FAR, *far_right = spot + DW_SPOT_FAR;
    for (size_t i = 0; i < n; i++) {
        float side = dwk_max(dwk_min(left[i], far_left[i]), dwk_min(right[i], far_right[i]));
        side = dwk_max(side, dwk_min(up[i], far_up[i]));
        side = dwk_min(side, dwk_max(p.most_side * level[i], p.floor));
        float base = dwk_max(ground[i], side);
        float start = (p.start + p.known_start * known[i]) * grain[i];
        float above = dwk_max(pixel[i] - base, p.together * (spot[i] - base));
        out->above[i] = above;
        out->over[i] = dwk_max(above - start, 0.0f);
    }
}

/* Of colour, as luminance is its own and colour that of the mean. Nothing in light is grey:
 * luminance stays in the dark too; and a pixel alone in the dark has no more than 4 times their
 * mean. */
static inline float keep_of(float own, float mean)
{
    return dwk_min((dwk_max(own, 0.0f) + DARK) / (dwk_max(mean, 0.0f) + DARK), 16.0f);
}

struct may {
    uint32_t some; /* runs that may hold a pixel that stands out, a bit each */
    bool mapped;   /* whether a known star is anywhere */
};

/* From the ground alone pixels stand out no less than they do in truth, and reckoned alike, so that
 * what does not here does not at all. No branch depends on a pixel: where stars are cannot be
 * foreseen, and one foretold wrongly costs nearly as much as a run. The sign's bit, negated, is all
 * bits. */
static struct may may_stand_out(const struct dw_lift *q, const struct dw_lift_rows *rows, size_t n)
{
    const struct dw_lift p = *q;
    const float *restrict pixel = rows->own, *restrict spot = rows->spot[0];
    const float *restrict ground = rows->base, *restrict grain = rows->grain;
    const float *restrict known = rows->known;
    int32_t may[LIFT_RUN] = {0}, star[LIFT_RUN] = {0}, some = 0, mapped = 0, bit = 1;
    for (size_t i = 0; i < n; i += LIFT_RUN, bit *= 2) {
        for (size_t k = 0; k < LIFT_RUN; k++) {
            float start = (p.start + p.known_start * known[i + k]) * grain[i + k];
            float base = ground[i + k];
            float above = dwk_max(pixel[i + k] - base, p.together * (spot[i + k] - base));
            may[k] |= -(int32_t)((uint32_t)dwk_bits(start - above) >> 31) & bit;
            star[k] |= dwk_bits(known[i + k]);
        }
    }
    for (size_t k = 0; k < LIFT_RUN; k++) {
        some |= may[k];
        mapped |= star[k];
    }
    return (struct may){(uint32_t)some, mapped != 0};
}

/* All pixels as they are where nothing is raised. */
static void leave(const struct dw_lift *q, const struct dw_lift_rows *rows,
                  const float *const mean_of[2], size_t n, float *restrict red,
                  float *restrict luma, float *restrict blue, float *restrict norm)
{
    const float green_of_red = -q->luma[0] / q->luma[1], green_of_blue = -q->luma[2] / q->luma[1];
    const float of_largest = 1.0f - q->norm_y;
    const float *restrict pixel = rows->own, *restrict spot = rows->spot[0];
    const float *restrict mean_red = mean_of[0], *restrict mean_blue = mean_of[1];
    for (size_t i = 0; i < n; i++) {
        float own = pixel[i], keep = keep_of(own, spot[i]);
        float kept_red = keep * mean_red[i], kept_blue = keep * mean_blue[i];
        float kept_green = green_of_red * kept_red + green_of_blue * kept_blue;
        float largest = dwk_max(dwk_max(kept_red, kept_green), kept_blue);
        red[i] = kept_red;
        luma[i] = own;
        blue[i] = kept_blue;
        norm[i] = dwk_max(own + of_largest * largest, 0.0f);
    }
}

/* mapped: whether any of these pixels belongs to a known star; else all that is reckoned for that
 * is nothing, and is left out. */
__attribute__((always_inline)) /* each use is of its own kind */
static inline void
lift_run(const struct dw_lift *q, const struct dw_lift_rows *rows, bool mapped,
         const float *const mean_of[2], size_t from, size_t to, const struct stands *restrict by,
         float *restrict red, float *restrict luma, float *restrict blue, float *restrict norm)
{
    const struct dw_lift p = *q;
    const float green_of_red = -p.luma[0] / p.luma[1], green_of_blue = -p.luma[2] / p.luma[1];
    const float *restrict sky_r = rows->sky[0], *restrict sky_g = rows->sky[1];
    const float *restrict sky_b = rows->sky[2], *restrict spot = rows->spot[0];
    const float *restrict air_r = rows->air[0], *restrict air_b = rows->air[1];
    const float *restrict level = rows->level, *restrict grain = rows->grain;
    const float *restrict known = rows->known, *restrict tint_r = rows->tint[0];
    const float *restrict tint_g = rows->tint[1], *restrict tint_b = rows->tint[2];
    const float *restrict tinted = rows->tinted, *restrict brighter = rows->brighter;
    const float *restrict pixel = rows->own;
    const float *restrict mean_red = mean_of[0], *restrict mean_blue = mean_of[1];
    for (size_t i = from; i < to; i++) {
        float own = pixel[i], mean = spot[i], keep = keep_of(own, mean);
        float d_red = mean_red[i], d_blue = mean_blue[i];
        float d_green = green_of_red * d_red + green_of_blue * d_blue;
        float sky = level[i], sigma = grain[i], above = by->above[i - from],
              over = by->over[i - from];
        float half = (mapped ? p.half + p.known_half * known[i] : p.half) * sigma;
        float over2 = over * over, above2 = above * above;
        float star = dwk_max(own - sky, 0.0f);
        /* share = over2 / of, part = star / about, colour = above2 / kept, as one division */
        float of = over2 + half * half, about = dwk_max(mean - sky, LONE * star + NOTHING);
        float pale = p.pale, more = 1.0f;
        if (mapped) {
            pale += p.known_pale * known[i] + p.map_pale * tinted[i];
            more += p.air * brighter[i];
        }
        pale *= sigma * sigma;
        float kept = above2 + pale + TINY, of_about = of * about;
        float inverse = 1.0f / (of_about * kept), rest = kept * inverse;
        float share = over2 * (about * rest);
        float raised = more * (share * (star * (of * rest)));
        float colour = above2 * (of_about * inverse);
        /* what is darker than that sky, as beside a lit pane, does not become sky */
        float of_sky = share * (dwk_min(dwk_max(own, 0.0f), sky) / sky);
        float less = 1.0f - share;
        float sr = sky_r[i], sg = sky_g[i], sb = sky_b[i];
        float u = mean + d_red - sr, v = mean + d_green - sg, w = mean + d_blue - sb;
        float cam_red = (p.red_of[0] * u + p.red_of[1] * v + p.red_of[2] * w) * (raised * air_r[i]);
        float cam_blue =
            (p.blue_of[0] * u + p.blue_of[1] * v + p.blue_of[2] * w) * (raised * air_b[i]);
        u = p.raise[0] * raised * u + (p.to_red[0] * cam_red + p.to_blue[0] * cam_blue);
        v = p.raise[1] * raised * v + (p.to_red[1] * cam_red + p.to_blue[1] * cam_blue);
        w = p.raise[2] * raised * w + (p.to_red[2] * cam_red + p.to_blue[2] * cam_blue);
        float gain = p.raise_luma * (more * share);
        float light = p.luma[0] * u + p.luma[1] * v + p.luma[2] * w;
        if (mapped) /* the pixel's own luminance: its neighbours may be below the sky */
            light += known[i] * (gain * star - light);
        float grey = (1.0f - colour) * light;
        float x = of_sky * sr + (colour * u + grey);
        float y = of_sky * sg + (colour * v + grey);
        float z = of_sky * sb + (colour * w + grey);
        if (mapped) { /* tone: luminance whose colour is shown */
            float mid = dwk_max(mean - sky, 0.0f), sky2 = sky * sky;
            float stands = p.stand * gain * dwk_max(star, BESIDE * mid);
            float vivid = p.vivid + p.faint_vivid * (sky2 / (sky2 + stands * stands));
            float tone = (star + p.wide * (mid - star)) * gain * vivid;
            tone = dwk_min(tone, less * dwk_max(own, 0.0f) + of_sky * sky + light);
            tone *= (1.0f - colour) * tinted[i];
            x += tone * (tint_r[i] - 1.0f);
            y += tone * (tint_g[i] - 1.0f);
            z += tone * (tint_b[i] - 1.0f);
        }
        float added = p.luma[0] * x + p.luma[1] * y + p.luma[2] * z;
        float shown = less * own + added;
        float kept_red = less * (keep * d_red) + (x - added);
        float kept_blue = less * (keep * d_blue) + (z - added);
        float kept_green = green_of_red * kept_red + green_of_blue * kept_blue;
        float largest = dwk_max(dwk_max(kept_red, kept_green), kept_blue);
        red[i] = kept_red;
        luma[i] = shown;
        blue[i] = kept_blue;
        norm[i] = dwk_max(shown + (1.0f - less * p.norm_y) * largest, 0.0f);
    }
}

static inline bool any_of(const float *restrict v, size_t n)
{
    int32_t bits = 0;
    for (size_t i = 0; i < n; i++)
        bits |= dwk_bits(v[i]);
    return bits != 0;
}

__attribute__((always_inline)) /* each use is of its own kind */
static inline void
lift_some(const struct dw_lift *p, const struct dw_lift_rows *rows, bool mapped, uint32_t which,
          const float *const mean[2], float *restrict red, float *restrict luma,
          float *restrict blue, float *restrict norm)
{
    struct stands by;
    for (; which; which &= which - 1) {
        size_t i = (size_t)__builtin_ctz(which) * LIFT_RUN;
        stand_out(p, rows, i, LIFT_RUN, &by);
        if (any_of(by.over, LIFT_RUN))
            lift_run(p, rows, mapped, mean, i, i + LIFT_RUN, &by, red, luma, blue, norm);
    }
}

/* Whole runs of a piece: all of them as they are, then those again that may hold a star. */
static void lift_runs(const struct dw_lift *all, const struct dw_lift_rows *about,
                      const float *const mean[2], size_t n, float *restrict red,
                      float *restrict luma, float *restrict blue, float *restrict norm)
{
    const struct dw_lift p = *all; /* of which the compiler knows that nothing changes it */
    const struct dw_lift_rows rows = *about;
    const struct may by = may_stand_out(&p, &rows, n);
    leave(&p, &rows, mean, n, red, luma, blue, norm);
    if (by.mapped)
        lift_some(&p, &rows, true, by.some, mean, red, luma, blue, norm);
    else
        lift_some(&p, &rows, false, by.some, mean, red, luma, blue, norm);
}

static void lift(const struct dw_lift *p, const struct dw_lift_rows *rows,
                 const float *const mean[2], size_t n, float *red, float *luma, float *blue,
                 float *norm)
{
    struct stands by;
    size_t i = 0;
    for (size_t m; i + LIFT_RUN <= n; i += m) {
        m = (n - i < LIFT_PIECE ? n - i : LIFT_PIECE) / LIFT_RUN * LIFT_RUN;
        const struct dw_lift_rows at = dw_lift_rows_from(rows, i);
        const float *const from[2] = {mean[0] + i, mean[1] + i};
        lift_runs(p, &at, from, m, red + i, luma + i, blue + i, norm + i);
    }
    if (i < n) {
        stand_out(p, rows, i, n - i, &by);
        lift_run(p, rows, true, mean, i, n, &by, red, luma, blue, norm);
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

const struct dw_tone_kernels DW_KERNEL(tone) = {tame, level, split, prepare, rank,  within,
                                                near, lift,  curve, mix,     finish};
