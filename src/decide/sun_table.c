/* sun_table.c: see sun_table.h. The sine of the altitude is smooth even through the zenith; four
 * points of Lagrange 300 s apart miss it by less than 1e-8. */
#include "decide/sun_table.h"
#include "decide/steps.h"

#include <math.h>

#define STEP_S 300.0
#define MOST 200000 /* nearly two years: beyond, steps grow */
#define DEGREES 57.295779513082320877

enum dw_status dw_sun_table_make(const struct dw_site *site, double from, double to,
                                 struct dw_arena *arena, struct dw_sun_table *out,
                                 struct dw_error *err)
{
    out->first = from;
    out->step = fmax(STEP_S, (to - from) / MOST);
    out->n = (size_t)ceil((to - from) / out->step) + 4;
    out->sine = DW_TAKE(arena, out->n, double);
    if (!out->sine)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the sun's path");
    for (size_t i = 0; i < out->n; i++) {
        double alt;
        enum dw_status status =
            dw_altitude(site, out->first + ((double)i - 1) * out->step, &alt, err);
        if (status < 0)
            return status;
        out->sine[i] = sin(alt / DEGREES);
    }
    return DW_OK;
}

double dw_sun_table_altitude(const struct dw_sun_table *table, double utc)
{
    double u = fmax(0, fmin((utc - table->first) / table->step, (double)(table->n - 4)));
    size_t i = (size_t)u;
    double x = u - (double)i; /* between points i+1 and i+2 of the table */
    const double *y = table->sine + i;
    double v = y[0] * (-x * (x - 1) * (x - 2) / 6) + y[1] * ((x + 1) * (x - 1) * (x - 2) / 2) +
               y[2] * (-(x + 1) * x * (x - 2) / 2) + y[3] * ((x + 1) * x * (x - 1) / 6);
    return DEGREES * asin(fmax(-1, fmin(1, v)));
}
