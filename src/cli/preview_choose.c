/* preview_choose.c: which shots a preview shows. See preview.h. */
#include "cli/preview.h"

#include <math.h>
#include <stdlib.h>

#define CLOSER 4.0     /* as many frames a degree around the crossover as elsewhere */
#define MARGIN_DEG 6.0 /* of what counts as around it: from deep blue to golden light */

/* Altitude stretched where frames shall lie closer. */
static double stretched(double alt, double night, double day)
{
    double low = night - MARGIN_DEG, high = day + MARGIN_DEG;
    double inside = fmin(fmax(alt, low), high);
    return alt + (CLOSER - 1) * (inside - low);
}

static int ascending(const void *a, const void *b)
{
    size_t x = *(const size_t *)a, y = *(const size_t *)b;
    return (x > y) - (x < y);
}

size_t dw_preview_choose(const double *alt, size_t n, double night, double day, size_t wanted,
                         size_t *chosen)
{
    double low = (double)INFINITY, high = -low;
    for (size_t i = 0; i < n; i++) {
        if (isnan(alt[i]))
            continue;
        low = fmin(low, stretched(alt[i], night, day));
        high = fmax(high, stretched(alt[i], night, day));
    }
    size_t count = 0;
    for (size_t k = 0; k < wanted; k++) {
        double target = wanted > 1 ? low + (high - low) * (double)k / (double)(wanted - 1) : low;
        size_t best = n;
        double nearest = (double)INFINITY;
        for (size_t i = 0; i < n; i++) {
            bool taken = isnan(alt[i]);
            for (size_t j = 0; j < count && !taken; j++)
                taken = chosen[j] == i;
            double d = taken ? (double)INFINITY : fabs(stretched(alt[i], night, day) - target);
            if (d < nearest) {
                nearest = d;
                best = i;
            }
        }
        if (best < n)
            chosen[count++] = best;
    }
    qsort(chosen, count, sizeof *chosen, ascending);
    return count;
}
