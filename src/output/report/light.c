/* light.c: the light, the corrections, and what may remain of them. */
#include "output/report/report.h"

#include "base/robust.h"
#include "output/report/html.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PLOT 150
#define ABOUT 15            /* shots on each side that a running figure is taken over */
#define SECOND_VARIANCE 1.5 /* of second differences of independent errors: 1 + 1/4 + 1/4 */

/* The quantiles share and 1 - share of the finite values. False without any. */
static bool range_of(const double *v, size_t n, double share, double *low, double *high)
{
    double *known = malloc((n ? n : 1) * sizeof *known);
    size_t k = 0;
    for (size_t i = 0; known && i < n; i++)
        if (isfinite(v[i]))
            known[k++] = v[i];
    if (k > 0) {
        *low = dw_quantile(known, k, share);
        *high = dw_quantile(known, k, 1 - share);
    }
    free(known);
    return k > 0;
}

static void chart(struct dw_report *r, struct dw_chart *c)
{
    c->b = &r->b;
    c->day = &r->day;
    c->height = PLOT;
    c->longest_s = fmax(3 * r->d->facts.interval_s, 60);
}

/* Stops above 1 cd/m^2 as candela, for people: 4,000, 0.25. */
static void luminance_label(double decade, char out[32])
{
    static const char *const name[] = {"0.0001",
                                       "0.001",
                                       "0.01",
                                       "0.1",
                                       "1",
                                       "10",
                                       "100",
                                       "1000",
                                       "10\xe2\x80\xaf"
                                       "000",
                                       "100\xe2\x80\xaf"
                                       "000"};
    int k = (int)decade + 4;
    snprintf(out, 32, "%s cd/m\xc2\xb2", k >= 0 && k < 10 ? name[k] : "?");
}

static void light(struct dw_report *r, double *v)
{
    size_t n = r->d->n_shots;
    struct dw_chart c = {.id = "light"};
    bool known = false;
    for (size_t i = 0; i < n; i++) {
        const struct dw_ledger_row *row = &r->d->ledger[i];
        bool sound = !(row->faults & (DW_UNREADABLE | DW_BRIGHT | DW_DARK));
        v[i] = sound ? row->luminance_stops : (double)NAN;
        known = known || r->shots->shot[i].has_aperture;
    }
    if (!range_of(v, n, 0, &c.low, &c.high))
        return;
    char what[200];
    snprintf(what, sizeof what, "The scene's light over the shoot, spanning %.1f stops.",
             c.high - c.low);
    double margin = fmax(0.06 * (c.high - c.low), 0.2);
    c.low -= margin;
    c.high += margin;
    chart(r, &c);
    dw_buffer_printf(&r->b, "<h3>Light of the scene</h3><p class=\"note\">%s%s</p>\n", what,
                     known ? "" : " Only its changes are known, as the lens told no aperture.");
    dw_chart_begin(&c, "Light of the scene", what);
    dw_chart_sky(&c);
    dw_chart_hours(&c);
    dw_chart_line(&c, "light", r->t, v, n);
    double apart = c.high - c.low > 14 ? 2 : 1;
    for (double decade = -4; decade <= 5; decade++) {
        char label[32];
        double stops = decade * log2(10);
        luminance_label(decade, label);
        if (known && fmod(decade + 4, apart) == 0 && stops > c.low && stops < c.high)
            dw_chart_level(&c, stops, label);
    }
    for (double s = ceil(c.low / 4) * 4; !known && s < c.high; s += 4) {
        char label[32];
        snprintf(label, sizeof label, "%+.0f stops", s);
        dw_chart_level(&c, s, label);
    }
    dw_chart_end(&c);
}

