/* instant.c: see instant.h. */
#include "sky/instant.h"

#include <erfa.h>
#include <math.h>

#define UNIX_EPOCH_JD 2440587.5   /* 1970-01-01 0h */
#define FIRST_UTC_S 63072000.0    /* 1972-01-01 0h */
#define BEHIND_UTC_S 4102444800.0 /* 2100-01-01 0h */
#define TT_MINUS_TAI_S 32.184     /* IAU 1991 */

enum dw_status dw_instant_of(double utc_s, struct dw_instant *out)
{
    if (!(utc_s >= FIRST_UTC_S && utc_s < BEHIND_UTC_S))
        return DW_ERR_USAGE;
    double days = floor(utc_s / 86400);
    double fraction = (utc_s - days * 86400) / 86400;
    int year, month, day;
    double rest, tai_minus_utc;
    eraJd2cal(UNIX_EPOCH_JD, days, &year, &month, &day, &rest);
    /* A Unix day always has 86400 s, so we add TAI-UTC ourselves: eraUtctai would stretch the
     * day of a leap second. +1 means "dubious year": the table is older than the date. */
    int answer = eraDat(year, month, day, fraction, &tai_minus_utc);
    if (answer < 0)
        return DW_ERR_USAGE;
    out->day = UNIX_EPOCH_JD + days;
    out->ut1 = fraction;
    out->tt = fraction + (tai_minus_utc + TT_MINUS_TAI_S) / 86400;
    out->warn = answer > 0 ? DW_WARN : DW_OK;
    return DW_OK;
}
