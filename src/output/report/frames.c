/* frames.c: every shot by the hour, to be marked and left out by the next run. */
#include "output/report/report.h"

#include "base/text.h"
#include "output/tables/documents.h"
#include "output/report/html.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int by_name(const void *a, const void *b)
{
    const struct dw_shot *const *p = a, *const *q = b;
    return strcmp((*p)->name, (*q)->name);
}

/* For each shot, whether another one has the same name. NULL without memory. */
static bool *find_doubles(const struct dw_shots *shots)
{
    const struct dw_shot **sorted = malloc((shots->n + 1) * sizeof *sorted);
    bool *twice = calloc(shots->n + 1, sizeof *twice);
    for (size_t i = 0; sorted && i < shots->n; i++)
        sorted[i] = &shots->shot[i];
    if (sorted)
        qsort(sorted, shots->n, sizeof *sorted, by_name);
    for (size_t i = 1; sorted && twice && i < shots->n; i++)
        if (by_name(&sorted[i - 1], &sorted[i]) == 0)
            twice[sorted[i - 1] - shots->shot] = twice[sorted[i] - shots->shot] = true;
    if (!sorted) {
        free(twice);
        twice = NULL;
    }
    free(sorted);
    return twice;
}

/* What a list file says for a shot: its name, with its folder where two cards hold the same. */
static void list_entry(const struct dw_shot *shot, bool with_folder, char out[900])
{
    const char *from = shot->name;
    if (with_folder) {
        from = dw_text_basename(shot->path);
        if (from > shot->path)
            from--; /* the slash */
        while (from > shot->path && from[-1] != '/')
            from--;
    }
    dw_text_clean(out, 880, from, strlen(from));
    if (out[0] == '#') { /* would be a comment there */
        memmove(out + 4, out + 1, strlen(out));
        memcpy(out, "\\x23", 4);
    }
}

static void one_shot(struct dw_report *r, size_t i, bool with_folder)
{
    const struct dw_ledger_row *row = &r->d->ledger[i];
    char entry[900], codes[128], when[32];
    bool by_hand = !row->use && row->verdict;
    list_entry(&r->shots->shot[i], with_folder, entry);
    dw_fault_codes(row->faults, codes);
    dw_report_when(r, row->utc_s, false, when);
    dw_buffer_printf(&r->b, "<li><label%s%s><input type=\"checkbox\" data-i=\"%zu\"%s value=\"",
                     row->faults || !row->use ? " class=\"" : "",
                     row->faults && !row->use ? "bad out\""
                     : row->faults            ? "bad\""
                     : !row->use              ? "out\""
                                              : "",
                     i, by_hand ? " checked" : "");
    dw_html_text(&r->b, entry);
    dw_buffer_printf(&r->b, "\">");
    if (r->small[i].longest > 0)
        dw_report_picture(r, &r->small[i], "", true);
    dw_buffer_printf(&r->b, "<span>%s<br>", when);
    dw_html_text(&r->b, r->shots->shot[i].name);
    if (codes[0])
        dw_buffer_printf(&r->b, "<br><b>%s</b>", codes);
    if (!row->use)
        dw_buffer_printf(&r->b, "<br><em>%s</em>", by_hand ? "out by hand" : "left out");
    dw_buffer_printf(&r->b, "</span></label></li>\n");
}

/* The shots of one hour as a fold; gives the shot after its last. */
static size_t one_hour(struct dw_report *r, size_t from, const bool *twice)
{
    const struct dw_decision *d = r->d;
    double hour = floor((r->t[from] + d->facts.utc_offset_s) / 3600);
    size_t to = from, faulty = 0;
    for (; to < d->n_shots; to++) {
        double h = floor((r->t[to] + d->facts.utc_offset_s) / 3600);
        if (isfinite(h) && isfinite(hour) && h != hour)
            break;
        faulty += d->ledger[to].faults != 0;
    }
    char when[32], count[48], sun[32], bad[80] = "";
    dw_report_when(r, isfinite(hour) ? hour * 3600 - d->facts.utc_offset_s : r->t[from], true,
                   when);
    dw_report_count(to - from, "shot", count);
    dw_signed(0, d->ledger[from].sun_alt_deg, sun);
    if (faulty > 0)
        snprintf(bad, sizeof bad, ", %zu with a fault", faulty);
    dw_buffer_printf(&r->b,
                     "<details class=\"hour\"><summary><b>%s</b> %s, sun %s\xc2\xb0%s</summary>\n"
                     "<fieldset><legend class=\"hidden\">Shots from %s on</legend><ul "
                     "class=\"shots\">\n",
                     when, count, sun, bad, when);
    for (size_t i = from; i < to; i++)
        one_shot(r, i, twice[i]);
    dw_buffer_printf(&r->b, "</ul></fieldset></details>\n");
    return to;
}

void dw_report_frames(struct dw_report *r)
{
    size_t n = r->d->n_shots;
    bool *twice = find_doubles(r->shots);
    if (!twice) {
        r->b.failed = true;
        return;
    }
    dw_buffer_printf(
        &r->b,
        "<section aria-labelledby=\"h-frames\"><h2 id=\"h-frames\">Leave shots out</h2>\n"
        "<p>Open an hour, mark what should not be in the sequence, and save the list. Then run the "
        "same command again with <code>--drop @drop.txt</code>. Shots that are out by your word "
        "already are marked.</p>\n<noscript><p>Saving needs the page's own small script, which is "
        "switched off here. Write the names into a text file, one on a line, instead.</p>"
        "</noscript>\n<form id=\"marks\">\n");
    for (size_t i = 0; i < n;)
        i = one_hour(r, i, twice);
    dw_buffer_printf(
        &r->b, "<div class=\"bar script\"><output id=\"count\" aria-live=\"polite\">No shot marked"
               "</output><button type=\"button\" id=\"save\">Save the list</button><button "
               "type=\"button\" id=\"clear\">Unmark all</button></div>\n<details class=\"script\">"
               "<summary>The list as text</summary><textarea id=\"list\" rows=\"8\" readonly "
               "aria-label=\"The marked shots, one on a "
               "line\"></textarea></details>\n</form></section>\n");
    free(twice);
}
