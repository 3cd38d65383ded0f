/* day.c: see day.h. */
#include "output/telling/day.h"

#include <math.h>
#include <stdlib.h>

#define STEP_S 300 /* between samples: the sun moves at most 1.25 degrees */
#define MOST_SAMPLES 3000

const double dw_sky_limit_deg[DW_SKY_PARTS - 1] = {-18, -12, -6, -50.0 / 60};

static enum dw_sky_part part_of(double sun_deg)
{
    int part = DW_SKY_NIGHT;
    while (part < DW_SKY_DAY && sun_deg > dw_sky_limit_deg[part])
        part++;
    return (enum dw_sky_part)part;
}

const char *dw_sky_name(enum dw_sky_part part)
{
    static const char *const name[DW_SKY_PARTS] = {"night", "astronomical twilight",
                                                   "nautical twilight", "civil twilight", "day"};
    return name[part];
}

const char *dw_sky_event(enum dw_sky_part from, enum dw_sky_part to)
{
    static const char *const ends[] = {"Night begins", "Nautical twilight ends",
                                       "Civil twilight ends", "Sunset"};
    static const char *const begins[] = {"Night ends", "Nautical twilight begins",
                                         "Civil twilight begins", "Sunrise"};
    return to < from ? ends[to] : begins[from];
}

/* When the sun passes `limit` between two samples, by bisection to a second. */
static double passing(const struct dw_site *site, double limit, double low_s, double high_s,
                      bool rising)
{
    while (high_s - low_s > 0.5) {
        double middle = (low_s + high_s) / 2;
        struct dw_horizontal sun;
        if (dw_sun(site, middle, &sun) < 0)
            break;
        if ((sun.alt_deg > limit) == rising)
            high_s = middle;
        else
            low_s = middle;
    }
    return (low_s + high_s) / 2;
}

static enum dw_status sample(const struct dw_site *site, struct dw_day *d, struct dw_error *err)
{
    for (size_t i = 0; i < d->n; i++) {
        struct dw_horizontal sun, moon;
        double lit;
        d->t[i] = d->first_s + (d->last_s - d->first_s) * (double)i / (double)(d->n - 1);
        if (dw_sun(site, d->t[i], &sun) < 0 || dw_moon(site, d->t[i], &moon, &lit) < 0)
            return dw_fail(err, DW_ERR_USAGE,
                           "sun and moon cannot be computed for Unix time %.0f at latitude %g",
                           d->t[i], site->lat_deg);
        d->sun_deg[i] = sun.alt_deg;
        d->moon_deg[i] = moon.alt_deg;
        if (i == d->n / 2)
            d->moon_lit_share = lit;
    }
    return DW_OK;
}

static void find_stretches(const struct dw_site *site, struct dw_day *d)
{
    enum dw_sky_part part = part_of(d->sun_deg[0]);
    struct dw_sky_stretch *s = d->stretch;
    *s = (struct dw_sky_stretch){d->first_s, d->last_s, part};
    for (size_t i = 1; i < d->n; i++) {
        enum dw_sky_part next = part_of(d->sun_deg[i]);
        while (part != next) { /* a tropical sun may cross two limits between samples */
            bool rising = next > part;
            int limit = rising ? (int)part : (int)part - 1;
            double at = passing(site, dw_sky_limit_deg[limit], d->t[i - 1], d->t[i], rising);
            s->to_s = at;
            part = (enum dw_sky_part)((int)part + (rising ? 1 : -1));
            *++s = (struct dw_sky_stretch){at, d->last_s, part};
        }
    }
    d->n_stretches = (size_t)(s - d->stretch) + 1;
}

enum dw_status dw_day_make(const struct dw_site *site, double first_s, double last_s, int offset_s,
                           struct dw_day *out, struct dw_error *err)
{
    *out = (struct dw_day){.first_s = first_s, .last_s = last_s, .offset_s = offset_s};
    if (!isfinite(first_s) || !isfinite(last_s))
        return dw_fail(err, DW_ERR_USAGE, "the times of the shoot are not known");
    if (last_s < first_s + 60)
        out->last_s = first_s + 60; /* an axis needs some length */
    out->n = (size_t)fmin(ceil((out->last_s - first_s) / STEP_S) + 2, MOST_SAMPLES);
    out->t = calloc(3 * out->n, sizeof *out->t);
    out->stretch = calloc(5 * out->n, sizeof *out->stretch);
    if (!out->t || !out->stretch) {
        dw_day_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the timeline");
    }
    out->sun_deg = out->t + out->n;
    out->moon_deg = out->sun_deg + out->n;
    enum dw_status status = sample(site, out, err);
    if (status < 0)
        dw_day_free(out);
    else
        find_stretches(site, out);
    return status;
}

enum dw_status dw_day_of_shoot(const struct dw_decision *d, struct dw_day *out,
                               struct dw_error *err)
{
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < d->n_shots; i++)
        if (isfinite(d->ledger[i].utc_s)) {
            low = fmin(low, d->ledger[i].utc_s);
            high = fmax(high, d->ledger[i].utc_s);
        }
    return dw_day_make(&d->facts.site, low, high, d->facts.utc_offset_s, out, err);
}

void dw_day_free(struct dw_day *d)
{
    free(d->t);
    free(d->stretch);
    d->t = NULL;
    d->stretch = NULL;
}

double dw_day_step(const struct dw_day *d, int most, double *first_s)
{
    static const double round_h[] = {0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 168};
    size_t k = 0;
    const size_t last = sizeof round_h / sizeof *round_h - 1;
    while (k < last && (d->last_s - d->first_s) / (3600 * round_h[k]) > most)
        k++;
    double step = 3600 * round_h[k];
    *first_s = ceil((d->first_s + d->offset_s) / step) * step - d->offset_s;
    return step;
}
