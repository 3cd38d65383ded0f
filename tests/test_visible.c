/* test_visible.c: the eye's sensitivity to flicker, against what was measured on eyes. */
#include "check_main.h"

#include "decide/visible.h"

#include <math.h>

/* Kelly 1961, J. Opt. Soc. Am. 51, 422 (values read off its figure, from memory): a field of 68
 * degrees at 850 td, which a pupil of 3 mm gets from 120 cd/m^2: the peak lies between 10 and 20 Hz
 * and is about 200; it falls steeply to either side. */
START_TEST(large_bright_fields_are_seen_as_kelly_measured)
{
    double best = 0, at = 0;
    for (double hz = 1; hz < 80; hz += 0.5) {
        double s = dw_flicker_sensitivity(hz, 68, 120);
        if (s > best) {
            best = s;
            at = hz;
        }
    }
    ck_assert_double_gt(at, 10);
    ck_assert_double_lt(at, 20);
    ck_assert_double_gt(best, 130);
    ck_assert_double_lt(best, 300);
    ck_assert_double_lt(dw_flicker_sensitivity(2, 68, 120), best / 8);
    ck_assert_double_lt(dw_flicker_sensitivity(50, 68, 120), best / 8);
}
END_TEST

/* Critical flicker frequency. Ferry and Porter's law: linear in the logarithm of light, over
 * several decades (Tyler & Hamer 1990, J. Opt. Soc. Am. A 7, 743; its slopes, 10 Hz a decade in the
 * fovea to 20 outside, and the 60 Hz for small bright fields from memory). */
START_TEST(fusion_follows_the_logarithm_of_light)
{
    double fusion[4], light = 2;
    for (int i = 0; i < 4; i++, light *= 10) {
        fusion[i] = 10;
        while (dw_flicker_sensitivity(fusion[i], 2, light) > 1)
            fusion[i] += 0.1;
    }
    ck_assert_double_eq_tol(fusion[2], 60, 5);
    double slope = (fusion[3] - fusion[0]) / 3;
    ck_assert_double_gt(slope, 8);
    ck_assert_double_lt(slope, 20);
    for (int i = 0; i < 3; i++)
        ck_assert_double_eq_tol(fusion[i + 1] - fusion[i], slope, 0.1 * slope);
}
END_TEST

START_TEST(slow_shows_hide_flicker)
{
    ck_assert_double_eq_tol(dw_flicker_threshold(30), 0.002, 1e-12);
    ck_assert_double_gt(dw_flicker_threshold(12), 1.5 * dw_flicker_threshold(24));
    ck_assert_double_gt(dw_flicker_threshold(24), dw_flicker_threshold(30));
    /* beyond fusion power is lost: at a high rate the same errors are seen less */
    ck_assert_double_gt(dw_flicker_threshold(240), 1.3 * dw_flicker_threshold(30));
    ck_assert(isfinite(dw_flicker_threshold(1)) && isfinite(dw_flicker_threshold(1000)));
}
END_TEST

int main(void)
{
    Suite *s = suite_create("visible");
    TCase *t = tcase_create("visible");
    tcase_add_test(t, large_bright_fields_are_seen_as_kelly_measured);
    tcase_add_test(t, fusion_follows_the_logarithm_of_light);
    tcase_add_test(t, slow_shows_hide_flicker);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
