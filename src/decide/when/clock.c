/* clock.c: slides the measured light along the sun's altitude and keeps the whole quarter hour
 * at which dusk and dawn lie upon one law and that law is the sky's.
 *
 * Every offset in use since 1972 is a multiple of 15 minutes between -12:00 and +14:00 (IANA time
 * zone database), so a search over 105 candidates is complete. */
#include "decide/when/clock.h"
#include "decide/steps.h"
#include "decide/when/sun_table.h"
#include "base/robust.h"

#include <math.h>

#define STEP_S 900
#define FIRST_S (-12 * 3600)
#define CANDIDATES 105 /* to +14:00 */
#define MAX_PROBES 240
#define STEEP_FROM_DEG -13.0 /* where light changes by more than half a stop a degree */
#define STEEP_TO_DEG 3.0
#define WIDEST_DEG 4.0 /* between two probes that light is interpolated from */
#define LEAST_PAIRS 3

/* Middle light of a shot by its record; NAN without. */
static double middle_light(const struct dw_work *w, size_t i, double *work)
{
    const struct dw_measure *m = &w->survey->measure[i];
    const struct dw_shot *s = &w->shots->shot[i];
    if (!m->usable || !m->tile || !isfinite(s->ev100))
        return (double)NAN;
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++) {
        double level = (double)m->tile[k].mean[1] - (double)m->black[1];
        if (isfinite(level))
            work[n++] = level;
    }
    double level = n ? dw_median(work, n) : 0;
    return level > 0 ? log2(level) + s->ev100 : (double)NAN;
}

/* How badly light fits the sky's law at these altitudes: the law's night floor is the unknown
 * level that fits best of a few. Robust: mean of limited absolute residuals. */
static double misfit(const double *light, const double *alt, size_t n, double *work)
{
    double best = INFINITY;
    for (int floor_step = 0; floor_step < 5; floor_step++) {
        double night = 5e-4 * pow(4, floor_step); /* lux: from starlight to a town's sky */
        for (size_t i = 0; i < n; i++)
            work[i] = light[i] - log2(dw_sun_illuminance_lx(alt[i]) + night);
        double middle = dw_median(work, n), sum = 0;
        for (size_t i = 0; i < n; i++) {
            double r = light[i] - log2(dw_sun_illuminance_lx(alt[i]) + night) - middle;
            sum += fmin(fabs(r), 4);
        }
        best = fmin(best, sum / (double)n);
    }
    return best;
}

/* Light of the rising sun at altitude h, between the two nearest probes; NAN without such. */
static double rising_light(const double *light, const double *alt, const bool *rising, size_t n,
                           double h)
{
    size_t below = n, above = n;
    for (size_t i = 0; i < n; i++) {
        if (!rising[i])
            continue;
        if (alt[i] <= h && (below == n || alt[i] > alt[below]))
            below = i;
        if (alt[i] > h && (above == n || alt[i] < alt[above]))
            above = i;
    }
    if (below == n || above == n || alt[above] - alt[below] > WIDEST_DEG)
        return (double)NAN;
    double part = (h - alt[below]) / (alt[above] - alt[below]);
    return light[below] + part * (light[above] - light[below]);
}

/* How far dusk and dawn lie apart at equal altitude of the sun, stops, the median over the steep
 * part of twilight; 0 where one of the two is missing. This is the sharp one of the two measures:
 * a quarter of an hour moves dusk and dawn apart by some 5 degrees, which is 5 stops, while the
 * law of a camera's picture may well lie a stop beside the sky's. */
static double asymmetry(const double *light, const double *alt, const bool *rising, size_t n,
                        double *work)
{
    size_t k = 0;
    for (size_t i = 0; i < n; i++) {
        if (rising[i] || alt[i] < STEEP_FROM_DEG || alt[i] > STEEP_TO_DEG)
            continue;
        double other = rising_light(light, alt, rising, n, alt[i]);
        if (isfinite(other))
            work[k++] = fabs(light[i] - other);
    }
    return k >= LEAST_PAIRS ? dw_median(work, k) : 0;
}

enum dw_status dw_clock_judge(struct dw_work *w, const struct dw_site *site, const double *clock,
                              struct dw_clock_fit *fit, struct dw_error *err)
{
    size_t stride = w->n / MAX_PROBES + 1, n = 0;
    double *tile = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    double *light = DW_TAKE(&w->arena, MAX_PROBES + 1, double);
    double *time = DW_TAKE(&w->arena, MAX_PROBES + 1, double);
    double *alt = DW_TAKE(&w->arena, MAX_PROBES + 1, double);
    double *work = DW_TAKE(&w->arena, MAX_PROBES + 1, double);
    if (!tile || !light || !time || !alt || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory while judging the camera's clock");
    for (size_t i = 0; i < w->n && n < MAX_PROBES; i += stride) {
        light[n] = middle_light(w, i, tile);
        time[n] = clock[i];
        n += isfinite(light[n]);
    }
    /* without enough light the place's mean solar time is the best guess */
    fit->offset_s = (int)(round(remainder(site->lon_deg, 360) / 15 * 4) * STEP_S);
    fit->sure = false;
    if (n < 12)
        return DW_OK;
    bool *rising = DW_TAKE(&w->arena, MAX_PROBES + 1, bool);
    if (!rising)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory while judging the camera's clock");
    double first = INFINITY, last = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        first = fmin(first, time[i]);
        last = fmax(last, time[i]);
    }
    struct dw_sun_table sun;
    enum dw_status status = dw_sun_table_make(site, first - FIRST_S - (CANDIDATES - 1) * STEP_S,
                                              last - FIRST_S + 60, &w->arena, &sun, err);
    if (status < 0)
        return status;
    double bad[CANDIDATES], best = INFINITY, rival = INFINITY;
    for (int c = 0; c < CANDIDATES; c++) {
        for (size_t i = 0; i < n; i++) {
            double utc = time[i] - (FIRST_S + c * STEP_S);
            alt[i] = dw_sun_table_altitude(&sun, utc);
            double later = dw_sun_table_altitude(&sun, utc + 60);
            rising[i] = later > alt[i];
        }
        bad[c] = misfit(light, alt, n, work) + asymmetry(light, alt, rising, n, work);
        if (bad[c] < best) {
            best = bad[c];
            fit->offset_s = FIRST_S + c * STEP_S;
        }
    }
    for (int c = 0; c < CANDIDATES; c++) {
        /* two quarters away is another clock, one may tie; a day apart is the same one */
        double apart = remainder(FIRST_S + c * STEP_S - fit->offset_s, 86400);
        if (fabs(apart) > 2 * STEP_S)
            rival = fmin(rival, bad[c]);
    }
    fit->sure = rival > best * 1.1 + 0.02;
    return DW_OK;
}
