/* words.c: small words and pictures that several sections of the report use. */
#include "output/report/report.h"

#include "output/report/html.h"
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

void dw_report_when(const struct dw_report *r, double utc_s, bool date_too, char out[32])
{
    char text[32];
    dw_when_minute(utc_s, r->d->facts.utc_offset_s, text);
    snprintf(out, 32, "%s", date_too || strlen(text) != 16 ? text : text + 11);
}

void dw_report_span(const struct dw_report *r, const struct dw_problem_run *run, char out[80])
{
    if (run->first == run->last)
        dw_report_when(r, r->t[run->first], true, out);
    else
        dw_when_span(r->t[run->first], r->t[run->last], r->d->facts.utc_offset_s, out);
}

void dw_report_duration(double s, char out[32])
{
    long m = lround(s / 60);
    if (!isfinite(s) || fabs(s) > 1e9)
        snprintf(out, 32, "unknown");
    else if (s < 99)
        snprintf(out, 32, "%.3g s", s);
    else if (m < 120)
        snprintf(out, 32, "%ld min", m);
    else if (m % 60 == 0)
        snprintf(out, 32, "%ld h", m / 60);
    else
        snprintf(out, 32, "%ld h %02ld min", m / 60, m % 60);
}

void dw_report_count(size_t n, const char *one, char out[48])
{
    snprintf(out, 48, "%zu %.20s%s", n, one, n == 1 ? "" : "s");
}

void dw_report_amount(const struct dw_report *r, int fault, size_t first, size_t last, char out[80])
{
    size_t shots = 0, missing = 0;
    const bool gap = 1u << fault == DW_GAP;
    for (size_t i = first; i <= last && i < r->d->n_shots; i++)
        if (r->d->ledger[i].faults >> fault & 1) {
            shots++;
            missing += r->d->ledger[i].missing_before;
        }
    dw_report_count(gap && missing ? missing : shots, gap && missing ? "frame" : "shot", out);
    if (gap && missing && shots > 1)
        snprintf(out + strlen(out), 80 - strlen(out), " in %zu places", shots);
}

void dw_report_picture(struct dw_report *r, const struct dw_small *picture, const char *alt,
                       bool lazy)
{
    if (!picture->jpeg) {
        dw_buffer_printf(&r->b, "<span class=\"nopic\">");
        dw_html_text(&r->b, picture->why[0] ? picture->why : "no picture");
        dw_buffer_printf(&r->b, "</span>");
        return;
    }
    dw_buffer_printf(&r->b, "<img%s width=\"%d\" height=\"%d\" alt=\"",
                     lazy ? " loading=\"lazy\"" : "", picture->width, picture->height);
    dw_html_text(&r->b, alt);
    dw_buffer_printf(&r->b, "\" src=\"data:image/jpeg;base64,");
    dw_html_base64(&r->b, picture->jpeg, picture->n);
    dw_buffer_printf(&r->b, "\">");
}
