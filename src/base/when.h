/* when.h: instants as text, and text as instants. Instants are Unix seconds; a camera's or a local
 * clock is given as if it were UTC, with an offset of 0. */
#ifndef DW_BASE_WHEN_H
#define DW_BASE_WHEN_H

#include <stdbool.h>

/* ISO 8601 in UTC to the millisecond: 2026-06-21T23:04:05.678Z. "" for NAN. */
void dw_when_utc(double utc_s, char out[32]);
/* Local date and time for people: 2026-06-21 23:04:05. "time unknown" for NAN. */
void dw_when_local(double utc_s, int offset_s, char out[32]);
/* The same to the minute, without its seconds. */
void dw_when_minute(double utc_s, int offset_s, char out[32]);
/* Two of them, the second without its date where it is the first's:
 * 2026-06-21 23:04 – 2026-06-22 01:10. */
void dw_when_span(double from_s, double to_s, int offset_s, char out[80]);
/* Local date and time as Exif and OpenEXR write them: 2026:06:21 23:04:05. The second is cut, not
 * rounded, for its fraction goes beside it. False, and "", for NAN and years without four digits.
 */
bool dw_when_exif(double utc_s, int offset_s, char out[20]);
/* UTC+02:00 */
void dw_when_offset(int offset_s, char out[16]);
/* Reads what dw_when_utc wrote, or any number of decimals; false if it is not of that form. */
bool dw_when_parse(const char *text, double *utc_s);

#endif
