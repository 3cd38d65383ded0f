/* region_light.c: see region_light.h. */
#include "decide/veils/region_light.h"
#include "decide/compare/compare.h"
#include "decide/solve/course.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define LEAST_TILES 8 /* of a region that is known */
#define LEAP 0.03     /* stops: a tile that is so far and ... */
#define CHANCE 6.0    /* ... so many standard deviations off the middle of five leapt */
#define BRIGHT 0.25   /* stops: a tile's leap that may be headlights, ... */
#define CARS 10       /* ... and is where one of so many tiles leaps so far */
#define ALONE 0.25    /* of a lamp's step: those before and after are smaller, */
#define QUIET 3.0     /* but for so many standard deviations */
#define FEW 4         /* a lamp lights at most one of so many regions */

/* Whether a tile is known all through, and then adds its light to sum; var: its mean noise. */
static bool add_tile(const struct dw_grids *g, const double *black, size_t first, size_t n,
                     size_t tile, double *sum, double *var)
{
    size_t tiles = (size_t)g->cols * (size_t)g->rows;
    const float *light = g->light + first * tiles + tile, *noise = g->noise + first * tiles + tile;
    const float *lever = g->lever + first * tiles + tile;
    *var = 0;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(light[i * tiles]))
            return false;
        *var += (double)noise[i * tiles] / (double)n;
    }
    for (size_t i = 0; i < n; i++)
        sum[i] += (double)light[i * tiles] - (double)lever[i * tiles] * black[first + i];
    return true;
}

/* Leaps out, and then the mean. leaps: counts large ones, per shot. kept: n values. */
static void settle_tile(double *x, size_t n, double var, double *leaps, double *kept)
{
    double most = fmax(LEAP, CHANCE * sqrt(var)), mean = 0;
    memcpy(kept, x, n * sizeof *x);
    for (size_t i = 2; i + 2 < n; i++) {
        double middle = dw_middle_of_five(kept + i);
        if (fabs(x[i] - middle) > most) {
            leaps[i] += fabs(x[i] - middle) > BRIGHT;
            x[i] = middle;
        }
    }
    for (size_t i = 0; i < n; i++)
        mean += x[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        x[i] -= mean;
}

/* Sum of the light of region r, its mean logarithm 0; false if too little of it is known. */
static bool add_region(const struct dw_grids *g, const double *black, int r, size_t first, size_t n,
                       const double *common, double *sum, double *var, double *work)
{
    double *leaps = work, *x = leaps + n, *kept = x + n, noise = 0, some = 0, mean = 0;
    memset(sum, 0, n * sizeof *sum);
    for (int k = 0; k < g->cols * g->rows; k++) {
        double v;
        if (dw_pair_region(g->cols, g->rows, k) != r)
            continue;
        for (size_t i = 0; i < n; i++)
            x[i] = -common[i];
        if (!add_tile(g, black, first, n, (size_t)k, x, &v))
            continue;
        settle_tile(x, n, v, leaps, kept);
        for (size_t i = 0; i < n; i++)
            sum[i] += exp2(x[i]);
        noise += v;
        some++;
    }
    if (some < LEAST_TILES)
        return false;
    for (size_t i = 0; i < n; i++)
        mean += log2(sum[i]) / (double)n;
    for (size_t i = 0; i < n; i++)
        sum[i] *= exp2(-mean);
    *var = noise / (some * some);
    return true;
}

/* How region r's light changed in step j beside what the middle one did, stops. */
static double own_step(const double *light, size_t n, size_t r, size_t j, double middle)
{
    return log2(light[r * n + j + 1] / light[r * n + j]) - middle;
}

static double middle_step(const double *light, size_t known, size_t n, size_t j, double *work)
{
    for (size_t r = 0; r < known; r++)
        work[r] = own_step(light, n, r, j, 0);
    return dw_median(work, known);
}

/* What changes from one shot to the next in a few regions, and neither before nor after, is a lamp
 * that went on or off: no part of what passes, so that step is taken off. middle: n values. */
static void take_lamps_off(double *light, const double *var, size_t known, size_t n, double *middle)
{
    double work[DW_COMPARE_REGIONS];
    for (size_t j = 0; j + 1 < n; j++)
        middle[j] = middle_step(light, known, n, j, work);
    for (size_t j = 1; j + 2 < n; j++) {
        size_t lit = 0;
        for (size_t r = 0; r < known; r++) {
            double noise = sqrt(2 * var[r]), own = own_step(light, n, r, j, middle[j]);
            double around = fmax(fabs(own_step(light, n, r, j - 1, middle[j - 1])),
                                 fabs(own_step(light, n, r, j + 1, middle[j + 1])));
            bool alone = fabs(own) > fmax(LEAP, CHANCE * noise) &&
                         around < ALONE * fabs(own) + QUIET * noise;
            work[r] = alone ? own : 0;
            lit += alone;
        }
        for (size_t r = 0; r < known && lit * FEW <= known; r++)
            for (size_t i = j + 1; i < n && fabs(work[r]) > 0; i++)
                light[r * n + i] *= exp2(-work[r]);
    }
}

/* Noise that photons do not account for, as foliage makes it: third differences beside the middle
 * region's, whose middle size is no fog's doing while that comes and goes in less than half of the
 * time. They hold 1 + 9 + 9 + 1 times a value's variance. bend: a value for each of light. */
static void learn_noise(const double *light, size_t known, size_t n, double *var, double *bend)
{
    double work[DW_COMPARE_REGIONS];
    for (size_t j = 0; j + 3 < n; j++) {
        for (size_t r = 0; r < known; r++) {
            const double *x = light + r * n + j;
            bend[r * n + j] = work[r] =
                log2(x[3] * x[1] * x[1] * x[1] / (x[2] * x[2] * x[2] * x[0]));
        }
        double middle = dw_median(work, known);
        for (size_t r = 0; r < known; r++)
            bend[r * n + j] = fabs(bend[r * n + j] - middle);
    }
    for (size_t r = 0; r < known; r++) {
        double sigma = DW_MAD_TO_SIGMA * dw_median(bend + r * n, n - 3);
        var[r] = fmax(var[r], sigma * sigma / 20);
    }
}

size_t dw_region_light(const struct dw_grids *grids, const double *black, size_t first, size_t n,
                       double *common, double *light, double *var, double *work)
{
    size_t known = 0, tiles = 0;
    memset(common, 0, n * sizeof *common);
    for (int k = 0; k < grids->cols * grids->rows; k++) {
        double v;
        tiles += add_tile(grids, black, first, n, (size_t)k, common, &v);
    }
    for (size_t i = 0; i < n && tiles > 0; i++)
        common[i] /= (double)tiles;
    memset(work, 0, n * sizeof *work);
    for (int r = 0; r < dw_pair_regions(grids->cols, grids->rows); r++)
        known +=
            add_region(grids, black, r, first, n, common, light + known * n, var + known, work);
    for (size_t i = 0; i < n; i++)
        if (work[i] * CARS > (double)tiles)
            return 0;
    if (known > 0)
        take_lamps_off(light, var, known, n, work);
    if (known > 0 && n > 3)
        learn_noise(light, known, n, var, work);
    return known;
}
