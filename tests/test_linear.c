/* test_linear.c: from mosaics to scene-linear light. All mosaics are invented. */
#include "check_main.h"
#include "mosaics.h"

#include "render/clipped/edged.h"
#include "render/clipped/green_line.h"
#include "render/mosaic/hot.h"
#include "render/light/light.h"
#include "render/clipped/onward.h"
#include "render/clipped/wider.h"

static const struct dw_size half = {DW_SIZE_HALF, 0, 0}, full = {DW_SIZE_FULL, 0, 0};
static const char *const every_pattern[] = {"RGGB", "BGGR", "GRBG", "GBRG", "X", "M", "3"};
#define PATTERNS (int)(sizeof every_pattern / sizeof *every_pattern)

static struct dw_linear light_of(const struct dw_mosaic *m, const struct dw_facts *f,
                                 const struct dw_source *source, const struct dw_size *size)
{
    struct dw_linear l = {0};
    struct dw_error err = {0};
    enum dw_status s = dw_linear_from_mosaic(m, &plain_levels, f, source, size, false, &l, &err);
    ck_assert_msg(s == DW_OK, "%s", err.text);
    return l;
}

static double coloured(double x, double y, int colour)
{
    (void)x;
    (void)y;
    return colour == 0 ? 0.3 : colour == 1 ? 0.2 : 0.1;
}

/* A flat field of one colour comes out flat and of that colour, whatever the filter. */
START_TEST(constant_light_stays_constant)
{
    for (int p = 0; p < PATTERNS; p++)
        for (int k = 0; k < 2; k++) {
            struct dw_mosaic m = new_mosaic(38, 26, every_pattern[p]);
            struct dw_facts f = plain_facts(38, 26);
            expose(&m, coloured);
            struct dw_linear l = light_of(&m, &f, &plain_source, k ? &full : &half);
            for (int c = 0; c < 3; c++)
                for (int i = 0; i < l.width * l.height; i++) {
                    double want = m.cfa == DW_CFA_MONO ? 0.2 : coloured(0, 0, c);
                    ck_assert_msg(fabs((double)l.plane[c][i] - want) < 5e-5,
                                  "%s size %d colour %d at %d: %g", every_pattern[p], k, c, i,
                                  (double)l.plane[c][i]);
                }
            dw_linear_free(&l);
            dw_mosaic_free(&m);
        }
}
END_TEST

static double slope_of_light(double x, double y, int colour)
{
    (void)colour;
    return 0.1 + 0.005 * x + 0.003 * y;
}

/* Co-siting: on a grey ramp every colour of a cell shows the light at the cell's own centre. */
START_TEST(colours_of_a_cell_share_one_centre)
{
    for (int p = 0; p < 4; p++) {
        struct dw_mosaic m = new_mosaic(40, 30, every_pattern[p]);
        struct dw_facts f = plain_facts(40, 30);
        expose(&m, slope_of_light);
        struct dw_linear l = light_of(&m, &f, &plain_source, &half);
        for (int y = 1; y < l.height - 1; y++)
            for (int x = 1; x < l.width - 1; x++)
                for (int c = 0; c < 3; c++) {
                    double want = slope_of_light(2 * x + 0.5, 2 * y + 0.5, c);
                    double got = (double)l.plane[c][y * l.width + x];
                    ck_assert_msg(fabs(got - want) < 5e-5, "%s colour %d at %d,%d: %g for %g",
                                  every_pattern[p], c, x, y, got, want);
                }
        dw_linear_free(&l);
        dw_mosaic_free(&m);
    }
}
END_TEST

static double star_x, star_y;
static double star(double x, double y, int colour)
{
    (void)colour;
    double dx = x - star_x, dy = y - star_y, sigma = 1.1;
    return 0.01 + 0.8 * exp(-(dx * dx + dy * dy) / (2 * sigma * sigma));
}

/* A white star keeps its colour wherever it stands in its cell: the worst error of its peak's
 * colour is two thirds of what plain 2x2 cells show, 0.58 against 0.88 stop for a star as sharp as
 * this one (2.6 pixels across at half height; invented, no published source). */
START_TEST(stars_keep_their_colour)
{
    double worst = 0, worst_plain = 0;
    struct dw_facts f = plain_facts(32, 32);
    for (int i = 0; i < 64; i++) {
        star_x = 15 + 0.25 * (i % 8);
        star_y = 15 + 0.25 * (double)(i / 8);
        struct dw_mosaic m = new_mosaic(32, 32, "RGGB");
        expose(&m, star);
        struct dw_linear l = light_of(&m, &f, &plain_source, &half);
        int peak = 0;
        for (int k = 0; k < l.width * l.height; k++)
            if (l.plane[1][k] > l.plane[1][peak])
                peak = k;
        double r = (double)l.plane[0][peak], g = (double)l.plane[1][peak];
        worst = fmax(worst, fabs(log2(r / g)));
        int cx = peak % l.width, cy = peak / l.width;
        double plain = (double)m.px[2 * cy * 32 + 2 * cx] - (double)BLACK;
        worst_plain = fmax(worst_plain, fabs(log2(plain / (g * (double)(WHITE - BLACK)))));
        dw_linear_free(&l);
        dw_mosaic_free(&m);
    }
    ck_assert_msg(worst < 0.7 * worst_plain, "co-sited %g, plain %g stops", worst, worst_plain);
    ck_assert_msg(worst < 0.6, "%g stops", worst);
}
END_TEST

/* light = matrix * balance * level * 2^gain */
START_TEST(gain_balance_and_matrix_are_applied)
{
    struct dw_mosaic m = new_mosaic(8, 8, "GRBG");
    struct dw_facts f = plain_facts(8, 8);
    const float mul[3] = {2.0f, 1.0f, 1.5f};
    const float matrix[9] = {0.8f, 0.1f, 0.1f, 0.2f, 1.0f, -0.2f, -0.1f, -0.3f, 1.4f};
    memcpy(f.white_mul, mul, sizeof mul);
    memcpy(f.cam_to_wide, matrix, sizeof matrix);
    struct dw_source source = plain_source;
    source.gain_stops = 3.25;
    source.chroma[0] = 1.01f;
    source.chroma[2] = 0.98f;
    expose(&m, coloured);
    struct dw_linear l = light_of(&m, &f, &source, &half);
    double in[3] = {0.3 * 2.0 * 1.01, 0.2, 0.1 * 1.5 * 0.98};
    for (int c = 0; c < 3; c++) {
        double want = 0;
        for (int k = 0; k < 3; k++)
            want += (double)matrix[3 * c + k] * in[k];
        want *= exp2(3.25);
        ck_assert_msg(fabs((double)l.plane[c][5] / want - 1) < 1e-3, "%g for %g",
                      (double)l.plane[c][5], want);
    }
    dw_linear_free(&l);
    dw_mosaic_free(&m);
}
END_TEST

/* An even field that a lens has shaded by 0.7 r^2 + 0.3 r^4 of some stops comes out even, at each
 * size, and so does one that was moved besides: shading belongs to the sensor, not to the scene. */
