/* test_noise.c: how large noise is in finished light, and its smoothing. All data are invented. */
#include "check_main.h"
#include "survey_mosaics.h"

#include "render/facts/colour.h"
#include "render/light/light.h"

#include <stdio.h>

static const float luma[3] = DW_WIDE_LUMA;
static const double dn_per_e = 2, read_dn = 4; /* a high ISO setting */

/* A camera of strong balance and matrix, as most are. */
static struct dw_facts camera(int w, int h)
{
    struct dw_facts f = plain_facts(w, h);
    const float mul[3] = {2.1f, 1.0f, 1.5f};
    const float matrix[9] = {1.3f, -0.2f, -0.1f, -0.15f, 1.25f, -0.1f, 0.0f, -0.3f, 1.3f};
    memcpy(f.white_mul, mul, sizeof mul);
    memcpy(f.cam_to_wide, matrix, sizeof matrix);
    return f;
}

static struct dw_levels known_levels(void)
{
    struct dw_levels l = plain_levels;
    l.read_dn = (float)sqrt(read_dn * read_dn + 1.0 / 12);
    l.photon_dn = (float)dn_per_e;
    return l;
}

/* Neutral light of so many electrons in green, with the noise of the EMVA 1288 model. */
static void expose_noisy(struct dw_mosaic *m, const struct dw_facts *f, double electrons,
                         const double *star, uint64_t seed)
{
    struct dice d = {seed};
    int channels = m->cfa == DW_CFA_RGB ? 3 : 1;
    for (size_t i = 0; i < m->samples; i++) {
        size_t at = i / (size_t)channels;
        int x = (int)(at % (size_t)m->width), y = (int)(at / (size_t)m->width);
        int c = channels == 3 ? (int)(i % 3) : colour_at(m, x, y);
        if (m->cfa == DW_CFA_MONO)
            c = 1;
        double e = (electrons + (star ? star[at] : 0)) / (double)f->white_mul[c];
        m->px[i] = expose_sample(&d, e, dn_per_e, read_dn);
    }
}

/* The gain under which so many electrons are 1. */
static double gain_of(double electrons)
{
    return log2((double)(WHITE - BLACK) / (electrons * dn_per_e));
}

/* Ready for rows of light in which so many electrons are 1. */
static void open_light(struct dw_light *light, const struct dw_mosaic *m, const struct dw_facts *f,
                       const struct dw_levels *levels, double electrons, struct dw_source source,
                       enum dw_size_kind kind, float strength)
{
    struct dw_size size = {kind, 0, 0};
    struct dw_error err = {0};
    source.gain_stops = gain_of(electrons);
    *light = (struct dw_light){0};
    ck_assert_int_eq(dw_light_open(light, m, levels, f, &source, &size, &err), DW_OK);
    ck_assert_int_eq(dw_light_smooth(light, levels, strength, &err), DW_OK);
}

static struct dw_linear displaced_light_of(const struct dw_mosaic *m, const struct dw_facts *f,
                                           double electrons, struct dw_source source,
                                           enum dw_size_kind kind, float strength)
{
    const struct dw_levels levels = known_levels();
    struct dw_light light;
    open_light(&light, m, f, &levels, electrons, source, kind, strength);
    size_t w = (size_t)light.geo.out_w, h = (size_t)light.geo.out_h;
    struct dw_linear l = {.width = (int)w, .height = (int)h};
    l.plane[0] = malloc(3 * w * h * sizeof(float));
    l.plane[1] = l.plane[0] + w * h;
    l.plane[2] = l.plane[1] + w * h;
    for (size_t y = 0; y < h; y++)
        dw_light_row(&light, (int)y,
                     (float *const[3]){l.plane[0] + y * w, l.plane[1] + y * w, l.plane[2] + y * w});
    dw_light_free(&light);
    return l;
}

static struct dw_linear light_of(const struct dw_mosaic *m, const struct dw_facts *f,
                                 double electrons, enum dw_size_kind kind, float strength)
{
    return displaced_light_of(m, f, electrons, plain_source, kind, strength);
}

struct spread {
    double mean, y, u, v; /* variances of luminance, R - Y, B - Y */
};

