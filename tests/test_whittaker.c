/* test_whittaker.c: the smoother, the banded solver and the splines under `decide`. */
#include "check_main.h"

#include "decide/solve/banded.h"
#include "decide/solve/bspline.h"
#include "decide/solve/whittaker.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

static const double series[10] = {0.00, 0.12, 0.05, 0.31, 0.28, 0.47, 0.40, 0.66, 0.58, 0.81};

/* Definition: Eilers 2003, A Perfect Smoother, Anal. Chem. 75(14) 3631-3636. Values: dense solution
 * of (W + lambda D'D) z = W y with numpy, confirmed by scipy's banded solver, to all digits. */
static const struct {
    int d;
    double lambda, z[10];
    int zero, raised;
} published[] = {
    {1,
     1,
     {0.051107, 0.102214, 0.135536, 0.254393, 0.317644, 0.418538, 0.467970, 0.585373, 0.628149,
      0.719075},
     -1,
     -1},
    {1,
     10,
     {0.196105, 0.215715, 0.244897, 0.293569, 0.340598, 0.393686, 0.439143, 0.488515, 0.520737,
      0.547034},
     -1,
     -1},
    {2,
     1,
     {0.005295, 0.075252, 0.139913, 0.238732, 0.321250, 0.408274, 0.479363, 0.575801, 0.659510,
      0.776610},
     -1,
     -1},
    {2,
     10,
     {-0.003199, 0.074543, 0.152604, 0.235851, 0.318888, 0.403737, 0.488527, 0.578018, 0.668114,
      0.762918},
     -1,
     -1},
    {2,
     100,
     {-0.011674, 0.071649, 0.155089, 0.239246, 0.323669, 0.408615, 0.493904, 0.579972, 0.666311,
      0.753219},
     -1,
     -1},
    {2,
     1600,
     {-0.014165, 0.070684, 0.155542, 0.240448, 0.325377, 0.410345, 0.495341, 0.580392, 0.665464,
      0.750572},
     -1,
     -1},
    {3,
     10,
     {0.003822, 0.075873, 0.152268, 0.233389, 0.315970, 0.399293, 0.483725, 0.572845, 0.668514,
      0.774300},
     -1,
     -1},
    {2,
     10,
     {-0.009176, 0.062452, 0.134996, 0.215131, 0.301028, 0.390861, 0.480699, 0.574527, 0.668258,
      0.766354},
     3,
     -1},
    {2,
     10,
     {-0.032444, 0.097140, 0.229967, 0.371570, 0.509481, 0.625077, 0.676787, 0.707531, 0.732552,
      0.762339},
     -1,
     5},
};

START_TEST(smoother_gives_the_table)
{
    double y[10], w[10], z[10];
    for (int i = 0; i < 10; i++) {
        y[i] = series[i] + (i == published[_i].raised ? 1 : 0);
        w[i] = i == published[_i].zero ? 0 : 1;
        if (w[i] == 0)
            y[i] = (double)NAN; /* is not looked at */
    }
    ck_assert_int_eq(dw_whittaker(y, w, 10, published[_i].lambda, published[_i].d, z), DW_OK);
    for (int i = 0; i < 10; i++)
        ck_assert_double_eq_tol(z[i], published[_i].z[i], 6e-7);
}
END_TEST

/* A polynomial of degree below d costs nothing, so it passes unchanged (by the definition). */
START_TEST(smoother_passes_polynomials)
{
    enum { N = 200 };
    double y[N], z[N];
    for (int d = 1; d <= 3; d++) {
        for (int i = 0; i < N; i++) {
            double t = i / 50.0;
            y[i] = 3 + (d > 1 ? 0.7 * t : 0) + (d > 2 ? -0.2 * t * t : 0);
        }
        ck_assert_int_eq(dw_whittaker(y, NULL, N, 1e4, d, z), DW_OK);
        for (int i = 0; i < N; i++)
            ck_assert_double_eq_tol(z[i], y[i], 1e-8);
    }
}
END_TEST

/* Gain at period P: 1/(1 + lambda (2 sin(pi/P))^(2d)) (Eilers 2003). Half gain for d = 2: lambda
 * 1, 10, 100, 1600, 1e4 at P = 6, 11.0226, 19.7858, 39.6969, 62.8057 (evaluated with numpy). */
START_TEST(lambda_of_a_period_gives_half_gain)
{
    const double lambda[5] = {1, 10, 100, 1600, 1e4};
    const double period[5] = {6.0000, 11.0226, 19.7858, 39.6969, 62.8057};
    for (int i = 0; i < 5; i++)
        ck_assert_double_eq_tol(dw_whittaker_lambda(period[i], 2) / lambda[i], 1, 2e-5);
    enum { N = 2000 };
    static double y[N], z[N];
    for (int d = 1; d <= 3; d++) {
        for (int i = 0; i < N; i++)
            y[i] = sin(2 * M_PI * i / 40);
        dw_whittaker(y, NULL, N, dw_whittaker_lambda(40, d), d, z);
        ck_assert_double_eq_tol(z[1010], 0.5 * y[1010], 1e-6); /* a crest, far from the ends */
    }
}
END_TEST