static double shaded(double x, double y, int colour)
{
    double dx = 2 * x + 1 - 240, dy = 2 * y + 1 - 160,
           r2 = (dx * dx + dy * dy) / (240 * 240 + 160 * 160);
    return 0.1 * (colour + 1) * exp2(-1.2 * (0.7 * r2 + 0.3 * r2 * r2));
}

START_TEST(shading_is_evened_out)
{
    struct dw_mosaic m = new_mosaic(240, 160, "RGGB");
    struct dw_facts f = plain_facts(240, 160);
    struct dw_source source = plain_source;
    const struct dw_size fit = {DW_SIZE_FIT, 60, 60};
    const struct dw_size *const sizes[] = {&half, &full, &fit, &half};
    expose(&m, shaded);
    source.shade[0] = 1.2 * 0.7;
    source.shade[1] = 1.2 * 0.3;
    for (int k = 0; k < 4; k++) {
        if (k == 3) {
            f.crop = (struct dw_crop){6, 4, 6, 4};
            source.shift_x = 5;
            source.shift_y = -3;
        }
        struct dw_linear l = light_of(&m, &f, &source, sizes[k]);
        for (int c = 0; c < 3; c++)
            for (int i = 0; i < l.width * l.height; i++) {
                int x = i % l.width, y = i / l.width;
                bool inside = x > 3 && y > 3 && x < l.width - 4 && y < l.height - 4;
                /* at the border colours come from up to a cell away, where shading is another by
                 * 0.02 stop a pixel; counts are whole */
                ck_assert_msg(fabs((double)l.plane[c][i] / (0.1 * (c + 1)) - 1) <
                                  (inside ? 0.01 : 0.03),
                              "size %d, colour %d, pixel %d: %g", k, c, i, (double)l.plane[c][i]);
            }
        dw_linear_free(&l);
    }
    struct dw_thumb thumb = {120, 80, 2, malloc(120 * 80 * 3 * sizeof(float))};
    struct dw_measure measured = {.black = {BLACK, BLACK, BLACK}, .white = WHITE};
    struct dw_linear small = {0};
    for (int i = 0; i < 120 * 80; i++)
        for (int c = 0; c < 3; c++)
            thumb.rgb[3 * i + c] = (float)shaded(2 * (i % 120) + 0.5, 2 * (i / 120) + 0.5, c);
    ck_assert_int_eq(
        dw_linear_from_thumb(&thumb, &measured, &plain_levels, &f, &source, &small, NULL), DW_OK);
    for (int c = 0; c < 3; c++)
        for (int i = 0; i < 120 * 80; i++)
            ck_assert_double_eq_tol((double)small.plane[c][i], 0.1 * (c + 1), 1e-5);
    dw_linear_free(&small);
    free(thumb.rgb);
    struct dw_develop develop;
    struct dw_error err = {0};
    source.shade[0] = 9;
    ck_assert_int_eq(dw_develop_make(&f, &source, &develop, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "shading of 9"));
    dw_mosaic_free(&m);
}
END_TEST

/* Counts that a shot's black lies above its class's come off it alone, in pictures of all sizes. */
START_TEST(a_shots_own_black_is_taken_off)
{
    struct dw_mosaic m = new_mosaic(40, 30, "RGGB");
    struct dw_facts f = plain_facts(40, 30);
    struct dw_source source = plain_source;
    const double own = 25;
    source.black_dn = own;
    for (int i = 0; i < 40 * 30; i++)
        m.px[i] = (uint16_t)((double)BLACK + own + 400);
    struct dw_thumb thumb = {20, 15, 2, malloc(20 * 15 * 3 * sizeof(float))};
    struct dw_measure measured = {.black = {BLACK, BLACK, BLACK}, .white = WHITE};
    for (int i = 0; i < 20 * 15 * 3; i++)
        thumb.rgb[i] = (float)((own + 400) / (double)(WHITE - BLACK));
    for (int k = 0; k < 3; k++) {
        struct dw_linear l = {0};
        if (k < 2)
            l = light_of(&m, &f, &source, k ? &full : &half);
        else
            ck_assert_int_eq(
                dw_linear_from_thumb(&thumb, &measured, &plain_levels, &f, &source, &l, NULL),
                DW_OK);
        for (int c = 0; c < 3; c++)
            for (int i = 0; i < l.width * l.height; i++)
                ck_assert_double_eq_tol((double)l.plane[c][i],
                                        400 / ((double)(WHITE - BLACK) - own), 1e-6);
        dw_linear_free(&l);
    }
    free(thumb.rgb);
    dw_mosaic_free(&m);
}
END_TEST

/* Levels below black stay below zero: cutting them would lift the mean of a dark sky. */
START_TEST(noise_about_black_keeps_its_mean)
{
    struct dw_mosaic m = new_mosaic(64, 64, "RGGB");
    struct dw_facts f = plain_facts(64, 64);
    for (int i = 0; i < 64 * 64; i++)
        m.px[i] = (uint16_t)((int)BLACK + ((i / 2 + i / 128) % 2 ? 9 : -9));
    struct dw_linear l = light_of(&m, &f, &plain_source, &half);
    double sum = 0;
    for (int i = 0; i < l.width * l.height; i++)
        sum += (double)l.plane[1][i];
    ck_assert(fabs(sum / (l.width * l.height)) < 1e-7);
    dw_linear_free(&l);
    dw_mosaic_free(&m);
}
END_TEST

static double brightness;
static double white_light(double x, double y, int colour)
{
    /* what a camera with multipliers 2, 1, 1.5 records of neutral light */
    static const double weight[3] = {0.5, 1.0, 1.0 / 1.5};
    (void)x;
    (void)y;
    return brightness * weight[colour];
}

/* Neutral light that rises through saturation stays neutral, never darkens, and ends white. */
START_TEST(clipped_light_stays_neutral)
{
    struct dw_facts f = plain_facts(16, 16);
    f.white_mul[0] = 2.0f;
    f.white_mul[2] = 1.5f;
    for (int k = 0; k < 2; k++) {
        double last = 0;
        for (brightness = 0.5; brightness < 4; brightness *= 1.01) {
            struct dw_mosaic m = new_mosaic(16, 16, "RGGB");
            expose(&m, white_light);
            struct dw_linear l = light_of(&m, &f, &plain_source, k ? &full : &half);
            int at = 5 * l.width + 5;
            double r = (double)l.plane[0][at], g = (double)l.plane[1][at];
            double b = (double)l.plane[2][at];
            ck_assert_msg(g > 0.95 * fmax(r, b), "magenta: %g %g %g at %g", r, g, b, brightness);
            ck_assert_msg(fmax(r, b) < 1.06 * g && fmin(r, b) > 0.94 * g, "%g %g %g at %g", r, g, b,
                          brightness);
            ck_assert_msg(g > 0.97 * last, "darker: %g after %g", g, last);
            last = fmax(g, last);
            dw_linear_free(&l);
            dw_mosaic_free(&m);
        }
        ck_assert(last > 1.98);
    }
}
END_TEST

