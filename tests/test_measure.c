/* test_measure.c: what is measured on one mosaic. All pictures are invented; the references are
 * slow and plain, and the statistics are those of the noise that was put in. */
#include "check_main.h"
#include "survey_mosaics.h"

#include "base/robust.h"
#include "survey/glance.h"
#include "survey/measure.h"
#include "survey/noise.h"
#include "survey/patch_pack.h"
#include "survey/patches.h"
#include "survey/record.h"

#include <stdio.h>

static const char *const patterns[] = {"RGGB", "BGGR", "GRBG", "GBRG", "X", "M", "3"};
enum { PATTERNS = 7 };

struct scene {
    struct dw_measurer w;
    struct dw_measured out;
    struct dw_survey_params params;
};

static void begin(struct scene *s, int cols, int rows)
{
    *s = (struct scene){.params = {cols, rows, 60, 500}};
    s->out.m.tile = calloc((size_t)(cols * rows), sizeof(struct dw_tile));
}
static void end(struct scene *s)
{
    free(s->out.m.tile);
    dw_measurer_free(&s->w);
}
static void take(struct scene *s, const struct dw_mosaic *m)
{
    struct dw_error err = {0};
    enum dw_status status = dw_measure_mosaic(&s->w, m, &s->params, &s->out, &err);
    ck_assert_msg(status == DW_OK, "%s", err.text);
}

#define check_float_eq(a, b) ck_assert_double_eq((double)(a), (double)(b))

/* ---- kernels ---- */

START_TEST(both_builds_of_the_kernels_agree_with_plain_loops)
{
    const struct dw_survey_kernels *k[2] = {dw_survey_kernels_plain(), dw_survey_kernels_best()};
    struct dice d = {7};
    for (size_t n = 1; n < 300; n += 13) {
        uint16_t up[400], mid[400], down[400], dark[400], limit[400];
        for (size_t i = 0; i < 400; i++) {
            up[i] = (uint16_t)(65536 * uniform(&d));
            mid[i] = (uint16_t)(65536 * uniform(&d));
            down[i] = (uint16_t)(65536 * uniform(&d));
            dark[i] = (uint16_t)(65536 * uniform(&d));
            limit[i] = (uint16_t)(40000 + 25000 * uniform(&d));
        }
        for (int b = 0; b < 2; b++) {
            uint32_t sum[400] = {0};
            uint16_t high[400] = {0}, low[400] = {0};
            uint8_t hit[16] = {0};
            float green[200], mono[200], energy[200] = {0}, added[200];
            k[b]->levels(mid, n, 50000, dark, sum, high, low);
            k[b]->levels(up, n, 50000, dark, sum, high, low);
            k[b]->spots(up, mid, down, n, 2, limit, dark, hit);
            k[b]->cells_bayer(up, mid, n / 2, 1, green);
            k[b]->cells_mono(up, mid, n / 2, mono);
            k[b]->detail(green, mono, green, n / 2, energy);
            k[b]->add3(green, mono, green, n / 2, added);
            bool any[16] = {0};
            for (size_t i = 0; i < n; i++) {
                ck_assert_uint_eq(sum[i], (uint32_t)mid[i] + up[i]);
                ck_assert_uint_eq(high[i], (mid[i] >= 50000) + (up[i] >= 50000));
                ck_assert_uint_eq(low[i], (mid[i] <= dark[i]) + (up[i] <= dark[i]));
                if (i < 2 || i + 2 >= n)
                    continue;
                int v = up[i] < down[i] ? up[i] : down[i];
                int h = mid[i - 2] < mid[i + 2] ? mid[i - 2] : mid[i + 2];
                if (mid[i] - (v > h ? v : h) > limit[i])
                    any[i / DW_HIT_RUN] = true;
                v = up[i] > down[i] ? up[i] : down[i];
                h = mid[i - 2] > mid[i + 2] ? mid[i - 2] : mid[i + 2];
                int below = (v < h ? v : h) - mid[i];
                if (below > limit[i] && below > mid[i] - dark[i])
                    any[i / DW_HIT_RUN] = true;
            }
            for (size_t r = 0; r * DW_HIT_RUN < n; r++)
                ck_assert_int_eq(hit[r] != 0, any[r]);
            for (size_t i = 0; i < n / 2; i++) {
                check_float_eq(green[i], 0.5f * (float)(up[2 * i + 1] + mid[2 * i]));
                check_float_eq(mono[i], 0.25f * (float)(up[2 * i] + up[2 * i + 1] + mid[2 * i] +
                                                        mid[2 * i + 1]));
                check_float_eq(added[i], (green[i] + mono[i]) + green[i]);
                float e =
                    i == 0 || i + 1 >= n / 2
                        ? 0
                        : mono[i] - 0.25f * ((green[i] + green[i]) + (mono[i - 1] + mono[i + 1]));
                check_float_eq(energy[i], e * e);
            }
        }
    }
}
END_TEST

/* ---- the grid against a slow reference ---- */

static int colour_of_sample(const struct dw_mosaic *m, int x, int y, int c)
{
    return m->cfa == DW_CFA_RGB ? c : colour_at(m, x, y);
}
static uint16_t sample(const struct dw_mosaic *m, int x, int y, int c)
{
    size_t i = (size_t)y * (size_t)m->width + (size_t)x;
    return m->px[m->cfa == DW_CFA_RGB ? 3 * i + (size_t)c : i];
}

/* Green of the binned picture at cell (cx, cy). */
static double cell(const struct dw_mosaic *m, int cx, int cy)
{
    double sum = 0, n = 0;
    for (int y = 2 * cy; y < 2 * cy + 2; y++)
        for (int x = 2 * cx; x < 2 * cx + 2; x++)
            if (m->cfa == DW_CFA_RGB || colour_at(m, x, y) == 1) {
                sum += sample(m, x, y, 1);
                n++;
            }
    return n > 0 ? sum / n : 0;
}
static double bin(const struct dw_mosaic *m, int bx, int by)
{
    double sum = 0;
    for (int y = 3 * by; y < 3 * by + 3; y++)
        for (int x = 3 * bx; x < 3 * bx + 3; x++)
            sum += cell(m, x, y);
    return sum / 9;
}

