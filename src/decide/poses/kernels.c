/* kernels.c: see kernels.h. Compiled twice: plainly, and with DW_WIDE for machines with AVX2. */
#include "decide/poses/kernels.h"

#include <string.h>

#define SIDE DW_PATCH_SIDE
#define CELLS DW_PATCH_CELLS
#define WIDE DW_LOCAL_WIDE
#define B DW_BLOCK_SIDE

static inline uint16_t smaller(uint16_t a, uint16_t b)
{
    return a < b ? a : b;
}

static inline uint16_t larger(uint16_t a, uint16_t b)
{
    return a > b ? a : b;
}

/* Single bright cells (hot pixels, small stars) come down to the best pair of opposite neighbours;
 * edges and lines have such a pair and stay, and so does the rim. */
static void clip_spots(const uint16_t *restrict in, uint16_t *restrict out)
{
    memcpy(out, in, (SIDE + 1) * sizeof *out);
    /* over the rims to the sides, so that rows are of no odd length */
    for (int i = SIDE + 1; i < CELLS - SIDE - 1; i++) {
        uint16_t a = smaller(in[i - 1], in[i + 1]), b = smaller(in[i - SIDE], in[i + SIDE]);
        uint16_t c = smaller(in[i - SIDE - 1], in[i + SIDE + 1]),
                 d = smaller(in[i - SIDE + 1], in[i + SIDE - 1]);
        out[i] = smaller(in[i], larger(larger(a, b), larger(c, d)));
    }
    memcpy(out + CELLS - SIDE - 1, in + CELLS - SIDE - 1, (SIDE + 1) * sizeof *out);
    for (int y = 1; y < SIDE - 1; y++) {
        out[y * SIDE] = in[y * SIDE];
        out[y * SIDE + SIDE - 1] = in[y * SIDE + SIDE - 1];
    }
}

static inline int inside(int i)
{
    return i < 0 ? 0 : i >= SIDE ? SIDE - 1 : i;
}

/* Binomial 1 4 6 4 1 down: 16 times the mean, which fits 16 bits; the border repeats. */
static void smooth_down(const uint16_t *restrict in, uint16_t *restrict out)
{
    for (int y = 0; y < SIDE; y++) {
        const uint16_t *a = in + inside(y - 2) * SIDE, *b = in + inside(y - 1) * SIDE,
                       *c = in + y * SIDE, *d = in + inside(y + 1) * SIDE,
                       *e = in + inside(y + 2) * SIDE;
        uint16_t *restrict o = out + y * SIDE;
        for (int x = 0; x < SIDE; x++)
            o[x] = (uint16_t)(a[x] + e[x] + 4 * (b[x] + d[x]) + 6 * c[x]);
    }
}

static inline int32_t across_at(const uint16_t *row, int x)
{
    return (row[inside(x - 2)] + row[inside(x + 2)]) +
           4 * (row[inside(x - 1)] + row[inside(x + 1)]) + 6 * row[x];
}

/* The same across: 256 times the mean. A row's loop runs on into the next one, so that it is of no
 * odd length; what it writes there comes again. */
static void smooth_across(const uint16_t *restrict in, int32_t *restrict out)
{
    for (int y = 0; y < SIDE; y++, in += SIDE, out += SIDE) {
        for (int x = 2; x < SIDE + 2; x++)
            out[x] = (in[x - 2] + in[x + 2]) + 4 * (in[x - 1] + in[x + 1]) + 6 * in[x];
        out[0] = across_at(in, 0);
        out[1] = across_at(in, 1);
        out[SIDE - 2] = across_at(in, SIDE - 2);
        out[SIDE - 1] = across_at(in, SIDE - 1);
    }
}

/* So many cells to either side that the surroundings stay even about their middle at the border
 * too: uneven ones would make structure of the sky's slope. */
static inline int reach(int i)
{
    int near = i < SIDE - 1 - i ? i : SIDE - 1 - i;
    return near < WIDE ? near : WIDE;
}

