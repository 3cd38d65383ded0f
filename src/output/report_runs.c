/* report_runs.c: the stretches that have a fault, each with pictures and sentences. */
#include "output/report.h"

#include "output/html.h"
#include "output/kinds.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void caption(struct dw_report *r, const struct dw_problem *p)
{
    static const char *const role[] = {"", "first", "worst", "last", "for comparison"};
    char when[32];
    const struct dw_ledger_row *row = &r->d->ledger[p->shot];
    dw_report_when(r, row->utc_s, false, when);
    if (role[p->role][0])
        dw_buffer_printf(&r->b, "<b class=\"role\">%s</b> ", role[p->role]);
    dw_html_text(&r->b, r->shots->shot[p->shot].name);
    dw_buffer_printf(&r->b, "<br>%s", when);
    if (isfinite(row->sun_alt_deg))
        dw_buffer_printf(&r->b, " \xc2\xb7 sun %s%.1f\xc2\xb0",
                         row->sun_alt_deg < 0 ? "\xe2\x88\x92" : "", fabs(row->sun_alt_deg));
    if (p->unshown > 0)
        dw_buffer_printf(&r->b, "<br>%zu more between this and the next", p->unshown);
}

static void pictures(struct dw_report *r, size_t number)
{
    dw_buffer_printf(&r->b, "<div class=\"pictures\">\n");
    for (size_t k = 0; k < r->n_problems; k++) {
        const struct dw_problem *p = &r->problem[k];
        if (p->run != number)
            continue;
        char alt[300];
        snprintf(alt, sizeof alt, "%.200s as it came out", r->shots->shot[p->shot].name);
        dw_buffer_printf(&r->b, "<figure%s>", p->role == DW_TO_COMPARE ? " class=\"compare\"" : "");
        dw_report_picture(r, &r->large[k], alt, true);
        dw_buffer_printf(&r->b, "<figcaption>");
        caption(r, p);
        dw_buffer_printf(&r->b, "</figcaption></figure>\n");
    }
    dw_buffer_printf(&r->b, "</div>\n");
}

static void one_run(struct dw_report *r, size_t number)
{
    const struct dw_problem_run *run = &r->run[number];
    const struct dw_kind *kind = dw_kind(run->fault);
    char span[80], count[48], sentence[300];
    const char *code = dw_fault_name(run->fault);
    dw_report_span(r, run, span);
    dw_report_count(run->n, "shot", count);
    dw_buffer_printf(&r->b,
                     "<article class=\"run f-%s\" id=\"run-%zu\" aria-labelledby=\"run-%zu-h\">\n"
                     "<h3 id=\"run-%zu-h\"><span class=\"code\">%s</span> %s</h3>\n"
                     "<p class=\"facts\">%s \xc2\xb7 %s \xc2\xb7 %s (%.2f)</p>\n<p>",
                     code, number + 1, number + 1, number + 1, code, kind->title, span, count,
                     dw_problem_how_bad(run->severity), run->severity);
    dw_problem_reason(&r->d->ledger[run->worst], sentence);
    if (run->n > 1)
        dw_buffer_printf(&r->b, "At its worst: ");
    dw_html_text(&r->b, sentence);
    dw_buffer_printf(&r->b, "</p>\n<p class=\"done\">");
    dw_problem_run_remedy(r->shots, r->d, run, sentence);
    dw_html_text(&r->b, sentence);
    dw_buffer_printf(&r->b, "</p>\n");
    pictures(r, number);
    dw_buffer_printf(&r->b,
                     "<p class=\"script\"><button type=\"button\" data-from=\"%zu\" "
                     "data-to=\"%zu\">Mark %s to be left out</button></p>\n</article>\n",
                     run->first, run->last, run->n == 1 ? "it" : "this stretch");
}

void dw_report_runs(struct dw_report *r)
{
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-runs\"><h2 id=\"h-runs\">What went "
                            "wrong, and what was done</h2>\n");
    if (r->n_runs == 0)
        dw_buffer_printf(&r->b, "<p>No fault was found in any shot.</p>\n");
    size_t unshown = 0;
    for (size_t i = 0, k = 0; i < r->n_runs; i++) {
        while (k < r->n_problems && r->problem[k].run < i)
            k++;
        if (k < r->n_problems && r->problem[k].run == i)
            one_run(r, i);
        else
            unshown++;
    }
    if (unshown > 0)
        dw_buffer_printf(&r->b,
                         "<p>%zu milder stretches are not shown; ledger.csv and "
                         "judgement.csv hold every shot.</p>\n",
                         unshown);
    dw_buffer_printf(&r->b, "</section>\n");
}
