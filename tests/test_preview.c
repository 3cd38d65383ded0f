/* test_preview.c: which shots a preview shows. What is right is set by daywheel itself. */
#include "check_main.h"

#include "cli/preview.h"

#include <math.h>

#define N 781

/* A day and a night of 48 degrees northern latitude in late March, near enough: altitude as a
 * sine of the hour, +43 to -40 degrees. */
static double altitude[N];

static void setup(void)
{
    for (size_t i = 0; i < N; i++)
        altitude[i] = 1.5 + 41.5 * cos(2 * 3.14159265358979 * ((double)i * 120 / 86400));
}

START_TEST(spread_over_all_altitudes_and_closer_in_twilight)
{
    size_t chosen[12];
    ck_assert_uint_eq(dw_preview_choose(altitude, N, -12, -3, 12, chosen), 12);
    double low = 90, high = -90;
    int twilight = 0;
    for (int i = 0; i < 12; i++) {
        ck_assert(i == 0 || chosen[i] > chosen[i - 1]); /* ascending, none twice */
        low = fmin(low, altitude[chosen[i]]);
        high = fmax(high, altitude[chosen[i]]);
        twilight += altitude[chosen[i]] > -18 && altitude[chosen[i]] < 3;
    }
    ck_assert_double_eq_tol(low, -40, 0.5); /* the darkest and the brightest are there */
    ck_assert_double_eq_tol(high, 43, 0.5);
    /* 21 of 83 degrees lie around the crossover: four times as close, 84 of 146 parts */
    ck_assert_int_ge(twilight, 6);
    ck_assert_int_le(twilight, 8);
}
END_TEST

START_TEST(shots_that_cannot_be_shown_are_not_chosen)
{
    size_t chosen[5];
    const double few[] = {(double)NAN, -20, (double)NAN, 5};
    ck_assert_uint_eq(dw_preview_choose(few, 4, -12, -3, 5, chosen), 2);
    ck_assert_uint_eq(chosen[0], 1);
    ck_assert_uint_eq(chosen[1], 3);
    const double none[] = {(double)NAN};
    ck_assert_uint_eq(dw_preview_choose(none, 1, -12, -3, 5, chosen), 0);
}
END_TEST

START_TEST(one_altitude_is_no_trouble)
{
    size_t chosen[3];
    const double same[] = {-30, -30, -30, -30};
    ck_assert_uint_eq(dw_preview_choose(same, 4, -12, -3, 3, chosen), 3);
    ck_assert(chosen[0] < chosen[1] && chosen[1] < chosen[2]);
}
END_TEST

/* The shoot begins at noon, 43 degrees; the night's evening flank reaches just as high. */
START_TEST(one_evening_or_one_morning_is_shown)
{
    size_t chosen[12];
    dw_preview_one_flank(altitude, N, 12);
    ck_assert_uint_eq(dw_preview_choose(altitude, N, -12, -3, 12, chosen), 12);
    for (int i = 1; i < 12; i++) /* no hopping between dusk and dawn */
        ck_assert_double_lt(altitude[chosen[i]], altitude[chosen[i - 1]]);
    ck_assert_double_gt(altitude[chosen[0]], 42.5);
    ck_assert_double_lt(altitude[chosen[11]], -39.5);
}
END_TEST

START_TEST(the_flank_that_reaches_higher_is_shown)
{
    double dawn[N], few[] = {5, -10, -3, (double)NAN, 20, 10};
    for (size_t i = 0; i < N; i++)
        dawn[i] = i < 200 ? (double)NAN : altitude[i]; /* starts when the sun is down already */
    dw_preview_one_flank(dawn, N, 12);
    ck_assert(isnan(dawn[300]) && !isnan(dawn[360]) && !isnan(dawn[700]) && isnan(dawn[770]));
    dw_preview_one_flank(few, 6, 3);
    ck_assert(isnan(few[0]) && few[1] < -9 && few[2] < -2 && few[4] > 19 && isnan(few[5]));
    /* a stretch too short to fill the sheet is no reason to leave shots out */
    double all[] = {5, -10, -3, 20, 10};
    dw_preview_one_flank(all, 5, 4);
    for (int i = 0; i < 5; i++)
        ck_assert(!isnan(all[i]));
    double none[] = {(double)NAN, (double)NAN};
    dw_preview_one_flank(none, 2, 2);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("preview");
    TCase *c = tcase_create("preview");
    tcase_add_checked_fixture(c, setup, NULL);
    tcase_add_test(c, spread_over_all_altitudes_and_closer_in_twilight);
    tcase_add_test(c, shots_that_cannot_be_shown_are_not_chosen);
    tcase_add_test(c, one_altitude_is_no_trouble);
    tcase_add_test(c, one_evening_or_one_morning_is_shown);
    tcase_add_test(c, the_flank_that_reaches_higher_is_shown);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