START_TEST(smoother_refuses_what_has_no_answer)
{
    double y[3] = {1, 2, 3}, w[3] = {0, 0, 0}, z[3];
    ck_assert_int_eq(dw_whittaker(y, NULL, 3, 1, 4, z), DW_ERR_USAGE);
    ck_assert_int_eq(dw_whittaker(y, NULL, 3, -1, 2, z), DW_ERR_USAGE);
    ck_assert_int_eq(dw_whittaker(y, w, 3, 1, 2, z), DW_ERR_NUMERIC);
    ck_assert_int_eq(dw_whittaker(y, NULL, 0, 1, 2, z), DW_OK);
    ck_assert_int_eq(dw_whittaker(y, NULL, 1, 1, 2, z), DW_OK); /* no difference to penalise */
    ck_assert_double_eq_tol(z[0], 1, 1e-12);
}
END_TEST

/* 1/(Phi^-1(3/4)); Tukey example: fixed scale 0.051891, c = 4.685, location 1.000000 with weights
 * 0 for 5.00 and 0.690231 for 0.90 and 1.10 (Beaton & Tukey 1974; evaluated with numpy). */
START_TEST(robust_constants)
{
    double v[10] = {1.00, 1.10, 0.90, 1.05, 0.95, 1.02, 0.98, 5.00, 1.01, 0.99}, copy[10], work[10];
    for (int i = 0; i < 10; i++)
        copy[i] = v[i];
    double middle = dw_median(copy, 10);
    ck_assert_double_eq_tol(middle, 1.005, 1e-12);
    double sigma = dw_mad_sigma(v, 10, middle, work);
    ck_assert_double_eq_tol(sigma, 0.051891, 1e-6);
    double at = middle;
    for (int round = 0; round < 50; round++) {
        double sum = 0, weight = 0;
        for (int i = 0; i < 10; i++) {
            double w = dw_tukey_weight(v[i] - at, 4.685 * sigma);
            sum += w * v[i];
            weight += w;
        }
        at = sum / weight;
    }
    ck_assert_double_eq_tol(at, 1.000000, 1e-6);
    ck_assert_double_eq(dw_tukey_weight(5 - at, 4.685 * sigma), 0);
    ck_assert_double_eq_tol(dw_tukey_weight(0.9 - at, 4.685 * sigma), 0.690231, 1e-6);
}
END_TEST

/* The band of the inverse against the inverse itself, column by column. */
START_TEST(banded_inverse_equals_solved_columns)
{
    enum { N = 40, KD = 4 };
    double a[N * (KD + 1)] = {0}, z[N * (KD + 1)], x[N];
    struct dw_banded m = {N, KD, a};
    unsigned seed = 7;
    for (int i = 0; i < N; i++) {
        dw_banded_add(&m, i, i, 6);
        for (int j = i > KD ? i - KD : 0; j < i; j++) {
            seed = seed * 1664525u + 1013904223u;
            dw_banded_add(&m, i, j, (double)(seed >> 16) / 65536 - 0.5);
        }
    }
    ck_assert(dw_banded_factor(&m));
    dw_banded_inverse(&m, z);
    for (int j = 0; j < N; j++) {
        for (int i = 0; i < N; i++)
            x[i] = i == j;
        ck_assert(dw_banded_solve(&m, x, 1));
        for (int i = j; i < N && i <= j + KD; i++)
            ck_assert_double_eq_tol(z[j * (KD + 1) + i - j], x[i], 1e-12);
    }
}
END_TEST

/* The basis sums to one and reproduces a straight line from its values at the knots (de Boor 1978:
 * B-splines are a partition of unity and have linear precision). */
START_TEST(splines_are_exact_for_lines_and_stay_in_range)
{
    struct dw_spline s = dw_spline_over(-41.3, 26.2, 1.5);
    ck_assert_double_le(s.step, 1.5 + 1e-12);
    double coef[100];
    ck_assert_int_le(s.n, 100);
    for (int k = 0; k < s.n; k++)
        coef[k] = 2 - 0.25 * (s.first + (k - 1) * s.step);
    for (double x = -41.3; x <= 26.2; x += 0.37) {
        double b[4];
        int at = dw_spline_basis(&s, x, b);
        ck_assert(at >= 0 && at + 4 <= s.n);
        ck_assert_double_eq_tol(b[0] + b[1] + b[2] + b[3], 1, 1e-12);
        ck_assert_double_eq_tol(dw_spline_value(&s, coef, x), 2 - 0.25 * x, 1e-9);
    }
    /* outside: held at the ends; not a number: no crash */
    ck_assert_double_eq_tol(dw_spline_value(&s, coef, 90), 2 - 0.25 * 26.2, 1e-9);
    double b[4];
    ck_assert_int_eq(dw_spline_basis(&s, (double)NAN, b), 0);
    struct dw_spline point = dw_spline_over(5, 5, 1.5);
    ck_assert_int_eq(point.n, 4);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("whittaker");
    TCase *t = tcase_create("all");
    tcase_add_loop_test(t, smoother_gives_the_table, 0,
                        (int)(sizeof published / sizeof published[0]));
    tcase_add_test(t, smoother_passes_polynomials);
    tcase_add_test(t, lambda_of_a_period_gives_half_gain);
    tcase_add_test(t, smoother_refuses_what_has_no_answer);
    tcase_add_test(t, robust_constants);
    tcase_add_test(t, banded_inverse_equals_solved_columns);
    tcase_add_test(t, splines_are_exact_for_lines_and_stay_in_range);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