/* Sums of 2*reach(x)+1 cells of each row about each cell, by those of three. All sums here are
 * exact: 13 * 13 cells of 256 codes of 12 bits each stay below 2^28. */
static void sum_across(const int32_t *restrict v, int32_t *restrict three, int32_t *restrict out)
{
    for (int i = 1; i < CELLS - 1; i++)
        three[i] = v[i - 1] + v[i] + v[i + 1];
    for (int y = 0; y < SIDE; y++, v += SIDE, three += SIDE, out += SIDE) {
        for (int x = WIDE; x < SIDE - WIDE; x++)
            out[x] = ((three[x - 5] + three[x - 2]) + (three[x + 1] + three[x + 4])) + v[x + 6];
        int32_t left = v[0], right = v[SIDE - 1];
        out[0] = left;
        out[SIDE - 1] = right;
        for (int x = 1; x < WIDE; x++) {
            out[x] = left += v[2 * x - 1] + v[2 * x];
            out[SIDE - 1 - x] = right += v[SIDE - 2 * x] + v[SIDE - 1 - 2 * x];
        }
    }
}

/* Takes the mean of the surroundings off. across: sums of rows. */
static void take_slow_off(const int32_t *restrict v, const int32_t *restrict across,
                          float *restrict band)
{
    int32_t sum[SIDE] = {0}, cells[SIDE] = {0};
    float share[SIDE] = {0};
    int first = 0, last = 0, was = -1; /* `sum` holds rows first..last-1 */
    for (int y = 0; y < SIDE; y++) {
        int r = reach(y);
        for (; last <= y + r; last++)
            for (int x = 0; x < SIDE; x++)
                sum[x] += across[last * SIDE + x];
        for (; first < y - r; first++)
            for (int x = 0; x < SIDE; x++)
                sum[x] -= across[first * SIDE + x];
        for (int x = 0; x < SIDE && r != was; x++) {
            cells[x] = (2 * reach(x) + 1) * (2 * r + 1);
            share[x] = 1 / ((float)cells[x] * 256 * DW_PATCH_SCALE);
        }
        was = r;
        for (int x = 0; x < SIDE; x++)
            band[y * SIDE + x] = (float)(cells[x] * v[y * SIDE + x] - sum[x]) * share[x];
    }
}

static void band_of(const uint16_t *code, struct dw_band_work *work, float *band)
{
    clip_spots(code, work->clipped);
    smooth_down(work->clipped, work->half);
    smooth_across(work->half, work->smooth);
    sum_across(work->smooth, work->three, work->across);
    take_slow_off(work->smooth, work->across, band);
}

static void columns(const uint16_t *restrict code, const float *restrict band,
                    uint32_t light[restrict SIDE], float square[restrict SIDE])
{
    memset(light, 0, SIDE * sizeof *light);
    memset(square, 0, SIDE * sizeof *square);
    for (int y = 0; y < B; y++)
        for (int x = 0; x < SIDE; x++) {
            float at = band[y * SIDE + x];
            light[x] += code[y * SIDE + x];
            square[x] += at * at;
        }
}

static inline void sums_of(const float *restrict a, const float *restrict b, size_t b_stride, int n,
                           int rows, float sum[restrict DW_BLOCK_SUMS][B])
{
    for (int y = 0; y < rows; y++, a += SIDE, b += b_stride)
        for (int i = 0; i < n; i++) {
            float v = a[i], w = b[i];
            float gx = 0.5f * (a[i + 1] - a[i - 1]), gy = 0.5f * (a[i + SIDE] - a[i - SIDE]);
            sum[DW_SUM_AA][i] += v * v;
            sum[DW_SUM_AX][i] += v * gx;
            sum[DW_SUM_AY][i] += v * gy;
            sum[DW_SUM_XX][i] += gx * gx;
            sum[DW_SUM_XY][i] += gx * gy;
            sum[DW_SUM_YY][i] += gy * gy;
            sum[DW_SUM_BA][i] += w * v;
            sum[DW_SUM_BX][i] += w * gx;
            sum[DW_SUM_BY][i] += w * gy;
            sum[DW_SUM_BB][i] += w * w;
        }
}

