/* moon_table.h: the moon's altitude and light over a shoot, by interpolation between exact answers
 * half an hour apart. Thousands of shots ask, and an exact answer takes tens of microseconds. */
#ifndef DW_DECIDE_MOON_TABLE_H
#define DW_DECIDE_MOON_TABLE_H

#include "decide/arena.h"

#include <daywheel/sky.h>

struct dw_moon_point {
    double sine; /* of her altitude */
    double lit;  /* share of her disc */
    bool known;
};

struct dw_moon_table {
    struct dw_site site;
    double first, step;          /* Unix seconds; s */
    size_t n;                    /* 0: of a span beyond reason; each instant is asked for exactly */
    struct dw_moon_point *point; /* at first + i*step, when it has been asked for */
};

/* For instants from..to; only what is asked for is ever computed. Errors: DW_ERR_MEMORY. */
enum dw_status dw_moon_table_make(const struct dw_site *site, double from, double to,
                                  struct dw_arena *arena, struct dw_moon_table *out,
                                  struct dw_error *err);
/* Altitude in degrees and lit share as dw_moon's, the sine and the share within 1e-9. False where
 * dw_moon knows none. Instants outside the table are taken at its nearer end. */
bool dw_moon_table_at(struct dw_moon_table *table, double utc, double *alt_deg, double *lit);

#endif
