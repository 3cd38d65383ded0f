/* test_demosaic.c: full-size colours from a Bayer mosaic. */
#include "check_main.h"
#include "demosaic_oracles.h"
#include "test_images.h"

#include "render/mosaic/demosaic.h"
#include "render/kernels/kernels.h"

#include <stdio.h>
#include <string.h>

static const uint8_t ORDERS[4][4] = {{0, 1, 1, 2}, {1, 0, 2, 1}, {1, 2, 0, 1}, {2, 1, 1, 0}};

struct picture {
    int w, h;
    float *px[3];
};

static struct picture picture_new(int w, int h)
{
    struct picture p = {.w = w, .h = h};
    for (int c = 0; c < 3; c++) {
        p.px[c] = calloc((size_t)w * (size_t)h, sizeof(float));
        ck_assert_ptr_nonnull(p.px[c]);
    }
    return p;
}

static void picture_free(struct picture *p)
{
    for (int c = 0; c < 3; c++)
        free(p->px[c]);
}

static float *pixel(const struct picture *p, int c, int y, int x)
{
    return p->px[c] + (size_t)y * (size_t)p->w + (size_t)x;
}

static struct mosaic mosaic_new(int w, int h, const uint8_t pattern[4])
{
    struct mosaic m = {.w = w, .h = h, .px = calloc((size_t)w * (size_t)h, sizeof(float))};
    ck_assert_ptr_nonnull(m.px);
    memcpy(m.pattern, pattern, sizeof m.pattern);
    return m;
}

static struct mosaic mosaic_of(const struct picture *p, const uint8_t pattern[4])
{
    struct mosaic m = mosaic_new(p->w, p->h, pattern);
    for (int y = 0; y < p->h; y++)
        for (int x = 0; x < p->w; x++)
            m.px[(size_t)y * (size_t)p->w + (size_t)x] = *pixel(p, colour_at(&m, y, x), y, x);
    return m;
}

static struct picture demosaic_with(const struct dw_kernels *k, const struct mosaic *m)
{
    struct picture out = picture_new(m->w, m->h);
    float *space = malloc(dw_demosaic_space(m->w) * sizeof *space);
    ck_assert_ptr_nonnull(space);
    dw_demosaic_full(k->demosaic, m->px, m->w, m->h, m->pattern, space, out.px);
    free(space);
    return out;
}

static struct picture demosaic(const struct mosaic *m)
{
    return demosaic_with(dw_kernels_best(), m);
}

static struct picture by_oracle(oracle *method, const struct mosaic *m)
{
    struct picture out = picture_new(m->w, m->h);
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < m->h; y++)
            for (int x = 0; x < m->w; x++)
                *pixel(&out, c, y, x) = (float)method(m, y, x, c);
    return out;
}

/* Chance that is the same everywhere: Marsaglia's xorshift64, J. Stat. Software 8(14), 2003. */
static uint64_t chance;

static double uniform(void)
{
    chance ^= chance << 13;
    chance ^= chance >> 7;
    chance ^= chance << 17;
    return (double)(chance >> 11) / 9007199254740992.0;
}

static double normal(void)
{
    return sqrt(-2 * log(1 - uniform())) * cos(2 * 3.14159265358979324 * uniform());
}

/* Smooth shapes with an edge, detail and noise in them. */
static struct mosaic invented_mosaic(int w, int h, const uint8_t pattern[4], uint64_t seed)
{
    struct mosaic m = mosaic_new(w, h, pattern);
    chance = seed;
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            double v = 0.3 + 0.2 * sin(0.3 * x + 0.1 * y) + (x + 2 * y > 50 ? 0.2 : 0.0);
            double tint = 1 + 0.5 * (colour_at(&m, y, x) - 1);
            m.px[(size_t)y * (size_t)w + (size_t)x] = (float)(tint * v + 0.02 * normal());
        }
    return m;
}

static bool same_bits(const struct picture *a, const struct picture *b)
{
    bool same = true;
    for (int c = 0; c < 3; c++)
        same &= memcmp(a->px[c], b->px[c], (size_t)a->w * (size_t)a->h * sizeof(float)) == 0;
    return same;
}

/* ---- open test images ---- */

static const char *const IMAGES[3] = {"astronaut", "coffee", "chelsea"};

static struct picture image_read(const char *name)
{
    int w, h;
    float *rgb = test_image(name, &w, &h);
    struct picture p = {0};
    if (!rgb)
        return p;
    p = picture_new(w, h);
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++)
            for (int c = 0; c < 3; c++)
                *pixel(&p, c, y, x) = rgb[((size_t)y * (size_t)w + (size_t)x) * 3 + (size_t)c];
    free(rgb);
    return p;
}

