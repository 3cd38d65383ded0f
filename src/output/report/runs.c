/* runs.c: the stretches that have a fault, each with pictures and sentences. */
#include "output/report/report.h"

#include "output/report/html.h"
#include "output/telling/kinds.h"
#include "base/text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void caption(struct dw_report *r, const struct dw_problem *p)
{
    static const char *const role[] = {"", "first", "worst", "last", "for comparison"};
    char when[32], sun[32];
    const struct dw_ledger_row *row = &r->d->ledger[p->shot];
    dw_report_when(r, row->utc_s, false, when);
    if (role[p->role][0])
        dw_buffer_printf(&r->b, "<b class=\"role\">%s</b> ", role[p->role]);
    dw_html_text(&r->b, r->shots->shot[p->shot].name);
    dw_buffer_printf(&r->b, "<br>%s", when);
    dw_signed(1, row->sun_alt_deg, sun);
    if (isfinite(row->sun_alt_deg))
        dw_buffer_printf(&r->b, " \xc2\xb7 sun %s\xc2\xb0", sun);
    if (p->like != p->shot && p->role != DW_TO_COMPARE)
        dw_buffer_printf(&r->b, "<br>shown as exposed");
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
        snprintf(alt, sizeof alt, "%.200s %s", r->shots->shot[p->shot].name,
                 p->like != p->shot ? "as exposed" : "as it came out");
        dw_buffer_printf(&r->b, "<figure%s>", p->role == DW_TO_COMPARE ? " class=\"compare\"" : "");
        dw_report_picture(r, &r->large[k], alt, true);
        dw_buffer_printf(&r->b, "<figcaption>");
        caption(r, p);
        dw_buffer_printf(&r->b, "</figcaption></figure>\n");
    }
    dw_buffer_printf(&r->b, "</div>\n");
}

static bool is_shown(const struct dw_report *r, size_t number)
{
    for (size_t k = 0; k < r->n_problems; k++)
        if (r->problem[k].run == number)
            return true;
    return false;
}

/* Other faults of the very shots that this run tells of. */
static void also(struct dw_report *r, const struct dw_problem_run *run)
{
    const char *before = "<p class=\"note\">Also: ";
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        size_t n = 0, at = 0;
        char when[32], amount[80];
        for (size_t i = run->first; i <= run->last && k != run->fault; i++) {
            const struct dw_ledger_row *row = &r->d->ledger[i];
            if (dw_problem_leading(row) == run->fault && row->faults >> k & 1) {
                at = n ? at : i;
                n++;
            }
        }
        if (n == 0)
            continue;
        dw_report_when(r, r->t[at], false, when);
        dw_report_amount(r, k, at, n == 1 ? at : run->last, amount);
        dw_buffer_printf(&r->b, "%s%s, %s %s%s%s", before, dw_kind(k)->title, amount,
                         n == 1 ? "at " : "from ", when, n == 1 ? "" : " on");
        before = "; ";
    }
    if (before[0] == ';')
        dw_buffer_printf(&r->b, ".</p>\n");
}

/* Runs of other faults that lie within this one and have a card of their own. */
static void within(struct dw_report *r, size_t number)
{
    const struct dw_problem_run *run = &r->run[number];
    const char *before = "<p class=\"note\">Within this time: ";
    for (size_t k = 0; k < r->n_runs; k++) {
        const struct dw_problem_run *other = &r->run[k];
        char when[32];
        if (k == number || other->first < run->first || other->last > run->last || !is_shown(r, k))
            continue;
        dw_report_when(r, r->t[other->first], false, when);
        dw_buffer_printf(&r->b, "%s<a href=\"#run-%zu\">%s, %s</a>", before, k + 1,
                         dw_kind(other->fault)->title, when);
        before = "; ";
    }
    if (before[0] == ';')
        dw_buffer_printf(&r->b, ".</p>\n");
}

static void one_run(struct dw_report *r, size_t number)
{
    const struct dw_problem_run *run = &r->run[number];
    const struct dw_kind *kind = dw_kind(run->fault);
    char span[80], count[80], sentence[300];
    const char *code = dw_fault_name(run->fault);
    dw_report_span(r, run, span);
    dw_report_amount(r, run->fault, run->first, run->last, count);
    dw_buffer_printf(&r->b,
                     "<article class=\"run f-%s\" id=\"run-%zu\" aria-labelledby=\"run-%zu-h\">\n"
                     "<h3 id=\"run-%zu-h\"><span class=\"code\">%s</span> %s</h3>\n"
                     "<p class=\"facts\">%s \xc2\xb7 %s \xc2\xb7 %s</p>\n<p>",
                     code, number + 1, number + 1, number + 1, code, kind->title, span, count,
                     dw_problem_how_bad(run->severity));
    dw_problem_reason(&r->d->ledger[run->worst], sentence);
    if (run->n > 1)
        dw_buffer_printf(&r->b, "At its worst: ");
    dw_html_text(&r->b, sentence);
    dw_buffer_printf(&r->b, "</p>\n<p class=\"done\">");
    dw_problem_run_remedy(r->shots, r->d, run, sentence);
    dw_html_text(&r->b, sentence);
    dw_buffer_printf(&r->b, "</p>\n");
    also(r, run);
    within(r, number);
    pictures(r, number);
    if (run->left_out < run->n) /* else there is nothing left to mark */
        dw_buffer_printf(&r->b,
                         "<p class=\"script\"><button type=\"button\" data-from=\"%zu\" "
                         "data-to=\"%zu\">Mark %s to be left out</button></p>\n",
                         run->first, run->last, run->n == 1 ? "it" : "this stretch");
    dw_buffer_printf(&r->b, "</article>\n");
}

void dw_report_runs(struct dw_report *r)
{
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-runs\"><h2 id=\"h-runs\">What went "
                            "wrong, and what was done</h2>\n");
    if (r->n_runs == 0)
        dw_buffer_printf(&r->b, "<p>No fault was found in any shot.</p>\n");
    else
        dw_buffer_printf(&r->b,
                         "<p class=\"note\">What cannot be read, is far too bright or too dark, or "
                         "has a brief light in it is left out. Dew, fog and clouds stay in, as "
                         "too many frames would be missing; a shot of the moved camera is put "
                         "back where it can be.</p>\n");
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
