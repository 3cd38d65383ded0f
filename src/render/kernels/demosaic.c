/* demosaic.c: the missing colours, a row at a time; the method is told in render/mosaic/demosaic.c.
 *
 * Literature: directional estimates fused by their expected errors: L. Zhang and X. Wu, "Color
 * demosaicking via directional linear minimum mean square-error estimation", IEEE Trans. Image
 * Processing 14(12), 2005. Windowed variation of colour differences as the measure of that error:
 * K.-H. Chung and Y.-H. Chan, "Color demosaicing using variance of color differences", IEEE Trans.
 * Image Processing 15(10), 2006. A locally fitted line between the colours, of which only the
 * residual is interpolated: D. Kiku, Y. Monno, M. Tanaka and M. Okutomi, "Residual interpolation
 * for color image demosaicking", IEEE ICIP 2013. (Cited from memory.) */
#include "render/kernels/demosaic.h"

#include "render/kernels/fastmath.h"
#include "render/kernels/kernel.h"

#include <math.h>

/* Pulls the fitted slope towards 1, the plain colour difference. 0 would trust the ratio of the
 * contrasts alone (best on stars, worst on noise and on detail of one colour); measured on stars
 * and photographs, 0.2 to 0.5 do equally well. */
#define CAUTION 0.3f
/* The share of the lowest of its neighbours by which a colour may fall below them. */
#define DIP 0.5f
/* Keeps quotients of flat areas at 1/2 and 1; far below one step of any sensor. */
#define NOTHING 1e-12f

/* The value, but not far below four samples of its colour. On the flank of a bright star a slope
 * that fits the star badly by a little is a deep dip: a speck of false colour on the dark sky. */
static inline float lifted(float value, float a, float b, float c, float d)
{
    float low = dwk_min(dwk_min(a, b), dwk_min(c, d));
    return dwk_max(value, low - DIP * fabsf(low));
}

static void activity(const float *const even[7], const float *const odd[7], size_t n,
                     float *restrict across_even, float *restrict across_odd,
                     float *restrict down_even, float *restrict down_odd)
{
    const float *restrict e = even[3], *restrict o = odd[3];
    const float *restrict e0 = even[0], *restrict e1 = even[1], *restrict e2 = even[2];
    const float *restrict e4 = even[4], *restrict e5 = even[5], *restrict e6 = even[6];
    const float *restrict o0 = odd[0], *restrict o1 = odd[1], *restrict o2 = odd[2];
    const float *restrict o4 = odd[4], *restrict o5 = odd[5], *restrict o6 = odd[6];
    /* The difference of the colours along a line is (-1, 2, -2, 2, -1) * samples; its change
     * from one side of a sample to the other needs the steps over one, two and three. */
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        float one = o[i - 1] - o[i], two = e[i - 1] - e[i + 1], three = o[i - 2] - o[i + 1];
        across_even[i] = fabsf((two + two) - (one + three));
        one = e[i] - e[i + 1], two = o[i - 1] - o[i + 1], three = e[i - 1] - e[i + 2];
        across_odd[i] = fabsf((two + two) - (one + three));
    }
    for (size_t i = 0; i < n; i++) {
        float two = e1[i] - e5[i];
        down_even[i] = fabsf((two + two) - ((e2[i] - e4[i]) + (e0[i] - e6[i])));
        two = o1[i] - o5[i];
        down_odd[i] = fabsf((two + two) - ((o2[i] - o4[i]) + (o0[i] - o6[i])));
    }
}

static void gather(const float *restrict even, const float *restrict odd, size_t n,
                   float *restrict sum_even, float *restrict sum_odd)
{
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        sum_even[i] = even[i] + (odd[i - 1] + odd[i]) + (even[i - 1] + even[i + 1]);
        sum_odd[i] = odd[i] + (even[i] + even[i + 1]) + (odd[i - 1] + odd[i + 1]);
    }
}

static void contrast(const struct dw_demosaic_site *s, size_t n, float *restrict green,
                     float *restrict colour)
{
    const float *restrict c = s->colour, *restrict l = s->left, *restrict r = s->right;
    const float *restrict u1 = s->up[0], *restrict u2 = s->up[1];
    const float *restrict d1 = s->down[0], *restrict d2 = s->down[1];
    /* All steps are over two pixels: two of green about the site, four of the colour at it. */
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        green[i] = 2.0f * (fabsf(l[i] - r[i]) + fabsf(u1[i] - d1[i]));
        colour[i] = (fabsf(c[i] - c[i - 1]) + fabsf(c[i] - c[i + 1])) +
                    (fabsf(c[i] - u2[i]) + fabsf(c[i] - d2[i]));
    }
}

static void spread(const float *restrict in, size_t n, float *restrict sum)
{
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++)
        sum[i] = in[i] + (in[i - 1] + in[i + 1]) + (in[i - 2] + in[i + 2]);
}

static void stack(const float *const row[5], size_t n, float *restrict sum)
{
    const float *restrict a = row[0], *restrict b = row[1], *restrict c = row[2];
    const float *restrict d = row[3], *restrict e = row[4];
    for (size_t i = 0; i < n; i++)
        sum[i] = c[i] + (b[i] + d[i]) + (a[i] + e[i]);
}

