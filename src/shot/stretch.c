/* stretch.c: see stretch.h. */
#include "shot/stretch.h"

#include <math.h>
#include <stdlib.h>
#include <time.h>

#define DAY_S 86400.0

struct moment {
    bool dated, seconds; /* was written with a date, with seconds */
    double day_s, of_day_s;
};

/* Exactly `digits` digits at *p, which moves behind them; -1 if there are others. */
static int number(const char **p, int digits)
{
    int v = 0;
    for (int i = 0; i < digits; i++, ++*p) {
        if (**p < '0' || **p > '9')
            return -1;
        v = 10 * v + (**p - '0');
    }
    return v;
}

static bool read_date(const char **p, double *day_s)
{
    const char *c = *p;
    struct tm tm = {0};
    int year = number(&c, 4);
    if (year < 0 || *c++ != '-')
        return false;
    int month = number(&c, 2);
    if (month < 0 || *c++ != '-')
        return false;
    int day = number(&c, 2);
    if (day < 0 || (*c != 'T' && *c != 't' && *c != ' '))
        return false;
    tm.tm_year = year - 1900;
    tm.tm_mon = month - 1;
    tm.tm_mday = day;
    struct tm same = tm;
    *day_s = (double)timegm(&same);
    if (same.tm_mon != tm.tm_mon || same.tm_mday != tm.tm_mday)
        *day_s = (double)NAN; /* there is no such day */
    *p = c + 1;
    return true;
}

/* [YYYY-MM-DDT]HH:MM[:SS]. NAN for what no clock shows. */
static bool read_moment(const char **p, struct moment *m)
{
    *m = (struct moment){0};
    m->dated = read_date(p, &m->day_s);
    const char *c = *p;
    int hour = number(&c, 2);
    if (hour < 0) {
        c = *p;
        hour = number(&c, 1);
    }
    if (hour < 0 || *c++ != ':')
        return false;
    int minute = number(&c, 2), second = 0;
    if (minute < 0)
        return false;
    m->seconds = *c == ':';
    if (m->seconds) {
        c++;
        second = number(&c, 2);
        if (second < 0)
            return false;
    }
    bool shown = hour < 24 || (hour == 24 && minute == 0 && second == 0);
    m->of_day_s =
        shown && minute < 60 && second < 60 ? hour * 3600.0 + minute * 60.0 + second : (double)NAN;
    *p = c;
    return true;
}

enum dw_stretch_kind dw_stretch_read(const char *text, struct dw_stretch *out, const char **why)
{
    struct moment from, to;
    *why = "";
    if (!read_moment(&text, &from) || *text++ != '-' || !read_moment(&text, &to) || *text != '\0')
        return DW_STRETCH_NONE;
    if (!isfinite(from.day_s + from.of_day_s + to.day_s + to.of_day_s)) {
        *why = "no clock shows that time";
        return DW_STRETCH_WRONG;
    }
    if (to.dated && !from.dated) {
        *why = "a date stands before its end alone; put one before its beginning";
        return DW_STRETCH_WRONG;
    }
    double beyond = to.seconds ? 1 : 60; /* 04:40 is over when the clock says 04:41 */
    *out = (struct dw_stretch){from.dated, from.day_s + from.of_day_s,
                               (to.dated ? to.day_s : from.day_s) + to.of_day_s + beyond};
    if (from.dated && !to.dated && out->to <= out->from)
        out->to += DAY_S;
    if (out->dated && out->to <= out->from) {
        *why = "it ends before it begins";
        return DW_STRETCH_WRONG;
    }
    return DW_STRETCH_GOOD;
}

bool dw_stretch_holds(const struct dw_stretch *s, double clock_s, long *day)
{
    *day = (long)floor(clock_s / DAY_S);
    if (s->dated)
        return clock_s >= s->from && clock_s < s->to;
    double of_day = clock_s - (double)*day * DAY_S;
    if (s->to > s->from)
        return of_day >= s->from && of_day < s->to;
    if (of_day >= s->from)
        return true;
    --*day; /* past midnight */
    return of_day < s->to;
}
