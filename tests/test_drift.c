/* test_drift.c: a tile's own drift beside the common change. All data are invented. */
#include "check_main.h"

#include "decide/compare/compare.h"

#include <lapacke.h>
#include <math.h>
#include <stdlib.h>

enum { SHOTS = 4000, STEPS = SHOTS - 1, TILES = 7 };

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
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

/* The same by dense least squares, step by step: stops a second. */
static double by_least_squares(const struct drifting *d, int j, int k)
{
    static double a[3 * STEPS], y[STEPS];
    double s[3], mid = middle(d, j);
    double before = d->seconds[j > 0 ? j - 1 : 1];
    double after = d->seconds[j + 1 < STEPS ? j + 1 : j - 1];
    double reach = fmax(540, 4.5 * fmin(before, after));
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

/* Tiles that were mostly still; some steps of some are not known. */
static void depart(struct drifting *d, unsigned *seed)
{
    for (int q = 0; q < STEPS * TILES; q++) {
        d->rel[q] = (float)(0.1 * random_value(seed));
        d->still[q] = (float)(0.9 + 0.2 * random_value(seed));
        if (q % 11 == 3) {
            d->rel[q] = NAN;
            d->still[q] = 0;
        }
    }
}

/* The largest error over all steps, stops a step; gaps: longer steps, of which nothing is asked.
 */
static double worst_error(const struct drifting *d, double gap)
{
    double worst = 0;
    for (int j = 0; j < STEPS; j++)
        for (int k = 0; k < TILES && d->seconds[j] < gap; k++) {
            double rate = (double)d->rate[j * TILES + k];
            ck_assert(isfinite(rate));
            worst = fmax(worst, d->seconds[j] * fabs(rate - by_least_squares(d, j, k)));
        }
    return worst;
}

/* Intervals that change, so that the window widens and shrinks again, and a gap. */
START_TEST(drift_is_a_weighted_parabola)
{
    static struct drifting d;
    unsigned seed = 3;
    for (int i = 1; i < SHOTS; i++)
        d.time[i] = d.time[i - 1] +
                    (i == 2000  ? 40000
                     : i < 1300 ? 200
                     : i < 2600 ? 50
                                : 300) +
                    random_value(&seed);
    depart(&d, &seed);
    find_drift(&d);
    double worst = worst_error(&d, 1000);
    ck_assert_msg(worst < 1e-7, "%g", worst); /* of single precision */
}
END_TEST

/* Shots for a fortnight, and clocks that leap: at first, at last, twice about a single shot, all by
 * fifty years. Nothing far away is left behind in the sums. */
START_TEST(long_shoots_and_leaps_leave_nothing_behind)
{
    static struct drifting d;
    unsigned seed = 5;
    for (int shoot = 0; shoot < 5; shoot++) {
        double interval = shoot == 0 ? 300 : 120;
        for (int i = 1; i < SHOTS; i++) {
            bool leap = (shoot == 1 && i == 1) || (shoot == 2 && i == SHOTS - 1) ||
                        (shoot == 3 && (i == 70 || i == 71)) || (shoot == 4 && i % 40 == 0);
            d.time[i] = d.time[i - 1] + (leap ? 1.6e9 : interval + random_value(&seed));
        }
        depart(&d, &seed);
        find_drift(&d);
        for (int q = 0; q < STEPS * TILES; q++)
            ck_assert(isfinite(d.rate[q]));
        /* beside a lone shot, and in the last one's step, is no parabola */
        double worst = shoot == 3 ? 0 : worst_error(&d, 1e6);
        ck_assert_msg(worst < 1e-5, "shoot %d: %g", shoot, worst);
    }
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
            double u = (j - STEPS / 2) * 2.0 / STEPS;
            d.rel[j * TILES + k] = (float)(0.01 * k + 0.2 * u - 0.003 * k * u * u);
            d.still[j * TILES + k] = 1;
        }
    find_drift(&d);
    for (int q = 0; q < STEPS * TILES; q++)
        ck_assert_double_eq_tol((double)d.rate[q] * 120, (double)d.rel[q], 1e-6);
}
END_TEST

/* Of a tile that was thought to move nearly always the median tells, over a longer time, if it
 * explains more: here two of nine steps were thought still, and were leaps. About the step at work,
 * at short intervals as well. */
START_TEST(a_doubtful_tile_is_told_by_its_median)
{
    static struct drifting d;
    const double intervals[] = {120, 60, 10, 2};
    unsigned seed = 7;
    for (int shoot = 0; shoot < 4; shoot++) {
        for (int i = 0; i < SHOTS; i++)
            d.time[i] = intervals[shoot] * i;
        for (int j = 0; j < STEPS; j++)
            for (int k = 0; k < TILES; k++) {
                bool leap = (j + k) % 9 < 2;
                double slow = 1e-5 * (j - 60) * intervals[shoot]; /* evenly more */
                d.rel[j * TILES + k] = (float)(slow + (leap ? (j + k) % 18 < 9 ? 0.3 : -0.3 : 0) +
                                               1e-4 * random_value(&seed));
                d.still[j * TILES + k] = leap;
            }
        find_drift(&d);
        for (int j = 35; j < STEPS - 35; j++)
            for (int k = 0; k < TILES; k++)
                ck_assert_double_eq_tol((double)d.rate[j * TILES + k] / 1e-5, j - 60, 8);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("drift");
    TCase *t = tcase_create("drift");
    tcase_add_test(t, drift_is_a_weighted_parabola);
    tcase_add_test(t, long_shoots_and_leaps_leave_nothing_behind);
    tcase_add_test(t, bent_drifts_are_found_exactly);
    tcase_add_test(t, a_doubtful_tile_is_told_by_its_median);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