static double signal(const struct dw_linear *l, size_t i, int k)
{
    double y = 0;
    for (int c = 0; c < 3; c++)
        y += (double)luma[c] * (double)l->plane[c][i];
    return k == 0 ? y : (double)l->plane[k == 1 ? 0 : 2][i] - y;
}

static struct spread spread_of(const struct dw_linear *l)
{
    double sum[3] = {0}, square[3] = {0}, n = 0;
    for (int y = 4; y < l->height - 4; y++)
        for (int x = 4; x < l->width - 4; x++, n++)
            for (int k = 0; k < 3; k++) {
                double s = signal(l, (size_t)y * (size_t)l->width + (size_t)x, k);
                sum[k] += s;
                square[k] += s * s;
            }
    struct spread out = {.mean = sum[0] / n};
    out.y = square[0] / n - sum[0] / n * (sum[0] / n);
    out.u = square[1] / n - sum[1] / n * (sum[1] / n);
    out.v = square[2] / n - sum[2] / n * (sum[2] / n);
    return out;
}

/* The sensor model of EMVA Standard 1288 (var = read^2 + K * signal), carried through balance, the
 * mean of a cell and the matrix, against simulated exposures. */
START_TEST(noise_of_light_follows_the_sensor_model)
{
    static const char *const pattern[] = {"RGGB", "GBRG", "X", "M", "3"};
    const double electrons[] = {20, 150, 900};
    for (int p = 0; p < 5; p++)
        for (int e = 0; e < 3; e++)
            for (int full = 0; full < 2; full++) {
                struct dw_mosaic m = new_mosaic(240, 240, pattern[p]);
                struct dw_facts f = camera(240, 240);
                if (m.cfa == DW_CFA_MONO) {
                    const struct dw_facts neutral = plain_facts(240, 240);
                    f = neutral;
                }
                expose_noisy(&m, &f, electrons[e], NULL, 17);
                enum dw_size_kind kind = full ? DW_SIZE_FULL : DW_SIZE_HALF;
                struct dw_linear l = light_of(&m, &f, electrons[e], kind, 0);
                struct spread got = spread_of(&l);
                /* what smoothing goes by */
                const struct dw_levels levels = known_levels();
                struct dw_light light;
                open_light(&light, &m, &f, &levels, electrons[e], plain_source, kind, 0);
                const struct dw_light_noise noise = dw_light_noise_of(&light, &levels);
                double want = (double)(noise.luma[0] + noise.luma[1]);
                double tolerance = full && m.cfa != DW_CFA_MONO && m.cfa != DW_CFA_RGB ? 0.1 : 0.05;
                ck_assert_double_eq_tol(got.mean, 1, 0.01);
                ck_assert_msg(fabs(got.y / want - 1) < tolerance, "%s %g e size %d: Y %g of %g",
                              pattern[p], electrons[e], full, got.y, want);
                if (m.cfa != DW_CFA_MONO) {
                    double u = (double)noise.chroma[0] * want, v = (double)noise.chroma[1] * want;
                    ck_assert_msg(fabs(got.u / u - 1) < tolerance, "%s %g e size %d: R-Y %g of %g",
                                  pattern[p], electrons[e], full, got.u, u);
                    ck_assert_msg(fabs(got.v / v - 1) < tolerance, "%s %g e size %d: B-Y %g of %g",
                                  pattern[p], electrons[e], full, got.v, v);
                }
                dw_light_free(&light);
                dw_linear_free(&l);
                dw_mosaic_free(&m);
            }
}
END_TEST

