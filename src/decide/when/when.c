/* when.c: where and when each shot was taken, and how high the sun stood. */
#include "decide/steps.h"
#include "decide/when/clock.h"
#include "decide/when/sun_table.h"
#include "base/robust.h"

#include <math.h>
#include <stdlib.h>

static int compare_ints(const void *a, const void *b)
{
    int x = *(const int *)a, y = *(const int *)b;
    return (x > y) - (x < y);
}

enum dw_status dw_find_site(const struct dw_shots *shots, const struct dw_site *given,
                            struct dw_site *out, struct dw_error *err)
{
    if (given) {
        *out = *given;
        return DW_OK;
    }
    double *lat = malloc((shots->n + 1) * sizeof *lat), *lon = malloc((shots->n + 1) * sizeof *lon);
    size_t n = 0;
    enum dw_status status = DW_OK;
    for (size_t i = 0; lat && lon && i < shots->n; i++) {
        const struct dw_shot *s = &shots->shot[i];
        if (!s->has_gps || !(fabs(s->lat_deg) <= 90) || !(fabs(s->lon_deg) <= 360))
            continue;
        lat[n] = s->lat_deg;
        /* about the first one, so that a median across the date line is right */
        lon[n] = n ? lon[0] + remainder(s->lon_deg - lon[0], 360) : s->lon_deg;
        n++;
    }
    if (!lat || !lon)
        status = dw_fail(err, DW_ERR_MEMORY, "out of memory while reading GPS tags");
    else if (n == 0)
        status =
            dw_fail(err, DW_ERR_USAGE,
                    "the site is not known, and none of the %zu frames has GPS tags; say where the "
                    "camera stood, in degrees, north and east positive, such as --site 46.40,8.10 "
                    "(a tenth of a degree is good enough)",
                    shots->n);
    else
        *out = (struct dw_site){dw_median(lat, n), remainder(dw_median(lon, n), 360), 0};
    free(lat);
    free(lon);
    return status;
}

/* The commonest offset tag; false without any. */
static bool tagged_offset(const struct dw_work *w, int *sorted, int *offset_s)
{
    size_t n = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->shots->shot[i].has_offset)
            sorted[n++] = w->shots->shot[i].offset_s;
    if (n == 0)
        return false;
    qsort(sorted, n, sizeof *sorted, compare_ints);
    size_t best = 0;
    for (size_t i = 0, run = 0; i < n; i++) {
        run = i && sorted[i] == sorted[i - 1] ? run + 1 : 1;
        if (run > best) {
            best = run;
            *offset_s = sorted[i];
        }
    }
    return true;
}

/* Clock readings of shots without one, from their neighbours in the table. */
static enum dw_status fill_clock(struct dw_work *w, double *clock, struct dw_error *err)
{
    size_t known = 0;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shot *s = &w->shots->shot[i];
        bool has = (s->has_clock || s->clock_guessed) && isfinite(s->clock_s);
        clock[i] = has ? s->clock_s : (double)NAN;
        known += has;
    }
    if (known == 0)
        return dw_fail(err, DW_ERR_USAGE,
                       "none of the %zu frames holds a capture time, so the sun's altitude cannot "
                       "be known; set DateTimeOriginal in the files",
                       w->n);
    for (size_t i = 0; i < w->n; i++) {
        if (isfinite(clock[i]))
            continue;
        size_t j = i;
        while (j < w->n && !isfinite(clock[j]))
            j++;
        if (i == 0)
            for (size_t k = i; k < j; k++)
                clock[k] = clock[j] - (double)(j - k);
        else if (j == w->n)
            for (size_t k = i; k < j; k++)
                clock[k] = clock[i - 1] + (double)(k - i + 1);
        else
            for (size_t k = i; k < j; k++)
                clock[k] = clock[i - 1] +
                           (clock[j] - clock[i - 1]) * (double)(k - i + 1) / (double)(j - i + 1);
    }
    return DW_OK;
}

