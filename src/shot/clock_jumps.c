/* clock_jumps.c: see clock_jumps.h. */
#include "shot/clock_jumps.h"

#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

#define HOUR 3600.0
#define CLEARLY_BACK_S 2.0   /* less is the rounding of a clock without fractions */
#define EVEN_TOLERANCE_S 2.0 /* of the spacing around a jump, or... */
#define EVEN_SHARE 0.25      /* ...this share of the spacing */
#define STEADY_SHARE 0.1     /* spread of the spacing that still counts as an even series */
enum { LEAST_JUMPS = 3, FRAMES_PER_JUMP = 200, NEAR_NUMBERS = 20 };

/* Differences of timed neighbours, per number; returns how many. */
static size_t differences(const struct dw_place *p, size_t n, bool numbered, double *v)
{
    size_t m = 0;
    const struct dw_place *last = NULL;
    for (size_t i = 0; i < n; i++) {
        if (!p[i].timed)
            continue;
        if (last && p[i].t > last->t) {
            double steps = numbered ? (double)(p[i].count - last->count) : 1;
            if (steps > 0)
                v[m++] = (p[i].t - last->t) / steps;
        }
        last = &p[i];
    }
    return m;
}

double dw_usual_step(const struct dw_place *p, size_t n, bool numbered)
{
    double *v = malloc((n + 1) * sizeof *v);
    if (!v)
        return 0;
    size_t m = differences(p, n, numbered, v);
    double step = m ? dw_median(v, m) : 0;
    free(v);
    return step;
}

/* An interval timer's even series, so that a leap of an hour cannot be a pause by chance. */
static bool evenly_spaced(const struct dw_place *p, size_t n, double step)
{
    double *v = malloc(2 * (n + 1) * sizeof *v);
    if (!v)
        return false;
    size_t m = differences(p, n, true, v);
    double spread = m > 3 ? dw_mad_sigma(v, m, step, v + n + 1) : (double)INFINITY;
    free(v);
    return spread <= fmax(STEADY_SHARE * step, 0.6);
}

/* The shift that belongs behind a gap of `d` seconds over `numbers` of the counter; 0 if none. */
static double shift_for(double d, long numbers, double step, bool even)
{
    double expected = step * (double)numbers, shift = expected - d;
    double tolerance = fmax(EVEN_TOLERANCE_S, EVEN_SHARE * expected);
    double hours = round(shift / HOUR);
    bool whole = fabs(hours) >= 1 && fabs(shift - hours * HOUR) <= tolerance;
    if (d < -CLEARLY_BACK_S)
        return whole ? hours * HOUR : shift;
    return even && whole && hours == -1 && numbers <= 3 ? -HOUR : 0;
}

static bool near_number(const struct dw_place *a, const struct dw_place *b)
{
    return a->count >= 0 && b->count > a->count && b->count - a->count <= NEAR_NUMBERS;
}

static size_t count_falls(const struct dw_place *p, size_t n, bool *all_near)
{
    size_t falls = 0;
    const struct dw_place *last = NULL;
    for (size_t i = 0; i < n; i++) {
        if (!p[i].timed || !p[i].shot->readable)
            continue;
        if (last && p[i].t - last->t < -CLEARLY_BACK_S) {
            falls++;
            *all_near = *all_near && near_number(last, &p[i]);
        }
        last = &p[i];
    }
    return falls;
}

/* A broken file's own clock is believed only where it fits between its numbers' neighbours. */
static void drop_misfits(struct dw_place *p, size_t n)
{
    double low = -(double)INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (p[i].timed && p[i].shot->readable)
            low = fmax(low, p[i].t);
        if (p[i].timed && !p[i].shot->readable && p[i].count >= 0 && p[i].t < low)
            p[i].timed = p[i].shot->has_clock = false;
    }
    double high = (double)INFINITY;
    for (size_t i = n; i-- > 0;) {
        if (p[i].timed && p[i].shot->readable)
            high = fmin(high, p[i].t);
        if (p[i].timed && !p[i].shot->readable && p[i].count >= 0 && p[i].t > high)
            p[i].timed = p[i].shot->has_clock = false;
    }
}

static void tell(const struct dw_run *run, const struct dw_place *at, double d, double shift)
{
    double hours = shift / HOUR;
    if (hours == round(hours))
        dw_say(run, DW_WARNING,
               "%s: the camera's clock jumps by %+.0f h here while the file numbers go on: this "
               "and the following frames are set %+.0f h",
               at->shot->name, -hours, hours);
    else
        dw_say(run, DW_WARNING,
               "%s: the camera's clock falls back by %.0f s here while the file numbers go on: "
               "this and the following frames are set %+.0f s, which keeps their spacing",
               at->shot->name, -d, shift);
}

void dw_take_out_clock_jumps(struct dw_place *p, size_t n, const struct dw_run *run)
{
    bool all_near = true;
    size_t falls = count_falls(p, n, &all_near);
    double step = dw_usual_step(p, n, true);
    if (!all_near || falls > LEAST_JUMPS + n / FRAMES_PER_JUMP || step <= 0)
        return; /* the numbers are not the order of capture: the clock stands as it is */
    bool even = evenly_spaced(p, n, step);
    double total = 0;
    const struct dw_place *last = NULL;
    for (size_t i = 0; i < n; i++) {
        if (!p[i].timed)
            continue;
        p[i].t += total;
        if (last && p[i].shot->readable && near_number(last, &p[i])) {
            double d = p[i].t - last->t, shift = shift_for(d, p[i].count - last->count, step, even);
            if (shift != 0) {
                tell(run, &p[i], d, shift);
                p[i].t += shift;
                total += shift;
            }
        }
        p[i].shift = total;
        if (p[i].shot->readable)
            last = &p[i];
    }
    drop_misfits(p, n);
}