START_TEST(flat_noise_is_smoothed_and_no_light_is_lost)
{
    for (int full = 0; full < 2; full++) {
        struct dw_mosaic m = new_mosaic(400, 400, "RGGB");
        struct dw_facts f = camera(400, 400);
        expose_noisy(&m, &f, 120, NULL, 5);
        enum dw_size_kind kind = full ? DW_SIZE_FULL : DW_SIZE_HALF;
        struct dw_linear raw = light_of(&m, &f, 120, kind, 0);
        struct dw_linear usual = light_of(&m, &f, 120, kind, 0.5f);
        struct dw_linear strong = light_of(&m, &f, 120, kind, 1);
        struct spread a = spread_of(&raw), b = spread_of(&usual), c = spread_of(&strong);
        printf("# full %d: rms left of Y %.2f %.2f, of R-Y %.2f, of B-Y %.2f\n", full,
               sqrt(b.y / a.y), sqrt(c.y / a.y), sqrt(b.u / a.u), sqrt(b.v / a.v));
        ck_assert_double_lt(sqrt(b.u / a.u), 0.5);
        ck_assert_double_lt(sqrt(b.v / a.v), 0.5);
        ck_assert_double_lt(sqrt(b.y / a.y), 0.92);
        ck_assert_double_gt(sqrt(b.y / a.y), 0.6); /* gently */
        ck_assert_double_lt(c.y, b.y);
        ck_assert_double_eq_tol(b.mean, a.mean, 2e-4);
        ck_assert_double_eq_tol(c.mean, a.mean, 2e-4);
        dw_linear_free(&raw);
        dw_linear_free(&usual);
        dw_linear_free(&strong);
        dw_mosaic_free(&m);
    }
}
END_TEST

#define STARS 12 /* along a side, 32 mosaic pixels apart */

static double sum_about(const struct dw_linear *l, int cx, int cy, int reach)
{
    double sum = 0;
    for (int y = cy - reach; y <= cy + reach; y++)
        for (int x = cx - reach; x <= cx + reach; x++)
            sum += signal(l, (size_t)y * (size_t)l->width + (size_t)x, 0) - 1;
    return sum;
}

/* Stars of many heights over a noisy sky: together none of their light goes (2 % is what the
 * task allows for one); one that stands out keeps its summit and its colour too. */
START_TEST(stars_keep_their_light)
{
    enum { SIDE = 32 * STARS };
    struct dw_mosaic m = new_mosaic(SIDE, SIDE, "RGGB");
    struct dw_facts f = camera(SIDE, SIDE);
    double *star = calloc(SIDE * SIDE, sizeof *star);
    for (int s = 0; s < STARS * STARS; s++)
        for (int dy = -8; dy <= 8; dy++)
            for (int dx = -8; dx <= 8; dx++) {
                double cx = 16 + 32 * (s % STARS) + 0.37 * (s % 5),
                       cy = 16 + 32 * (s / STARS) + 0.21 * (s % 7);
                int x = (int)cx + dx, y = (int)cy + dy;
                double r2 = (x - cx) * (x - cx) + (y - cy) * (y - cy);
                star[y * SIDE + x] += 30 * exp2(s / 24.0) * exp(-r2 / (2 * 1.3 * 1.3));
            }
    expose_noisy(&m, &f, 120, star, 99);
    for (int strength = 1; strength <= 2; strength++) {
        struct dw_linear a = light_of(&m, &f, 120, DW_SIZE_HALF, 0);
        struct dw_linear b = light_of(&m, &f, 120, DW_SIZE_HALF, 0.5f * (float)strength);
        double all_a = 0, all_b = 0;
        int bright = 0;
        for (int s = 0; s < STARS * STARS; s++) {
            int cx = 8 + 16 * (s % STARS), cy = 8 + 16 * (s / STARS);
            all_a += sum_about(&a, cx, cy, 5);
            all_b += sum_about(&b, cx, cy, 5);
            double light = sum_about(&a, cx, cy, 3);
            if (light < 6) /* six keys: it stands well out of a sky of noise 0.1 */
                continue;
            bright++;
            ck_assert_double_gt(sum_about(&b, cx, cy, 3), 0.98 * light);
            size_t top = 0;
            for (int y = cy - 3; y <= cy + 3; y++)
                for (int x = cx - 3; x <= cx + 3; x++) {
                    size_t i = (size_t)y * (size_t)a.width + (size_t)x;
                    if (top == 0 || signal(&a, i, 0) > signal(&a, top, 0))
                        top = i;
                }
            ck_assert_double_gt(signal(&b, top, 0) - 1, 0.98 * (signal(&a, top, 0) - 1));
            for (int c = 0; c < 3; c++)
                ck_assert_double_eq_tol((double)b.plane[c][top] / (double)a.plane[c][top], 1, 0.04);
        }
        ck_assert_int_gt(bright, 30);
        ck_assert_double_eq_tol(all_b / all_a, 1, 0.005);
        dw_linear_free(&a);
        dw_linear_free(&b);
    }
    free(star);
    dw_mosaic_free(&m);
}
END_TEST

