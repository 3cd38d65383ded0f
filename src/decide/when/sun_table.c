/* sun_table.c: see sun_table.h. The sine of the altitude is smooth even through the zenith, a wave
 * of a day: eight points of Lagrange 1800 s apart miss it by less than 1e-9. */
#include "decide/when/sun_table.h"
#include "decide/steps.h"
#include "base/lagrange.h"

#include <math.h>

#define STEP_S 1800.0
#define MOST 200000 /* eleven years: beyond, steps grow */
#define DEGREES 57.295779513082320877
enum { POINTS = 8, BEFORE = POINTS / 2 - 1 };

double dw_sun_table_points(double from, double to)
{
    return ceil((to - from) / fmax(STEP_S, (to - from) / MOST)) + POINTS;
}

enum dw_status dw_sun_table_make(const struct dw_site *site, double from, double to,
                                 struct dw_arena *arena, struct dw_sun_table *out,
                                 struct dw_error *err)
{
    out->step = fmax(STEP_S, (to - from) / MOST);
    out->first = from - BEFORE * out->step;
    out->n = (size_t)dw_sun_table_points(from, to);
    out->sine = DW_TAKE(arena, out->n, double);
    if (!out->sine)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the sun's path");
    for (size_t i = 0; i < out->n; i++) {
        double alt;
        enum dw_status status = dw_altitude(site, out->first + (double)i * out->step, &alt, err);
        if (status < 0)
            return status;
        out->sine[i] = sin(alt / DEGREES);
    }
    return DW_OK;
}

double dw_sun_table_altitude(const struct dw_sun_table *table, double utc)
{
    double last = (double)(table->n - POINTS);
    double u = fmax(0, fmin((utc - table->first) / table->step - BEFORE, last)), sine = 0;
    size_t first = (size_t)u;
    double share[POINTS];
    dw_lagrange_eight(u - (double)first + BEFORE, share); /* in points from the first of eight */
    for (int i = 0; i < POINTS; i++)
        sine += share[i] * table->sine[first + (size_t)i];
    return DEGREES * asin(fmax(-1, fmin(1, sine)));
}
