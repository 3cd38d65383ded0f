/* when.h: instants as text, and signed numbers as people read them. */
#ifndef DW_OUTPUT_WHEN_H
#define DW_OUTPUT_WHEN_H

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
/* UTC+02:00 */
void dw_when_offset(int offset_s, char out[16]);
/* Reads what dw_when_utc wrote, or any number of decimals; false if it is not of that form. */
bool dw_when_parse(const char *text, double *utc_s);

/* A number with a true minus sign (U+2212), and none before a zero; "?" where unknown. */
void dw_signed(int decimals, double v, char out[32]);

#endif
