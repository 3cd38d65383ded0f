/* sun_table.h: the sun's altitude over a stretch of time, by interpolation. Thousands of shots and
 * a hundred candidate clocks ask for it, and one exact answer takes tens of microseconds. */
#ifndef DW_DECIDE_SUN_TABLE_H
#define DW_DECIDE_SUN_TABLE_H

#include "decide/arena.h"

#include <daywheel/sky.h>

struct dw_sun_table {
    double first, step; /* Unix seconds; s */
    size_t n;
    double *sine; /* of the altitude at first + i*step */
};

/* So many exact answers a table takes: fewer instants are quicker asked one by one. */
double dw_sun_table_points(double from, double to);
/* Covers from..to. Errors: as dw_sun, and DW_ERR_MEMORY. */
enum dw_status dw_sun_table_make(const struct dw_site *site, double from, double to,
                                 struct dw_arena *arena, struct dw_sun_table *out,
                                 struct dw_error *err);
/* Altitude in degrees, within 0.0001 of dw_sun's (0.01 in the zenith itself, where an altitude
 * hardly depends on anything). Instants outside the table are taken at its nearer end. */
double dw_sun_table_altitude(const struct dw_sun_table *table, double utc);

#endif
