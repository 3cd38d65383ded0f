/* test_colour_facts.c: from a camera's matrix to balanced wide-gamut light. */
#include "check_main.h"
#include "fake_shoot.h"

#include "base/matrix3.h"
#include "base/primaries.h"
#include "base/white.h"
#include "decide/colour/colour.h"

#include <math.h>
#include <string.h>

static void check(const double *got, const double *want, int n, double tolerance)
{
    for (int i = 0; i < n; i++)
        ck_assert_double_eq_tol(got[i], want[i], tolerance);
}

/* A made-up matrix, worked through after the DNG specification 1.4, chapter 6, with numpy. */
static const double example[9] = {0.80, -0.20, -0.10, -0.40, 1.20, 0.20, -0.10, 0.20, 0.60};

START_TEST(balance_of_the_worked_example)
{
    double mul[3], white[3];
    dw_d65_xyz(white);
    ck_assert(dw_camera_balance(example, white, mul));
    const double want[3] = {2.298391, 1, 1.368202};
    check(mul, want, 3, 2e-6);
}
END_TEST

START_TEST(matrix_of_the_worked_example)
{
    /* sRGB to XYZ, exact from its primaries (IEC 61966-2-1; ITU-R BT.709) */
    const double srgb[9] = {0.41239080, 0.35758434, 0.18048079, 0.21263901, 0.71516868,
                            0.07219232, 0.01933082, 0.11919478, 0.95053215};
    const double want[9] = {1.6799469,  -0.6875707, 0.0076238,  -0.2227355, 1.6295855,
                            -0.4068500, 0.0320685,  -0.4984850, 1.4664165};
    double m[9];
    ck_assert(dw_camera_to_rgb(example, srgb, m));
    check(m, want, 9, 3e-6);
    for (int row = 0; row < 3; row++)
        ck_assert_double_eq_tol(m[3 * row] + m[3 * row + 1] + m[3 * row + 2], 1, 1e-12);
}
END_TEST

/* The same light through both sets of primaries must meet ITU-R BT.2087's 709 to 2020 matrix. */
START_TEST(wide_primaries_agree_with_bt2087)
{
    const double srgb[9] = {0.41239080, 0.35758434, 0.18048079, 0.21263901, 0.71516868,
                            0.07219232, 0.01933082, 0.11919478, 0.95053215};
    const double bt2087[9] = {0.62740390, 0.32928304, 0.04331307, 0.06909729, 0.91954040,
                              0.01136232, 0.01639144, 0.08801331, 0.89559525};
    double narrow[9], wide[9], bt2020[9];
    dw_primaries_to_xyz(&dw_primaries_bt2020, bt2020);
    ck_assert(dw_camera_to_rgb(example, srgb, narrow));
    ck_assert(dw_camera_to_rgb(example, bt2020, wide));
    for (int row = 0; row < 3; row++)
        for (int c = 0; c < 3; c++) {
            double sum = 0;
            for (int k = 0; k < 3; k++)
                sum += bt2087[3 * row + k] * narrow[3 * k + c];
            ck_assert_double_eq_tol(sum, wide[3 * row + c], 2e-6);
        }
}
END_TEST

START_TEST(senseless_matrices_are_refused)
{
    const double zero[9] = {0}, twice[9] = {1, 2, 3, 2, 4, 6, 1, 1, 1};
    const double blind[9] = {-1, 0, 0, 0, 1, 0, 0, 0, 1};
    double mul[3], m[9], white[3], bt2020[9];
    dw_d65_xyz(white);
    dw_primaries_to_xyz(&dw_primaries_bt2020, bt2020);
    ck_assert(!dw_camera_balance(zero, white, mul));
    ck_assert(!dw_camera_balance(blind, white, mul));
    ck_assert(!dw_camera_to_rgb(zero, bt2020, m));
    ck_assert(!dw_camera_to_rgb(twice, bt2020, m));
}
END_TEST

static enum dw_status decide_with_white(struct fake_shoot *f, double kelvin, double tint,
                                        struct dw_decision *d, struct dw_error *err)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = f->params.site;
    params.has_white = kelvin > 0;
    params.white_k = kelvin;
    params.white_tint = tint;
    return dw_decide(&f->shots, &f->survey, &params, NULL, d, err);
}

static struct fake_shoot few_frames(void)
{
    struct fake_params p = fake_defaults(1);
    p.frames = 20;
    return fake_make(&p);
}