/* Of values rounded and clipped to 8 bit, without a border. */
static double psnr(const struct picture *truth, const struct picture *made, int c, int border)
{
    double sum = 0;
    for (int y = border; y < truth->h - border; y++)
        for (int x = border; x < truth->w - border; x++) {
            double v = rint((double)*pixel(made, c, y, x));
            v = fmin(fmax(v, 0), 255) - (double)*pixel(truth, c, y, x);
            sum += v * v;
        }
    double n = (double)(truth->w - 2 * border) * (truth->h - 2 * border);
    return 10 * log10(255 * 255 * n / sum);
}

/* Figures computed beforehand with scipy on the images of scikit-image 0.19.3 (RGGB, mirrored
 * edges, 4 pixels of border left out); bilinear is also what LibRaw 0.20.2 gives. They show that
 * images, mosaic, edges and PSNR here are what they should be. */
START_TEST(the_yardstick_is_right)
{
    static const double scipy[2][3][3] = {
        {{30.15, 33.26, 29.18}, {29.69, 30.88, 28.13}, {33.15, 36.99, 33.11}},
        {{34.11, 37.33, 33.27}, {32.87, 35.35, 31.91}, {37.82, 41.48, 37.37}}};
    struct picture truth = image_read(IMAGES[_i % 3]);
    if (!truth.px[0])
        return;
    struct mosaic m = mosaic_of(&truth, ORDERS[0]);
    struct picture made = by_oracle(_i < 3 ? bilinear : malvar, &m);
    for (int c = 0; c < 3; c++)
        ck_assert_double_eq_tol(psnr(&truth, &made, c, 4), scipy[_i / 3][_i % 3][c], 0.025);
    free(m.px);
    picture_free(&made);
    picture_free(&truth);
}
END_TEST

/* Measured with LibRaw 0.20.2, user_qual 3 (AHD), through open_bayer on the same mosaics as
 * 16-bit values (sample * 257), with user_mul 1 1 1 1, output_color 0, gamm 1 1, no_auto_bright 1,
 * highlight 0, adjust_maximum_thr 0, user_sat 65535, output_bps 16; its measured samples came
 * back unchanged. Values / 257, 8 pixels of border left out (AHD itself leaves 5 to bilinear). */
START_TEST(photographs_come_back_better_than_by_ahd)
{
    static const double ahd[3][4][3] = {{{34.97, 36.66, 33.87},
                                         {35.03, 36.71, 34.02},
                                         {35.06, 36.73, 33.90},
                                         {34.99, 36.66, 33.93}},
                                        {{33.46, 33.84, 32.58},
                                         {33.44, 33.73, 32.49},
                                         {33.43, 33.75, 32.52},
                                         {33.51, 33.82, 32.59}},
                                        {{37.88, 39.78, 37.53},
                                         {37.80, 39.66, 37.51},
                                         {37.79, 39.67, 37.52},
                                         {37.82, 39.76, 37.54}}};
    int image = _i / 4, order = _i % 4;
    struct picture truth = image_read(IMAGES[image]);
    if (!truth.px[0])
        return;
    struct mosaic m = mosaic_of(&truth, ORDERS[order]);
    struct picture made = demosaic(&m);
    for (int c = 0; c < 3; c++) /* measured: 2.0 to 4.5 dB above */
        ck_assert_double_gt(psnr(&truth, &made, c, 8), ahd[image][order][c] + 1.9);
    free(m.px);
    picture_free(&made);
    picture_free(&truth);
}
END_TEST

/* ---- the method ---- */

START_TEST(rows_give_what_the_method_says)
{
    struct mosaic m = invented_mosaic(43 + _i % 2, 31 + _i / 2, ORDERS[_i], 7);
    struct picture made = demosaic_with(dw_kernels_plain(), &m), said = by_oracle(direct, &m);
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < m.h; y++)
            for (int x = 0; x < m.w; x++)
                ck_assert_double_eq_tol((double)*pixel(&made, c, y, x),
                                        (double)*pixel(&said, c, y, x), 2e-6);
    free(m.px);
    picture_free(&made);
    picture_free(&said);
}
END_TEST

