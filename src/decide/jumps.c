/* jumps.c: records that are plainly wrong (see dw_find_jumps). */
#include "decide/steady.h"
#include "base/robust.h"

#include <math.h>

#define LEAST_JUMP 0.2 /* stops: no shutter errs by so much, no light leaps so in all tiles */
#define SAME_JUMP 0.08 /* there and back agree to this; several times what shutters err by */
#define MOST_SHOTS 300 /* a longer stretch may as well be the rest that is wrong */
#define REACH 7

/* Change of step j beyond the slow change of its neighbourhood; NAN where nothing is sure. */
static double excess(const struct dw_pair *pair, size_t steps, const double *time, size_t j)
{
    double rate[2 * REACH + 1];
    size_t n = 0;
    if (!pair[j].agree || pair[j].var > 1e-3)
        return (double)NAN;
    for (size_t i = j > REACH ? j - REACH : 0; i < steps && i <= j + REACH; i++)
        rate[n++] = pair[i].v / fmax(time[i + 1] - time[i], 1e-3);
    return pair[j].v - dw_median(rate, n) * (time[j + 1] - time[j]);
}

void dw_find_jumps(const struct dw_pair *pair, size_t n, const double *time, const bool *loose,
                   double *jump)
{
    for (size_t i = 0; i < n; i++)
        jump[i] = 0;
    for (size_t j = 0; j + 1 < n; j++) {
        double there = excess(pair, n - 1, time, j);
        if (!(fabs(there) > LEAST_JUMP) || loose[j] || loose[j + 1])
            continue;
        for (size_t k = j + 1; k + 1 < n && k <= j + MOST_SHOTS; k++) {
            double back = excess(pair, n - 1, time, k);
            if (!(fabs(back) > LEAST_JUMP) || loose[k] || loose[k + 1])
                continue;
            if (fabs(there + back) < SAME_JUMP) {
                for (size_t i = j + 1; i <= k; i++)
                    jump[i] = 0.5 * (there - back);
                j = k;
            }
            /* another leap first: not a stretch that begins here */
            break;
        }
    }
}
