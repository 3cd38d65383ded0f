/* lift.c: a pixel beside its neighbours: noise is smoothed, and what stands out of the sky is
 * raised. */
#include "render/kernels/kernel.h"

#include "render/kernels/fastmath.h"

#include <string.h>

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

const struct dw_lift_kernels DW_KERNEL(lift) = {near, lift};