/* A dark ridge before the sky: luminance stays within a hundredth of the edge's height, colours do
 * but for the fringes in the cells on the edge, which may fade. */
START_TEST(edges_stay)
{
    enum { SIDE = 120 };
    struct dw_mosaic m = new_mosaic(SIDE, SIDE, "RGGB");
    struct dw_facts f = camera(SIDE, SIDE);
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) { /* no noise, so that all there is is the edge */
            double e = (y < 60 ? 150.0 : 15.0) / (double)f.white_mul[colour_at(&m, x, y)];
            m.px[y * SIDE + x] = (uint16_t)lrint((double)BLACK + dn_per_e * e);
        }
    struct dw_linear a = light_of(&m, &f, 120, DW_SIZE_HALF, 0);
    struct dw_linear b = light_of(&m, &f, 120, DW_SIZE_HALF, 1);
    for (int y = 0; y < a.height; y++)
        for (int x = 0; x < a.width; x++) {
            size_t i = (size_t)y * (size_t)a.width + (size_t)x;
            ck_assert_double_eq_tol(signal(&a, i, 0), signal(&b, i, 0), 0.011);
            for (int c = 0; c < 3 && (y < 26 || y >= 34); c++)
                ck_assert_double_eq_tol((double)a.plane[c][i], (double)b.plane[c][i], 0.002);
        }
    dw_linear_free(&a);
    dw_linear_free(&b);
    dw_mosaic_free(&m);
}
END_TEST

START_TEST(by_day_and_without_knowledge_nothing_is_done)
{
    struct dw_mosaic m = new_mosaic(80, 60, "RGGB");
    struct dw_facts f = camera(80, 60);
    expose_noisy(&m, &f, 6500, NULL, 3); /* relative noise of the key 0.9 % */
    struct dw_linear a = light_of(&m, &f, 6500, DW_SIZE_HALF, 0);
    struct dw_linear b = light_of(&m, &f, 6500, DW_SIZE_HALF, 1);
    ck_assert_mem_eq(a.plane[0], b.plane[0], 3 * 40 * 30 * sizeof(float));
    struct dw_light light;
    open_light(&light, &m, &f, &plain_levels, 6500, plain_source, DW_SIZE_HALF, 1);
    ck_assert(!light.noise.on);
    dw_light_free(&light);
    dw_linear_free(&a);
    dw_linear_free(&b);
    dw_mosaic_free(&m);
}
END_TEST

/* Whatever rows were asked for before. */
START_TEST(rows_do_not_depend_on_the_order)
{
    struct dw_mosaic m = new_mosaic(44, 60, "BGGR");
    struct dw_facts f = camera(44, 60);
    expose_noisy(&m, &f, 100, NULL, 3);
    struct dw_linear whole = light_of(&m, &f, 100, DW_SIZE_HALF, 1);
    const struct dw_levels levels = known_levels();
    struct dw_light light;
    open_light(&light, &m, &f, &levels, 100, plain_source, DW_SIZE_HALF, 1);
    const int order[] = {5, 6, 29, 2, 28, 0, 12};
    float row[3][22];
    for (size_t i = 0; i < sizeof order / sizeof *order; i++) {
        dw_light_row(&light, order[i], (float *const[3]){row[0], row[1], row[2]});
        for (int c = 0; c < 3; c++)
            ck_assert_mem_eq(row[c], whole.plane[c] + order[i] * 22, sizeof row[c]);
    }
    dw_light_free(&light);
    dw_linear_free(&whole);
    dw_mosaic_free(&m);
}
END_TEST

static void row_of_linear(void *ctx, int y, float *const rgb[3])
{
    const struct dw_linear *l = ctx;
    size_t w = (size_t)l->width;
    for (int c = 0; c < 3; c++)
        memcpy(rgb[c], l->plane[c] + (size_t)y * w, w * sizeof *rgb[c]);
}

/* A displaced frame is smoothed as the sensor saw it and moved then: the sensor model knows nothing
 * of what lies between samples. */