static void check_levels(const struct dw_mosaic *m, const struct dw_tile *t, const int edge[4])
{
    double sum[3] = {0}, n[3] = {0}, high = 0;
    for (int y = edge[1]; y < edge[3]; y++)
        for (int x = edge[0]; x < edge[2]; x++)
            for (int c = 0; c < (m->cfa == DW_CFA_RGB ? 3 : 1); c++) {
                int k = colour_of_sample(m, x, y, c);
                sum[k] += sample(m, x, y, c);
                n[k]++;
                high += sample(m, x, y, c) >= ceil(512 + 0.98 * (15000 - 512));
            }
    for (int c = 0; c < 3; c++) {
        if (n[c] > 0)
            check_float_eq(t->mean[c], (float)(sum[c] / n[c]));
        else
            ck_assert(isnan(t->mean[c]) && isnan(t->var[c]));
    }
    double all = n[0] + n[1] + n[2];
    check_float_eq(t->clipped, all > 0 ? (float)(high / all) : 0);
}

/* Detail is that of the whole picture, noise still in it; a tile has the points whose centre lies
 * in it. share: variance of a cell over that of a green sample. */
static void check_detail(const struct dw_mosaic *m, const struct dw_measure *r,
                         const struct dw_tile *t, const int edge[4], const int whole[2],
                         double share)
{
    double fine = 0, middle = 0, n = 0, bins = 0;
    for (int y = edge[1] / 2; y < edge[3] / 2; y++)
        for (int x = edge[0] / 2; x < edge[2] / 2; x++) {
            if (x < 1 || y < 1 || x + 1 >= whole[0] / 2 || y + 1 >= whole[1] / 2)
                continue;
            double e = cell(m, x, y) - 0.25 * (cell(m, x - 1, y) + cell(m, x + 1, y) +
                                               cell(m, x, y - 1) + cell(m, x, y + 1));
            fine += e * e;
            n++;
        }
    for (int by = 1; by + 1 < whole[1] / 6; by++)
        for (int bx = 1; bx + 1 < whole[0] / 6; bx++) {
            int x = 6 * bx + 2, y = 6 * by + 2;
            if (x < edge[0] || x >= edge[2] || y < edge[1] || y >= edge[3])
                continue;
            double e = bin(m, bx, by) - 0.25 * (bin(m, bx - 1, by) + bin(m, bx + 1, by) +
                                                bin(m, bx, by - 1) + bin(m, bx, by + 1));
            middle += e * e;
            bins++;
        }
    struct dw_noise noise = {(double)r->noise_dn * (double)r->noise_dn, (double)r->photon_dn,
                             1.0 / 12, 0};
    double light = isnan(t->mean[1]) ? 0 : (double)t->mean[1] - 512;
    double cell_var = share * dw_noise_var(&noise, light);
    if (n > 0)
        ck_assert_double_eq_tol((double)t->fine, fine / n - 1.25 * cell_var, 1e-4 * fine / n + 1);
    else
        ck_assert(isnan(t->fine));
    if (bins > 0)
        ck_assert_double_eq_tol((double)t->middle, middle / bins - 1.25 * cell_var / 9,
                                1e-4 * middle / bins + 1);
}

static void fill_rough(struct dw_mosaic *m, struct dice *d)
{
    for (size_t i = 0; i < m->samples; i++)
        m->px[i] = (uint16_t)(600 + 14400.99 * uniform(d)); /* saturation now and then */
}

START_TEST(tiles_are_those_of_a_plain_reference)
{
    /* odd sizes, none a multiple of the grid's */
    static const int size[3][2] = {{187, 131}, {126, 90}, {64, 97}};
    struct dice d = {11};
    for (int p = 0; p < PATTERNS; p++)
        for (int k = 0; k < 3; k++) {
            struct dw_mosaic m = new_mosaic(size[k][0], size[k][1], patterns[p]);
            fill_rough(&m, &d);
            struct scene s;
            begin(&s, 5, 4);
            take(&s, &m);
            int unit = patterns[p][0] == 'X' ? 6 : 2;
            int whole[2] = {m.width - m.width % unit, m.height - m.height % unit};
            double share = unit == 6 ? (8 / 2.0 + 1 / 4.0) / 9 : p >= 5 ? 0.25 : 0.5;
            for (int t = 0; t < 20; t++) {
                int edge[4]; /* left top right bottom: units shared out evenly, floor(i m / n) */
                for (int i = 0; i < 4; i++) {
                    int at = i % 2 == 0 ? t % 5 + i / 2 : t / 5 + i / 2;
                    edge[i] = at * (whole[i % 2] / unit) / (i % 2 == 0 ? 5 : 4) * unit;
                }
                check_levels(&m, &s.out.m.tile[t], edge);
                check_detail(&m, &s.out.m, &s.out.m.tile[t], edge, whole, share);
            }
            end(&s);
            dw_mosaic_free(&m);
        }
}
END_TEST