START_TEST(wide_kernels_give_the_same_bits_as_plain_ones)
{
    static const int sizes[][2] = {{2, 2}, {3, 2}, {2, 7}, {5, 5}, {16, 9}, {47, 33}, {301, 40}};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        struct mosaic m = invented_mosaic(sizes[i][0], sizes[i][1], ORDERS[_i], 3 + i);
        struct picture a = demosaic_with(dw_kernels_plain(), &m);
        for (int k = 1; k < dw_kernels_count(); k++) {
            struct picture b = demosaic_with(dw_kernels_number(k), &m);
            ck_assert_msg(same_bits(&a, &b), "%s", dw_kernels_number(k)->name);
            picture_free(&b);
        }
        for (int y = 0; y < m.h; y++) /* measured samples stay */
            for (int x = 0; x < m.w; x++)
                ck_assert(*pixel(&a, colour_at(&m, y, x), y, x) ==
                          m.px[(size_t)y * (size_t)m.w + (size_t)x]);
        free(m.px);
        picture_free(&a);
    }
}
END_TEST

START_TEST(a_mirrored_mosaic_gives_the_mirrored_picture)
{
    int w = 60 + _i % 2, h = 45 + _i / 2;
    struct mosaic m = invented_mosaic(w, h, ORDERS[_i], 11);
    struct picture made = demosaic(&m);
    for (int way = 0; way < 2; way++) {
        uint8_t order[4];
        for (int i = 0; i < 4; i++)
            order[i] = way == 0 ? (uint8_t)colour_at(&m, i / 2, w - 1 - i % 2)
                                : (uint8_t)colour_at(&m, h - 1 - i / 2, i % 2);
        struct mosaic n = mosaic_new(w, h, order);
        for (int y = 0; y < h; y++)
            for (int x = 0; x < w; x++)
                n.px[y * w + x] = way == 0 ? m.px[y * w + w - 1 - x] : m.px[(h - 1 - y) * w + x];
        struct picture back = demosaic(&n);
        for (int c = 0; c < 3; c++)
            for (int y = 0; y < h; y++)
                for (int x = 0; x < w; x++)
                    ck_assert(*pixel(&made, c, y, x) == (way == 0
                                                             ? *pixel(&back, c, y, w - 1 - x)
                                                             : *pixel(&back, c, h - 1 - y, x)));
        free(n.px);
        picture_free(&back);
    }
    free(m.px);
    picture_free(&made);
}
END_TEST

/* A plane of any slopes has no curvature to guess; only the mirrored edge bends it. */
START_TEST(a_linear_ramp_comes_back)
{
    static const double slope[2][3][2] = {{{3, 10}, {3, 10}, {3, 10}}, {{4, -1}, {2, 3}, {-1, 2}}};
    for (int kind = 0; kind < 2; kind++) {
        struct picture truth = picture_new(64, 50);
        for (int c = 0; c < 3; c++)
            for (int y = 0; y < 50; y++)
                for (int x = 0; x < 64; x++)
                    *pixel(&truth, c, y, x) = (float)(200 + 10 * c * kind + slope[kind][c][0] * x +
                                                      slope[kind][c][1] * y);
        struct mosaic m = mosaic_of(&truth, ORDERS[_i]);
        struct picture made = demosaic(&m);
        for (int c = 0; c < 3; c++)
            for (int y = 8; y < 42; y++)
                for (int x = 8; x < 56; x++)
                    ck_assert_double_eq_tol((double)*pixel(&made, c, y, x),
                                            (double)*pixel(&truth, c, y, x), 5e-4);
        free(m.px);
        picture_free(&made);
        picture_free(&truth);
    }
}
END_TEST

START_TEST(nothing_reaches_further_than_is_said)
{
    enum { W = 50, H = 46, Y = 22, X = 24 };
    struct mosaic m = invented_mosaic(W, H, ORDERS[_i], 5);
    struct picture before = demosaic(&m);
    m.px[Y * W + X] += 10;
    struct picture after = demosaic(&m);
    int reach = 0;
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < H; y++)
            for (int x = 0; x < W; x++)
                if (*pixel(&before, c, y, x) != *pixel(&after, c, y, x)) {
                    reach = abs(y - Y) > reach ? abs(y - Y) : reach;
                    reach = abs(x - X) > reach ? abs(x - X) : reach;
                }
    ck_assert_int_gt(reach, 2);
    ck_assert_int_le(reach, DW_DEMOSAIC_REACH);
    free(m.px);
    picture_free(&before);
    picture_free(&after);
}
END_TEST

