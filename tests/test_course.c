/* test_course.c: a course in time freed of its noise. Values are invented. */
#include "check_main.h"

#include "decide/solve/course.h"
#include "decide/solve/third.h"

#include <math.h>
#include <string.h>

enum { N = 60 };

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* A parabola has no third difference, whatever times it is looked at; without noise nothing is
 * changed. */
START_TEST(what_is_smooth_stays)
{
    struct dw_arena arena = {0};
    double x[N], time[N], was[N];
    unsigned seed = 2;
    for (int i = 0; i < N; i++) {
        time[i] = i ? time[i - 1] + (i % 7 == 3 ? 240 : 120) : 0;
        x[i] = was[i] = 1e-3 * time[i] / 120 - 2e-5 * pow(time[i] / 120 - 20, 2);
    }
    ck_assert_int_eq(dw_course(x, N, 1e-6, 2e-4, time, 120, &arena), DW_OK);
    for (int i = 0; i < N; i++)
        ck_assert_double_eq_tol(x[i], was[i], 1e-9);
    for (int i = 0; i < N; i++)
        x[i] = was[i] = random_value(&seed);
    ck_assert_int_eq(dw_course(x, N, 0, 2e-4, time, 120, &arena), DW_OK);
    ck_assert_int_eq(memcmp(x, was, sizeof x), 0);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* A bank of cloud moves in within a few shots, between calm: noise of 0.003 goes where nothing
 * happens (a parabola in as many values would leave a third of it), and the edges stay where they
 * are, known as well as single values. The answer is where the posterior has its top: there the
 * gradient (f - x)/var + D' (5 D f / (4 quiet^2 + (D f)^2)) is zero, all but what eight rounds
 * leave. */
START_TEST(noise_goes_and_turns_stay)
{
    const double sigma = 0.003, quiet = 2e-4;
    struct dw_arena arena = {0};
    double x[N], f[N], truth[N], time[N], calm = 0, edge = 0, gradient[N];
    unsigned seed = 7;
    for (int i = 0; i < N; i++) {
        double in = fmin(fmax((i - 25) / 4.0, 0), 1);
        time[i] = 120.0 * i;
        truth[i] = 0.4 * in * in * (3 - 2 * in);
        x[i] = f[i] = truth[i] + sigma * sqrt(12) * random_value(&seed);
    }
    ck_assert_int_eq(dw_course(f, N, sigma * sigma, quiet, time, 120, &arena), DW_OK);
    dw_arena_free_to(&arena, 0);
    for (int i = 0; i < N; i++)
        if (i < 23 || i > 31)
            calm += pow(f[i] - truth[i], 2) / (N - 9);
        else
            edge += pow(f[i] - truth[i], 2) / 9;
    ck_assert_double_lt(sqrt(calm), 0.6 * sigma);
    ck_assert_double_lt(sqrt(edge), 1.1 * sigma);
    for (int i = 0; i < N; i++)
        gradient[i] = (f[i] - x[i]) / (sigma * sigma);
    for (int i = 0; i + 3 < N; i++) {
        double bend = f[i + 3] - 3 * f[i + 2] + 3 * f[i + 1] - f[i];
        double pull = 5 * bend / (4 * quiet * quiet + bend * bend);
        gradient[i] -= pull;
        gradient[i + 1] += 3 * pull;
        gradient[i + 2] -= 3 * pull;
        gradient[i + 3] += pull;
    }
    for (int i = 0; i < N; i++) /* beside what the noise of one value does: 1/sigma */
        ck_assert_msg(fabs(gradient[i]) < 0.1 / sigma, "%d: %.4f", i, gradient[i] * sigma);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("course");
    TCase *t = tcase_create("course");
    tcase_add_test(t, what_is_smooth_stays);
    tcase_add_test(t, noise_goes_and_turns_stay);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