START_TEST(thumbnail_is_the_mean_of_blocks)
{
    struct dice d = {5};
    for (int p = 0; p < PATTERNS; p++) {
        struct dw_mosaic m = new_mosaic(400, 270, patterns[p]);
        fill_rough(&m, &d);
        struct scene s;
        begin(&s, 3, 3);
        take(&s, &m);
        int block = s.out.block, unit = patterns[p][0] == 'X' ? 6 : 2;
        ck_assert_int_eq(block % unit, 0);
        ck_assert_int_le((int)s.out.m.thumb_width, 60);
        ck_assert_int_gt((int)s.out.m.thumb_width + unit, 400 / (block + unit)); /* no coarser */
        for (int by = 0; by < (int)s.out.m.thumb_height; by++)
            for (int bx = 0; bx < (int)s.out.m.thumb_width; bx++) {
                double sum[3] = {0}, n[3] = {0};
                for (int y = by * block; y < (by + 1) * block; y++)
                    for (int x = bx * block; x < (bx + 1) * block; x++)
                        for (int c = 0; c < (m.cfa == DW_CFA_RGB ? 3 : 1); c++) {
                            sum[colour_of_sample(&m, x, y, c)] += sample(&m, x, y, c);
                            n[colour_of_sample(&m, x, y, c)]++;
                        }
                for (int c = 0; c < 3; c++)
                    if (n[c] > 0)
                        check_float_eq(s.out.thumb[(by * (int)s.out.m.thumb_width + bx) * 3 + c],
                                       (float)(sum[c] / n[c]));
            }
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* ---- noise ---- */

START_TEST(scatter_is_told_from_quartiles)
{
    struct dice d = {3};
    static int32_t v[40000];
    static const double sigma[] = {0.4, 1, 3.7, 60, 4000};
    for (int k = 0; k < 5; k++) {
        for (int i = 0; i < 40000; i++)
            v[i] = (int32_t)floor(sigma[k] * normal(&d) + 5.5);
        /* rounding adds 1/12; few counts wide it is told 6 % too large */
        double truth = sqrt(sigma[k] * sigma[k] + 1.0 / 12), share = sigma[k] < 2 ? 0.06 : 0.025;
        double centre, got;
        ck_assert(dw_quartiles(v, 40000, -20, &centre, &got));
        ck_assert_double_eq_tol(got, truth, share * truth);
        ck_assert_double_eq_tol(centre, 5, 0.03 * truth);
        for (int i = 0; i < 40000; i += 10) /* a tenth far out, to both sides */
            v[i] = i % 20 == 0 ? 65535 : -65535;
        ck_assert(dw_quartiles(v, 40000, 7, &centre, &got));
        ck_assert_double_eq_tol(got, 1.15 * truth, 0.1 * truth);
        ck_assert_double_eq_tol(centre, 5, 0.05 * truth);
    }
    double unused[2];
    ck_assert(!dw_quartiles(v, 0, 0, &unused[0], &unused[1]));
}
END_TEST

START_TEST(line_of_noise_passes_below_texture)
{
    struct dice d = {17};
    for (int round = 0; round < 20; round++) {
        struct dw_noise_point p[600];
        for (int i = 0; i < 600; i++) {
            double light = 5 + 4000 * uniform(&d), rel = 0.1;
            double var = (20 + 0.5 * light) * (1 + rel * normal(&d));
            if (i % 2 == 0) /* half the tiles hold structure */
                var += pow(light * (0.02 + 0.1 * uniform(&d)), 2);
            p[i] = (struct dw_noise_point){light, var, rel};
        }
        struct dw_noise noise = dw_noise_fit(p, 600);
        ck_assert_double_eq_tol(noise.photon, 0.5, 0.05);
        for (double light = 100; light < 4000; light *= 2)
            ck_assert_double_eq_tol(dw_noise_var(&noise, light), 20 + 0.5 * light,
                                    0.1 * (20 + 0.5 * light));
    }
    struct dw_noise none = dw_noise_fit(NULL, 0);
    ck_assert_double_eq_tol(dw_noise_var(&none, 100), 1.0 / 12, 1e-12); /* rounding */
    struct dw_noise_point one = {50, 4, 0.1};
    struct dw_noise single = dw_noise_fit(&one, 1);
    ck_assert_double_eq_tol(dw_noise_var(&single, 50), 4, 1e-9);
}
END_TEST

/* A sky that brightens downwards over a dark ground, in electrons of a sample. */
static double sky(int x, int y, int width, int height, int colour)
{
    static const double of_colour[3] = {0.6, 1, 0.7};
    double v = y < 2 * height / 3 ? 30 + 60.0 * y / height : 4 + 3.0 * x / width;
    return of_colour[colour] * v;
}

static void expose_sky(struct dw_mosaic *m, struct dice *d, double times, double dn_per_e,
                       double read_dn)
{
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++)
            m->px[y * m->width + x] = expose_sample(
                d, times * sky(x, y, m->width, m->height, colour_at(m, x, y)), dn_per_e, read_dn);
}

START_TEST(variance_is_what_the_mean_scatters_by)
{
    /* chi^2 of tile means about the truth, in units of the variance that was told: 48 frames x
     * 150 tiles x 3 colours, so 1 within 1 % a colour if the variance is honest. */
    static const double gain[3] = {2.0, 0.5, 6.0}, read[3] = {4, 1.2, 5};
    struct dice d = {23};
    for (int k = 0; k < 3; k++) {
        struct dw_mosaic m = new_mosaic(300, 200, "RGGB");
        struct scene s;
        begin(&s, 15, 10);
        double truth[150][3], chi[3] = {0}, n = 0, bias[3] = {0};
        for (int t = 0; t < 150; t++)
            for (int c = 0; c < 3; c++) {
                double sum = 0, count = 0;
                for (int y = t / 15 * 20; y < t / 15 * 20 + 20; y++)
                    for (int x = t % 15 * 20; x < t % 15 * 20 + 20; x++)
                        if (colour_at(&m, x, y) == c) {
                            sum += sky(x, y, 300, 200, c);
                            count++;
                        }
                truth[t][c] = 512 + gain[k] * sum / count;
            }
        for (int f = 0; f < 48; f++) {
            expose_sky(&m, &d, 1, gain[k], read[k]);
            take(&s, &m);
            for (int t = 0; t < 150; t++)
                for (int c = 0; c < 3; c++) {
                    double z = (double)s.out.m.tile[t].mean[c] - truth[t][c];
                    z /= sqrt((double)s.out.m.tile[t].var[c]);
                    chi[c] += z * z;
                    bias[c] += z;
                }
            n += 150;
        }
        for (int c = 0; c < 3; c++) {
            ck_assert_double_eq_tol(chi[c] / n, 1, 0.07);
            ck_assert_double_eq_tol(bias[c] / sqrt(n), 0, 4);
        }
        ck_assert_double_eq_tol((double)s.out.m.photon_dn, gain[k], 0.1 * gain[k]);
        ck_assert_double_eq_tol((double)s.out.m.noise_dn, read[k], 0.35 * read[k]);
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* ---- means that lean nowhere ---- */

static double plain_mean(const struct dw_mosaic *m, int colour)
{
    double sum = 0, n = 0;
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++)
            if (colour_at(m, x, y) == colour) {
                sum += m->px[y * m->width + x];
                n++;
            }
    return sum / n;
}

START_TEST(noise_alone_is_never_kept_out_to_one_side)
{
    /* From half an electron to thousands: skewed, then symmetric. What keeping spots out does to
     * the mean of pure noise is the difference to the plain mean of the very samples. */
    static const double electrons[] = {0.5, 3, 12, 60, 400, 3000};
    struct dice d = {31};
    for (int k = 0; k < 6; k++) {
        double gain = k < 4 ? 2.0 : 0.3;
        struct dw_mosaic m = new_mosaic(600, 400, "RGGB");
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = expose_sample(&d, electrons[k], gain, 1.5);
        struct scene s;
        begin(&s, 10, 8);
        take(&s, &m);
        double mean = 0;
        for (int t = 0; t < 80; t++)
            mean += (double)s.out.m.tile[t].mean[1] / 80;
        double light = gain * electrons[k];
        ck_assert_double_eq_tol((mean - plain_mean(&m, 1)) / light, 0, k < 2 ? 1e-4 : 1e-5);
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

START_TEST(another_exposure_gives_the_same_light)
{
    /* A noiseless scene full of structure and of spots at all heights, a third of a stop apart:
     * whatever is kept out must be the same part of the scene. Rounding to whole numbers scatters
     * the mean of 120,000 samples by 1e-3 DN of 500 and more. */
    struct dice d = {41};
    static float scene_light[400][600];
    for (int y = 0; y < 400; y++)
        for (int x = 0; x < 600; x++)
            scene_light[y][x] =
                (float)(400 + 150 * sin(0.21 * x) * cos(0.13 * y) + 10 * normal(&d));
    for (int i = 0; i < 700; i++) {
        int x = (int)(600 * uniform(&d)), y = (int)(400 * uniform(&d));
        scene_light[y][x] *= (float)(1.1 + 12 * uniform(&d) * uniform(&d));
    }
    double first = 0;
    for (int k = 0; k < 4; k++) {
        struct dw_mosaic m = new_mosaic(600, 400, "GRBG");
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = (uint16_t)(512 + pow(2, k / 3.0) * (double)scene_light[i / 600][i % 600] +
                                 uniform(&d));
        struct scene s;
        begin(&s, 1, 1);
        take(&s, &m);
        double light = ((double)s.out.m.tile[0].mean[1] - 512) / pow(2, k / 3.0);
        first = k == 0 ? light : first;
        ck_assert_double_eq_tol(light / first, 1, 1e-5);
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

static void add_star(struct dw_mosaic *m, double x0, double y0, double peak, double sigma)
{
    for (int y = (int)y0 - 8; y <= (int)y0 + 8; y++)
        for (int x = (int)x0 - 8; x <= (int)x0 + 8; x++) {
            double r2 = (x - x0) * (x - x0) + (y - y0) * (y - y0);
            uint16_t *p = &m->px[y * m->width + x];
            *p = (uint16_t)fmin(*p + peak * exp(-r2 / (2 * sigma * sigma)), (double)WHITE);
        }
}

START_TEST(stars_and_hot_pixels_do_not_move_a_mean)
{
    struct dice d = {53};
    double moved = 0, would_move = 0, sigma = 0;
    for (int f = 0; f < 12; f++) {
        struct dw_mosaic m = new_mosaic(300, 200, "RGGB");
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = expose_sample(&d, 60, 2, 4);
        double before = plain_mean(&m, 1);
        for (int i = 0; i < 60; i++)
            add_star(&m, 10 + 280 * uniform(&d), 10 + 180 * uniform(&d), 3000 * uniform(&d), 0.9);
        for (int i = 0; i < 20; i++)
            m.px[(int)(200 * uniform(&d)) * 300 + (int)(300 * uniform(&d))] += 9000;
        double after = plain_mean(&m, 1);
        struct scene s;
        begin(&s, 1, 1);
        take(&s, &m);
        moved += (double)s.out.m.tile[0].mean[1] - before;
        would_move += after - before;
        sigma = sqrt((double)s.out.m.tile[0].var[1]);
        end(&s);
        dw_mosaic_free(&m);
    }
    moved /= 12;
    would_move /= 12;
    ck_assert_double_gt(would_move, 20 * sigma); /* the test is one */
    ck_assert_double_lt(fabs(moved), 0.03 * would_move);
    ck_assert_double_lt(fabs(moved), 0.002 * 120); /* of the sky's light */
}
END_TEST

START_TEST(edges_and_gaps_stay_in_the_mean)
{
    /* A hard checker of 7x5 pixels with single bright lines: light of the scene, all of it. */
    struct dw_mosaic m = new_mosaic(240, 160, "RGGB");
    for (int y = 0; y < 160; y++)
        for (int x = 0; x < 240; x++) {
            bool bright = (x / 7 + y / 5) % 2 || x % 31 == 0 || y % 23 == 0;
            m.px[y * 240 + x] = bright ? 6000 : 700;
        }
    struct scene s;
    begin(&s, 1, 1);
    take(&s, &m);
    ck_assert_double_eq_tol((double)s.out.m.tile[0].mean[1], plain_mean(&m, 1),
                            1e-6 * plain_mean(&m, 1));
    end(&s);
    dw_mosaic_free(&m);
}
END_TEST

/* ---- spots ---- */

START_TEST(hot_pixels_are_listed_with_their_place_and_surroundings)
{
    struct dice d = {61};
    for (int p = 0; p < PATTERNS; p++) {
        struct dw_mosaic m = new_mosaic(240, 180, patterns[p]);
        int spp = m.cfa == DW_CFA_RGB ? 3 : 1;
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = expose_sample(&d, 100, 1, 3);
        struct scene s;
        begin(&s, 4, 3);
        for (int i = 0; i < 12; i++) /* rising, so that the weakest is known */
            m.px[((10 + 13 * i) * 240 + 20 + 17 * i) * spp + (spp == 3)] =
                (uint16_t)(2000 + 500 * i);
        take(&s, &m);
        int found = 0;
        for (uint32_t k = 0; k < s.out.m.n_spikes; k++) {
            const struct dw_spot *q = &s.out.spot[k];
            if (k > 0)
                ck_assert(q[-1].y < q->y || (q[-1].y == q->y && q[-1].x < q->x));
            for (int i = 0; i < 12; i++)
                if (q->x == 20 + 17 * i && q->y == 10 + 13 * i) {
                    found++;
                    ck_assert_uint_eq(q->value, 2000 + 500 * i);
                    ck_assert_double_eq_tol(0.5 * q->median2, 612, 25);
                }
        }
        ck_assert_int_eq(found, 12);
        ck_assert_uint_lt(s.out.m.n_spikes, 12 + 30); /* noise hardly gets in */
        s.params.max_spikes = 5;
        take(&s, &m);
        ck_assert_uint_eq(s.out.m.n_spikes, 5); /* the brightest */
        for (uint32_t k = 0; k < 5; k++)
            ck_assert_uint_ge(s.out.spot[k].value, 2000 + 500 * 7);
        s.params.max_spikes = 0;
        take(&s, &m);
        ck_assert_uint_eq(s.out.m.n_spikes, 0);
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* Light of a star in three colours: what was added to the 5x5 about it, by colour; none where one
 * is saturated or the rim is near. */
START_TEST(light_of_spots_is_measured_in_three_colours)
{
    struct dice d = {67};
    struct dw_mosaic m = new_mosaic(240, 180, patterns[0]);
    for (size_t i = 0; i < m.samples; i++)
        m.px[i] = expose_sample(&d, 100, 1, 3);
    static const struct {
        int x, y, peak;
        bool told;
    } star[4] = {{61, 60, 3000, true},
                 {120, 91, 800, true}, /* the other green */
                 {181, 60, 40000, false},
                 {3, 90, 3000, false}};
    double added[4][3] = {{0}};
    for (int k = 0; k < 4; k++)
        for (int dy = -2; dy <= 2; dy++)
            for (int dx = -2; dx <= 2; dx++) {
                int x = star[k].x + dx, y = star[k].y + dy, c = x % 2 + y % 2;
                /* RGGB; red has half of the light of its place, blue a quarter more */
                double v = star[k].peak * exp(-(dx * dx + dy * dy) / 1.3) *
                           (c == 0   ? 0.5
                            : c == 1 ? 1
                                     : 1.25);
                uint16_t *p = &m.px[y * 240 + x];
                double to = fmin(*p + v, (double)m.white);
                added[k][c] += floor(to) - *p;
                *p = (uint16_t)to;
            }
    struct scene s;
    begin(&s, 4, 3);
    take(&s, &m);
    int found = 0;
    for (uint32_t i = 0; i < s.out.m.n_spikes; i++)
        for (int k = 0; k < 4; k++) {
            const struct dw_spot *p = &s.out.spot[i];
            if (p->x != star[k].x || p->y != star[k].y)
                continue;
            found++;
            for (int c = 0; c < 3; c++) /* noise: 10 DN a sample, and that of the ring's median */
                ck_assert_double_eq_tol(p->light[c], star[k].told ? added[k][c] : 0,
                                        star[k].told ? (c == 1 ? 160 : 110) : 0.1);
        }
    ck_assert_int_eq(found, 4);
    end(&s);
    dw_mosaic_free(&m);
}
END_TEST

/* At the rim of the picture a hot pixel shines as everywhere else. The grid of X-Trans ends at
 * whole units of six, which this size is made of. */
START_TEST(hot_pixels_at_the_rim_are_listed)
{
    struct dice d = {62};
    const int at[][2] = {{0, 0}, {1, 90}, {238, 20}, {239, 100}, {120, 1}, {60, 179}, {239, 179}};
    const int n = sizeof at / sizeof *at;
    for (int p = 0; p < PATTERNS; p++) {
        struct dw_mosaic m = new_mosaic(240, 180, patterns[p]);
        int spp = m.cfa == DW_CFA_RGB ? 3 : 1, found = 0;
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = expose_sample(&d, 100, 1, 3);
        for (int i = 0; i < n; i++)
            m.px[(at[i][1] * 240 + at[i][0]) * spp + (spp == 3)] = 5000;
        struct scene s;
        begin(&s, 4, 3);
        take(&s, &m);
        for (uint32_t k = 0; k < s.out.m.n_spikes; k++)
            for (int i = 0; i < n; i++)
                found += s.out.spot[k].x == at[i][0] && s.out.spot[k].y == at[i][1];
        ck_assert_msg(found == n, "pattern %d: %d of %d", p, found, n);
        end(&s);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* Dead pixels: single, far below all neighbours of their colour. The foot of an edge, a shadow and
 * noise are none. */
START_TEST(dark_spots_are_listed)
{
    struct dice d = {11};
    struct dw_mosaic m = new_mosaic(240, 160, "RGGB");
    for (int y = 0; y < m.height; y++)
        for (int x = 0; x < m.width; x++) {
            double light = x < 120 ? 600 : 4000; /* electrons: an edge in the middle */
            m.px[y * m.width + x] = expose_sample(&d, light, 0.5, 2);
        }
    for (int y = 40; y < 60; y++) /* a shadow of some size */
        for (int x = 40; x < 60; x++)
            m.px[y * m.width + x] = (uint16_t)BLACK;
    const int dead[][2] = {{20, 11}, {21, 90}, {90, 33}, {150, 12}, {201, 77}, {230, 140}};
    for (int i = 0; i < 6; i++)
        m.px[dead[i][1] * m.width + dead[i][0]] = (uint16_t)(BLACK + (i % 2 ? 20 : 0));
    struct scene s;
    begin(&s, 4, 4);
    take(&s, &m);
    int found = 0;
    for (uint32_t k = 0; k < s.out.m.n_spikes; k++) {
        const struct dw_spot *p = &s.out.spot[k];
        if (2 * (uint32_t)p->value > p->median2)
            continue;
        bool planted = false;
        for (int i = 0; i < 6; i++)
            planted = planted || (p->x == dead[i][0] && p->y == dead[i][1]);
        ck_assert_msg(planted, "dark spot at %d,%d", p->x, p->y);
        found++;
    }
    ck_assert_int_eq(found, 6);
    end(&s);
    dw_mosaic_free(&m);
}
END_TEST

/* ---- detail ---- */

START_TEST(detail_of_noise_is_nothing_within_what_is_told)
{
    struct dice d = {71};
    double fine = 0, middle = 0;
    int n = 0;
    for (int f = 0; f < 10; f++) {
        struct dw_mosaic m = new_mosaic(600, 400, "BGGR");
        expose_sky(&m, &d, 10, 1, 3);
        struct scene s;
        begin(&s, 10, 5);
        take(&s, &m);
        for (int t = 0; t < 50; t++) {
            if (t / 10 == 3) /* the skyline runs through it */
                continue;
            double z = (double)s.out.m.tile[t].fine / (double)s.out.m.tile[t].fine_sd;
            double y = (double)s.out.m.tile[t].middle / (double)s.out.m.tile[t].middle_sd;
            fine += z * z;
            middle += y * y;
            n++;
        }
        end(&s);
        dw_mosaic_free(&m);
    }
    ck_assert_double_eq_tol(fine / n, 1, 0.3);
    ck_assert_double_eq_tol(middle / n, 1, 0.3);
}
END_TEST

START_TEST(blur_takes_fine_detail_before_middle)
{
    /* White texture, then a box blur of 5x5 of it: fine over middle falls by far more than the
     * 1.1 in log2 that a dewy lens is told by. */
    struct dice d = {83};
    static double texture[210][310];
    for (int y = 0; y < 210; y++)
        for (int x = 0; x < 310; x++)
            texture[y][x] = 2000 + 400 * normal(&d);
    double ratio[2];
    for (int blurred = 0; blurred < 2; blurred++) {
        struct dw_mosaic m = new_mosaic(300, 200, "RGGB");
        for (int y = 0; y < 200; y++)
            for (int x = 0; x < 300; x++) {
                double v = texture[y][x];
                if (blurred) {
                    v = 0;
                    for (int k = 0; k < 25; k++)
                        v += texture[y + k / 5][x + k % 5] / 25;
                }
                m.px[y * 300 + x] = (uint16_t)(512 + v);
            }
        struct scene s;
        begin(&s, 1, 1);
        take(&s, &m);
        /* the texture is white, so the noise cannot be told from it: only here it is put back */
        struct dw_noise noise = {(double)s.out.m.noise_dn * (double)s.out.m.noise_dn,
                                 (double)s.out.m.photon_dn, 1.0 / 12, 0};
        double cell_var = 0.5 * dw_noise_var(&noise, (double)s.out.m.tile[0].mean[1] - 512);
        ratio[blurred] = log2(((double)s.out.m.tile[0].fine + 1.25 * cell_var) /
                              ((double)s.out.m.tile[0].middle + 1.25 * cell_var / 9));
        end(&s);
        dw_mosaic_free(&m);
    }
    ck_assert_double_eq_tol(ratio[0], log2(9), 0.15); /* white: nine samples less a bin */
    ck_assert_double_lt(ratio[1], ratio[0] - 1.5);
}
END_TEST

/* ---- odd input ---- */

START_TEST(any_mosaic_is_measured_or_refused)
{
    static const int sizes[][2] = {{1, 1}, {2, 2}, {3, 5}, {7, 6}, {13, 30}, {600, 2}, {29, 19}};
    struct dice d = {97};
    for (int p = 0; p < PATTERNS; p++)
        for (int k = 0; k < 7; k++)
            for (int content = 0; content < 4; content++) {
                struct dw_mosaic m = new_mosaic(sizes[k][0], sizes[k][1], patterns[p]);
                for (size_t i = 0; i < m.samples; i++)
                    m.px[i] = content == 0   ? 0
                              : content == 1 ? 65535
                              : content == 2 ? 512
                                             : (uint16_t)(65536 * uniform(&d));
                if (content == 3)
                    m.white = 100; /* below black */
                struct scene s;
                begin(&s, 30, 20);
                take(&s, &m);
                for (int t = 0; t < 600; t++) {
                    ck_assert(!isinf(s.out.m.tile[t].mean[1]) && !isinf(s.out.m.tile[t].var[1]));
                    ck_assert(s.out.m.tile[t].clipped >= 0 && s.out.m.tile[t].clipped <= 1);
                    ck_assert(s.out.m.tile[t].dark >= 0 && s.out.m.tile[t].dark <= 1);
                }
                end(&s);
                dw_mosaic_free(&m);
            }
    struct dw_mosaic m = new_mosaic(64, 48, "RGGB");
    struct dw_error err = {0};
    struct scene s;
    begin(&s, 30, 20);
    m.samples--;
    ck_assert_int_eq(dw_measure_mosaic(&s.w, &m, &s.params, &s.out, &err), DW_ERR_FORMAT);
    m.samples++;
    m.pattern[3] = 3;
    ck_assert_int_eq(dw_measure_mosaic(&s.w, &m, &s.params, &s.out, &err), DW_ERR_FORMAT);
    m.pattern[3] = 2;
    s.params.thumb_long = 1;
    ck_assert_int_eq(dw_measure_mosaic(&s.w, &m, &s.params, &s.out, &err), DW_ERR_USAGE);
    end(&s);
    dw_mosaic_free(&m);
}
END_TEST

/* ---- a real night ---- */

/* A FITS image of 16-bit integers with BZERO 32768 (FITS standard 4.0, section 3 and 5.3):
 * header cards in blocks of 2880 bytes, then big-endian samples. */
static bool read_fits(const char *name, int width, int height, struct dw_mosaic *m)
{
    const char *folder = getenv("DAYWHEEL_REAL_DATA");
    char path[1000], card[80];
    if (!folder)
        return false;
    snprintf(path, sizeof path, "%s/night/%s", folder, name);
    FILE *f = fopen(path, "rb");
    if (!f)
        return false;
    long cards = 0;
    while (fread(card, 1, 80, f) == 80 && memcmp(card, "END     ", 8) != 0)
        cards++;
    fseek(f, (cards + 1) % 36 == 0 ? (cards + 1) * 80 : ((cards + 1) / 36 + 1) * 2880, SEEK_SET);
    *m = new_mosaic(width, height, "GBRG");
    bool whole = true;
    for (size_t i = 0; i < m->samples; i++) {
        int high = fgetc(f), low = fgetc(f);
        whole = whole && low != EOF;
        m->px[i] = (uint16_t)((high << 8 | (low & 255)) ^ 0x8000);
    }
    fclose(f);
    for (int c = 0; c < 3; c++)
        m->black[c] = 2048;
    m->white = 13583;
    return whole;
}

START_TEST(real_night_is_told_by_its_own_difference)
{
    /* Two exposures of one star field, two minutes apart: what differs is noise (and stars, which
     * have moved by a pixel or two). An independent measure of the noise that each frame told of
     * itself, of the level, and of what is hot and what is a star. */
    struct dw_mosaic a, b;
    if (!read_fits("stars-120s-a.fits", 700, 700, &a) ||
        !read_fits("stars-120s-b.fits", 700, 700, &b)) {
        printf("# skipped: DAYWHEEL_REAL_DATA is not set or has no night/\n");
        return;
    }
    struct scene s, t;
    begin(&s, 7, 7);
    begin(&t, 7, 7);
    take(&s, &a);
    take(&t, &b);
    double chi = 0;
    double moved[49];
    for (int i = 0; i < 49; i++) {
        static int32_t diff[5000], n;
        n = 0;
        for (int y = i / 7 * 100; y < i / 7 * 100 + 100; y++)
            for (int x = i % 7 * 100; x < i % 7 * 100 + 100; x++)
                if (colour_at(&a, x, y) == 1)
                    diff[n++] = a.px[y * 700 + x] - b.px[y * 700 + x];
        double centre, sigma;
        ck_assert(dw_quartiles(diff, (size_t)n, 0, &centre, &sigma));
        const struct dw_tile *p = &s.out.m.tile[i], *q = &t.out.m.tile[i];
        double told =
            ((double)p->var[1] + (double)q->var[1]) * 5000; /* of one sample's difference */
        chi += sigma * sigma / told / 49;
        moved[i] = fabs((double)p->mean[1] - (double)q->mean[1] - centre);
    }
    /* A long lens into the Milky Way: saturated stars are blots that no rule keeps out, and crawl
     * over edges of tiles; most tiles are better than 2 % of the sky's 200 counts. */
    double typical = dw_median(moved, 49);
    printf("# means differ from what most samples do by %.2f DN\n", typical);
    ck_assert_double_lt(typical, 4);
    printf("# real noise over what was told: %.3f\n", chi);
    /* Below one: what stands still (stars in their crowd, pixels that differ) is counted as noise.
     */
    ck_assert_double_gt(chi, 0.7);
    ck_assert_double_lt(chi, 1.1);
    int standing = 0, all = 0;
    for (uint32_t i = 0; i < s.out.m.n_spikes; i++)
        for (uint32_t k = 0; k < t.out.m.n_spikes; k++) {
            standing += s.out.spot[i].x == t.out.spot[k].x && s.out.spot[i].y == t.out.spot[k].y;
            all += k == 0;
        }
    printf("# %d of %d spots stand still\n", standing, all);
    ck_assert_int_gt(standing, 20);      /* hot pixels */
    ck_assert_int_lt(standing, all / 2); /* the others are stars and have moved */
    end(&s);
    end(&t);
    dw_mosaic_free(&a);
    dw_mosaic_free(&b);
}
END_TEST

/* ---- patches ---- */

START_TEST(patches_are_the_greens_of_fixed_places_and_come_back_from_a_record)
{
    for (int p = 0; p < PATTERNS; p++) {
        struct scene s;
        begin(&s, 3, 2);
        struct dice d = {(uint64_t)p + 3};
        struct dw_mosaic m = new_mosaic(402, 270, patterns[p]);
        for (size_t i = 0; i < m.samples; i++)
            m.px[i] = (uint16_t)(500 + 3000 * uniform(&d));
        take(&s, &m);
        struct dw_buffer b = {0};
        struct dw_error err;
        struct dw_patches got = {0};
        ck_assert_int_eq(dw_record_write(&b, (struct dw_hash128){1, 2}, &s.out, 6, &err), DW_OK);
        ck_assert(dw_record_valid(b.data, b.n, 6));
        struct dw_record_head head;
        struct dw_record_parts parts;
        memcpy(&head, b.data, sizeof head);
        ck_assert_int_eq(dw_record_parts(&head, b.n, &parts, &err), DW_OK);
        ck_assert_int_eq(dw_record_patches(&head, b.data + parts.patch[0], NULL, &got, &err),
                         DW_OK);
        ck_assert_int_eq(got.n, 3 * 2);
        ck_assert_uint_eq(s.out.m.n_patches, 6);
        for (int i = 0; i < got.n; i++)
            for (int k = 0; k < DW_PATCH_CELLS; k += 7) {
                int cx = got.at[i].x / 2 + k % DW_PATCH_SIDE;
                int cy = got.at[i].y / 2 + k / DW_PATCH_SIDE;
                double root = got.code[i * DW_PATCH_CELLS + k] / 16.0;
                double dn = fmax(cell(&m, cx, cy) - (double)m.black[1] + (double)DW_PATCH_LIFT, 0);
                ck_assert_double_eq_tol(root, sqrt(dn), 0.5 / 16 + 1e-4);
            }
        dw_patches_free(&got);
        dw_buffer_free(&b);
        dw_mosaic_free(&m);
        end(&s);
    }
}
END_TEST

/* Of any width, at the ends of the range, and wherever they lie in it. */
START_TEST(any_patch_comes_back_from_its_bits_and_damage_is_seen)
{
    static uint16_t code[DW_PATCH_CELLS], back[DW_PATCH_CELLS + 1];
    static _Alignas(8) unsigned char packed[DW_PATCH_PACKED_MOST];
    struct dice d = {12};
    for (int bits = 0; bits <= 16; bits++)
        for (int kind = 0; kind < 3; kind++) {
            for (int i = 0; i < DW_PATCH_CELLS; i++) {
                double share = kind == 0 ? uniform(&d) : kind == 1 ? uniform(&d) < 0.5 : i == 777;
                code[i] = (uint16_t)(kind * 900 + share * ((1 << bits) - 1));
            }
            size_t n = dw_patch_pack(code, packed);
            ck_assert_uint_eq(n % 8, 0);
            ck_assert_uint_le(n, 32 + (size_t)(bits + 2 < 16 ? bits + 2 : 16) * 512);
            ck_assert(kind < 2 || n <= 32 + 2 * 512); /* one spot widens two blocks at most */
            back[DW_PATCH_CELLS] = 4711;
            ck_assert(dw_patch_unpack(packed, n, back));
            ck_assert_mem_eq(back, code, sizeof code);
            ck_assert_uint_eq(back[DW_PATCH_CELLS], 4711);
            for (size_t at = 0; at < n; at += 1 + n / 50) {
                packed[at] = (unsigned char)(packed[at] ^ 1 << bits % 8);
                ck_assert(!dw_patch_unpack(packed, n, back));
                packed[at] = (unsigned char)(packed[at] ^ 1 << bits % 8);
            }
            ck_assert(!dw_patch_unpack(packed, n - 8, back));
            ck_assert(!dw_patch_unpack(packed, 24, back));
        }
}
END_TEST

/* Any wanted ones, from nothing but the bytes from the first to the last of them. */
START_TEST(some_patches_are_read_without_the_others)
{
    struct scene s;
    begin(&s, 3, 2);
    struct dice d = {11};
    struct dw_mosaic m = new_mosaic(402, 270, patterns[0]);
    for (size_t i = 0; i < m.samples; i++)
        m.px[i] = (uint16_t)(65535 * uniform(&d)); /* codes of any size */
    take(&s, &m);
    struct dw_buffer b = {0};
    struct dw_error err;
    struct dw_record_head head;
    struct dw_record_parts parts;
    ck_assert_int_eq(dw_record_write(&b, (struct dw_hash128){1, 2}, &s.out, 6, &err), DW_OK);
    memcpy(&head, b.data, sizeof head);
    ck_assert_int_eq(dw_record_parts(&head, b.n, &parts, &err), DW_OK);
    ck_assert_uint_eq(parts.patch[6], parts.patch[DW_PATCHES]);
    for (unsigned set = 1; set < 64; set++) {
        bool wanted[DW_PATCHES] = {0};
        int first = 6, last = 0;
        for (int i = 0; i < 6; i++) {
            wanted[i] = set >> i & 1;
            first = wanted[i] && first == 6 ? i : first;
            last = wanted[i] ? i : last;
        }
        struct dw_patches got = {0};
        size_t from = parts.patch[first], bytes = parts.patch[last + 1] - from;
        char *part = malloc(bytes); /* a sanitizer sees what is read beyond */
        memcpy(part, b.data + from, bytes);
        ck_assert_int_eq(dw_record_patches(&head, part, wanted, &got, &err), DW_OK);
        ck_assert_int_eq(got.n, 6);
        for (int i = 0; i < 6; i++)
            if (wanted[i])
                ck_assert_mem_eq(got.code + i * DW_PATCH_CELLS, s.out.patch + i * DW_PATCH_CELLS,
                                 DW_PATCH_CELLS * sizeof *got.code);
        part[40] = (char)(part[40] ^ 64);
        ck_assert_int_eq(dw_record_patches(&head, part, wanted, &got, &err), DW_ERR_FORMAT);
        dw_patches_free(&got);
        free(part);
    }
    head.patch_bytes[5] += 65536;
    ck_assert_int_eq(dw_record_parts(&head, b.n, &parts, &err), DW_ERR_FORMAT);
    dw_buffer_free(&b);
    dw_mosaic_free(&m);
    end(&s);
}
END_TEST

START_TEST(patches_lie_inside_apart_and_on_whole_cells)
{
    const int size[][2] = {{100, 100}, {128, 128},   {130, 600},
                           {900, 600}, {6000, 4000}, {513, 777}};
    for (size_t k = 0; k < sizeof size / sizeof *size; k++) {
        struct dw_patch_place at[DW_PATCHES];
        int w = size[k][0], h = size[k][1], side = 2 * DW_PATCH_SIDE;
        int n = dw_patch_places(w, h, at);
        ck_assert_int_eq(n, (w / side > 4 ? 4 : w / side) * (h / side > 4 ? 4 : h / side));
        for (int i = 0; i < n; i++) {
            ck_assert(at[i].x % 2 == 0 && at[i].y % 2 == 0);
            ck_assert(at[i].x + side <= w && at[i].y + side <= h);
            for (int j = 0; j < i; j++)
                ck_assert(abs(at[i].x - at[j].x) >= side || abs(at[i].y - at[j].y) >= side);
        }
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("measure");
    TCase *t = tcase_create("measure");
    tcase_add_test(t, both_builds_of_the_kernels_agree_with_plain_loops);
    tcase_add_test(t, tiles_are_those_of_a_plain_reference);
    tcase_add_test(t, thumbnail_is_the_mean_of_blocks);
    tcase_add_test(t, scatter_is_told_from_quartiles);
    tcase_add_test(t, line_of_noise_passes_below_texture);
    tcase_add_test(t, variance_is_what_the_mean_scatters_by);
    tcase_add_test(t, noise_alone_is_never_kept_out_to_one_side);
    tcase_add_test(t, another_exposure_gives_the_same_light);
    tcase_add_test(t, stars_and_hot_pixels_do_not_move_a_mean);
    tcase_add_test(t, edges_and_gaps_stay_in_the_mean);
    tcase_add_test(t, light_of_spots_is_measured_in_three_colours);
    tcase_add_test(t, hot_pixels_are_listed_with_their_place_and_surroundings);
    tcase_add_test(t, hot_pixels_at_the_rim_are_listed);
    tcase_add_test(t, dark_spots_are_listed);
    tcase_add_test(t, detail_of_noise_is_nothing_within_what_is_told);
    tcase_add_test(t, blur_takes_fine_detail_before_middle);
    tcase_add_test(t, any_mosaic_is_measured_or_refused);
    tcase_add_test(t, patches_are_the_greens_of_fixed_places_and_come_back_from_a_record);
    tcase_add_test(t, any_patch_comes_back_from_its_bits_and_damage_is_seen);
    tcase_add_test(t, some_patches_are_read_without_the_others);
    tcase_add_test(t, patches_lie_inside_apart_and_on_whole_cells);
    tcase_add_test(t, real_night_is_told_by_its_own_difference);
    suite_add_tcase(suite, t);
    return dw_check_main(suite);
}
