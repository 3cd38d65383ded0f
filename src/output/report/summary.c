/* summary.c: the head of the page: what was shot, what became of it, and whether to shoot
 * again. */
#include "output/report/report.h"

#include "output/telling/exposures.h"
#include "output/report/html.h"
#include "output/telling/kinds.h"
#include "output/telling/place.h"
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What makes a new shoot worth while; our own choice. */
#define MANY_FRAMES 0.02 /* share of the film that may show such faults */
#define DARK_SHARE 0.02  /* of the shots at the dark end of the camera's range: told from there */
#define LIFTED_STOPS 1.0 /* and if they are lifted by so much more than the others */

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

static bool has_open(const struct dw_report *r, const struct dw_problem_run *run, size_t i)
{
    const struct dw_ledger_row *row = &r->d->ledger[i];
    return i >= run->first && i <= run->last && row->faults >> run->fault & 1 &&
           !dw_problem_shot_is_mended(r->d, i, run->fault);
}

/* Stretches that stay in the film as they are, or leave a hole in it, and can be seen. */
static bool is_worth_again(const struct dw_report *r, const struct dw_problem_run *run)
{
    return !dw_problem_is_mended(r->d, run) && run->severity >= DW_CLEARLY_SEEN;
}

/* Shots of such stretches: each once, however many of them it belongs to. */
static size_t open_shots(const struct dw_report *r, const bool *worth)
{
    size_t n = 0;
    for (size_t i = 0; i < r->d->n_shots; i++) {
        bool open = false;
        for (size_t k = 0; k < r->n_runs && !open; k++)
            open = worth[k] && has_open(r, &r->run[k], i);
        n += open;
    }
    return n;
}

static void list_open(struct dw_report *r, const bool *worth)
{
    dw_buffer_printf(&r->b, "<ul>\n");
    for (size_t i = 0; i < r->n_runs; i++) {
        char span[80], amount[80];
        const struct dw_problem_run *run = &r->run[i];
        if (!worth[i])
            continue;
        dw_report_span(r, run, span);
        dw_report_amount(r, run->fault, run->first, run->last, amount);
        dw_buffer_printf(&r->b, "<li><a href=\"#run-%zu\">%s</a>: %s, %s</li>\n", i + 1, span,
                         dw_kind(run->fault)->title, amount);
    }
    dw_buffer_printf(&r->b, "</ul>\n");
}

/* A plain no or yes, and why. */
static void answer(struct dw_report *r, const bool *worth)
{
    const size_t n = open_shots(r, worth), of = r->d->n_shots;
    if (r->n_runs == 0)
        dw_buffer_printf(&r->b, "<p><strong>For the film, no.</strong> No shot has a fault.</p>\n");
    else if (n == 0)
        dw_buffer_printf(&r->b, "<p><strong>For the film, no.</strong> What was spoiled is bridged "
                                "from its neighbours or put right, and the rest is slight.</p>\n");
    else {
        bool many = (double)n > MANY_FRAMES * (double)of;
        dw_buffer_printf(
            &r->b,
            "<p><strong>For the film, %s.</strong> %s%zu of %zu shots (%.*f %%) lie in "
            "stretches with a fault that can be seen well and that nothing can "
            "mend:</p>\n",
            many ? "yes" : "no", many ? "" : "Only ", n, of, many ? 0 : 1,
            100 * (double)n / (double)of);
        list_open(r, worth);
        dw_buffer_printf(&r->b, "<p>All else is bridged from its neighbours, put right, or "
                                "slight.</p>\n");
    }
}

/* What the night lost at the end of the camera's range, and what was done about it. */
static void dark_end(struct dw_report *r)
{
    struct dw_exposure_ends e = dw_exposure_ends(r->shots, r->survey, r->d);
    if ((double)e.at_dark_end <= DARK_SHARE * (double)r->d->n_shots ||
        e.lifted_stops < LIFTED_STOPS)
        return;
    dw_buffer_printf(&r->b,
                     "<p><strong>The darkest part is noisier.</strong> <a href=\"#h-exposures\">"
                     "%zu shots</a> stood at the end of the camera's range, up to %.1f stops under "
                     "its usual exposure. The film stays dark there; even so they are lifted by up "
                     "to %.1f stops more than the others, and their noise with them. That alone "
                     "asks for a new shoot only where a calm night sky matters.</p>\n",
                     e.at_dark_end, e.fell_stops, e.lifted_stops);
}

static void verdict(struct dw_report *r)
{
    size_t by_hand = 0;
    bool *worth = calloc(r->n_runs + 1, sizeof *worth);
    for (size_t i = 0; i < r->n_runs && worth; i++)
        worth[i] = is_worth_again(r, &r->run[i]);
    for (size_t i = 0; i < r->d->n_shots; i++)
        by_hand += !r->d->ledger[i].use && r->d->ledger[i].verdict;
    dw_buffer_printf(&r->b, "<div class=\"verdict\"><h2>Shoot again?</h2>\n");
    if (worth)
        answer(r, worth);
    else
        r->b.failed = true;
    dark_end(r);
    if (by_hand > 0) {
        char count[48];
        dw_report_count(by_hand, "shot", count);
        dw_buffer_printf(&r->b, "<p>%s left out by your word.</p>\n", count);
    }
    dw_buffer_printf(&r->b, "</div>\n");
    free(worth);
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
    dw_buffer_printf(&r->b, "<p class=\"note\">Beside this page: the frames in "
                            "<code>frames/</code>, once they are rendered; the contact sheets in "
                            "<code>sheets.pdf</code>.</p>\n");
    tiles(r);
    verdict(r);
    dw_buffer_printf(&r->b, "</header>\n");
}