static void corrections(struct dw_report *r, double *v, double *low, double *high)
{
    size_t n = r->d->n_shots;
    struct dw_chart c = {.id = "corrections"};
    double a, b;
    for (size_t i = 0; i < n; i++) {
        const struct dw_ledger_row *row = &r->d->ledger[i];
        v[i] = row->use ? row->flicker_stops : (double)NAN;
        low[i] = v[i] - row->flicker_sigma;
        high[i] = v[i] + row->flicker_sigma;
    }
    if (!range_of(v, n, 0.005, &a, &b))
        return;
    double most = fmax(1.25 * fmax(fabs(a), fabs(b)), 0.02);
    c.low = -most;
    c.high = most;
    chart(r, &c);
    dw_buffer_printf(&r->b,
                     "<h3>Errors of exposure that were found and taken away</h3>"
                     "<p class=\"note\">Each point is a shot: above the line it was brighter than "
                     "its record says. Nearly all lie within %.3f stop. The band is how "
                     "uncertain each one is beside its neighbours (one standard deviation).</p>\n",
                     fmax(fabs(a), fabs(b)));
    dw_chart_begin(&c, "Errors of exposure that were found and taken away",
                   "A band of uncertainty about a line that jumps from shot to shot.");
    dw_chart_hours(&c);
    dw_chart_band(&c, "unsure", r->t, low, high, n);
    dw_chart_line(&c, "error", r->t, v, n);
    double step = most > 0.5 ? 0.5 : most > 0.2 ? 0.1 : most > 0.08 ? 0.05 : 0.01;
    for (double s = -floor(most / step) * step; s < most; s += step) {
        char label[32];
        bool zero = fabs(s) < step / 2;
        snprintf(label, sizeof label, "%s%.2f stop", s < 0 && !zero ? "\xe2\x88\x92" : "", fabs(s));
        dw_chart_level(&c, s,
                       fmod(fabs(round(s / step)), most / step > 4 ? 2 : 1) == 0 ? label : "");
    }
    dw_chart_end(&c);
}

/* Standard deviation from frame to frame over the shots about each: log10 of stops. */
static bool remaining(const struct dw_decision *d, double *v, double *least)
{
    bool any = false;
    for (size_t i = 0; i < d->n_shots; i++) {
        double sum = 0, k = 0;
        for (size_t j = i > ABOUT ? i - ABOUT : 0; j <= i + ABOUT && j < d->n_shots; j++)
            if (isfinite(d->ledger[j].left_stops)) {
                sum += d->ledger[j].left_stops * d->ledger[j].left_stops;
                k++;
            }
        bool known = d->ledger[i].use && isfinite(d->ledger[i].left_stops) && sum > 0;
        v[i] = known ? log10(sqrt(sum / k / SECOND_VARIANCE)) : (double)NAN;
        *least = known ? fmin(*least, v[i]) : *least;
        any = any || known;
    }
    return any;
}

static void remains(struct dw_report *r, double *v)
{
    size_t n = r->d->n_shots;
    struct dw_chart c = {.id = "remains", .low = -4, .high = -0.5};
    double least = HUGE_VAL;
    if (!remaining(r->d, v, &least))
        return;
    c.low = fmin(c.low, fmax(least - 0.2, -6));
    chart(r, &c);
    dw_buffer_printf(&r->b,
                     "<h3>What may remain from frame to frame</h3><p class=\"note\">Standard "
                     "deviation in stops over %d shots about each, the uncertainty of the "
                     "measurement included. Drifts over minutes are not in it: they are not seen "
                     "as flicker. The level line across is what the eye just sees.</p>\n",
                     2 * ABOUT + 1);
    dw_chart_begin(&c, "What may remain from frame to frame",
                   "The flicker that is left, on a scale by tens.");
    dw_chart_sky(&c);
    dw_chart_hours(&c);
    if (r->d->flicker_threshold > 0)
        dw_chart_across(&c, "eye", log10(r->d->flicker_threshold));
    dw_chart_line(&c, "light", r->t, v, n);
    dw_chart_level(&c, -1, "0.1 stop");
    dw_chart_level(&c, -2, "0.01 stop");
    dw_chart_level(&c, -3, "0.001 stop");
    if (c.low < -4.05)
        dw_chart_level(&c, -4, "0.0001 stop");
    dw_chart_end(&c);
}

/* Where a depth of flicker lies on a bar by tens from 0.0001 to 0.1 stop, percent. */
static double on_bar(double stops)
{
    return 100 * fmin(fmax((log10(fmax(stops, 1e-9)) + 4) / 3, 0.01), 1);
}

