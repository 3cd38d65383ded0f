/* moon_table.c: see moon_table.h. The sine of an altitude is a sum of slow and of daily waves:
 * eight points of Lagrange 1800 s apart miss it by less than 1e-9. */
#include "decide/when/moon_table.h"

#include "base/lagrange.h"

#include <daywheel/base.h>
#include <math.h>

#define STEP_S 1800.0
#define MOST                                                                                       \
    200000 /* points, eleven years: a longer shoot has a clock gone wrong, and few shots           \
            */
#define DEGREES 57.295779513082320877
enum { POINTS = 8, BEFORE = POINTS / 2 - 1 };

enum dw_status dw_moon_table_make(const struct dw_site *site, double from, double to,
                                  struct dw_arena *arena, struct dw_moon_table *out,
                                  struct dw_error *err)
{
    *out = (struct dw_moon_table){.site = *site, .first = from - BEFORE * STEP_S, .step = STEP_S};
    double points = ceil(fmax(to - from, 0) / STEP_S) + POINTS;
    if (!(points <= MOST))
        return DW_OK;
    out->n = (size_t)points;
    out->point = DW_TAKE(arena, out->n, struct dw_moon_point);
    return out->point ? DW_OK : dw_fail(err, DW_ERR_MEMORY, "out of memory for the moon's path");
}

static const struct dw_moon_point *point(struct dw_moon_table *table, size_t i)
{
    struct dw_moon_point *p = &table->point[i];
    struct dw_horizontal moon;
    if (!p->known) {
        bool there =
            dw_moon(&table->site, table->first + (double)i * table->step, &moon, &p->lit) >= 0;
        p->sine = there ? sin(moon.alt_deg / DEGREES) : (double)NAN;
        p->known = true;
    }
    return p;
}

bool dw_moon_table_at(struct dw_moon_table *table, double utc, double *alt_deg, double *lit)
{
    if (table->n == 0) {
        struct dw_horizontal moon = {0};
        bool there = dw_moon(&table->site, utc, &moon, lit) >= 0;
        *alt_deg = moon.alt_deg;
        return there;
    }
    double last = (double)(table->n - POINTS);
    double u = fmax(0, fmin((utc - table->first) / table->step - BEFORE, last)), sine = 0;
    size_t first = (size_t)u;
    double x = u - (double)first + BEFORE; /* in points from the first of eight */
    double share[POINTS];
    dw_lagrange_eight(x, share);
    *lit = 0;
    for (int i = 0; i < POINTS; i++) {
        const struct dw_moon_point *p = point(table, first + (size_t)i);
        sine += share[i] * p->sine;
        *lit += share[i] * p->lit;
    }
    *alt_deg = DEGREES * asin(fmax(-1, fmin(1, sine)));
    return isfinite(sine);
}
