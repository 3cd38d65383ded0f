/* instant.h: a Unix time on the scales that astronomy needs. */
#ifndef DW_SKY_INSTANT_H
#define DW_SKY_INSTANT_H

#include <daywheel/base.h>

/* Two-part Julian dates, as ERFA takes them: a half-integer day and a fraction of it. */
struct dw_instant {
    double day;          /* Julian date at 0h */
    double ut1;          /* fraction of the day, UT1 (taken equal to UTC) */
    double tt;           /* fraction of the day, terrestrial time; may exceed 1 */
    enum dw_status warn; /* DW_WARN when the leap-second table is older than the date */
};

/* Years 1972..2099, the span of whole leap seconds and of the header's promise; DW_ERR_USAGE
 * outside it and for a time that is not a number. */
enum dw_status dw_instant_of(double utc_s, struct dw_instant *out);

#endif