static void flicker_row(struct dw_report *r, const char *name, double before, double after,
                        double seen)
{
    if (!isfinite(before) || !isfinite(after))
        return;
    dw_buffer_printf(&r->b,
                     "<tr><th scope=\"row\">%s</th><td>%.4f</td><td>%.4f</td><td class=\"bars\">"
                     "<svg aria-hidden=\"true\" width=\"100%%\" height=\"22\"><rect class=\"was\" "
                     "x=\"0\" y=\"2\" width=\"%.1f%%\" height=\"8\"/><rect class=\"is\" x=\"0\" "
                     "y=\"12\" width=\"%.1f%%\" height=\"8\"/><line class=\"eye\" x1=\"%.1f%%\" "
                     "x2=\"%.1f%%\" y1=\"0\" y2=\"22\"/></svg></td><td>%s</td></tr>\n",
                     name, before, after, on_bar(before), on_bar(after), on_bar(seen), on_bar(seen),
                     after < seen       ? "not seen"
                     : after < 2 * seen ? "hardly seen"
                                        : "may be seen");
}

static void flicker(struct dw_report *r)
{
    const struct dw_flicker *before = &r->d->before, *after = &r->d->after;
    const double seen = r->d->flicker_threshold;
    if (!isfinite(before->all) || !isfinite(after->all) || !(seen > 0))
        return;
    dw_buffer_printf(
        &r->b,
        "<h3>Flicker, before and after</h3><p class=\"note\">Standard deviation from frame to "
        "frame, in stops. Shown at %g frames a second, flicker is just seen from %.4f stop in a "
        "large, bright, still field; the upright line marks it, on a scale by tens.</p>\n<table "
        "class=\"wide\"><thead><tr><th scope=\"col\">Part</th><th scope=\"col\">As shot</th>"
        "<th scope=\"col\">Now</th><th scope=\"col\">As shot above, now below</th><th "
        "scope=\"col\">Now, to the eye</th></tr></thead><tbody>\n",
        r->d->fps, seen);
    flicker_row(r, "Whole shoot", before->all, after->all, seen);
    flicker_row(r, "Day", before->day, after->day, seen);
    flicker_row(r, "Twilight", before->twilight, after->twilight, seen);
    flicker_row(r, "Night", before->night, after->night, seen);
    dw_buffer_printf(&r->b, "</tbody></table>\n");
}

/* What settings did to colours and corners, if anything. */
static void settings(struct dw_report *r)
{
    const struct dw_decision *d = r->d;
    double colour = 0, low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < d->n_settings; i++) {
        const struct dw_setting_error *s = &d->setting[i];
        colour = fmax(colour, fmax(fabs(s->red), fabs(s->blue)));
        if (s->corner_sigma > 0) {
            low = fmin(low, s->corner);
            high = fmax(high, s->corner);
        }
    }
    if (d->n_settings == 0)
        return;
    dw_buffer_printf(&r->b, "<h3>Colours and corners</h3><p class=\"note\">");
    if (colour > 0)
        dw_buffer_printf(
            &r->b,
            "At some shutter times or ISO settings this camera gives red or blue up to "
            "%.3f stop too strong or too weak beside the others. ",
            colour);
    if (high > low)
        dw_buffer_printf(&r->b,
                         "At one aperture the lens leaves the corners %.2f stop darker than at "
                         "another. ",
                         high - low);
    dw_buffer_printf(&r->b, "All frames were evened out, so that nothing jumps when the camera "
                            "changes a setting; summary.json tells each.</p>\n");
}

void dw_report_light(struct dw_report *r)
{
    size_t n = r->d->n_shots;
    double *v = calloc(3 * n + 1, sizeof *v);
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-light\"><h2 id=\"h-light\">Light and "
                            "flicker</h2>\n");
    if (v) {
        light(r, v);
        corrections(r, v, v + n, v + 2 * n);
        remains(r, v);
    } else {
        r->b.failed = true;
    }
    flicker(r);
    settings(r);
    dw_buffer_printf(&r->b, "</section>\n");
    free(v);
}
