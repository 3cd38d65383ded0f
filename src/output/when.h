/* when.h: instants as text. */
#ifndef DW_OUTPUT_WHEN_H
#define DW_OUTPUT_WHEN_H

#include <stdbool.h>

/* ISO 8601 in UTC to the millisecond: 2026-06-21T23:04:05.678Z. "" for NAN. */
void dw_when_utc(double utc_s, char out[32]);
/* Local date and time for people: 2026-06-21 23:04:05. "time unknown" for NAN. */
void dw_when_local(double utc_s, int offset_s, char out[32]);
/* Reads what dw_when_utc wrote, or any number of decimals; false if it is not of that form. */
bool dw_when_parse(const char *text, double *utc_s);

#endif
