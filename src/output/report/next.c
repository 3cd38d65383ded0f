/* next.c: what to change the next time, from the faults that occurred, and the cautions that
 * belong to it. Common practice, no source. */
#include "output/report/report.h"

#include "output/telling/exposures.h"
#include "output/report/html.h"
#include "output/telling/kinds.h"

#include <math.h>
#include <stdio.h>

static void advice(struct dw_report *r, const char *title, const char *because, const char *text)
{
    dw_buffer_printf(&r->b, "<li><h3>%s</h3><p class=\"note\">", title);
    dw_html_text(&r->b, because);
    dw_buffer_printf(&r->b, "</p><p>%s</p></li>\n", text);
}

/* "36 shots, most of them at ...": how much of one fault, and where to look for it. */
static void how_much(const struct dw_report *r, int k, char out[240])
{
    struct dw_problem_run all = {0};
    const struct dw_problem_run *most = NULL;
    char amount[80], span[80];
    for (size_t i = 0; i < r->d->n_shots; i++)
        if (r->d->ledger[i].faults >> k & 1) {
            all.first = all.n++ ? all.first : i;
            all.last = i;
        }
    for (size_t i = 0; i < r->n_runs; i++)
        if (r->run[i].fault == k && (!most || r->run[i].n > most->n))
            most = &r->run[i];
    dw_report_amount(r, k, all.first, all.last, amount);
    bool in_one = most && most->n == all.n, mostly = most && 2 * most->n > all.n;
    all.last = all.first; /* else the first of them is named */
    dw_report_span(r, mostly ? most : &all, span);
    snprintf(out, 240, "%s, %s %s", amount,
             in_one || all.n == 1 ? "at"
             : mostly             ? "most of them at"
                                  : "the first at",
             span);
}

static size_t for_faults(struct dw_report *r)
{
    size_t given = 0;
    uint32_t faults = 0;
    for (size_t i = 0; i < r->d->n_shots; i++)
        faults |= r->d->ledger[i].faults;
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        const struct dw_kind *kind = dw_kind(k);
        char because[300], much[240];
        if (!(faults >> k & 1) || !kind->next_title)
            continue;
        how_much(r, k, much);
        snprintf(because, sizeof because, "%s: %.230s.", kind->title, much);
        advice(r, kind->next_title, because, kind->next_text);
        given++;
    }
    return given;
}

static size_t for_exposures(struct dw_report *r)
{
    struct dw_exposure_ends e = dw_exposure_ends(r->shots, r->survey, r->d);
    char because[300];
    size_t given = 0;
    if (e.at_dark_end > r->d->n_shots / 50 && e.fell_stops > 1) {
        snprintf(because, sizeof because,
                 "%zu shots stood at the longest shutter time and the highest ISO, up to %.1f "
                 "stops under the usual exposure; lifted in rendering, and noisier by it.",
                 e.at_dark_end, e.fell_stops);
        advice(r, "Give the night more room", because,
               "Allow a higher ISO or a longer exposure in the camera's program, as far as the "
               "interval lets it, or take a faster lens. An interval must stay longer than "
               "exposure and writing together.");
        given++;
    }
    if (e.clipped > r->d->n_shots / 20) {
        snprintf(because, sizeof because, "In %zu shots more than 2 %% of the picture is clipped.",
                 e.clipped);
        advice(r, "Keep the glow within range", because,
               "Expose a stop lower while the sun is near the horizon. What is clipped cannot be "
               "brought back, and shadows of a RAW file bear being lifted by a stop.");
        given++;
    }
    return given;
}

static void cautions(struct dw_report *r)
{
    dw_buffer_printf(
        &r->b,
        "<aside class=\"caution\" aria-labelledby=\"h-caution\"><h3 id=\"h-caution\">Out there, "
        "safely</h3><ul>"
        "<li>Never look towards the sun through a lens or an optical finder, and keep long lenses "
        "off it: they burn eyes, shutters and sensors.</li>"
        "<li>Mains power outdoors belongs behind a residual-current device of at most 30 mA, off "
        "the wet ground, installed as local codes and a licensed electrician say. Batteries are "
        "the safer choice.</li>"
        "<li>Charge lithium cells only between 0 and 40 \xc2\xb0"
        "C, supervised, away from what burns; do not use swollen or wet ones.</li>"
        "<li>Weigh the tripod down, and tether a camera that stands where it could fall on "
        "somebody. Work at a height belongs to people trained and secured for it.</li>"
        "<li>Ask the owner of the land, and leave in thunder.</li></ul></aside>\n");
}

void dw_report_next(struct dw_report *r)
{
    dw_buffer_printf(&r->b, "<section aria-labelledby=\"h-next\"><h2 id=\"h-next\">Next "
                            "time</h2>\n<ul class=\"advice\">\n");
    size_t given = for_exposures(r); /* first, as it concerns the most shots */
    given += for_faults(r);
    if (given == 0)
        dw_buffer_printf(&r->b, "<li><h3>The same again</h3><p>Nothing in this shoot asks for a "
                                "change.</p></li>\n");
    dw_buffer_printf(&r->b, "</ul>\n");
    cautions(r);
    dw_buffer_printf(&r->b, "</section>\n");
}
