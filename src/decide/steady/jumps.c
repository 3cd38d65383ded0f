/* jumps.c: records that are plainly wrong (see dw_find_jumps). */
#include "decide/steady/steady.h"
#include "base/robust.h"

#include <math.h>

#define LEAST_JUMP 0.2 /* stops: no shutter errs by so much, no light leaps so in all tiles */
#define SAME_JUMP 0.08 /* there and back agree to this; several times what shutters err by */
#define MOST_SHOTS 300 /* a longer stretch may as well be the rest that is wrong */

enum { WIDE = 7 }; /* steps to either side; no fewer than dw_steps_about names */

/* The steps of a shoot; about: as many to either side tell the slow change (dw_steps_about). */
struct steps {
    const struct dw_pair *pair;
    const double *time;
    size_t n, about;
};

/* Change of step j beyond what the steps about, so many to either side, usually change. */
static double beyond(const struct steps *s, size_t j, size_t about)
{
    double rate[2 * WIDE + 1];
    size_t n = 0;
    for (size_t i = j > about ? j - about : 0; i < s->n && i <= j + about; i++)
        rate[n++] = s->pair[i].v / fmax(s->time[i + 1] - s->time[i], 1e-3);
    return s->pair[j].v - dw_median(rate, n) * (s->time[j + 1] - s->time[j]);
}

/* Change of step j beyond the slow change of its neighbourhood, be that a wide or a near one: the
 * wide one errs where dusk is fastest, if shots are far apart, and the near one by chance. NAN
 * where nothing is sure. */
static double excess(const struct steps *s, size_t j)
{
    if (!s->pair[j].agree || s->pair[j].var > 1e-3)
        return (double)NAN;
    double near = beyond(s, j, s->about), wide = beyond(s, j, WIDE);
    return fabs(near) < fabs(wide) ? near : wide;
}

void dw_find_jumps(const struct dw_pair *pair, size_t n, const double *time, double usual_s,
                   const bool *loose, double *jump)
{
    const struct steps s = {pair, time, n > 0 ? n - 1 : 0, dw_steps_about(usual_s)};
    for (size_t i = 0; i < n; i++)
        jump[i] = 0;
    for (size_t j = 0; j + 1 < n; j++) {
        double there = excess(&s, j);
        if (!(fabs(there) > LEAST_JUMP) || loose[j] || loose[j + 1])
            continue;
        for (size_t k = j + 1; k + 1 < n && k <= j + MOST_SHOTS; k++) {
            double back = excess(&s, k);
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
