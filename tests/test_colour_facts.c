/* test_colour_facts.c: from a camera's matrix to balanced wide-gamut light. */
#include "check_main.h"

#include "base/primaries.h"
#include "decide/colour.h"

#include <math.h>

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

int main(void)
{
    Suite *s = suite_create("colour_facts");
    TCase *t = tcase_create("all");
    tcase_add_test(t, balance_of_the_worked_example);
    tcase_add_test(t, matrix_of_the_worked_example);
    tcase_add_test(t, wide_primaries_agree_with_bt2087);
    tcase_add_test(t, senseless_matrices_are_refused);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
