/* settings.c: the settings in force, and where the rest is to be found. */
#include "output/report/report.h"

#include "output/report/html.h"

#include <string.h>

void dw_report_settings(struct dw_report *r)
{
    const struct dw_report_params *p = r->params;
    dw_buffer_printf(&r->b,
                     "<section aria-labelledby=\"h-settings\"><h2 id=\"h-settings\">Settings "
                     "in force</h2>\n");
    if (p->n_settings > 0) {
        dw_buffer_printf(&r->b, "<table class=\"wide\"><thead><tr><th scope=\"col\">Option</th><th "
                                "scope=\"col\">Value</th><th scope=\"col\">What it does</th></tr>"
                                "</thead><tbody>\n");
        for (size_t i = 0; i < p->n_settings; i++) {
            const struct dw_report_setting *s = &p->setting[i];
            dw_buffer_printf(&r->b, "<tr%s><th scope=\"row\"><code>--",
                             s->standard ? "" : " class=\"chosen\"");
            dw_html_text(&r->b, s->name);
            dw_buffer_printf(&r->b, "</code></th><td class=\"value\">");
            dw_html_text(&r->b, s->value);
            dw_buffer_printf(&r->b, "%s</td><td>", s->standard ? "" : " <small>(chosen)</small>");
            dw_html_text(&r->b, s->help);
            dw_buffer_printf(&r->b, "</td></tr>\n");
        }
        dw_buffer_printf(&r->b, "</tbody></table>\n");
    }
    dw_buffer_printf(&r->b,
                     "<p><code>--settings settings.ini</code> repeats the run. ledger.csv has "
                     "a row for each shot, judgement.csv what was thought of it, frames.csv "
                     "how each frame is made.</p></section>\n");
}
