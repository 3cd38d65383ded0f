/* turns.c: see turns.h. Sky and ground, and the sky's own parts, give back of a moon's light
 * another share than of the sun's: while it takes over from dusk, or rises, tiles part by a stop or
 * two within a quarter of an hour. What each source gives is published well enough to tell when. */
#include "decide/cloud/turns.h"

#include <daywheel/sky.h>
#include <math.h>

#define UNIT_S 120.0
#define NIGHT_LX 1e-3    /* a clear night without a moon (common practice, no source) */
#define ENDS_DEG (-18)   /* of the formula */
#define FADES 0.65       /* stops a degree: as it did there light goes on to fade */
#define LEAST_ABOVE 0.01 /* stops: a moon that lifts such a tile by less is none */
#define TIMES_MORE 3.0   /* that a tile may give back of one source beside the others */

/* Lux from the sun, at any altitude. */
static double from(double alt)
{
    return dw_sun_illuminance_lx(alt) * exp2(FADES * fmin(0, alt - ENDS_DEG));
}

/* What such a tile's light is above the others' in one shot, for sun and moon, stops. */
static void part(const struct dw_sources *by, size_t i, double above[2])
{
    double sun = from(by->alt[i]);
    double moon = by->moon_beside[i] * from(by->moon_deg[i]);
    double all = sun + moon + NIGHT_LX;
    above[0] = log2(1 + TIMES_MORE * sun / all);
    above[1] = log2(1 + TIMES_MORE * moon / all);
}

void dw_turns_find(const struct dw_sources *by, const double *time, size_t n, double *bend)
{
    for (size_t i = 0; i < n; i++)
        bend[i] = 0;
    for (size_t i = 1; i + 1 < n && by->moon_deg; i++) {
        double above[3][2], unit = (time[i + 1] - time[i - 1]) / (2 * UNIT_S);
        if (!(unit > 0))
            continue;
        for (size_t q = 0; q < 3; q++)
            part(by, i + q - 1, above[q]);
        /* the night itself takes over so slowly that the usual bend holds it */
        if (!(fmax(above[0][1], above[2][1]) > LEAST_ABOVE))
            continue;
        for (int source = 0; source < 2; source++)
            bend[i] += fabs(above[0][source] - 2 * above[1][source] + above[2][source]);
        /* of the slope in 120 s, which wanders with the root of time */
        bend[i] /= unit * sqrt(unit);
    }
}
