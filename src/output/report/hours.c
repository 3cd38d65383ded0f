/* hours.c: the charts once more as a table by the hour, for those who cannot see them. */
#include "output/report/report.h"

#include "output/report/html.h"
#include "base/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

struct hour {
    size_t shots, used;
    double sun, light, error2;
    size_t lit, errors;
    uint32_t faults;
};

static void cell(struct dw_report *r, int decimals, double v, const char *unit)
{
    char text[32];
    dw_signed(decimals, v, text);
    dw_buffer_printf(&r->b, "<td>%s%s</td>", isfinite(v) ? text : "", isfinite(v) ? unit : "");
}

static void row(struct dw_report *r, double begins, const struct hour *h)
{
    char when[32];
    const char *comma = "";
    dw_report_when(r, begins, true, when);
    dw_buffer_printf(&r->b, "<tr><th scope=\"row\">%s</th><td>%zu</td><td>%zu</td>", when, h->shots,
                     h->used);
    cell(r, 0, h->sun / (double)h->shots, "\xc2\xb0");
    cell(r, 1, h->lit ? h->light / (double)h->lit : (double)NAN, "");
    cell(r, 4, h->errors ? sqrt(h->error2 / (double)h->errors) : (double)NAN, "");
    dw_buffer_printf(&r->b, "<td>");
    for (int k = 0; k < DW_FAULT_COUNT; k++)
        if (h->faults >> k & 1) {
            dw_buffer_printf(&r->b, "%s%s", comma, dw_fault_name(k));
            comma = ", ";
        }
    dw_buffer_printf(&r->b, "</td></tr>\n");
}

void dw_report_hours(struct dw_report *r)
{
    const struct dw_decision *d = r->d;
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-hours\"><h2 id=\"h-hours\">Hour by "
                            "hour</h2><details><summary>The charts as a table</summary>\n<div "
                            "class=\"scroll\" tabindex=\"0\" role=\"region\" "
                            "aria-labelledby=\"h-hours\"><table class=\"wide\"><thead><tr>"
                            "<th scope=\"col\">Hour from</th><th scope=\"col\">Shots</th>"
                            "<th scope=\"col\">Used</th><th scope=\"col\">Sun</th>"
                            "<th scope=\"col\">Light, log2 cd/m\xc2\xb2</th>"
                            "<th scope=\"col\">Exposure errors, stop rms</th>"
                            "<th scope=\"col\">Faults</th></tr></thead><tbody>\n");
    double begins = (double)NAN;
    struct hour h = {0};
    for (size_t i = 0; i < d->n_shots; i++) {
        const struct dw_ledger_row *x = &d->ledger[i];
        double local = r->t[i] + d->facts.utc_offset_s;
        double hour = floor(local / 3600) * 3600 - d->facts.utc_offset_s;
        if (!isfinite(hour))
            continue;
        if (hour != begins) {
            if (h.shots)
                row(r, begins, &h);
            h = (struct hour){0};
            begins = hour;
        }
        h.shots++;
        h.used += x->use;
        h.sun += x->sun_alt_deg;
        h.faults |= x->faults;
        if (isfinite(x->luminance_stops)) {
            h.light += x->luminance_stops;
            h.lit++;
        }
        if (x->use && isfinite(x->flicker_stops)) {
            h.error2 += x->flicker_stops * x->flicker_stops;
            h.errors++;
        }
    }
    if (h.shots)
        row(r, begins, &h);
    dw_buffer_printf(&r->b, "</tbody></table></div></details></section>\n");
}