/* A glow that is brightest at the centre, three times as strong in red as in blue. */
static double glow(double x, double y, int colour)
{
    static const double raw[3] = {0.5, 1.0 / 1.5, 1.0 / 3 / 1.5};
    return brightness * raw[colour] * exp(-((x - 32) * (x - 32) + (y - 32) * (y - 32)) / 400);
}

/* In the heart of a glow all channels are lost. It is shown in the colour of what surrounds it, and
 * nowhere darker than that. Rebuilt as neutral, as without surroundings, red : blue would be 1. */
START_TEST(clipped_light_has_the_colour_of_its_surroundings)
{
    struct dw_facts f = plain_facts(64, 64);
    f.white_mul[0] = 2.0f;
    f.white_mul[2] = 1.5f;
    for (int k = 0; k < 2; k++)
        for (brightness = 1; brightness < 9; brightness *= 1.5) {
            struct dw_mosaic m = new_mosaic(64, 64, "RGGB");
            expose(&m, glow);
            struct dw_linear l = light_of(&m, &f, &plain_source, k ? &full : &half);
            int centre = l.height / 2 * l.width + l.width / 2;
            double last = 0;
            for (int x = 3; x <= l.width / 2; x++) {
                int at = l.height / 2 * l.width + x;
                double r = (double)l.plane[0][at], b = (double)l.plane[2][at];
                ck_assert_msg(r > 2.3 * b && r < 3.7 * b, "%g: red %g, blue %g at %d", brightness,
                              r, b, x);
                ck_assert_msg(r > 0.97 * last, "%g: %g after %g", brightness, r, last);
                last = fmax(last, r);
            }
            double g = (double)l.plane[1][centre], r = (double)l.plane[0][centre];
            ck_assert_msg(fabs(g / r - 2.0 / 3) < 0.12, "%g: %g %g", brightness, r, g);
            dw_linear_free(&l);
            dw_mosaic_free(&m);
        }
}
END_TEST

/* Lost green follows the measured light; without any it is the mean (of logarithms) of the others,
 * and it never strays from that by more than half a stop. */
START_TEST(lost_green_follows_the_measured_light)
{
    struct dw_green_line line = {0};
    ck_assert_double_eq_tol((double)dw_green_line_tell(&line, 0.8f, 0.2f), 0.4, 1e-4);
    for (int i = 0; i < 3000; i++) {
        double x = (i % 31 - 10) / 10.0,
               y = 0.1 - 0.2 * x; /* stops: red over blue, green over both */
        const float v[3] = {(float)exp2(x / 2), (float)exp2(y), (float)exp2(-x / 2)};
        dw_green_line_add(&line, 1, v);
    }
    for (double x = -1.5; x < 1.6; x += 0.5)
        ck_assert_double_eq_tol(
            log2((double)dw_green_line_tell(&line, (float)exp2(x / 2), (float)exp2(-x / 2))),
            0.1 - 0.2 * x, 0.01);
    ck_assert_double_eq_tol((double)dw_green_line_tell(&line, 32, 1.0f / 32), exp2(-0.5), 1e-4);
    /* what the shoot knows, a bend among it, is held where the frame measured other colours */
    struct dw_green_line known = {.known = {1, 0.05, -0.1, -0.2}};
    for (int i = 0; i < 3000; i++) {
        double x = -0.6 + 0.3 * (i % 31) / 30, y = 0.05 - 0.1 * x - 0.2 * x * x + 0.02;
        const float v[3] = {(float)exp2(x / 2), (float)exp2(y), (float)exp2(-x / 2)};
        dw_green_line_add(&known, 1, v);
    }
    for (double x = -0.8; x < 0.9; x += 0.2)
        ck_assert_double_eq_tol(
            log2((double)dw_green_line_tell(&known, (float)exp2(x / 2), (float)exp2(-x / 2))),
            0.07 - 0.1 * x - 0.2 * x * x, 0.003);
}
END_TEST

static double two_lights(double x, double y, int colour)
{
    return 0.05 + 0.004 * x + 0.01 * (colour == 0) + 0.002 * y;
}

/* White light of four times the range, behind a pane with a bar, in the dark; its edges cut through
 * cells. */
static double lit_pane(double x, double y, int colour)
{
    (void)colour;
    return x > 10 && x < 25 && y > 12.5 && y < 23.5 && fabs(x - 17.5) > 1 ? 4 : 0.0002;
}

/* No cell at the rim of light far beyond the range is crimson, cyan or black: white stays about
 * white wherever some of it falls. */
