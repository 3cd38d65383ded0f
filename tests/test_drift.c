/* test_drift.c: a tile's own drift beside the common change. All data are invented. */
#include "check_main.h"

#include "decide/compare/compare.h"

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHOTS = 120, STEPS = SHOTS - 1, TILES = 37 };

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* Seconds before shot i: intervals that change. */
static double interval(int i)
{
    return i < 40 ? 120 : i < 70 ? 60 : 300;
}

/* Departures and how still tiles were in each step, and room for what is found. */
struct drifting {
    double time[SHOTS], seconds[STEPS];
    float rel[STEPS * TILES], still[STEPS * TILES], rate[STEPS * TILES];
    float noise[SHOTS * TILES], excess[(STEPS / DW_COMPARE_BLOCK + 1) * TILES];
};

static void find_drift(struct drifting *d)
{
    const struct dw_pair_params params = DW_PAIR_DEFAULTS;
    const struct dw_grids grids = {.n = SHOTS, .time = d->time, .noise = d->noise};
    struct dw_compare c = {.g = &grids,
                           .p = &params,
                           .tiles = TILES,
                           .steps = STEPS,
                           .seconds = d->seconds,
                           .rel = d->rel,
                           .still = d->still,
                           .rate = d->rate,
                           .excess = d->excess};
    void *work = malloc(dw_own_drift_work(TILES));
    ck_assert_ptr_nonnull(work);
    for (int j = 0; j < STEPS; j++)
        d->seconds[j] = d->time[j + 1] - d->time[j];
    dw_own_drift(&c, 0, TILES, work);
    free(work);
}

static double middle(const struct drifting *d, int j)
{
    return 0.5 * (d->time[j] + d->time[j + 1]);
}

/* The same by dense least squares, step by step: stops a second; least: by the singular values. */
static double by_least_squares(const struct drifting *d, int j, int k)
{
    double a[3 * STEPS], y[STEPS], s[3], mid = middle(d, j);
    double reach = fmax(540, 4.5 * interval(j + 1));
    int n = 0, rank, lo = 0;
    while (middle(d, lo) < mid - reach)
        lo++;
    for (int i = lo; i < STEPS && middle(d, i) <= mid + reach; i++) {
        double u = (middle(d, i) - mid) / 600;
        double root = sqrt((double)d->still[i * TILES + k] * d->seconds[i]);
        a[3 * n] = root;
        a[3 * n + 1] = root * u;
        a[3 * n + 2] = root * u * u;
        y[n++] = root > 0 ? root * (double)d->rel[i * TILES + k] / d->seconds[i] : 0;
    }
    ck_assert_int_eq(LAPACKE_dgelss(LAPACK_ROW_MAJOR, n, 3, 1, a, 3, y, 1, s, 1e-12, &rank), 0);
    ck_assert_int_eq(rank, 3);
    return y[0];
}

/* Intervals that change, and a night left out; tiles still to all degrees, but mostly. */
START_TEST(drift_is_a_weighted_parabola)
{
    static struct drifting d;
    unsigned seed = 3;
    for (int i = 1; i < SHOTS; i++)
        d.time[i] = d.time[i - 1] + (i == 70 ? 40000 : interval(i));
    for (int q = 0; q < STEPS * TILES; q++) {
        d.rel[q] = (float)(0.1 * random_value(&seed));
        d.still[q] = (float)(0.9 + 0.2 * random_value(&seed));
        if (q % 11 == 3) {
            d.rel[q] = NAN;
            d.still[q] = 0;
        }
    }
    find_drift(&d);
    double worst = 0;
    for (int j = 0; j < STEPS; j++)
        for (int k = 0; k < TILES; k++) {
            if (j != 69) /* the gap itself */
                worst =
                    fmax(worst, fabs((double)d.rate[j * TILES + k] - by_least_squares(&d, j, k)));
        }
    ck_assert_msg(worst < 1e-9, "stops a second: %g", worst); /* single precision holds 1e-10 */
}
END_TEST

/* Drifts that bend evenly are right at both ends as well. */
START_TEST(bent_drifts_are_found_exactly)
{
    static struct drifting d;
    for (int i = 0; i < SHOTS; i++)
        d.time[i] = 120.0 * i;
    for (int j = 0; j < STEPS; j++)
        for (int k = 0; k < TILES; k++) {
            double u = (j - 60) / 60.0;
            d.rel[j * TILES + k] = (float)(0.01 * k + 0.2 * u - 0.003 * k * u * u);
            d.still[j * TILES + k] = 1;
        }
    find_drift(&d);
    for (int q = 0; q < STEPS * TILES; q++)
        ck_assert_double_eq_tol((double)d.rate[q] * 120, (double)d.rel[q], 1e-6);
}
END_TEST

/* A clock that leaps by fifty years leaves nothing of what was before it. */
START_TEST(a_leap_of_the_clock_leaves_nothing)
{
    static struct drifting d, apart;
    unsigned seed = 5;
    for (int i = 0; i < SHOTS; i++) {
        d.time[i] = 120.0 * i + (i >= 60 ? 1.6e9 : 0);
        apart.time[i] = 120.0 * i + (i >= 60 ? 1e5 : 0);
    }
    for (int q = 0; q < STEPS * TILES; q++) {
        d.rel[q] = apart.rel[q] = (float)(0.1 * random_value(&seed));
        d.still[q] = apart.still[q] = 1;
    }
    find_drift(&d);
    find_drift(&apart);
    for (int q = 0; q < STEPS * TILES; q++)
        if (q / TILES != 59) /* the leap itself */
            ck_assert_double_eq_tol((double)d.rate[q], (double)apart.rate[q], 1e-9);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("drift");
    TCase *t = tcase_create("drift");
    tcase_add_test(t, drift_is_a_weighted_parabola);
    tcase_add_test(t, bent_drifts_are_found_exactly);
    tcase_add_test(t, a_leap_of_the_clock_leaves_nothing);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