START_TEST(a_strip_with_its_margins_is_as_the_whole)
{
    enum { W = 70, H = 90, FROM = 24, TO = 52, TOP = FROM - DW_DEMOSAIC_MARGIN };
    struct mosaic m = invented_mosaic(W, H, ORDERS[_i], 17);
    struct mosaic strip = m;
    strip.px = m.px + TOP * W;
    strip.h = TO + DW_DEMOSAIC_MARGIN - TOP;
    struct picture whole = demosaic(&m), part = demosaic(&strip);
    for (int c = 0; c < 3; c++)
        ck_assert_mem_eq(pixel(&whole, c, FROM, 0), pixel(&part, c, FROM - TOP, 0),
                         (TO - FROM) * W * sizeof(float));
    free(m.px);
    picture_free(&whole);
    picture_free(&part);
}
END_TEST

/* ---- night ---- */

/* Stars are invented: Gaussian spots on a dim sky, integrated over pixels, at random places. */
enum { STARS = 20, STAR_FIELD = 32, SKY_SIZE = STARS * STAR_FIELD };

struct star_errors {
    double peak[2 * STARS * STARS]; /* |error| of red/green and blue/green in stops, at the peak */
    double dip; /* deepest dip below the sky, as a share of the star's green peak */
};

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static struct picture invented_stars(double fwhm, double sky, double (*centre)[2])
{
    static const double tints[4][3] = {{1, 1, 1}, {1.4, 1, 0.6}, {0.7, 1, 1.3}, {1.8, 1, 0.4}};
    struct picture p = picture_new(SKY_SIZE, SKY_SIZE);
    for (int c = 0; c < 3; c++)
        for (int i = 0; i < SKY_SIZE * SKY_SIZE; i++)
            p.px[c][i] = (float)sky;
    double s = fwhm / 2.3548200450309493 * sqrt(2);
    for (int k = 0; k < STARS * STARS; k++) {
        centre[k][0] = (k / STARS + 0.5) * STAR_FIELD + uniform() - 0.5;
        centre[k][1] = (k % STARS + 0.5) * STAR_FIELD + uniform() - 0.5;
        int y0 = (int)centre[k][0] - 14, x0 = (int)centre[k][1] - 14;
        for (int y = y0; y < y0 + 28; y++)
            for (int x = x0; x < x0 + 28; x++) {
                double v = y - centre[k][0], u = x - centre[k][1];
                double light = (erf((v + 0.5) / s) - erf((v - 0.5) / s)) *
                               (erf((u + 0.5) / s) - erf((u - 0.5) / s)) * s * s / 2;
                for (int c = 0; c < 3; c++)
                    *pixel(&p, c, y, x) += (float)(tints[k % 4][c] * light);
            }
    }
    return p;
}

static struct star_errors judge_stars(const struct picture *truth, const struct picture *made,
                                      double sky, double (*centre)[2])
{
    struct star_errors e = {.dip = 0};
    for (int k = 0; k < STARS * STARS; k++) {
        int y = (int)lrint(centre[k][0]), x = (int)lrint(centre[k][1]);
        double green = (double)*pixel(made, 1, y, x), peak = (double)*pixel(truth, 1, y, x) - sky;
        for (int c = 0; c < 3; c += 2)
            e.peak[2 * k + c / 2] =
                fabs(log2((double)*pixel(made, c, y, x) / green) -
                     log2((double)(*pixel(truth, c, y, x) / *pixel(truth, 1, y, x))));
        for (int c = 0; c < 3; c++)
            for (int v = y - 8; v <= y + 8; v++)
                for (int u = x - 8; u <= x + 8; u++)
                    e.dip = fmax(e.dip, (sky - (double)*pixel(made, c, v, u)) / peak);
    }
    qsort(e.peak, 2 * STARS * STARS, sizeof *e.peak, by_size);
    return e;
}

/* Measured (stops at the peak: middle, 95 %; dip): 1.5 pixels wide 0.34, 0.73, 3.1 %;
 * 2 pixels 0.17, 0.40, 2.4 %; 3 pixels 0.08, 0.23, 0.3 %. Bilinear: 1.06, 1.32; 0.74, 0.84;
 * 0.38, 0.40, no dips. */
