/* voices.c: a cloud before the sun takes light from all the ground near the camera at once, which
 * is one witness and not as many as it has tiles; clouds before the sky take each its own part. So
 * how much regions come and go together is learnt, from the shots about each span. */
#include "decide/cloud/returns_state.h"

#include <math.h>
#include <string.h>

#define UNMOVED 1e-4 /* stops^2: of a region's leaps, what is none of cloud's doing */
#define MOST 0.3     /* stops: of one tile's leap, so that no tile speaks for its region */

/* How each region's light leaps in every shot beside the two about it, whatever may be taken for
 * exposure later: what would be learnt from that, it would confirm. */
static void find_leaps(struct dw_returns *r)
{
    size_t regions = (size_t)r->regions;
    memset(r->leap, 0, r->n * regions * sizeof *r->leap);
    for (size_t i = 1; i + 1 < r->n; i++) {
        double known[DW_COMPARE_REGIONS] = {0}, *leap = r->leap + i * regions;
        if (r->from[i] == i || r->to[i] == i + 1)
            continue;
        for (size_t k = 0; k < r->tiles; k++) {
            const float *x = r->beside + k * r->n + i;
            double d = (double)x[0] - 0.5 * ((double)*(x - 1) + (double)x[1]);
            if (!isfinite(d))
                continue;
            leap[r->region[k]] += fmin(fmax(d, -MOST), MOST);
            known[r->region[k]]++;
        }
        for (size_t g = 0; g < regions; g++)
            leap[g] /= fmax(known[g], 1);
    }
}

/* Second moments of the leaps over shots first .. end-1; those of g with h <= g. */
static void find_moments(const struct dw_returns *r, size_t first, size_t end, double *alike)
{
    size_t regions = (size_t)r->regions;
    double share = 1 / (double)(end - first);
    memset(alike, 0, regions * regions * sizeof *alike);
    for (size_t i = first; i < end; i++) {
        const double *leap = r->leap + i * regions;
        for (size_t g = 0; g < regions; g++)
            for (size_t h = 0; h <= g; h++)
                alike[g * regions + h] += share * leap[g] * leap[h];
    }
}

void dw_returns_find_voices(struct dw_returns *r)
{
    size_t regions = (size_t)r->regions, span = DW_RETURNS_SPAN;
    find_leaps(r);
    for (size_t b = 0; b * span < r->n; b++) {
        double *alike = r->alike + b * regions * regions, *voice = r->voice + b * regions;
        size_t end = (b + 2) * span < r->n ? (b + 2) * span : r->n;
        find_moments(r, b > 1 ? (b - 1) * span : 0, end, alike);
        double sd[DW_COMPARE_REGIONS];
        for (size_t g = 0; g < regions; g++)
            sd[g] = sqrt(alike[g * regions + g] + UNMOVED);
        for (size_t g = 0; g < regions; g++)
            for (size_t h = 0; h <= g; h++)
                alike[g * regions + h] = alike[h * regions + g] =
                    g == h ? 1 : fmax(0, alike[g * regions + h] / (sd[g] * sd[h]));
        for (size_t g = 0; g < regions; g++) {
            double sum = 0;
            for (size_t h = 0; h < regions; h++)
                sum += alike[g * regions + h];
            voice[g] = 1 / sum;
        }
    }
}
