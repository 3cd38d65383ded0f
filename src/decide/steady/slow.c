/* slow.c: light that was taken for exposure (see dw_slow_light). */
#include "decide/solve/whittaker.h"
#include "decide/steady/steady.h"
#include "base/robust.h"

#include <math.h>

#define REACH 6     /* shots to either side in the first, rough look */
#define PERIOD 24.0 /* shots: waves shorter than this count as exposure error */
#define UNSURE 1.7  /* times chance: still nothing is believed */
#define SURE 3.0
#define ROUNDS 3

/* Rough look: running medians, which single shots cannot pull. */
static void medians(const double *own, const double *tie, size_t n, double *slow)
{
    double window[2 * REACH + 1];
    for (size_t i = 0; i < n; i++) {
        size_t m = 0;
        for (size_t j = i > REACH ? i - REACH : 0; j < n && j <= i + REACH; j++)
            if (tie[j] > 0)
                window[m++] = own[j];
        slow[i] = m ? dw_median(window, m) : 0;
    }
}

/* Share of the slow part that is believed, for its rms in units of what chance allows. */
static double believed(double z)
{
    double x = fmax(0, fmin(1, (z - UNSURE) / (SURE - UNSURE)));
    return x * x * x * (x * (6 * x - 15) + 10);
}

enum dw_status dw_slow_light(const double *own, const double *tie, size_t n, double sigma,
                             struct dw_arena *arena, double *slow)
{
    size_t mark = arena->n;
    double *weight = DW_TAKE(arena, n, double), *share = DW_TAKE(arena, n, double);
    if (!weight || !share)
        return DW_ERR_MEMORY;
    double lambda = dw_whittaker_lambda(PERIOD, 2);
    enum dw_status status = DW_OK;
    medians(own, tie, n, slow);
    for (int round = 0; round < ROUNDS && status == DW_OK; round++) {
        for (size_t i = 0; i < n; i++)
            weight[i] = tie[i] * dw_tukey_weight(own[i] - slow[i], 4.685 * sigma) + 1e-6;
        status = dw_whittaker(own, weight, (int)n, lambda, 2, slow);
    }
    /* How much of it is light, from its power hereabouts against what chance leaves after averaging
     * about PERIOD/3 errors. In doubt it stays an error: light that wavers within an hour is seen
     * in a sequence, light that was calmed by a hundredth of a stop is not. */
    double chance = sigma / sqrt(PERIOD / 3);
    for (size_t i = 0; i < n; i++)
        share[i] = slow[i] * slow[i];
    if (status == DW_OK)
        status = dw_whittaker(share, NULL, (int)n, lambda, 2, share);
    for (size_t i = 0; i < n && status == DW_OK; i++)
        slow[i] *= believed(sqrt(fmax(0, share[i])) / chance);
    dw_arena_free_to(arena, mark);
    return status;
}