START_TEST(stars_keep_their_colour)
{
    static const double wide[3] = {1.5, 2, 3}, middle[3] = {0.38, 0.20, 0.10};
    static const double worst[3] = {0.80, 0.44, 0.25}, dip[3] = {0.04, 0.03, 0.005};
    static double centre[STARS * STARS][2];
    chance = 12345;
    struct picture truth = invented_stars(wide[_i], 0.02, centre);
    struct mosaic m = mosaic_of(&truth, ORDERS[0]);
    struct picture made = demosaic(&m), plain = by_oracle(bilinear, &m);
    struct star_errors e = judge_stars(&truth, &made, 0.02, centre);
    struct star_errors of_bilinear = judge_stars(&truth, &plain, 0.02, centre);
    size_t n = sizeof e.peak / sizeof *e.peak;
    ck_assert_double_lt(e.peak[n / 2], middle[_i]);
    ck_assert_double_lt(e.peak[n * 95 / 100], worst[_i]);
    ck_assert_double_lt(e.peak[n / 2], 0.5 * of_bilinear.peak[n / 2]);
    ck_assert_double_lt(e.dip, dip[_i]);
    free(m.px);
    picture_free(&truth);
    picture_free(&made);
    picture_free(&plain);
}
END_TEST

struct noise_figures {
    double colour, green, strokes;
};

static struct noise_figures judge_noise(const struct picture *p)
{
    struct noise_figures f = {0};
    for (int y = 12; y < p->h - 12; y++)
        for (int x = 12; x < p->w - 12; x++) {
            double g = (double)*pixel(p, 1, y, x) - 10, r = (double)*pixel(p, 0, y, x) - 10;
            double across = 0, down = 0;
            for (int k = -3; k <= 3; k++) {
                across += (double)*pixel(p, 1, y, x + k) / 7;
                down += (double)*pixel(p, 1, y + k, x) / 7;
            }
            f.colour += (r - g) * (r - g);
            f.green += g * g;
            f.strokes += (across - down) * (across - down);
        }
    double n = (double)(p->w - 24) * (p->h - 24);
    return (struct noise_figures){f.colour / n, f.green / n, f.strokes / n};
}

/* A choice of direction per pixel draws mazes into noise: runs of seven pixels then differ more
 * between the directions. Measured, variances for noise of 1: red-green 0.33 (bilinear 1.18),
 * green 0.76 (0.62), strokes 0.249 (0.231). With red's noise raised to 1.5 by the white balance:
 * red-green 0.66 (1.89). */
START_TEST(noise_makes_neither_blotches_nor_mazes)
{
    struct mosaic m = mosaic_new(400, 400, ORDERS[0]);
    chance = 999;
    for (int y = 0; y < 400; y++)
        for (int x = 0; x < 400; x++)
            m.px[y * 400 + x] =
                (float)(10 + (_i == 1 && colour_at(&m, y, x) == 0 ? 1.5 : 1.0) * normal());
    struct picture made = demosaic(&m), plain = by_oracle(bilinear, &m);
    struct noise_figures f = judge_noise(&made), of_bilinear = judge_noise(&plain);
    ck_assert_double_lt(f.colour, 0.4 * of_bilinear.colour);
    ck_assert_double_lt(f.green, 0.9);
    ck_assert_double_lt(f.strokes, 1.12 * of_bilinear.strokes);
    free(m.px);
    picture_free(&made);
    picture_free(&plain);
}
END_TEST

/* The largest overshoot beyond the level at which each colour is clipped, as a share of it. */
static double overshoot(const struct picture *p, const double top[3])
{
    double over = 0;
    for (int c = 0; c < 3; c++)
        for (int i = 0; i < p->w * p->h; i++)
            over = fmax(over, (double)p->px[c][i] / top[c] - 1);
    return over;
}

/* A lamp that is clipped: after white balance the colours end at different levels, which makes
 * flat tops of different width. What is flat must stay so; beside the step green may leap a
 * little, but far less than by a linear filter. Measured: 13 to 14 % (Malvar 35 %). */
START_TEST(clipped_light_has_no_fringe_of_its_own)
{
    static const double top[3] = {2.0, 1.0, 1.5}, dim = 0.05;
    struct picture truth = picture_new(96, 96);
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < 96; y++)
            for (int x = 0; x < 96; x++) {
                double light = 40 / (1 + exp(hypot(y - 47.3, x - 48.2) - 20));
                *pixel(&truth, c, y, x) = (float)fmin(top[c], dim + light);
            }
    struct mosaic m = mosaic_of(&truth, ORDERS[_i]);
    struct picture made = demosaic(&m), linear = by_oracle(malvar, &m);
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < 96; y++)
            for (int x = 0; x < 96; x++) {
                double v = (double)*pixel(&made, c, y, x), r = hypot(y - 47.3, x - 48.2);
                ck_assert_double_gt(v, dim - 1e-5);
                if (r < 13 || r > 46)
                    ck_assert_double_eq_tol(v, (double)*pixel(&truth, c, y, x), 1e-5);
            }
    ck_assert_double_lt(overshoot(&made, top), 0.16);
    ck_assert_double_lt(overshoot(&made, top), 0.5 * overshoot(&linear, top));
    free(m.px);
    picture_free(&made);
    picture_free(&linear);
    picture_free(&truth);
}
END_TEST

