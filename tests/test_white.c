/* test_white.c: the colours of lights that may be called white. */
#include "check_main.h"

#include "base/primaries.h"
#include "base/white.h"

#include <lcms2.h>
#include <math.h>

static void xy_of(const double xyz[3], double xy[2])
{
    double sum = xyz[0] + xyz[1] + xyz[2];
    xy[0] = xyz[0] / sum;
    xy[1] = xyz[1] / sum;
}

static void uv_of(const double xyz[3], double uv[2])
{
    double d = xyz[0] + 15 * xyz[1] + 3 * xyz[2]; /* CIE 1960 UCS */
    uv[0] = 4 * xyz[0] / d;
    uv[1] = 6 * xyz[1] / d;
}

/* CIE 15: chromaticities of the standard and supplementary daylights. Their nominal temperatures
 * were named before the constant c2 of Planck's law was settled: times 1.4388/1.4380. They were
 * summed over spectra with rounded weights, which leaves them up to 1.3e-4 beside the formula. */
START_TEST(daylight_meets_the_published_illuminants)
{
    const struct {
        double nominal, x, y;
    } d[] = {{5000, 0.34567, 0.35850},
             {5500, 0.33242, 0.34743},
             {6500, 0.31272, 0.32903},
             {7500, 0.29902, 0.31485}};
    for (size_t i = 0; i < sizeof d / sizeof *d; i++) {
        double xyz[3], xy[2];
        dw_white_xyz(d[i].nominal * 1.4388 / 1.4380, 0, xyz);
        xy_of(xyz, xy);
        ck_assert_double_eq_tol(xy[0], d[i].x, 1.5e-4);
        ck_assert_double_eq_tol(xy[1], d[i].y, 1.5e-4);
    }
}
END_TEST

/* The formula itself, at values of the tests of the open library colour-science. */
START_TEST(daylight_formula_to_its_last_digit)
{
    const double want[][3] = {{4000, 0.382343625, 0.383766261},
                              {7000, 0.305357431, 0.321646345},
                              {25000, 0.249853670, 0.254799464}};
    for (size_t i = 0; i < 3; i++) {
        double xy[2];
        dw_daylight_xy(want[i][0], xy);
        ck_assert_double_eq_tol(xy[0], want[i][1], 1e-9);
        ck_assert_double_eq_tol(xy[1], want[i][2], 1e-9);
    }
}
END_TEST

/* Little CMS reckons the same daylight. */
START_TEST(daylight_agrees_with_little_cms)
{
    for (double t = 4000; t <= 25000; t += 250) {
        cmsCIExyY other;
        double xyz[3], xy[2];
        ck_assert(cmsWhitePointFromTemp(&other, t));
        dw_white_xyz(t, 0, xyz);
        xy_of(xyz, xy);
        ck_assert_double_eq_tol(xy[0], other.x, 1e-9);
        ck_assert_double_eq_tol(xy[1], other.y, 1e-9);
    }
}
END_TEST

/* Krystek 1985 at 7000 K and the exact Planck locus at 4000 K as the tests of colour-science hold
 * them; CIE illuminant A (CIE 15) is a glowing body of 2856 K. */
START_TEST(glowing_bodies)
{
    double uv[2], xyz[3], xy[2];
    dw_planck_uv(4000, uv);
    ck_assert_double_eq_tol(uv[0], 0.225109670, 8e-5);
    ck_assert_double_eq_tol(uv[1], 0.334387367, 8e-5);
    dw_planck_uv(7000, uv);
    ck_assert_double_eq_tol(uv[0], 0.198126929, 8e-5);
    ck_assert_double_eq_tol(uv[1], 0.307025981, 8e-5);
    dw_white_xyz(2856, 0, xyz);
    xy_of(xyz, xy);
    ck_assert_double_eq_tol(xy[0], 0.44757, 4e-4);
    ck_assert_double_eq_tol(xy[1], 0.40745, 4e-4);
}
END_TEST

/* D65's own place beside Planck's locus, 0.0032 (ANSI C78.377 names Duv; the value follows from
 * both published loci), and a tint is a distance in u, v that lets the temperature be. */
START_TEST(tint_is_a_distance_across_the_locus)
{
    double a[2], b[2], c[3], planck[2];
    dw_d65_xyz(c);
    uv_of(c, a);
    dw_planck_uv(6504, planck);
    ck_assert_double_eq_tol(hypot(a[0] - planck[0], a[1] - planck[1]), 0.0032, 1e-4);
    for (double t = 1500; t <= 25000; t *= 1.3)
        for (double tint = -40; tint <= 40; tint += 20) {
            double lower[2], higher[2];
            dw_white_xyz(t, 0, c);
            uv_of(c, a);
            dw_white_xyz(t, tint, c);
            uv_of(c, b);
            ck_assert_double_eq_tol(hypot(b[0] - a[0], b[1] - a[1]), fabs(tint) / 1000, 1e-12);
            ck_assert_double_ge((b[1] - a[1]) * tint, 0); /* positive: greener */
            dw_planck_uv(t * 0.999, lower);
            dw_planck_uv(t * 1.001, higher);
            ck_assert_double_eq_tol((b[0] - a[0]) * (higher[0] - lower[0]) +
                                        (b[1] - a[1]) * (higher[1] - lower[1]),
                                    0, 1e-12);
        }
}
END_TEST

/* From lamp to daylight nothing jumps: ten kelvin never move the white by more than a lamp does. */
START_TEST(no_temperature_makes_a_jump)
{
    for (double t = 1600; t < 24990; t += 10) {
        double a[2], b[2], c[3];
        dw_white_xyz(t, 0, c);
        uv_of(c, a);
        dw_white_xyz(t + 10, 0, c);
        uv_of(c, b);
        double mired = 1e6 / t - 1e6 / (t + 10);
        ck_assert_double_lt(hypot(b[0] - a[0], b[1] - a[1]), 6e-4 * mired);
        ck_assert_double_lt(b[0], a[0]);
    }
    double edge[3], beyond[3];
    dw_white_xyz(25000, 50, edge);
    dw_white_xyz(1e9, 1e9, beyond);
    ck_assert_double_eq(edge[0], beyond[0]);
    ck_assert_double_eq(edge[2], beyond[2]);
}
END_TEST

/* Lindbloom's published D65 to D50 matrix, which ICC.1 gives too. */
START_TEST(bradford_from_d65_to_d50)
{
    const double d65[3] = {0.95047, 1, 1.08883}, d50[3] = {0.96422, 1, 0.82521};
    const double want[9] = {1.04781124,  0.02288660,  -0.05012698, 0.02954240, 0.99048440,
                            -0.01704910, -0.00923449, 0.01504362,  0.75213164};
    double m[9];
    dw_bradford(d65, d50, m);
    for (int i = 0; i < 9; i++)
        ck_assert_double_eq_tol(m[i], want[i], 1e-7);
    dw_bradford(d65, d65, m);
    for (int i = 0; i < 9; i++)
        ck_assert_double_eq_tol(m[i], i % 4 == 0, 1e-12);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("white");
    TCase *t = tcase_create("all");
    tcase_add_test(t, daylight_meets_the_published_illuminants);
    tcase_add_test(t, daylight_formula_to_its_last_digit);
    tcase_add_test(t, daylight_agrees_with_little_cms);
    tcase_add_test(t, glowing_bodies);
    tcase_add_test(t, tint_is_a_distance_across_the_locus);
    tcase_add_test(t, no_temperature_makes_a_jump);
    tcase_add_test(t, bradford_from_d65_to_d50);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
