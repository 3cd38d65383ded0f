/* key.c: the light of a shot as one number. */
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

/* The key is the mean of log2 light over the tiles that no lamp lights, each limited to so many
 * stops about their median: smooth in every tile, so that it cannot switch from one population of
 * tiles to another as a median does when the sky passes the ground in twilight. The picture's takes
 * a glow in little. Whether a shot is exposed as the camera is wont to is a matter of all that it
 * shows: a sun that breaks through over half the ground moves the middle more than the whole. */
#define KEY_REACH_STOPS 0.8
#define WHOLE_REACH_STOPS 1.5

static double mean_within(double reach, double middle, const double *share_log2, size_t n)
{
    double sum = 0;
    for (size_t k = 0; k < n; k++) { /* fmin and fmax would be calls for each */
        double off = share_log2[k] - middle;
        off = off < reach ? off : reach;
        sum += middle + (off > -reach ? off : -reach);
    }
    return sum / (double)n;
}

void dw_key_of_shot(struct dw_work *w, size_t i, const struct dw_levels *l, double *work)
{
    const struct dw_measure *m = &w->survey->measure[i];
    double *share = work + w->tiles;
    w->key[i] = w->whole[i] = (double)NAN;
    if (!m->usable || !m->tile)
        return;
    double black = (double)l->black[1], range = (double)l->white - black;
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++) {
        double level = (double)m->tile[k].mean[1] - black, part = level / range;
        /* a tile darker than black still counts: as dark as the limit allows */
        if (isfinite(level) && !(w->lamp && w->lamp[k]))
            share[n++] = log2(part > 1e-9 ? part : 1e-9) + dw_lift(w, i, k);
    }
    if (n == 0)
        return;
    memcpy(work, share, n * sizeof *work);
    double middle = dw_median(work, n); /* reorders work */
    w->key[i] = mean_within(KEY_REACH_STOPS, middle, share, n) + w->ev[i];
    w->whole[i] = mean_within(WHOLE_REACH_STOPS, middle, share, n) + w->ev[i];
}