/* What a hot pixel that was not repaired does: its own colour has no other witness and spreads to
 * the next samples as by bilinear, but it must not draw a cross in green. */
START_TEST(a_hot_pixel_stays_small)
{
    for (int site = 0; site < 4; site++) {
        struct mosaic m = mosaic_new(40, 40, ORDERS[_i]);
        for (int i = 0; i < 40 * 40; i++)
            m.px[i] = 0.1f;
        int y = 20 + site / 2, x = 20 + site % 2, colour = colour_at(&m, y, x);
        m.px[y * 40 + x] = 1;
        struct picture made = demosaic(&m);
        for (int c = 0; c < 3; c++)
            for (int v = 0; v < 40; v++)
                for (int u = 0; u < 40; u++) {
                    double change = (double)*pixel(&made, c, v, u) - 0.1;
                    bool far = abs(v - y) > 1 || abs(u - x) > 1;
                    if (colour != 1)
                        ck_assert_double_lt(fabs(change), far || c != colour ? 1e-5 : 0.91);
                    else
                        ck_assert_double_lt(fabs(change), far ? 0.2 : 0.91);
                }
        free(m.px);
        picture_free(&made);
    }
}
END_TEST

/* ---- the yardsticks themselves ---- */

/* Malvar, He & Cutler 2004, worked from their filters: an impulse of 8 at a red sample; and the
 * surface 10 y + x^2 on RGGB. */
START_TEST(malvars_filters_are_right)
{
    struct mosaic m = mosaic_new(13, 13, ORDERS[0]);
    m.px[6 * 13 + 6] = 8;
    ck_assert_double_eq_tol(malvar(&m, 6, 6, 1), 4, 1e-12);
    ck_assert_double_eq_tol(malvar(&m, 6, 8, 1), -1, 1e-12);
    ck_assert_double_eq_tol(malvar(&m, 8, 6, 1), -1, 1e-12);
    ck_assert_double_eq_tol(malvar(&m, 6, 6, 2), 6, 1e-12);
    ck_assert_double_eq_tol(malvar(&m, 8, 6, 2), -1.5, 1e-12);
    free(m.px);
    m = mosaic_new(6, 6, ORDERS[0]);
    for (int y = 0; y < 6; y++)
        for (int x = 0; x < 6; x++)
            m.px[y * 6 + x] = (float)(10 * y + x * x);
    static const double said[2][2][3] = {{{24, 23.5, 23.5}, {28.5, 29, 29}},
                                         {{34, 34, 33.5}, {38.5, 38.5, 39}}};
    for (int y = 0; y < 2; y++)
        for (int x = 0; x < 2; x++)
            for (int c = 0; c < 3; c++)
                ck_assert_double_eq_tol(malvar(&m, 2 + y, 2 + x, c), said[y][x][c], 1e-12);
    free(m.px);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("demosaic");
    TCase *t = tcase_create("all");
    tcase_add_test(t, malvars_filters_are_right);
    tcase_add_loop_test(t, the_yardstick_is_right, 0, 6);
    tcase_add_loop_test(t, photographs_come_back_better_than_by_ahd, 0, 12);
    tcase_add_loop_test(t, rows_give_what_the_method_says, 0, 4);
    tcase_add_loop_test(t, wide_kernels_give_the_same_bits_as_plain_ones, 0, 4);
    tcase_add_loop_test(t, a_mirrored_mosaic_gives_the_mirrored_picture, 0, 4);
    tcase_add_loop_test(t, a_linear_ramp_comes_back, 0, 4);
    tcase_add_loop_test(t, nothing_reaches_further_than_is_said, 0, 4);
    tcase_add_loop_test(t, a_strip_with_its_margins_is_as_the_whole, 0, 4);
    tcase_add_loop_test(t, stars_keep_their_colour, 0, 3);
    tcase_add_loop_test(t, noise_makes_neither_blotches_nor_mazes, 0, 2);
    tcase_add_loop_test(t, clipped_light_has_no_fringe_of_its_own, 0, 4);
    tcase_add_loop_test(t, a_hot_pixel_stays_small, 0, 4);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