/* Under a named light, neutral things come out neutral, and a colour as it would look by day
 * (linear Bradford, ICC.1): the way from the light to the camera is gone back by hand. */
START_TEST(a_named_light_looks_as_daylight_does)
{
    const double lights[][2] = {{0, 0}, {2500, 0}, {3750, 0}, {4100, 12}, {5000, 0}, {12000, -8}};
    const double colours[][3] = {{0.2, 0.2, 0.2}, {0.5, 0.1, 0.05}, {0.1, 0.3, 0.6}, {1, 0, 0}};
    struct fake_shoot f = few_frames();
    double cam[9], to_xyz[9], d65[3];
    for (int k = 0; k < 9; k++)
        cam[k] = (double)f.shots.shot[0].cam_xyz[k];
    dw_primaries_to_xyz(&dw_primaries_bt2020, to_xyz);
    dw_d65_xyz(d65);
    for (size_t i = 0; i < sizeof lights / sizeof *lights; i++) {
        struct dw_decision d;
        struct dw_error err = {0};
        double white[3], there[9];
        ck_assert_msg(decide_with_white(&f, lights[i][0], lights[i][1], &d, &err) == DW_OK, "%s",
                      err.text);
        if (lights[i][0] > 0)
            dw_white_xyz(lights[i][0], lights[i][1], white);
        else
            dw_d65_xyz(white);
        dw_bradford(d65, white, there);
        for (size_t k = 0; k < sizeof colours / sizeof *colours; k++) {
            double v[3], level[3];
            dw_m3_apply(to_xyz, colours[k], v);
            dw_m3_apply(there, v, v);
            dw_m3_apply(cam, v, level);
            for (int c = 0; c < 3; c++)
                level[c] *= (double)d.facts.white_mul[c];
            for (int c = 0; c < 3; c++) {
                v[c] = 0;
                for (int j = 0; j < 3; j++)
                    v[c] += (double)d.facts.cam_to_wide[3 * c + j] * level[j];
            }
            dw_m3_apply(cam, white, level); /* green of it is what white comes to */
            for (int c = 0; c < 3; c++)
                ck_assert_double_eq_tol(v[c] / level[1], colours[k][c], 2e-5);
        }
        dw_decision_free(&d);
    }
    fake_free(&f);
}
END_TEST