START_TEST(lit_panes_have_no_coloured_rim)
{
    const char *const bayer[] = {"RGGB", "BGGR", "GRBG", "GBRG"};
    struct dw_facts facts = plain_facts(36, 36);
    for (size_t p = 0; p < sizeof bayer / sizeof *bayer; p++) {
        struct dw_mosaic m = new_mosaic(36, 36, bayer[p]);
        expose(&m, lit_pane);
        struct dw_linear l = light_of(&m, &facts, &plain_source, &half);
        int lit = 0;
        for (int i = 0; i < l.width * l.height; i++) {
            float r = l.plane[0][i], g = l.plane[1][i], b = l.plane[2][i];
            float most = fmaxf(fmaxf(r, g), b), least = fminf(fminf(r, g), b);
            lit += g > 0.5f;
            ck_assert_msg(most < 0.02f || least > 0.4f * most, "%s %d,%d: %g %g %g", bayer[p],
                          i % l.width, i / l.width, (double)r, (double)g, (double)b);
        }
        ck_assert_int_gt(lit, 20);
        dw_linear_free(&l);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* A lamp's light, 2900 K as this camera sees it, on a wall about an opening onto a bluish evening
 * sky. Colours: the generator's camera, its multipliers 2.343, 1, 1.459. */
static double lit_wall(double x, double y, int colour)
{
    static const double lamp[3] = {0.80, 1.0, 0.36}, sky[3] = {0.30, 0.80, 0.70};
    if (x > 20 && x < 76 && y > 20 && y < 76)
        return 0.55 * sky[colour];
    return brightness * lamp[colour];
}

static const struct dw_source dusk_source = {.weight = 1, .chroma = {1, 1, 1}, .lamps = 1};

/* As the camera opens to the dusk, the wall burns out: orange, it pales step by step without ever
 * turning yellow or green or being of the sky's colour, grows no darker, and ends a warm white and
 * beyond the range. The sky stays as it was. */
START_TEST(a_burnt_out_wall_pales_step_by_step)
{
    struct dw_facts f = plain_facts(96, 96);
    f.white_mul[0] = 2.343f;
    f.white_mul[2] = 1.459f;
    for (int k = 0; k < 2; k++) {
        double last = 0, pale = 0;
        for (brightness = 0.5; brightness < 40; brightness *= 1.1) {
            struct dw_mosaic m = new_mosaic(96, 96, "RGGB");
            expose(&m, lit_wall);
            struct dw_linear l = light_of(&m, &f, &dusk_source, k ? &full : &half);
            size_t at = (size_t)(l.height / 12 * l.width + l.width / 12),
                   mid = (size_t)(l.height / 2 * l.width + l.width / 2);
            double r = (double)l.plane[0][at], g = (double)l.plane[1][at],
                   b = (double)l.plane[2][at];
            ck_assert_msg(r >= 0.99 * g && g >= 0.99 * b, "%g: %g %g %g", brightness, r, g, b);
            /* between red and blue as 2900 K lies, in logarithms: not yellow, not magenta */
            double t = log2(r / b) > 0.3 ? log2(g / b) / log2(r / b) : 0.5;
            ck_assert_msg(t > 0.40 && t < 0.68, "%g: green %g of the way", brightness, t);
            ck_assert_msg(g > 0.99 * last, "%g: %g after %g", brightness, g, last);
            ck_assert_msg(b / r > 0.98 * pale, "%g: %g after %g", brightness, b / r, pale);
            if (last > 0) { /* a tenth more light: at most a third more is shown, a fifth paler */
                ck_assert_msg(g < 1.34 * last, "%g: %g after %g", brightness, g, last);
                ck_assert_msg(b / r < 1.21 * pale, "%g: %g after %g", brightness, b / r, pale);
            }
            last = g;
            pale = b / r;
            for (int c = 0; c < 3; c++)
                ck_assert_double_eq_tol((double)l.plane[c][mid],
                                        0.55 * (c == 1   ? 0.8
                                                : c == 0 ? 0.3 * 2.343
                                                         : 0.7 * 1.459),
                                        1e-3);
            dw_linear_free(&l);
            dw_mosaic_free(&m);
        }
        ck_assert_double_eq_tol(pale, 0.78, 0.01);
        ck_assert_double_gt(last, 3.9 * 0.92 * 2.343);
    }
}
END_TEST

/* White and cream things in the sun among dark ones, as the generator's camera sees them. */
static double sunlit_white(double x, double y, int colour)
{
    static const double white[3] = {1 / 2.343, 1, 1 / 1.459}, cream[3] = {1 / 2.343, 0.9, 0.49};
    bool patch = y > 30 && y < 66 && ((x > 12 && x < 40) || (x > 56 && x < 84));
    return brightness * (patch ? (x < 48 ? white : cream)[colour] : 0.1 * white[colour]);
}

/* By day such a thing is no lamp: as it burns out, it stays as white as it is, and of its own
 * colour as long as red and blue are measured. */
START_TEST(a_white_thing_in_the_sun_is_no_lamp)
{
    struct dw_facts f = plain_facts(96, 96);
    f.white_mul[0] = 2.343f;
    f.white_mul[2] = 1.459f;
    int lost = 0;
    for (brightness = 0.5; brightness < 4; brightness *= 1.1) {
        struct dw_mosaic m = new_mosaic(96, 96, "RGGB");
        expose(&m, sunlit_white);
        struct dw_linear l = light_of(&m, &f, &plain_source, &half);
        size_t row = (size_t)(l.height / 2 * l.width), white = row + (size_t)(l.width * 26 / 96),
               cream = row + (size_t)(l.width * 70 / 96);
        double r = (double)l.plane[0][white], b = (double)l.plane[2][white];
        ck_assert_double_eq_tol((double)l.plane[1][white], r, 0.02 * r);
        ck_assert_double_eq_tol(b, r, 0.02 * r);
        r = (double)l.plane[0][cream];
        if (brightness < 1.5) {
            lost += brightness > 1.2;
            ck_assert_double_gt(r, 0.99 * brightness);
            ck_assert_double_eq_tol((double)l.plane[1][cream], 0.9 * r, 0.06 * r);
            ck_assert_double_eq_tol((double)l.plane[2][cream], 0.49 * 1.459 * r, 0.02 * r);
        }
        dw_linear_free(&l);
        dw_mosaic_free(&m);
    }
    ck_assert_int_ge(lost, 2);
}
END_TEST

/* An orange glow that falls off from the middle over a paler one, as a town's under thin haze. */
static double hazy_glow(double x, double y, int colour)
{
    static const double glow[3] = {0.8, 1.0, 0.36}, pale[3] = {0.50, 1.0, 0.60};
    double r2 = (x - 48) * (x - 48) + (y - 48) * (y - 48);
    return brightness * glow[colour] * exp(-r2 / 300) + 0.1 * pale[colour];
}

/* What of a glow has lost its red is never shown bluer than white, whatever balance the picture
 * has: here one that makes the glow's own orange white, and daylight's. */
START_TEST(no_heart_of_a_glow_is_bluer_than_white)
{
    struct dw_facts f = plain_facts(96, 96);
    f.white_mul[0] = 2.343f;
    f.white_mul[2] = 1.459f;
    for (brightness = 1; brightness < 8; brightness *= 1.15)
        for (int k = 0; k < 2; k++) {
            struct dw_mosaic m = new_mosaic(96, 96, "RGGB");
            struct dw_light light = {0};
            const struct dw_shown shown = {12, {1, k ? 0.53f : 1, k ? 0.28f : 1}};
            float row[3][48], *const rgb[3] = {row[0], row[1], row[2]};
            expose(&m, hazy_glow);
            ck_assert_int_eq(
                dw_light_open(&light, &m, &plain_levels, &f, &dusk_source, &half, NULL), DW_OK);
            dw_light_show(&light, &f, &shown);
            for (int y = 0; y < 25; y++)
                dw_light_row(&light, y, rgb);
            double r = (double)row[0][24], b = (double)row[2][24] / (double)shown.white[2];
            if (brightness > 1.4) /* red is lost */
                ck_assert_msg(b < 1.02 * r, "%g, %d: red %g, blue %g", brightness, k, r, b);
            ck_assert_double_gt(r, 0.98 * fmin(brightness * 0.8 * 2.343, 2.343));
            dw_light_free(&light);
            dw_mosaic_free(&m);
        }
}
END_TEST

/* A burnt-out wall is shown as bright and as warm in a balance that makes orange white as in
 * daylight's: it went darker as the night's balance came. */
START_TEST(a_burnt_out_wall_is_alike_in_every_balance)
{
    struct dw_facts f = plain_facts(96, 96);
    f.white_mul[0] = 2.343f;
    f.white_mul[2] = 1.459f;
    const struct dw_shown shown[2] = {{12, {1, 1, 1}}, {12, {1.3f, 0.95f, 0.5f}}};
    double seen[2][3];
    brightness = 40;
    struct dw_mosaic m = new_mosaic(96, 96, "RGGB");
    expose(&m, lit_wall);
    for (int k = 0; k < 2; k++) {
        struct dw_light light = {0};
        float row[3][48], *const rgb[3] = {row[0], row[1], row[2]};
        ck_assert_int_eq(dw_light_open(&light, &m, &plain_levels, &f, &dusk_source, &half, NULL),
                         DW_OK);
        dw_light_show(&light, &f, &shown[k]);
        for (int y = 0; y < 5; y++)
            dw_light_row(&light, y, rgb);
        for (int c = 0; c < 3; c++)
            seen[k][c] = (double)(row[c][4] / shown[k].white[c]);
        dw_light_free(&light);
    }
    for (int c = 0; c < 3; c++)
        ck_assert_double_eq_tol(seen[1][c], seen[0][c], 0.02 * seen[0][c]);
    ck_assert_double_gt(seen[0][0], seen[0][2]);
    dw_mosaic_free(&m);
}
END_TEST

#define EDGED 80 /* cells along */

/* How far the saturated ones of these levels end at edges. red_to_blue: what of their balance;
 * glow: how far warm light that falls off is a glow's. */
static void edges_in(const float level[3][EDGED * EDGED], float red_to_blue, float glow,
                     float *share)
{
    struct dw_edged e = {0};
    struct dw_error err = {0};
    ck_assert_int_eq(dw_edged_begin(&e, EDGED, EDGED, 2, &err), DW_OK);
    ck_assert_int_eq(e.cols * e.rows, EDGED * EDGED / 4);
    e.red_to_blue = red_to_blue;
    for (int i = 0; i < EDGED * EDGED / 4; i++)
        ((float *)e.glow.p)[i] = glow;
    for (int y = 0; y < EDGED; y++) {
        float *row = dw_edged_levels(&e, y);
        for (int c = 0; c < 3; c++)
            memcpy(row + c * EDGED, level[c] + y * EDGED, EDGED * sizeof *row);
        dw_edged_row(&e, y);
    }
    dw_edged_end(&e);
    for (int i = 0; i < EDGED * EDGED; i++)
        share[i] = ((const float *)e.share.p)[i / EDGED / 2 * e.cols + i % EDGED / 2];
    dw_edged_free(&e);
}

static void edges_of(const float level[3][EDGED * EDGED], float *share)
{
    edges_in(level, 1, 0, share);
}

enum { ONWARD_COLS = 24, ONWARD_ROWS = 16 };

/* Light whose colour goes evenly from place to place in logarithms is carried on into a corner
 * where none was measured, but no farther than the parameters say; and what was measured stays. */
START_TEST(colours_are_carried_on_along_their_slope)
{
    const struct dw_onward_params p = DW_ONWARD_DEFAULTS;
    for (int steep = 0; steep < 3; steep++) {
        struct dw_sums map[2 * ONWARD_COLS * ONWARD_ROWS] = {0}, work[ONWARD_COLS * ONWARD_ROWS];
        const double slope[] = {0, 0.06, 1};
        for (int y = 0; y < ONWARD_ROWS; y++)
            for (int x = 0; x < ONWARD_COLS; x++) {
                struct dw_sums *t = &map[y * ONWARD_COLS + x];
                double log_red = 0.3 + slope[steep] * (y - 10), log_blue = -0.5 - 0.02 * x;
                if (y > 10 && x > 4)
                    continue;
                t->weight = 200;
                t->rgb[0] = t->weight * (float)exp2(log_red);
                t->rgb[1] = t->weight;
                t->rgb[2] = t->weight * (float)exp2(log_blue);
            }
        dw_wider_colours(map, ONWARD_COLS, ONWARD_ROWS, 1);
        dw_onward_colours(map, ONWARD_COLS, ONWARD_ROWS, 1, work, &p);
        for (int y = 0; y < ONWARD_ROWS; y++)
            for (int x = 6; x < ONWARD_COLS; x++) {
                const float *v = map[y * ONWARD_COLS + x].rgb;
                double red = log2((double)(v[0] / v[1])), blue = log2((double)(v[2] / v[1]));
                if (steep == 2) { /* far from the left: it must end somewhere */
                    ck_assert(x < 14 || red < 0.3 + (double)p.most_stops);
                    continue;
                }
                double tol = y <= 10 ? 0.02 : 0.12, on = slope[steep] * (y - 10);
                if (y <= 12)
                    ck_assert_double_eq_tol(red, 0.3 + on, 0.06);
                else /* ever farther, but never farther than all the way */
                    ck_assert(red > 0.28 + on / 3 && red < 0.32 + on);
                ck_assert_double_eq_tol(blue, -0.5 - 0.02 * x, tol);
            }
    }
}
END_TEST

/* A town's glow behind a skyline and a pane below, both of lamps' light: the glow is one where it
 * is known to rise by night, and else passes for a lamp's halo; the pane is a lamp in any case. */
START_TEST(warm_light_that_rises_is_a_glow_and_a_pane_in_it_a_lamp)
{
    float level[3][EDGED * EDGED], share[EDGED * EDGED];
    for (int y = 0; y < EDGED; y++)
        for (int x = 0; x < EDGED; x++) {
            static const double colour[3] = {0.8, 1, 0.36};
            bool pane = x > 30 && x < 42 && y > 56 && y < 66;
            double light = pane ? 3 : y > 40 ? 0.03 : 2 * exp((y - 40) / 16.0);
            for (int c = 0; c < 3; c++)
                level[c][y * EDGED + x] = (float)fmin(light * colour[c], 1);
        }
    for (int glow = 0; glow < 2; glow++) {
        double sky = 0, in_pane = 0;
        int n_sky = 0, n_pane = 0;
        edges_in((const float(*)[EDGED * EDGED]) level, 1.6f, (float)glow, share);
        for (int i = 0; i < EDGED * EDGED; i++) {
            bool below = i / EDGED > 40;
            if (level[1][i] < DW_LOST_FROM)
                continue;
            *(below ? &in_pane : &sky) += (double)share[i];
            ++*(below ? &n_pane : &n_sky);
        }
        ck_assert_int_gt(n_sky, 400);
        ck_assert_int_gt(n_pane, 50);
        ck_assert_double_gt(in_pane / n_pane, 0.99);
        ck_assert_msg(glow ? sky / n_sky < 0.1 : sky / n_sky > 0.9, "%d: %g", glow, sky / n_sky);
    }
}
END_TEST

/* In a glow, and by day, the cells along a skyline teach no colour; inside, and else, all do. */
START_TEST(the_rim_of_a_glow_teaches_nothing)
{
    for (int glow = 0; glow < 2; glow++) {
        struct dw_edged e = {0};
        ck_assert_int_eq(dw_edged_begin(&e, EDGED, EDGED, 2, NULL), DW_OK);
        e.red_to_blue = 1;
        for (int i = 0; i < EDGED * EDGED / 4; i++)
            ((float *)e.glow.p)[i] = (float)glow;
        for (int y = 0; y < EDGED; y++) {
            float *row = dw_edged_levels(&e, y);
            for (int x = 0; x < 3 * EDGED; x++)
                row[x] = y > 40 ? 0.05f : 1;
            dw_edged_row(&e, y);
        }
        for (int day = 0; day < 2; day++) {
            ck_assert(!(dw_edged_inside(&e, 30, 20, (float)day) < 1));
            if (glow || day)
                ck_assert(!(dw_edged_inside(&e, 30, 40, (float)day) > 0));
            else
                ck_assert(!(dw_edged_inside(&e, 30, 40, (float)day) < 1));
        }
        dw_edged_free(&e);
    }
}
END_TEST

/* A pane, a glow, a glow behind a skyline, two panes that touch at a corner, a pane that has lost
 * red and green alone, such a glow behind a skyline; how much of what is saturated ends at edges.
 */
START_TEST(edges_tell_lamps_from_glows)
{
    const double want[] = {1, 0, 0, 1, 1, 0};
    for (int shape = 0; shape < 6; shape++) {
        float level[3][EDGED * EDGED], share[EDGED * EDGED];
        double edged = 0;
        int lost = 0;
        for (int y = 0; y < EDGED; y++)
            for (int x = 0; x < EDGED; x++) {
                double glow = 1.5 * exp(-((x - 20) * (x - 20) + (y - 20) * (y - 20)) / 150.0);
                bool pane = (x > 8 && x < 15 && y > 8 && y < 15) ||
                            (shape == 3 && x >= 15 && x < 20 && y >= 15 && y < 20);
                double v = shape == 0 || shape == 3 || shape == 4 ? (pane ? 2 : 0.1)
                           : (shape == 2 || shape == 5) && y > 22 ? 0.05
                                                                  : glow;
                for (int c = 0; c < 3; c++) {
                    double w = shape >= 4 && c == 2 ? 0.35 * v : v;
                    level[c][y * EDGED + x] = (float)(w > 1 ? 1 : w);
                }
            }
        edges_of((const float(*)[EDGED * EDGED]) level, share);
        for (int i = 0; i < EDGED * EDGED; i++)
            if (level[0][i] >= DW_LOST_FROM) {
                edged += (double)share[i];
                lost++;
            }
        ck_assert_int_gt(lost, 30);
        ck_assert_msg(fabs(edged / lost - want[shape]) < 1e-3, "shape %d: %g", shape, edged / lost);
    }
}
END_TEST

/* A burnt-out wall on the left of a glow behind a skyline, as its weakest channel comes up to
 * saturation and beyond: the wall ends at edges and the glow does not, two patches off the wall, as
 * long as the glow keeps below its own saturation. */
START_TEST(a_glow_beside_a_lit_wall_is_no_lamp)
{
    for (double wall = 0.3; wall < 1.2; wall += 0.02) {
        float level[3][EDGED * EDGED], share[EDGED * EDGED];
        for (int y = 0; y < EDGED; y++)
            for (int x = 0; x < EDGED; x++) {
                static const double colour[3] = {0.6, 1, 0.7};
                double sky = y > 30 ? 0.05 : 1.3 * exp((y - 30) / 20.0);
                for (int c = 0; c < 3; c++) {
                    double v = x >= 10 ? sky * colour[c] : c == 2 ? wall : 1;
                    level[c][y * EDGED + x] = (float)(v < 1 ? v : 1);
                }
            }
        edges_of((const float(*)[EDGED * EDGED]) level, share);
        for (int y = 0; y < EDGED; y++) {
            for (int x = 0; x < 8; x++)
                ck_assert_msg(share[y * EDGED + x] > 0.9f, "%g: %d,%d %g", wall, x, y,
                              (double)share[y * EDGED + x]);
            for (int x = 14; x < EDGED; x++)
                if (level[1][y * EDGED + x] >= DW_LOST_FROM)
                    ck_assert_msg(share[y * EDGED + x] < 0.1f, "%g: %d,%d %g", wall, x, y,
                                  (double)share[y * EDGED + x]);
        }
    }
}
END_TEST

/* A glow that rises steeply towards a skyline, by up to a tenth from patch to patch, and is lost in
 * all channels along it: no wall in the light, though noise makes single steps of it larger. Bars
 * of white stood on the skyline. */
START_TEST(a_steep_glow_is_no_wall)
{
    float level[3][EDGED * EDGED], share[EDGED * EDGED], worst = 0;
    unsigned noise = 5;
    for (int y = 0; y < EDGED; y++)
        for (int x = 0; x < EDGED; x++) {
            static const double below[3] = {1, 2, 1.05}, falls[3] = {22, 40, 50}; /* in cells */
            for (int c = 0; c < 3; c++) {
                noise = noise * 1664525u + 1013904223u;
                double v = y > 60 ? 0.05 : (1 + 0.003 * x) * below[c] * exp((y - 60) / falls[c]);
                v += 0.08 * ((double)(noise >> 8) / 16777216 - 0.5);
                level[c][y * EDGED + x] = (float)(v < 1 ? v : 1);
            }
        }
    edges_of((const float(*)[EDGED * EDGED]) level, share);
    for (int i = 0; i < EDGED * EDGED; i++)
        if (level[1][i] >= DW_LOST_FROM)
            worst = share[i] > worst ? share[i] : worst;
    ck_assert_msg(worst < 0.02f, "%g", (double)worst);
}
END_TEST

/* A wall, brighter on its left, burns out about a dark opening: it changes its kind place by place,
 * for a hundredth more light never by more than a quarter of it all. */
START_TEST(a_wall_does_not_change_its_kind_at_once)
{
    double last = 0;
    for (double light = 0.8; light < 4; light *= 1.01) {
        float level[3][EDGED * EDGED], share[EDGED * EDGED];
        double sum = 0, lost = 0;
        for (int y = 0; y < EDGED; y++)
            for (int x = 0; x < EDGED; x++) {
                static const double colour[3] = {1, 0.9, 0.6};
                double wave = 1 + 0.04 * sin(x * 0.9) * cos(y * 0.7) - 0.005 * x;
                bool opening = x > 30 && x < 60 && y > 20 && y < 64;
                for (int c = 0; c < 3; c++) {
                    double v = opening ? 0.2 : light * wave * colour[c];
                    level[c][y * EDGED + x] = (float)(v < 1 ? v : 1);
                }
            }
        edges_of((const float(*)[EDGED * EDGED]) level, share);
        for (int i = 0; i < EDGED * EDGED; i++)
            if (level[0][i] >= DW_LOST_FROM) {
                sum += (double)share[i];
                lost += 1;
            }
        if (!(lost > 0))
            continue;
        if (light > 0.95) /* by then it is more than a few cells */
            ck_assert_msg(fabs(sum / lost - last) < 0.25, "%g: %g after %g", light, sum / lost,
                          last);
        last = sum / lost;
    }
    ck_assert_double_gt(last, 0.99);
}
END_TEST

/* A listed pixel reads what its neighbours say; all others are untouched to the bit. */
START_TEST(hot_pixels_are_repaired_and_nothing_else)
{
    for (int p = 0; p < PATTERNS; p++) {
        struct dw_mosaic clean = new_mosaic(36, 36, every_pattern[p]);
        struct dw_mosaic dirty = new_mosaic(36, 36, every_pattern[p]);
        expose(&clean, two_lights);
        expose(&dirty, two_lights);
        const struct dw_hot hot[] = {{0, 0}, {13, 12}, {15, 12}, {12, 13}, {35, 35}};
        size_t n = sizeof hot / sizeof *hot, step = clean.cfa == DW_CFA_RGB ? 3 : 1;
        for (size_t i = 0; i < n; i++)
            for (size_t c = 0; c < step; c++)
                dirty.px[((size_t)hot[i].y * 36 + hot[i].x) * step + c] = 14000;
        struct dw_hot_map map = {0};
        ck_assert_int_eq(dw_hot_map_make(&map, hot, n, &dirty, NULL), DW_OK);
        for (size_t i = 0; i < n; i++)
            for (size_t c = 0; c < step; c++) {
                uint16_t want = clean.px[((size_t)hot[i].y * 36 + hot[i].x) * step + c];
                uint16_t got = dw_hot_value(&dirty, &map.repair[i], hot[i].y, (int)c);
                ck_assert_msg(abs(got - want) <= 200, "%s %u,%u: %u for %u", every_pattern[p],
                              hot[i].x, hot[i].y, got, want);
                for (int k = 0; k < map.repair[i].n; k++) /* none says what another hot one has */
                    for (size_t j = 0; j < n; j++)
                        ck_assert_uint_ne(map.repair[i].near[k],
                                          (uint32_t)hot[j].y * 36 + hot[j].x);
            }
        dw_hot_map_free(&map);
        struct dw_facts with = plain_facts(36, 36), without = plain_facts(36, 36);
        with.hot = (struct dw_hot *)(uintptr_t)hot;
        with.n_hot = n;
        struct dw_linear a = light_of(&dirty, &with, &plain_source, &half);
        struct dw_linear b = light_of(&dirty, &without, &plain_source, &half);
        struct dw_linear good = light_of(&clean, &without, &plain_source, &half);
        int cell = dirty.cfa == DW_CFA_XTRANS ? 3 : 2, changed = 0;
        for (int y = 0; y < a.height; y++)
            for (int x = 0; x < a.width; x++) {
                bool near = false;
                for (size_t i = 0; i < n; i++)
                    near |= abs(hot[i].x / cell - x) <= 1 && abs(hot[i].y / cell - y) <= 1;
                for (int c = 0; c < 3; c++) {
                    float u = a.plane[c][y * a.width + x], v = b.plane[c][y * a.width + x];
                    changed += u != v;
                    ck_assert_msg(near || u == good.plane[c][y * a.width + x], "%s: %d,%d changed",
                                  every_pattern[p], x, y);
                    ck_assert_msg(u < 0.3f, "%s: %d,%d still hot", every_pattern[p], x, y);
                }
            }
        ck_assert_msg(changed >= 4, "%s: %d", every_pattern[p], changed);
        dw_linear_free(&a);
        dw_linear_free(&b);
        dw_linear_free(&good);
        dw_mosaic_free(&clean);
        dw_mosaic_free(&dirty);
    }
}
END_TEST

static double corner(double x, double y, int colour)
{
    (void)colour;
    return x < 4 && y < 4 ? 0.8 : x > 11 && y < 4 ? 0.4 : 0.1;
}

/* Turned clockwise, the sensor's first corner goes round: top left, top right, bottom right,
 * bottom left. */
START_TEST(pictures_come_upright)
{
    for (int turn = 0; turn < 360; turn += 90) {
        struct dw_mosaic m = new_mosaic(16, 12, "RGGB");
        struct dw_facts f = plain_facts(16, 12);
        f.turn_deg = turn;
        expose(&m, corner);
        struct dw_linear l = light_of(&m, &f, &plain_source, &half);
        bool swap = turn == 90 || turn == 270;
        ck_assert_int_eq(l.width, swap ? 6 : 8);
        ck_assert_int_eq(l.height, swap ? 8 : 6);
        int right = l.width - 1, bottom = l.height - 1;
        const int at[4][2] = {{0, 0}, {right, 0}, {right, bottom}, {0, bottom}};
        int k = turn / 90; /* first corner here, second one further on */
        ck_assert(fabs((double)l.plane[1][at[k][1] * l.width + at[k][0]] - 0.8) < 1e-3);
        k = (k + 1) % 4;
        ck_assert(fabs((double)l.plane[1][at[k][1] * l.width + at[k][0]] - 0.4) < 1e-3);
        k = (k + 1) % 4;
        ck_assert(fabs((double)l.plane[1][at[k][1] * l.width + at[k][0]] - 0.1) < 1e-3);
        dw_linear_free(&l);
        dw_mosaic_free(&m);
    }
}
END_TEST

/* Half of a picture and half of it again are the picture. */
START_TEST(sources_add_up_in_linear_light)
{
    for (int turn = 0; turn < 180; turn += 90) {
        struct dw_mosaic m = new_mosaic(16, 12, "RGGB");
        struct dw_facts f = plain_facts(16, 12);
        f.turn_deg = turn;
        expose(&m, corner);
        struct dw_linear whole = light_of(&m, &f, &plain_source, &half);
        struct dw_source source = plain_source;
        source.weight = 0.5f;
        struct dw_linear sum = light_of(&m, &f, &source, &half);
        ck_assert_int_eq(
            dw_linear_from_mosaic(&m, &plain_levels, &f, &source, &half, true, &sum, NULL), DW_OK);
        ck_assert_mem_eq(whole.plane[0], sum.plane[0],
                         3 * (size_t)(whole.width * whole.height) * sizeof(float));
        struct dw_mosaic other = new_mosaic(18, 12, "RGGB");
        struct dw_facts g = plain_facts(18, 12);
        struct dw_error err;
        ck_assert_int_eq(
            dw_linear_from_mosaic(&other, &plain_levels, &g, &source, &half, true, &sum, &err),
            DW_ERR_USAGE);
        dw_linear_free(&whole);
        dw_linear_free(&sum);
        dw_mosaic_free(&m);
        dw_mosaic_free(&other);
    }
}
END_TEST

START_TEST(senseless_mosaics_are_refused)
{
    struct dw_facts f = plain_facts(16, 12);
    struct dw_linear l = {0};
    struct dw_error err;
    struct dw_mosaic m = new_mosaic(18, 12, "RGGB"); /* not the size surveyed */
    ck_assert_int_eq(
        dw_linear_from_mosaic(&m, &plain_levels, &f, &plain_source, &half, false, &l, &err),
        DW_ERR_FORMAT);
    ck_assert_ptr_nonnull(strstr(err.text, "18x12"));
    dw_mosaic_free(&m);
    m = new_mosaic(16, 12, "RGBG"); /* greens in one column: no Bayer order */
    ck_assert_int_eq(
        dw_linear_from_mosaic(&m, &plain_levels, &f, &plain_source, &half, false, &l, &err),
        DW_ERR_FORMAT);
    dw_mosaic_free(&m);
    m = new_mosaic(16, 12, "RGGB");
    struct dw_levels upside_down = {100, 1, {600, 600, 600}, 512, 0, 0};
    ck_assert_int_eq(
        dw_linear_from_mosaic(&m, &upside_down, &f, &plain_source, &half, false, &l, &err),
        DW_ERR_FORMAT);
    dw_mosaic_free(&m);
    ck_assert_ptr_null(l.plane[0]);
}
END_TEST

/* The thumbnail holds levels of the file's own black and white; light uses the facts'. */
START_TEST(thumbnails_give_the_same_light)
{
    struct dw_mosaic m = new_mosaic(16, 12, "RGGB");
    struct dw_facts f = plain_facts(16, 12);
    f.turn_deg = 90;
    f.white_mul[0] = 2.0f;
    expose(&m, coloured);
    struct dw_source source = plain_source;
    source.gain_stops = 1.5;
    struct dw_linear want = light_of(&m, &f, &source, &half);
    struct dw_measure measured = {.black = {500, 500, 500}, .white = 16000};
    float rgb[4 * 3 * 3];
    for (int i = 0; i < 12; i++)
        for (int c = 0; c < 3; c++) {
            float dn = BLACK + (float)coloured(0, 0, c) * (WHITE - BLACK);
            rgb[3 * i + c] = (dn - 500) / (16000 - 500);
        }
    struct dw_thumb thumb = {.width = 4, .height = 3, .rgb = rgb};
    struct dw_linear got = {0};
    ck_assert_int_eq(
        dw_linear_from_thumb(&thumb, &measured, &plain_levels, &f, &source, &got, NULL), DW_OK);
    ck_assert_int_eq(got.width, 3);
    ck_assert_int_eq(got.height, 4);
    for (int c = 0; c < 3; c++)
        for (int i = 0; i < 12; i++)
            ck_assert(fabs((double)(got.plane[c][i] / want.plane[c][7]) - 1) < 1e-3);
    dw_linear_free(&want);
    dw_linear_free(&got);
    dw_mosaic_free(&m);
}
END_TEST

/* Invented: a hot pixel makes its whole block of a thumbnail shine in one colour, a dead one dims
 * it. Both go; what stands out without being listed (a star) stays, and so does a listed block that
 * does not stand out of its neighbours (the same pixels by day). */
START_TEST(hot_pixels_do_not_shine_in_thumbnails)
{
    struct dw_facts f = plain_facts(28, 12);
    struct dw_hot hot[3] = {{5, 5}, {14, 6}, {23, 7}}; /* blocks 1, 3 and 5 of the middle row */
    f.hot = hot;
    f.n_hot = 3;
    float rgb[7 * 3 * 3];
    for (int i = 0; i < 7 * 3; i++)
        for (int c = 0; c < 3; c++)
            rgb[3 * i + c] = 0.1f + 0.001f * (float)(i % 3);
    float *hot_block = rgb + (size_t)3 * (7 + 1), *dead_block = rgb + (size_t)3 * (7 + 3);
    float *star = rgb + (size_t)3 * (7 + 4), *listed = rgb + (size_t)3 * (7 + 5);
    hot_block[0] = 0.6f;
    dead_block[2] = 0.05f;
    star[1] = 0.5f;
    struct dw_thumb thumb = {.width = 7, .height = 3, .block = 4, .rgb = rgb};
    float own = listed[1], sound[7 * 3 * 3];
    uint8_t held[7 * 3];
    memcpy(sound, rgb, sizeof sound);
    dw_hot_thumb(&thumb, hot, 3, sound, held);
    ck_assert(sound[hot_block - rgb] <= 0.1021f);
    ck_assert(sound[dead_block + 2 - rgb] >= 0.0999f);
    ck_assert(sound[star + 1 - rgb] == 0.5f);
    ck_assert(sound[listed + 1 - rgb] == own);
    ck_assert(rgb[hot_block - rgb] == 0.6f); /* the thumbnail itself is only read */
    struct dw_measure measured = {.black = {BLACK, BLACK, BLACK}, .white = WHITE};
    struct dw_linear got = {0};
    ck_assert_int_eq(
        dw_linear_from_thumb(&thumb, &measured, &plain_levels, &f, &plain_source, &got, NULL),
        DW_OK);
    ck_assert_double_eq_tol((double)(got.plane[0][7 + 1] / got.plane[0][7 + 2]), 1, 0.03);
    dw_linear_free(&got);
}
END_TEST

/* Sixteen tiles in a row: all hold much cream light but one, a little that is orange. It comes out
 * as the others do, and orange only when it holds much of that. */
START_TEST(a_tile_with_little_light_takes_the_colour_about_it)
{
    for (int much = 0; much <= 1; much++) {
        struct dw_sums map[64] = {0};
        ck_assert_uint_le(dw_wider_room(16, 1), 64);
        for (int i = 0; i < 16; i++) {
            float w = i == 7 ? (much ? 1000 : 4) : 1000, blue = i == 7 ? 0.2f : 0.8f;
            map[i] = (struct dw_sums){.weight = w, .rgb = {w, 0.9f * w, blue * w}};
        }
        dw_wider_colours(map, 16, 1, 30);
        ck_assert_double_eq_tol((double)map[6].rgb[2], 0.8, 0.03);
        if (much)
            ck_assert_double_lt((double)map[7].rgb[2], 0.25);
        else
            ck_assert_double_gt((double)map[7].rgb[2], 0.6);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("linear");
    TCase *c = tcase_create("linear");
    tcase_add_test(c, constant_light_stays_constant);
    tcase_add_test(c, colours_of_a_cell_share_one_centre);
    tcase_add_test(c, stars_keep_their_colour);
    tcase_add_test(c, gain_balance_and_matrix_are_applied);
    tcase_add_test(c, a_shots_own_black_is_taken_off);
    tcase_add_test(c, shading_is_evened_out);
    tcase_add_test(c, noise_about_black_keeps_its_mean);
    tcase_add_test(c, clipped_light_stays_neutral);
    tcase_add_test(c, clipped_light_has_the_colour_of_its_surroundings);
    tcase_add_test(c, lost_green_follows_the_measured_light);
    tcase_add_test(c, hot_pixels_are_repaired_and_nothing_else);
    tcase_add_test(c, lit_panes_have_no_coloured_rim);
    tcase_add_test(c, a_burnt_out_wall_pales_step_by_step);
    tcase_add_test(c, a_white_thing_in_the_sun_is_no_lamp);
    tcase_add_test(c, edges_tell_lamps_from_glows);
    tcase_add_test(c, colours_are_carried_on_along_their_slope);
    tcase_add_test(c, the_rim_of_a_glow_teaches_nothing);
    tcase_add_test(c, warm_light_that_rises_is_a_glow_and_a_pane_in_it_a_lamp);
    tcase_add_test(c, no_heart_of_a_glow_is_bluer_than_white);
    tcase_add_test(c, a_burnt_out_wall_is_alike_in_every_balance);
    tcase_add_test(c, a_glow_beside_a_lit_wall_is_no_lamp);
    tcase_add_test(c, a_steep_glow_is_no_wall);
    tcase_add_test(c, a_wall_does_not_change_its_kind_at_once);
    tcase_add_test(c, pictures_come_upright);
    tcase_add_test(c, sources_add_up_in_linear_light);
    tcase_add_test(c, senseless_mosaics_are_refused);
    tcase_add_test(c, thumbnails_give_the_same_light);
    tcase_add_test(c, lost_green_follows_the_measured_light);
    tcase_add_test(c, hot_pixels_do_not_shine_in_thumbnails);
    tcase_add_test(c, a_tile_with_little_light_takes_the_colour_about_it);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
