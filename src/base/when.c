/* when.c: see when.h. */
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Years 0 to 9999: what four digits can say. */
static bool broken_down(double s, struct tm *tm)
{
    if (!(s > -6.2e10 && s < 2.53e11))
        return false;
    time_t t = (time_t)s;
    return gmtime_r(&t, tm) != NULL && tm->tm_year >= -1900 && tm->tm_year <= 8099;
}

void dw_when_utc(double utc_s, char out[32])
{
    out[0] = '\0';
    double ms = floor(utc_s * 1000 + 0.5);
    double s = floor(ms / 1000);
    struct tm tm;
    if (!isfinite(utc_s) || !broken_down(s, &tm))
        return;
    char base[24];
    strftime(base, sizeof base, "%Y-%m-%dT%H:%M:%S", &tm);
    snprintf(out, 32, "%s.%03dZ", base, (int)(ms - 1000 * s));
}

void dw_when_local(double utc_s, int offset_s, char out[32])
{
    struct tm tm;
    if (!isfinite(utc_s) || !broken_down(floor(utc_s + 0.5) + offset_s, &tm))
        strcpy(out, "time unknown");
    else
        strftime(out, 32, "%Y-%m-%d %H:%M:%S", &tm);
}

void dw_when_minute(double utc_s, int offset_s, char out[32])
{
    dw_when_local(utc_s, offset_s, out);
    if (strlen(out) == 19)
        out[16] = '\0';
}

void dw_when_span(double from_s, double to_s, int offset_s, char out[80])
{
    char from[32], to[32];
    dw_when_minute(from_s, offset_s, from);
    dw_when_minute(to_s, offset_s, to);
    bool one_day = strlen(to) == 16 && strncmp(from, to, 11) == 0;
    snprintf(out, 80, "%s \xe2\x80\x93 %s", from, one_day ? to + 11 : to);
}

bool dw_when_exif(double utc_s, int offset_s, char out[20])
{
    struct tm tm;
    out[0] = '\0';
    return isfinite(utc_s) && broken_down(floor(utc_s) + offset_s, &tm) &&
           strftime(out, 20, "%Y:%m:%d %H:%M:%S", &tm) > 0;
}

void dw_when_offset(int offset_s, char out[16])
{
    int minutes = abs(offset_s) / 60;
    snprintf(out, 16, "UTC%s%02d:%02d", offset_s < 0 ? "\xe2\x88\x92" : "+", minutes / 60 % 100,
             minutes % 60);
}

bool dw_when_parse(const char *text, double *utc_s)
{
    struct tm tm = {0};
    int used = 0;
    if (sscanf(text, "%4d-%2d-%2dT%2d:%2d:%2d%n", &tm.tm_year, &tm.tm_mon, &tm.tm_mday, &tm.tm_hour,
               &tm.tm_min, &tm.tm_sec, &used) != 6 ||
        tm.tm_mon < 1 || tm.tm_mon > 12)
        return false;
    const char *rest = text + used;
    long digits = 0;
    double unit = 1;
    if (*rest == '.')
        for (rest++; *rest >= '0' && *rest <= '9' && unit < 1e9; rest++) {
            digits = digits * 10 + (*rest - '0');
            unit *= 10;
        }
    if (strcmp(rest, "Z") != 0)
        return false;
    tm.tm_year -= 1900;
    tm.tm_mon -= 1;
    *utc_s = (double)timegm(&tm) + (double)digits / unit;
    return true;
}