static void green(const struct dw_demosaic_site *s, const float *restrict across,
                  const float *restrict down, const float *restrict green_contrast,
                  const float *restrict colour_contrast, size_t n, float *restrict out,
                  float *restrict residual, float *restrict slope, float *restrict share)
{
    const float *restrict c = s->colour, *restrict l = s->left, *restrict r = s->right;
    const float *restrict u1 = s->up[0], *restrict u2 = s->up[1], *restrict u3 = s->up[2];
    const float *restrict d1 = s->down[0], *restrict d2 = s->down[1], *restrict d3 = s->down[2];
    for (ptrdiff_t i = 0; i < (ptrdiff_t)n; i++) {
        float x = across[i] * across[i] + NOTHING, y = down[i] * down[i] + NOTHING;
        float p = y / (x + y), q = 1.0f - p; /* each direction by the error of the other */
        float mean = CAUTION * (green_contrast[i] + colour_contrast[i]) + NOTHING;
        float g = green_contrast[i] + mean, k = colour_contrast[i] + mean;
        float gx = 0.4375f * (l[i] + r[i]) + 0.0625f * (l[i - 1] + r[i + 1]);
        float gy = 0.4375f * (u1[i] + d1[i]) + 0.0625f * (u3[i] + d3[i]);
        float cx = c[i - 1] + c[i + 1], cy = u2[i] + d2[i];
        float bend = 0.5f * c[i] - 0.25f * (p * cx + q * cy);
        float value = (p * gx + q * gy) + g / k * bend;
        /* Green may leave the range of its neighbours by no more than that range: what is flat
         * (a clipped lamp, the sky about a hot pixel) then stays flat whatever the site says.
         * Nor may it dip; see lifted(). */
        float low = dwk_min(dwk_min(l[i], r[i]), dwk_min(u1[i], d1[i]));
        float high = dwk_max(dwk_max(l[i], r[i]), dwk_max(u1[i], d1[i]));
        float range = high - low;
        value = dwk_max(value, low - dwk_min(range, DIP * fabsf(low)));
        value = dwk_min(value, high + range);
        float b = k / g;
        out[i] = value;
        slope[i] = b;
        residual[i] = c[i] - b * value;
        share[i] = p;
    }
}

static void diagonal(const struct dw_demosaic_fit fit[4], const float *restrict green_here,
                     size_t n, float *restrict colour, float *restrict residual,
                     float *restrict slope)
{
    const float *restrict r0 = fit[0].residual, *restrict r1 = fit[1].residual;
    const float *restrict r2 = fit[2].residual, *restrict r3 = fit[3].residual;
    const float *restrict s0 = fit[0].slope, *restrict s1 = fit[1].slope;
    const float *restrict s2 = fit[2].slope, *restrict s3 = fit[3].slope;
    const float *restrict c0 = fit[0].colour, *restrict c1 = fit[1].colour;
    const float *restrict c2 = fit[2].colour, *restrict c3 = fit[3].colour;
    const float *restrict g0 = fit[0].green, *restrict g1 = fit[1].green;
    const float *restrict g2 = fit[2].green, *restrict g3 = fit[3].green;
    for (size_t i = 0; i < n; i++) {
        float g = green_here[i];
        float falling = fabsf(r0[i] - r3[i]) + fabsf((g + g) - (g0[i] + g3[i])) + NOTHING;
        float rising = fabsf(r1[i] - r2[i]) + fabsf((g + g) - (g1[i] + g2[i])) + NOTHING;
        float w = 0.5f / (falling + rising);
        float r = w * (rising * (r0[i] + r3[i]) + falling * (r1[i] + r2[i]));
        float s = w * (rising * (s0[i] + s3[i]) + falling * (s1[i] + s2[i]));
        float c = lifted(r + s * g, c0[i], c1[i], c2[i], c3[i]);
        colour[i] = c;
        residual[i] = c - s * g;
        slope[i] = s;
    }
}

static void between(const float *restrict left, const float *restrict right,
                    const float *restrict up, const float *restrict down, size_t n,
                    float *restrict share)
{
    for (size_t i = 0; i < n; i++)
        share[i] = 0.25f * ((left[i] + right[i]) + (up[i] + down[i]));
}

static void straight(const struct dw_demosaic_fit fit[4], const float *restrict share,
                     const float *restrict green_here, size_t n, float *restrict colour)
{
    const float *restrict r0 = fit[0].residual, *restrict r1 = fit[1].residual;
    const float *restrict r2 = fit[2].residual, *restrict r3 = fit[3].residual;
    const float *restrict s0 = fit[0].slope, *restrict s1 = fit[1].slope;
    const float *restrict s2 = fit[2].slope, *restrict s3 = fit[3].slope;
    const float *restrict c0 = fit[0].colour, *restrict c1 = fit[1].colour;
    const float *restrict c2 = fit[2].colour, *restrict c3 = fit[3].colour;
    for (size_t i = 0; i < n; i++) {
        float p = 0.5f * share[i], q = 0.5f - p;
        float r = p * (r0[i] + r1[i]) + q * (r2[i] + r3[i]);
        float s = p * (s0[i] + s1[i]) + q * (s2[i] + s3[i]);
        colour[i] = lifted(r + s * green_here[i], c0[i], c1[i], c2[i], c3[i]);
    }
}

static void part(const float *restrict row, size_t n, float *restrict even, float *restrict odd)
{
    for (size_t i = 0; i < n; i++) {
        even[i] = row[2 * i];
        odd[i] = row[2 * i + 1];
    }
}

static void join(const float *restrict even, const float *restrict odd, size_t n,
                 float *restrict row)
{
    for (size_t i = 0; i < n; i++) {
        row[2 * i] = even[i];
        row[2 * i + 1] = odd[i];
    }
}

const struct dw_demosaic_kernels DW_KERNEL(demosaic) = {
    activity, gather, contrast, spread, stack, green, diagonal, between, straight, part, join};