START_TEST(noise_is_smoothed_before_a_frame_is_moved)
{
    for (int full = 0; full < 2; full++) {
        enum dw_size_kind kind = full ? DW_SIZE_FULL : DW_SIZE_HALF;
        struct dw_mosaic m = new_mosaic(96, 64, "RGGB");
        struct dw_facts f = camera(96, 64);
        expose_noisy(&m, &f, 100, NULL, 5);
        struct dw_linear still = light_of(&m, &f, 100, kind, 1);
        f.crop = (struct dw_crop){6, 8, 8, 10};
        struct dw_source source = plain_source;
        source.shift_x = 3;
        source.shift_y = -1.5;
        source.roll_deg = 0.3;
        struct dw_linear moved = displaced_light_of(&m, &f, 100, source, kind, 1);
        int unit = full ? 1 : 2;
        const struct dw_placing how = {.in_w = still.width,
                                       .in_h = still.height,
                                       .left = f.crop.left / unit,
                                       .top = f.crop.top / unit,
                                       .out_w = moved.width,
                                       .out_h = moved.height,
                                       .shift_x = source.shift_x / unit,
                                       .shift_y = source.shift_y / unit,
                                       .roll = source.roll_deg * (M_PI / 180)};
        struct dw_place place = {0};
        float row[3][96];
        ck_assert_int_eq(dw_place_open(&place, &how, NULL), DW_OK);
        for (int y = 0; y < moved.height; y++) {
            size_t w = (size_t)moved.width;
            dw_place_row(&place, y, row_of_linear, &still,
                         (float *const[3]){row[0], row[1], row[2]});
            for (int c = 0; c < 3; c++)
                ck_assert_mem_eq(moved.plane[c] + (size_t)y * w, row[c], w * sizeof *row[c]);
        }
        dw_place_free(&place);
        dw_linear_free(&still);
        dw_linear_free(&moved);
        dw_mosaic_free(&m);
    }
}
END_TEST

START_TEST(all_builds_give_the_same_bits)
{
    const struct dw_noise_kernels *p = dw_kernels_plain()->noise, *q = dw_kernels_number(_i)->noise;
    enum { ROOM = 640 };
    static float in[9][ROOM], out[2][9][ROOM];
    struct dice d = {3};
    for (int i = 0; i < 9; i++)
        for (int x = 0; x < ROOM; x++)
            in[i][x] = (float)(normal(&d) * (x % 7 == 0 ? 3 : 0.1) + 1);
    const struct dw_settle s = {2, 0.01f, 0.004f, 0.7f, 0.3f, 0.25f, 0.06f, 0.1f, 0.2f};
    for (int n = 1; n < 600; n += n < 130 ? 3 : 61) {
        for (int k = 0; k < 2; k++) {
            const struct dw_noise_kernels *t = k ? q : p;
            memcpy(out[k], in, sizeof in);
            t->split(luma, (size_t)n, out[k][0], out[k][1], out[k][2]);
            struct dw_settle_rows rows = {{in[0] + 8, in[1] + 8, in[2] + 8},
                                          {in[3] + 8, in[4] + 8, in[5] + 8},
                                          {in[6] + 8, in[7] + 8, in[8] + 8}};
            t->settle(&s, &rows, (size_t)n, out[k][3], out[k][4], out[k][5]);
            t->join(luma, in[0], in[1], in[2], (size_t)n, out[k][6], out[k][7], out[k][8]);
        }
        ck_assert_mem_eq(out[0], out[1], sizeof out[0]);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("noise");
    TCase *t = tcase_create("all");
    tcase_add_test(t, noise_of_light_follows_the_sensor_model);
    tcase_add_test(t, flat_noise_is_smoothed_and_no_light_is_lost);
    tcase_add_test(t, stars_keep_their_light);
    tcase_add_test(t, edges_stay);
    tcase_add_test(t, by_day_and_without_knowledge_nothing_is_done);
    tcase_add_test(t, rows_do_not_depend_on_the_order);
    tcase_add_test(t, noise_is_smoothed_before_a_frame_is_moved);
    tcase_add_loop_test(t, all_builds_give_the_same_bits, 0, dw_kernels_count());
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
