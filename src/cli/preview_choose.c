/* preview_choose.c: which shots a preview shows. See preview.h. */
#include "cli/preview.h"

#include <math.h>
#include <stdbool.h>
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

/* Walks away from shot `from` while the sun rises. *end: the last shot of the way, *count: how many
 * it holds, `from` included. Gives the altitude reached. */
static double climb(const double *alt, size_t n, size_t from, bool forward, size_t *end,
                    size_t *count)
{
    double highest = alt[from];
    *end = from;
    *count = 1;
    for (size_t i = from; forward ? i + 1 < n : i > 0;) {
        i = forward ? i + 1 : i - 1;
        if (isnan(alt[i]))
            continue;
        if (alt[i] < highest)
            break;
        highest = alt[i];
        *end = i;
        ++*count;
    }
    return highest;
}

void dw_preview_one_flank(double *alt, size_t n, size_t wanted)
{
    size_t darkest = n, first, last, before, after;
    for (size_t i = 0; i < n; i++)
        if (!isnan(alt[i]) && (darkest == n || alt[i] < alt[darkest]))
            darkest = i;
    if (darkest == n)
        return;
    double evening = climb(alt, n, darkest, false, &first, &before);
    double morning = climb(alt, n, darkest, true, &last, &after);
    if (evening >= morning)
        last = darkest;
    else
        first = darkest;
    if ((evening >= morning ? before : after) < wanted)
        return;
    for (size_t i = 0; i < n; i++)
        if (i < first || i > last)
            alt[i] = (double)NAN;
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
