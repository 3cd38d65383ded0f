/* sky.c: the whole shoot at a glance: a row of pictures, and below it, on the same axis, the
 * sky's part of the day, sun, moon and the faults by kind. */
#include "output/report/report.h"

#include "output/report/html.h"
#include "output/telling/kinds.h"
#include "base/text.h"

#include <math.h>
#include <stdio.h>

#define PLOT 150 /* pixels of the sky's chart */
#define LANE 20  /* and of one kind of fault */

static void strip(struct dw_report *r)
{
    const struct dw_small *picture = r->large + r->n_problems;
    if (r->n_strip == 0)
        return;
    dw_buffer_printf(&r->b, "<ol class=\"strip\" style=\"--n:%zu\">\n", r->n_strip);
    for (size_t k = 0; k < r->n_strip; k++) {
        char when[32], sun[32], alt[120];
        dw_report_when(r, r->t[r->strip[k]], false, when);
        dw_signed(0, r->d->ledger[r->strip[k]].sun_alt_deg, sun);
        snprintf(alt, sizeof alt, "The view at %s, sun at %s degrees", when, sun);
        dw_buffer_printf(&r->b, "<li>");
        dw_report_picture(r, &picture[k], alt, false);
        dw_buffer_printf(&r->b, "<span aria-hidden=\"true\">%s</span></li>\n", when);
    }
    dw_buffer_printf(&r->b, "</ol>\n");
}

static void sky(struct dw_report *r)
{
    const struct dw_chart c = {
        .b = &r->b, .day = &r->day, .id = "sky", .height = PLOT, .low = -60, .high = 75};
    char lit[200];
    snprintf(lit, sizeof lit,
             "The part of the day as a ground from dark to light; the sun's altitude as a full "
             "line, the moon's as a broken one; the moon's disc was %.0f per cent lit.",
             100 * r->day.moon_lit_share);
    dw_chart_begin(&c, "Sun, moon and twilight", lit);
    dw_chart_sky(&c);
    dw_chart_hours(&c);
    dw_chart_line(&c, "moon", r->day.t, r->day.moon_deg, r->day.n);
    dw_chart_line(&c, "sun", r->day.t, r->day.sun_deg, r->day.n);
    dw_chart_level(&c, 0, "horizon");
    dw_chart_level(&c, 30, "30\xc2\xb0");
    dw_chart_level(&c, -30,
                   "\xe2\x88\x92"
                   "30\xc2\xb0");
    dw_chart_end(&c);
}

static void legend(struct dw_report *r)
{
    dw_buffer_printf(&r->b,
                     "<p class=\"legend\"><span class=\"l-sun\">sun</span> "
                     "<span class=\"l-moon\">moon, %.0f %% lit</span> ",
                     100 * r->day.moon_lit_share);
    for (int k = DW_SKY_PARTS - 1; k >= 0; k--)
        dw_buffer_printf(&r->b, "<span class=\"l-sky l-sky%d\">%s</span> ", k,
                         dw_sky_name((enum dw_sky_part)k));
    dw_buffer_printf(&r->b, "</p>\n");
}

/* One lane for each kind that occurs: code and count, and where it was. */
static void lanes(struct dw_report *r)
{
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        const struct dw_kind *kind = dw_kind(k);
        size_t n = 0;
        double half = r->d->facts.interval_s / 2;
        for (size_t i = 0; i < r->d->n_shots; i++)
            n += r->d->ledger[i].faults >> k & 1;
        if (n == 0)
            continue;
        char id[40], what[160], count[80];
        snprintf(id, sizeof id, "lane-%.20s", dw_fault_name(k));
        dw_report_amount(r, k, 0, r->d->n_shots - 1, count);
        snprintf(what, sizeof what, "%s: %s; the list of stretches below says when.", kind->title,
                 count);
        dw_buffer_printf(&r->b, "<div class=\"lane\"><p><b>%s</b> %s \xc2\xb7 %s</p>",
                         dw_fault_name(k), kind->title, count);
        dw_buffer_printf(&r->b,
                         "<svg class=\"lane f-%s\" role=\"img\" aria-label=\"%s\" width=\"100%%\" "
                         "height=\"%d\"><rect class=\"lane\" x=\"0\" y=\"0\" width=\"100%%\" "
                         "height=\"%d\"/>",
                         dw_fault_name(k), what, LANE, LANE);
        struct dw_chart c = {.b = &r->b, .day = &r->day, .id = id, .height = LANE};
        for (size_t i = 0; i < r->d->n_shots;) {
            size_t to = i;
            while (to < r->d->n_shots && r->d->ledger[to].faults >> k & 1)
                to++;
            if (to > i) /* neighbours with the same fault are one box */
                dw_chart_box(&c, "mark", r->t[i] - half, r->t[to - 1] + half, 3, LANE - 6);
            i = to > i ? to : i + 1;
        }
        dw_buffer_printf(&r->b, "</svg></div>\n");
    }
}

/* Sunset, twilights and the like in order, as words. */
static void events(struct dw_report *r)
{
    if (r->day.n_stretches < 2)
        return;
    dw_buffer_printf(&r->b, "<details><summary>Sunset, sunrise and twilights in numbers</summary>"
                            "<table><thead><tr><th scope=\"col\">What</th><th scope=\"col\">Local "
                            "time</th><th scope=\"col\">Sun</th></tr></thead><tbody>\n");
    for (size_t i = 1; i < r->day.n_stretches; i++) {
        char when[32], sun[32];
        enum dw_sky_part from = r->day.stretch[i - 1].part, to = r->day.stretch[i].part;
        dw_report_when(r, r->day.stretch[i].from_s, true, when);
        dw_signed(1, dw_sky_limit_deg[from < to ? from : to], sun);
        dw_buffer_printf(&r->b,
                         "<tr><th scope=\"row\">%s</th><td>%s</td><td>%s\xc2\xb0</td></tr>\n",
                         dw_sky_event(from, to), when, sun);
    }
    dw_buffer_printf(&r->b, "</tbody></table></details>\n");
}

void dw_report_sky(struct dw_report *r)
{
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-sky\"><h2 id=\"h-sky\">The whole "
                            "shoot</h2>\n<div class=\"aligned\">\n");
    strip(r);
    sky(r);
    lanes(r);
    dw_buffer_printf(&r->b, "</div>\n");
    legend(r);
    events(r);
    dw_buffer_printf(&r->b, "</section>\n");
}
