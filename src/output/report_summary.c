/* report_summary.c: the head of the page: what was shot, what became of it, and whether to shoot
 * again. */
#include "output/report.h"

#include "output/html.h"
#include "output/kinds.h"
#include "output/place.h"
#include "output/when.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static void tile(struct dw_report *r, const char *value, const char *words)
{
    dw_buffer_printf(&r->b, "<li><strong>");
    dw_html_text(&r->b, value);
    dw_buffer_printf(&r->b, "</strong> %s</li>\n", words);
}

static void tiles(struct dw_report *r)
{
    const struct dw_decision *d = r->d;
    size_t used = 0;
    char text[80];
    for (size_t i = 0; i < d->n_shots; i++)
        used += d->ledger[i].use;
    dw_buffer_printf(&r->b, "<ul class=\"tiles\">\n");
    snprintf(text, sizeof text, "%zu of %zu", used, d->n_shots);
    tile(r, text, "shots used");
    snprintf(text, sizeof text, "%zu", d->n_frames);
    tile(r, text, "frames in the sequence");
    snprintf(text, sizeof text, "%zu", r->n_runs);
    tile(r, text, r->n_runs == 1 ? "stretch with a fault" : "stretches with a fault");
    if (isfinite(d->before.all) && isfinite(d->after.all)) {
        snprintf(text, sizeof text, "%.3f \xe2\x86\x92 %.4f", d->before.all, d->after.all);
        tile(r, text, "stop of flicker, as shot and now");
    }
    dw_buffer_printf(&r->b, "</ul>\n");
}

/* Stretches that stay in the sequence as they are, or leave a hole in it, and can be seen. */
static bool is_worth_again(const struct dw_report *r, const struct dw_problem_run *run)
{
    return !dw_problem_is_mended(r->d, run) && run->severity >= DW_CLEARLY_SEEN;
}

static void verdict(struct dw_report *r)
{
    size_t n = 0, by_hand = 0;
    for (size_t i = 0; i < r->n_runs; i++)
        n += is_worth_again(r, &r->run[i]);
    for (size_t i = 0; i < r->d->n_shots; i++)
        by_hand += !r->d->ledger[i].use && r->d->ledger[i].verdict;
    dw_buffer_printf(&r->b, "<div class=\"verdict\"><h2>Shoot again?</h2>\n");
    if (r->n_runs == 0)
        dw_buffer_printf(&r->b, "<p><strong>No need.</strong> No shot has a fault.</p>\n");
    else if (n == 0)
        dw_buffer_printf(&r->b, "<p><strong>Hardly.</strong> What was spoiled is bridged from its "
                                "neighbours or put right, and the rest is slight.</p>\n");
    else {
        dw_buffer_printf(&r->b, "<p><strong>If these matter to you.</strong> They stay visible in "
                                "the sequence, as nothing can stand in for them:</p>\n<ul>\n");
        for (size_t i = 0; i < r->n_runs; i++) {
            char span[80], count[48];
            const struct dw_problem_run *run = &r->run[i];
            if (!is_worth_again(r, run))
                continue;
            dw_report_span(r, run, span);
            dw_report_count(run->n, "shot", count);
            dw_buffer_printf(&r->b, "<li><a href=\"#run-%zu\">%s</a>: %s, %s</li>\n", i + 1, span,
                             dw_kind(run->fault)->title, count);
        }
        dw_buffer_printf(&r->b, "</ul>\n");
    }
    if (by_hand > 0) {
        char count[48];
        dw_report_count(by_hand, "shot", count);
        dw_buffer_printf(&r->b, "<p>%s left out by your word.</p>\n", count);
    }
    dw_buffer_printf(&r->b, "</div>\n");
}

void dw_report_summary(struct dw_report *r)
{
    const struct dw_decision *d = r->d;
    char folder[200], span[80], offset[16], length[32], every[32];
    dw_shoot_folder(r->shots, folder);
    dw_when_span(r->day.first_s, r->day.last_s, r->day.offset_s, span);
    dw_when_offset(r->day.offset_s, offset);
    dw_report_duration(r->day.last_s - r->day.first_s, length);
    dw_report_duration(d->facts.interval_s, every);
    dw_buffer_printf(&r->b, "<header>\n<h1>");
    dw_html_text(&r->b, folder[0] ? folder : "The shoot");
    dw_buffer_printf(&r->b,
                     "</h1>\n<p class=\"lead\">%s local time (%s) \xc2\xb7 %s, one frame every "
                     "%s</p>\n",
                     span, offset, length, every);
    tiles(r);
    verdict(r);
    dw_buffer_printf(&r->b, "</header>\n");
}