START_TEST(lights_that_a_camera_cannot_see_are_refused)
{
    struct fake_shoot f = few_frames();
    struct dw_decision d;
    struct dw_error err = {0};
    for (size_t i = 0; i < f.shots.n; i++)
        for (int k = 6; k < 9; k++)
            f.shots.shot[i].cam_xyz[k] *= 0.1f; /* hardly any blue */
    ck_assert_int_eq(decide_with_white(&f, 1500, 0, &d, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "1500 K"));
    ck_assert_ptr_nonnull(strstr(err.text, "nearer to daylight"));
    for (size_t i = 0; i < f.shots.n; i++)
        f.shots.shot[i].has_cam_xyz = false; /* said as a warning, and the run goes on */
    ck_assert_int_eq(decide_with_white(&f, 3000, 0, &d, &err), DW_OK);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* However few shots there are, the blue of twilight is not taken for the night's: 60 shots over a
 * day, those above 18 degrees below the horizon tinted. */
START_TEST(twilight_does_not_colour_the_night)
{
    struct fake_params p = fake_defaults(4);
    p.frames = 60;
    p.interval_s = 1560;
    struct fake_shoot f = fake_make(&p);
    struct dw_decision plain, tinted;
    struct dw_error err = {0};
    int twilight = 0;
    ck_assert_int_eq(decide_with_white(&f, 0, 0, &plain, &err), DW_OK);
    for (size_t i = 0; i < f.shots.n; i++) {
        struct dw_measure *m = &f.survey.measure[i];
        twilight += f.alt[i] > -18 && f.alt[i] < -3;
        for (int k = 0; f.alt[i] > -18 && k < f.survey.cols * f.survey.rows; k++) {
            m->tile[k].mean[0] = m->black[0] + 0.6f * (m->tile[k].mean[0] - m->black[0]);
            m->tile[k].mean[2] = m->black[2] + 1.8f * (m->tile[k].mean[2] - m->black[2]);
        }
    }
    ck_assert_int_gt(twilight, 2);
    ck_assert_int_eq(decide_with_white(&f, 0, 0, &tinted, &err), DW_OK);
    for (int c = 0; c < 3; c++)
        ck_assert_double_eq_tol((double)tinted.facts.night_mul[c], (double)plain.facts.night_mul[c],
                                1e-3);
    ck_assert_double_gt((double)plain.facts.night_mul[2], (double)plain.facts.night_mul[0]);
    dw_decision_free(&plain);
    dw_decision_free(&tinted);
    fake_free(&f);
}
END_TEST

/* Tints every tile by `blue` stops against red, half of it on either, where the sun stands above
 * `high`, and not at all below `low`. Invented: a twilight sky is blue, a night sky is not. */
static void blue_twilight(struct fake_shoot *f, double low, double high, double blue)
{
    for (size_t i = 0; i < f->shots.n; i++) {
        struct dw_measure *m = &f->survey.measure[i];
        float half = (float)exp2(blue / 2 * dw_crossover(f->alt[i], low, high));
        for (int k = 0; k < f->survey.cols * f->survey.rows; k++) {
            m->tile[k].mean[0] = m->black[0] + (m->tile[k].mean[0] - m->black[0]) / half;
            m->tile[k].mean[2] = m->black[2] + (m->tile[k].mean[2] - m->black[2]) * half;
        }
    }
}

/* What is seen of the sky's blue against red goes one way from the day's to the night's, wherever
 * the sky changes: the night's balance waits for it. */
START_TEST(the_nights_balance_comes_as_the_sky_changes)
{
    static const double change[][2] = {{-22, -12}, {-28, -16}, {-18, -8}};
    for (size_t c = 0; c < sizeof change / sizeof *change; c++) {
        struct fake_params p = fake_defaults(7);
        struct fake_shoot f = fake_make(&p);
        struct dw_decision d;
        struct dw_error err = {0};
        double low = change[c][0], high = change[c][1], blue = 1;
        blue_twilight(&f, low, high, blue);
        ck_assert_int_eq(decide_with_white(&f, 0, 0, &d, &err), DW_OK);
        ck_assert_double_eq_tol((d.facts.balance_night_deg + d.facts.balance_day_deg) / 2,
                                (low + high) / 2, 0.5);
        ck_assert_double_eq_tol(d.facts.balance_day_deg - d.facts.balance_night_deg, high - low,
                                1.5);
        for (size_t i = 0; i < d.n_frames; i++)
            ck_assert_double_eq(d.frame[i].balance,
                                dw_crossover(d.frame[i].sun_alt_deg, d.facts.balance_night_deg,
                                             d.facts.balance_day_deg));
        double night = log2((double)(d.facts.night_mul[2] / d.facts.night_mul[0]));
        ck_assert_double_gt(night, 0.7);
        double last = blue, end = night;
        for (double h = 0; h > -30; h -= 0.25) {
            double own = blue * dw_crossover(h, low, high),
                   seen = own + night * (1 - dw_crossover(h, d.facts.balance_night_deg,
                                                          d.facts.balance_day_deg));
            ck_assert_double_le((last - seen) * (end < blue ? -1 : 1), 0.02);
            last = seen;
        }
        dw_decision_free(&d);
        fake_free(&f);
    }
}
END_TEST

/* A sky that hardly changes its colour does not tell when: the windows of the crossover hold. */
START_TEST(an_even_sky_leaves_the_balance_where_it_was)
{
    struct fake_params p = fake_defaults(7);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d;
    struct dw_error err = {0};
    blue_twilight(&f, -22, -12, 0.1);
    ck_assert_int_eq(decide_with_white(&f, 0, 0, &d, &err), DW_OK);
    ck_assert_double_eq_tol(d.facts.balance_night_deg, d.facts.night_deg - 5, 1e-12);
    ck_assert_double_eq_tol(d.facts.balance_day_deg, d.facts.day_deg - 3, 1e-12);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* A sky under a town, so orange that blue cannot be raised to the cool side: red stops on its way
 * too, and the sky comes out about neutral. Were red brought down all its way, it would turn green.
 */
START_TEST(a_towns_sky_does_not_turn_green)
{
    struct fake_params p = fake_defaults(7);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d;
    struct dw_error err = {0};
    for (size_t i = 0; i < f.shots.n; i++)
        for (int k = 0; k < f.survey.cols * f.survey.rows; k++) {
            struct dw_measure *m = &f.survey.measure[i];
            for (int c = 0; c < 3; c += 2)
                m->tile[k].mean[c] =
                    m->black[c] + (c ? 0.3f : 0.95f) * (m->tile[k].mean[c] - m->black[c]);
        }
    ck_assert_int_eq(decide_with_white(&f, 0, 0, &d, &err), DW_OK);
    double sky[3], seen[3];
    for (int c = 0; c < 3; c++) {
        sky[c] = (double)d.facts.night_sky[c];
        seen[c] = sky[c] * (double)d.facts.night_mul[c];
    }
    ck_assert_msg(sky[0] > 1.3 && sky[2] < 0.5, "%g %g %g", sky[0], sky[1], sky[2]);
    ck_assert_msg(seen[0] > seen[1] && seen[2] > 0.9 * seen[1] && seen[0] < 1.2 * seen[1],
                  "%g %g %g", seen[0], seen[1], seen[2]);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* An invented law of twilight's green. */
static double law_of_green(double alt, double x)
{
    return 0.03 + 0.004 * alt + (0.02 - 0.01 * alt) * x - 0.08 * x * x;
}

/* Gives every tile a colour: red beside blue from x = -0.8 to 0.5 stop along its row, green by that
 * law, and less light on the blue side; in the red third the light is lost, but for one shot in
 * eight. In `strange` of the tiles grass or a lamp stands. */
static void colour_by_law(struct fake_shoot *f, const float white_mul[3], double strange)
{
    for (size_t i = 0; i < f->shots.n; i++) {
        struct dw_measure *m = &f->survey.measure[i];
        int cols = f->survey.cols, tiles = cols * f->survey.rows;
        for (int k = 0; k < tiles; k++) {
            double part = (double)(k % cols) / (cols - 1), x = -0.8 + 1.3 * part;
            double y = law_of_green(f->alt[i], x);
            if (k % 97 < strange * 97)
                y += 0.5;
            double level = 1500 * exp2(2 * part), half = exp2(x / 2), green = exp2(y);
            const double v[3] = {half, green, 1 / half};
            for (int c = 0; c < 3; c++)
                m->tile[k].mean[c] = m->black[c] + (float)(level * v[c] / v[1]) / white_mul[c] *
                                                       (i % 8 ? 1.0f : 0.5f);
            m->tile[k].clipped = part > 0.67 && i % 8 ? 0.5f : 0;
        }
    }
}

/* Every shot is told how green stands in its light, also where its own tiles have lost it, and
 * other things in the picture do not mislead it; by day, and in the deep of night, nothing. */
START_TEST(twilights_green_is_learnt_from_the_whole_shoot)
{
    struct fake_params p = fake_defaults(8);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    float white_mul[3];
    memcpy(white_mul, d.facts.white_mul, sizeof white_mul);
    dw_decision_free(&d);
    colour_by_law(&f, white_mul, 0.1);
    d = fake_decide(&f);
    int seen = 0;
    for (size_t i = 0; i < d.n_frames; i++) {
        const double *g = d.frame[i].source[0].green, h = d.frame[i].sun_alt_deg;
        if (h < -18 || h > 8)
            ck_assert(g[0] == 0 && g[1] == 0 && g[2] == 0 && g[3] == 0);
        if (!(h > -15 && h < 0))
            continue;
        ck_assert_double_eq_tol(g[0], 1, 1e-12);
        for (double x = -0.1; x < 0.51; x += 0.1)
            ck_assert_msg(fabs(g[1] + x * (g[2] + x * g[3]) - law_of_green(h, x)) < 0.01,
                          "%g degrees, %g: %g for %g", h, x, g[1] + x * (g[2] + x * g[3]),
                          law_of_green(h, x));
        seen++;
    }
    ck_assert_int_gt(seen, 50);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("colour_facts");
    TCase *t = tcase_create("all");
    tcase_add_test(t, balance_of_the_worked_example);
    tcase_add_test(t, matrix_of_the_worked_example);
    tcase_add_test(t, wide_primaries_agree_with_bt2087);
    tcase_add_test(t, senseless_matrices_are_refused);
    tcase_add_test(t, a_named_light_looks_as_daylight_does);
    tcase_add_test(t, twilight_does_not_colour_the_night);
    tcase_add_test(t, the_nights_balance_comes_as_the_sky_changes);
    tcase_add_test(t, an_even_sky_leaves_the_balance_where_it_was);
    tcase_add_test(t, a_towns_sky_does_not_turn_green);
    tcase_add_test(t, twilights_green_is_learnt_from_the_whole_shoot);
    tcase_add_test(t, lights_that_a_camera_cannot_see_are_refused);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
