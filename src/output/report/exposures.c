/* exposures.c: the exposures that the camera chose, how often it stood at the ends of what
 * it used, and what that means. */
#include "output/report/report.h"

#include "output/telling/exposures.h"
#include "output/report/html.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define PLOT 120

static void shutter_text(double s, char out[32])
{
    if (s >= 0.3)
        snprintf(out, 32, "%.3g s", s);
    else
        snprintf(out, 32, "1/%.0f s", 1 / s);
}

static void iso_text(double iso, char out[32])
{
    snprintf(out, 32, "ISO %.0f", iso);
}

static void aperture_text(double n, char out[32])
{
    snprintf(out, 32, "f/%.3g", n);
}

static double shutter_of(const struct dw_shot *s)
{
    return s->has_shutter && s->shutter_marked_s > 0 ? s->shutter_marked_s : (double)NAN;
}

static double iso_of(const struct dw_shot *s)
{
    return s->has_iso && s->iso_marked > 0 ? s->iso_marked : (double)NAN;
}

static double aperture_of(const struct dw_shot *s)
{
    return s->has_aperture && s->f_marked > 0 ? s->f_marked : (double)NAN;
}

static const struct setting {
    const char *id, *name;
    double (*of)(const struct dw_shot *);
    void (*text)(double, char out[32]);
    double marks[14]; /* round values for the scale, rising, ended by 0 */
} settings[] = {
    {"shutter",
     "Shutter time",
     shutter_of,
     shutter_text,
     {1.0 / 4000, 1.0 / 1000, 1.0 / 250, 1.0 / 60, 1.0 / 15, 1.0 / 4, 1, 4, 15, 30, 60, 240, 0}},
    {"iso", "ISO", iso_of, iso_text, {50, 100, 200, 400, 800, 1600, 3200, 6400, 12800, 25600, 0}},
    {"aperture",
     "Aperture",
     aperture_of,
     aperture_text,
     {1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 0}},
};

static void one_chart(struct dw_report *r, const struct setting *s, double *v)
{
    size_t n = r->d->n_shots;
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        v[i] = log2(s->of(&r->shots->shot[i]));
        if (isfinite(v[i])) {
            low = fmin(low, v[i]);
            high = fmax(high, v[i]);
        }
    }
    if (low >= high) /* none, or one value: the table says it */
        return;
    double margin = 0.15 * (high - low) + 0.1;
    struct dw_chart c = {.b = &r->b,
                         .day = &r->day,
                         .id = s->id,
                         .height = PLOT,
                         .low = low - margin,
                         .high = high + margin,
                         .longest_s = fmax(3 * r->d->facts.interval_s, 60)};
    char from[32], to[32], what[120];
    s->text(exp2(low), from);
    s->text(exp2(high), to);
    snprintf(what, sizeof what, "%s from %s to %s.", s->name, from, to);
    dw_buffer_printf(&r->b, "<h3>%s</h3>\n", s->name);
    dw_chart_begin(&c, s->name, what);
    dw_chart_sky(&c);
    dw_chart_hours(&c);
    dw_chart_steps(&c, "setting", r->t, v, n);
    double last = HUGE_VAL;
    for (const double *m = s->marks; *m > 0; m++) {
        double y = PLOT * (c.high - log2(*m)) / (c.high - c.low);
        char label[32];
        if (y < 0 || y > PLOT || last - y < 20)
            continue;
        s->text(*m, label);
        dw_chart_level(&c, log2(*m), label);
        last = y;
    }
    dw_chart_end(&c);
}

static void ends_row(struct dw_report *r, const struct setting *s)
{
    size_t n = r->d->n_shots, known = 0, at_low = 0, at_high = 0;
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        double x = s->of(&r->shots->shot[i]);
        if (isfinite(x)) {
            low = fmin(low, x);
            high = fmax(high, x);
            known++;
        }
    }
    if (known == 0) {
        dw_buffer_printf(&r->b,
                         "<tr><th scope=\"row\">%s</th><td colspan=\"4\">not recorded"
                         "</td></tr>\n",
                         s->name);
        return;
    }
    for (size_t i = 0; i < n; i++) {
        double x = s->of(&r->shots->shot[i]);
        at_low += fabs(x / low - 1) < 0.02;
        at_high += fabs(x / high - 1) < 0.02;
    }
    char a[32], b[32];
    s->text(low, a);
    s->text(high, b);
    if (high / low < 1.02)
        dw_buffer_printf(&r->b,
                         "<tr><th scope=\"row\">%s</th><td>%s</td><td>%zu</td><td>the "
                         "same</td><td></td></tr>\n",
                         s->name, a, at_low);
    else
        dw_buffer_printf(&r->b,
                         "<tr><th scope=\"row\">%s</th><td>%s</td><td>%zu</td><td>%s</td>"
                         "<td>%zu</td></tr>\n",
                         s->name, a, at_low, b, at_high);
}

/* What standing at an end meant for the picture. */
static void meaning(struct dw_report *r)
{
    struct dw_exposure_ends e = dw_exposure_ends(r->shots, r->survey, r->d);
    if (e.at_dark_end > 0 && e.fell_stops > 0.5)
        dw_buffer_printf(
            &r->b,
            "<p>%zu shots stood at the longest shutter time and the highest ISO "
            "together. There the camera could follow the light no further: they lie "
            "up to %.1f stops below the usual exposure. Rendering lifts them by up to %.1f "
            "stops more than the others, so they are noisier.</p>\n",
            e.at_dark_end, e.fell_stops, e.lifted_stops);
    else if (e.at_dark_end > 0)
        dw_buffer_printf(&r->b,
                         "<p>%zu shots stood at the longest shutter time and the highest ISO "
                         "together, without losing light by it.</p>\n",
                         e.at_dark_end);
    if (e.clipped > 0)
        dw_buffer_printf(&r->b, "<p>In %zu shots more than 2 %% of the picture is clipped.</p>\n",
                         e.clipped);
}

void dw_report_exposures(struct dw_report *r)
{
    const size_t n = sizeof settings / sizeof *settings;
    double *v = calloc(r->d->n_shots + 1, sizeof *v);
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-exposures\"><h2 id=\"h-exposures\">"
                            "Exposures that the camera chose</h2>\n");
    for (size_t k = 0; k < n && v; k++)
        one_chart(r, &settings[k], v);
    if (!v)
        r->b.failed = true;
    free(v);
    dw_buffer_printf(&r->b,
                     "<table class=\"wide\"><caption>How many shots stood at the ends of what "
                     "was used</caption><thead><tr><th scope=\"col\">Setting</th><th "
                     "scope=\"col\">Least</th><th scope=\"col\">Shots</th><th "
                     "scope=\"col\">Most</th><th scope=\"col\">Shots</th></tr></thead>"
                     "<tbody>\n");
    for (size_t k = 0; k < n; k++)
        ends_row(r, &settings[k]);
    dw_buffer_printf(&r->b, "</tbody></table>\n");
    meaning(r);
    dw_buffer_printf(&r->b, "</section>\n");
}