/* In the order that any vector can take: columns eight apart, then four, two and one. */
static inline double fold(const float v[B])
{
    double half[B / 2];
    for (int i = 0; i < B / 2; i++)
        half[i] = (double)v[i] + (double)v[i + B / 2];
    for (int n = B / 4; n > 0; n /= 2)
        for (int i = 0; i < n; i++)
            half[i] += half[i + n];
    return half[0];
}

/* Whole blocks, and those at a patch's border while nothing has moved, by loops of known length. */
static void sums(const float *a, const float *b, size_t b_stride, int n, int rows,
                 double all[DW_BLOCK_SUMS])
{
    float sum[DW_BLOCK_SUMS][B] = {{0}};
    if (n == B)
        sums_of(a, b, b_stride, B, rows, sum);
    else if (n == B - 4)
        sums_of(a, b, b_stride, B - 4, rows, sum);
    else
        sums_of(a, b, b_stride, n, rows, sum);
    for (int k = 0; k < DW_BLOCK_SUMS; k++)
        all[k] = fold(sum[k]);
}

static void swap_lines(double *a, double *b)
{
    for (int i = 0; i < DW_FOURIER_LINES; i++) {
        double t = a[i];
        a[i] = b[i];
        b[i] = t;
    }
}

/* z: real parts of the first samples of all lines, their imaginary parts, the second samples ... */
static void reverse_bits(double *z, size_t n)
{
    for (size_t i = 0, j = 0; i < n; i++) {
        if (i < j)
            for (size_t k = 0; k < 2 * DW_FOURIER_LINES; k += DW_FOURIER_LINES)
                swap_lines(z + 2 * DW_FOURIER_LINES * i + k, z + 2 * DW_FOURIER_LINES * j + k);
        size_t bit = n >> 1;
        for (; j & bit; bit >>= 1)
            j ^= bit;
        j ^= bit;
    }
}

static void butterfly(double *restrict a, double *restrict b, double c, double s)
{
    for (int i = 0; i < DW_FOURIER_LINES; i++) {
        double br = b[i], bi = b[DW_FOURIER_LINES + i];
        double re = br * c - bi * s, im = br * s + bi * c;
        b[i] = a[i] - re;
        b[DW_FOURIER_LINES + i] = a[DW_FOURIER_LINES + i] - im;
        a[i] += re;
        a[DW_FOURIER_LINES + i] += im;
    }
}

/* Cooley & Tukey 1965, radix two, in place. */
static void lines(const double *turn, size_t n, double *z, bool back)
{
    double sign = back ? -1 : 1;
    reverse_bits(z, n);
    for (size_t half = 1; half < n; half *= 2)
        for (size_t first = 0; first < n; first += 2 * half)
            for (size_t k = 0; k < half; k++) {
                double *a = z + 2 * DW_FOURIER_LINES * (first + k);
                butterfly(a, a + 2 * DW_FOURIER_LINES * half, turn[2 * k * (n / 2 / half)],
                          sign * turn[2 * k * (n / 2 / half) + 1]);
            }
}

#ifdef DW_WIDE
const struct dw_pose_kernels dw_pose_kernels_wide;
const struct dw_pose_kernels dw_pose_kernels_wide = {band_of, columns, sums, lines};
#else
#ifdef DW_HAVE_WIDE
extern const struct dw_pose_kernels dw_pose_kernels_wide;
#endif

static const struct dw_pose_kernels plain = {band_of, columns, sums, lines};

const struct dw_pose_kernels *dw_pose_kernels_plain(void)
{
    return &plain;
}

const struct dw_pose_kernels *dw_pose_kernels_best(void)
{
#ifdef DW_HAVE_WIDE
    if (__builtin_cpu_supports("avx2"))
        return &dw_pose_kernels_wide;
#endif
    return &plain;
}
#endif
