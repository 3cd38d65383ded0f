/* report.c: report.html, one page that needs nothing beside it: pictures, charts, style and its
 * small script are inside. Its policy forbids everything else, so that a page opened years later
 * asks nobody for anything, and a file name that looks like a script stays a file name. */
#include "output/report/report.h"

#include "output/tables/c_locale.h"
#include "output/tables/documents.h"
#include "output/report/html.h"
#include "output/telling/place.h"
#include "report_files.h" /* made of report.css and report.js */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MOST_PROBLEM_PICTURES 90
#define STRIP_PICTURES 16
#define SMALL_LONGEST 96 /* of every shot; 1500 of them take 3 MB */
#define SMALL_QUALITY 62
#define LARGE_LONGEST 240
#define LARGE_QUALITY 78
#define MOST_SMALL 1600 /* of longer shoots every second, third ... shot has a picture */

static enum dw_status find_times(struct dw_report *r, struct dw_error *err)
{
    r->t = calloc(r->d->n_shots + 1, sizeof *r->t);
    if (!r->t)
        return dw_fail(err, DW_ERR_MEMORY, "report.html: no memory for %zu shots", r->d->n_shots);
    for (size_t i = 0; i < r->d->n_shots; i++)
        r->t[i] = r->d->ledger[i].utc_s;
    return dw_day_of_shoot(r->d, &r->day, err);
}

/* The shots nearest to the middles of equal parts of the shoot, used ones if there are such. */
static enum dw_status choose_strip(struct dw_report *r, struct dw_error *err)
{
    r->strip = calloc(STRIP_PICTURES, sizeof *r->strip);
    if (!r->strip)
        return dw_fail(err, DW_ERR_MEMORY, "report.html: no memory for its row of pictures");
    double length = (r->day.last_s - r->day.first_s) / STRIP_PICTURES;
    for (size_t k = 0; k < STRIP_PICTURES; k++) {
        double middle = r->day.first_s + ((double)k + 0.5) * length, best = length;
        size_t at = r->d->n_shots;
        for (size_t i = 0; i < r->d->n_shots; i++) {
            if (i >= r->survey->n || !r->survey->measure[i].usable)
                continue;
            double far = fabs(r->t[i] - middle) + (r->d->ledger[i].use ? 0 : length / 4);
            if (far < best) {
                best = far;
                at = i;
            }
        }
        if (at < r->d->n_shots)
            r->strip[r->n_strip++] = at;
    }
    return DW_OK;
}

static enum dw_status make_pictures(struct dw_report *r, struct dw_error *err)
{
    size_t n = r->d->n_shots, n_large = r->n_problems + r->n_strip;
    size_t every = (n + MOST_SMALL - 1) / MOST_SMALL;
    r->small = calloc(n + 1, sizeof *r->small);
    r->large = calloc(n_large + 1, sizeof *r->large);
    if (!r->small || !r->large)
        return dw_fail(err, DW_ERR_MEMORY, "report.html: no memory for %zu pictures", n + n_large);
    for (size_t i = 0; i < n; i++) {
        bool shown = i % every == 0;
        r->small[i] = (struct dw_small){
            .shot = i, .like = i, .longest = shown ? SMALL_LONGEST : 0, .quality = SMALL_QUALITY};
    }
    for (size_t i = 0; i < n_large; i++) {
        bool problem = i < r->n_problems;
        size_t shot = problem ? r->problem[i].shot : r->strip[i - r->n_problems];
        r->large[i] = (struct dw_small){.shot = shot,
                                        .like = problem ? r->problem[i].like : shot,
                                        .longest = LARGE_LONGEST,
                                        .quality = LARGE_QUALITY};
    }
    const struct dw_report_params *p = r->params;
    enum dw_status s = dw_small_make(r->shots, r->survey, r->d, p->look, p->run, r->small, n, err);
    if (s >= 0)
        s = dw_small_make(r->shots, r->survey, r->d, p->look, p->run, r->large, n_large, err);
    return s;
}

static void head(struct dw_report *r)
{
    char folder[200];
    dw_shoot_folder(r->shots, folder);
    dw_buffer_printf(
        &r->b,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; "
        "style-src 'unsafe-inline'; script-src 'sha256-%s'; base-uri 'none'; form-action "
        "'none'\">\n"
        "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
        "<meta name=\"color-scheme\" content=\"light dark\">\n"
        "<meta name=\"generator\" content=\"daywheel %s\">\n<title>",
        dw_report_js_sha256, dw_version());
    dw_html_printf(&r->b, "%s%s", folder, folder[0] ? ": report" : "Report of the shoot");
    dw_buffer_printf(&r->b, "</title>\n<style>\n");
    dw_buffer_add(&r->b, dw_report_css, strlen(dw_report_css));
    dw_buffer_printf(&r->b, "</style>\n</head>\n<body data-shoot=\"");
    dw_html_text(&r->b, folder);
    dw_buffer_printf(&r->b, "\">\n<a class=\"skip\" href=\"#content\">To the report</a>\n"
                            "<nav aria-label=\"Sections\"><a href=\"#h-sky\">Whole shoot</a>"
                            "<a href=\"#h-runs\">What went wrong</a><a href=\"#h-next\">Next "
                            "time</a><a href=\"#h-light\">Light</a><a href=\"#h-exposures\">"
                            "Exposures</a><a href=\"#h-frames\">Leave out</a><a "
                            "href=\"#h-settings\">Settings</a></nav>\n<main id=\"content\">\n");
}

static void foot(struct dw_report *r)
{
    dw_buffer_printf(&r->b,
                     "</main>\n<footer><p>Made by daywheel %s. Times are those of the "
                     "camera's clock; sun and moon without refraction.</p></footer>\n"
                     "<script>",
                     dw_version());
    dw_buffer_add(&r->b, dw_report_js, strlen(dw_report_js));
    dw_buffer_printf(&r->b, "</script>\n</body>\n</html>\n");
}

static void page(struct dw_report *r)
{
    head(r);
    dw_report_summary(r);
    dw_report_sky(r);
    dw_report_runs(r);
    dw_report_next(r);
    dw_report_light(r);
    dw_report_exposures(r);
    dw_report_hours(r);
    dw_report_frames(r);
    dw_report_settings(r);
    foot(r);
}

enum dw_status dw_write_report(const char *dir, const struct dw_shots *shots,
                               const struct dw_survey *survey, const struct dw_decision *d,
                               const struct dw_report_params *params, struct dw_error *err)
{
    struct dw_report r = {.shots = shots, .survey = survey, .d = d, .params = params};
    enum dw_status s = find_times(&r, err);
    if (s >= 0)
        s = dw_problem_runs(d, &r.run, &r.n_runs, &r.n_found, err);
    if (s >= 0)
        s = dw_problems(d, r.run, r.n_runs, MOST_PROBLEM_PICTURES, &r.problem, &r.n_problems, err);
    if (s >= 0)
        s = choose_strip(&r, err);
    if (s >= 0)
        s = make_pictures(&r, err);
    if (s >= 0) {
        struct dw_c_locale locale = dw_c_locale_enter();
        page(&r);
        dw_c_locale_leave(&locale);
        s = dw_document_commit(dir, "report.html", &r.b, err);
    }
    dw_buffer_free(&r.b);
    dw_small_free(r.small, d->n_shots);
    dw_small_free(r.large, r.n_problems + r.n_strip);
    free(r.strip);
    free(r.problem);
    free(r.run);
    free(r.t);
    dw_day_free(&r.day);
    return s;
}