enum dw_status dw_altitude(const struct dw_site *site, double utc, double *alt,
                           struct dw_error *err)
{
    struct dw_horizontal sun;
    enum dw_status status = dw_sun(site, utc, &sun);
    if (status < 0)
        return dw_fail(
            err, status,
            "the sun's altitude at Unix time %.0f cannot be computed: the camera's "
            "clock must lie in the years 1972 to 2099 and the latitude within 90 degrees",
            utc);
    *alt = sun.alt_deg;
    return DW_OK;
}

static enum dw_status find_times(struct dw_work *w, const struct dw_facts *facts,
                                 const double *clock, struct dw_error *err)
{
    double first = INFINITY, last = -INFINITY, half = 0;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shot *s = &w->shots->shot[i];
        /* a shot's own tag knows of a change of the clock in mid-shoot */
        bool own = s->has_offset && !w->params->has_utc_offset;
        /* without a record the exposure was most likely as long as the one before */
        if (s->has_shutter && s->shutter_s > 0)
            half = s->shutter_s / 2;
        w->utc[i] = clock[i] - (own ? s->offset_s : facts->utc_offset_s) + half;
        first = fmin(first, w->utc[i]);
        last = fmax(last, w->utc[i]);
    }
    /* few shots over a long time are quicker asked one by one */
    struct dw_sun_table sun = {0, 0, 0, NULL};
    bool many = dw_sun_table_points(first, last) < (double)w->n;
    enum dw_status status = DW_OK;
    if (many)
        status = dw_sun_table_make(&facts->site, first, last, &w->arena, &sun, err);
    for (size_t i = 0; i < w->n && status >= 0; i++)
        if (many)
            w->alt[i] = dw_sun_table_altitude(&sun, w->utc[i]);
        else
            status = dw_altitude(&facts->site, w->utc[i], &w->alt[i], err);
    return status;
}

static double median_interval(struct dw_work *w, double *step)
{
    size_t n = 0;
    for (size_t i = 0; i + 1 < w->n; i++)
        if (w->utc[i + 1] - w->utc[i] > 1e-3)
            step[n++] = w->utc[i + 1] - w->utc[i];
    return n ? dw_median(step, n) : 60;
}

enum dw_status dw_when(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    double *clock = DW_TAKE(&w->arena, w->n, double);
    int *tags = DW_TAKE(&w->arena, w->n, int);
    w->utc = DW_TAKE(&w->arena, w->n, double);
    w->alt = DW_TAKE(&w->arena, w->n, double);
    if (!clock || !tags || !w->utc || !w->alt)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    const struct dw_decide_params *p = w->params;
    enum dw_status status =
        dw_find_site(w->shots, p->has_site ? &p->site : NULL, &facts->site, err);
    w->site = facts->site;
    if (status >= 0)
        status = fill_clock(w, clock, err);
    if (status < 0)
        return status;
    if (w->params->has_utc_offset)
        facts->utc_offset_s = w->params->utc_offset_s;
    else if (!tagged_offset(w, tags, &facts->utc_offset_s)) {
        struct dw_clock_fit fit;
        status = dw_clock_judge(w, &facts->site, clock, &fit, err);
        if (status < 0)
            return status;
        facts->utc_offset_s = fit.offset_s;
        int minutes = abs(fit.offset_s) / 60;
        dw_say(w->run, fit.sure ? DW_INFO : DW_WARNING,
               "the frames do not say how the camera's clock stands to UTC; %s %c%02d:%02d (give "
               "it with --utc-offset if that is wrong)",
               fit.sure ? "by the light it is" : "the light does not settle it; taken as",
               fit.offset_s < 0 ? '-' : '+', minutes / 60, minutes % 60);
    }
    status = find_times(w, facts, clock, err);
    if (status < 0)
        return status;
    w->interval = facts->interval_s = median_interval(w, clock);
    return DW_OK;
}
