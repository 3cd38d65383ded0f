/* day.h: the sky over a shoot as its timeline shows it: when twilights begin and end, where sun and
 * moon stand, and round hours for an axis. */
#ifndef DW_OUTPUT_DAY_H
#define DW_OUTPUT_DAY_H

#include <daywheel/decide.h>

/* Depths of the sun, after the usual definitions (Explanatory Supplement to the Astronomical
 * Almanac, 1992, section 9.3): sunrise and sunset at -50' (34' refraction, 16' radius), civil,
 * nautical and astronomical twilight at -6, -12 and -18 degrees. */
enum dw_sky_part { DW_SKY_NIGHT, DW_SKY_ASTRO, DW_SKY_NAUTICAL, DW_SKY_CIVIL, DW_SKY_DAY };
#define DW_SKY_PARTS 5
extern const double dw_sky_limit_deg[DW_SKY_PARTS - 1]; /* between part i and part i + 1 */

/* A stretch of one part of the sky. */
struct dw_sky_stretch {
    double from_s, to_s; /* Unix seconds */
    enum dw_sky_part part;
};

struct dw_day {
    double first_s, last_s; /* of the shoot, Unix seconds */
    int offset_s;           /* local minus UTC */
    size_t n;               /* samples, evenly spaced from first_s to last_s */
    double *t, *sun_deg, *moon_deg;
    double moon_lit_share; /* of its disc, at mid-shoot */
    size_t n_stretches;
    struct dw_sky_stretch *stretch;
};

/* Errors: DW_ERR_USAGE (times or site that ephemerides do not cover), DW_ERR_MEMORY. */
enum dw_status dw_day_make(const struct dw_site *site, double first_s, double last_s, int offset_s,
                           struct dw_day *out, struct dw_error *err);
/* The day over a decision's shoot, from its first shot to its last. Errors: as dw_day_make. */
enum dw_status dw_day_of_shoot(const struct dw_decision *d, struct dw_day *out,
                               struct dw_error *err);
void dw_day_free(struct dw_day *d);

const char *dw_sky_name(enum dw_sky_part part); /* "nautical twilight" */
/* What the sky begins to be at the end of one stretch: "Sunset", "Civil twilight ends". */
const char *dw_sky_event(enum dw_sky_part from, enum dw_sky_part to);

/* Spacing of round local hours so that at most `most` fall into the shoot, seconds; and the first
 * of them, Unix seconds. */
double dw_day_step(const struct dw_day *d, int most, double *first_s);

#endif
