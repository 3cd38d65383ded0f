/* sheet.c: the contact sheet of problem frames. Pages of A4 landscape at 171 dots an inch, so
 * that the smallest letters (17 pixels) print at 7 points. */
#include <daywheel/output.h>

#include "base/atomic_file.h"
#include "base/text.h"
#include "output/documents.h"
#include "output/frame_file.h"
#include "output/kinds.h"
#include "output/paper.h"
#include "output/place.h"
#include "output/problems.h"
#include "output/sheet_picture.h"
#include "output/when.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PAGE_WIDTH 2000
#define PAGE_HEIGHT 1414
#define MARGIN 70
#define COLUMNS 4
#define ROWS 3
#define GUTTER 34
#define TOP 164 /* of the first row */
#define ROW_HEIGHT 398
#define PICTURE_HEIGHT 252
#define MOST_PAGES 20 /* a sheet is to be looked through; the ledger holds every shot */

static const struct dw_ink white = {1, 1, 1}, black = {0.09, 0.09, 0.1}, rule = {0.8, 0.8, 0.81},
                           mat = {0.9, 0.9, 0.905}, hatch = {0.8, 0.8, 0.81};

static const struct dw_letters title = {34, true, {0.09, 0.09, 0.1}},
                               note = {19, false, {0.38, 0.38, 0.4}},
                               name = {21, true, {0.09, 0.09, 0.1}},
                               small = {18, false, {0.38, 0.38, 0.4}},
                               plain = {18, false, {0.09, 0.09, 0.1}};

struct sheet {
    const struct dw_shots *shots;
    const struct dw_survey *survey;
    const struct dw_decision *d;
    const struct dw_look_params *look;
    struct dw_problem_run *run;
    struct dw_problem *list;
    size_t n_runs, n, found, pages;
};

static void date_range(const struct sheet *s, char out[120])
{
    const struct dw_decision *d = s->d;
    int offset = d->facts.utc_offset_s, minutes = abs(offset) / 60;
    char first[32], last[32];
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < d->n_shots; i++)
        if (isfinite(d->ledger[i].utc_s)) {
            low = fmin(low, d->ledger[i].utc_s);
            high = fmax(high, d->ledger[i].utc_s);
        }
    dw_when_local(low, offset, first);
    dw_when_local(high, offset, last);
    first[strlen(first) > 16 ? 16 : 0] = last[strlen(last) > 16 ? 16 : 0] = '\0'; /* no seconds */
    bool one_day = strlen(last) == 16 && strncmp(first, last, 11) == 0;
    snprintf(out, 120, "%s \xe2\x80\x93 %s, UTC%c%02d:%02d", first, one_day ? last + 11 : last,
             offset < 0 ? '-' : '+', minutes / 60 % 100, minutes % 60);
}

/* Small squares with code and count, from right to left; gives where they begin. */
static double draw_counts(struct dw_paper *p, const struct sheet *s, double right, double y)
{
    for (int i = DW_FAULT_COUNT - 1; i >= 0; i--) {
        size_t count = 0;
        for (size_t k = 0; k < s->d->n_shots; k++)
            count += s->d->ledger[k].faults >> i & 1;
        if (count == 0 || !dw_fault_name(i))
            continue;
        char text[60];
        snprintf(text, sizeof text, "%s %zu", dw_fault_name(i), count);
        struct dw_letters l = note;
        l.ink = black;
        right -= dw_paper_line(p, right, y, 300, DW_RIGHT, &l, text) + 22;
        dw_paper_box(p, right, y - 14, 14, 14, dw_kind(i)->ink);
        right -= 22;
    }
    return right;
}

static void draw_frame_of_page(struct dw_paper *p, const struct sheet *s, size_t page)
{
    const double right = PAGE_WIDTH - MARGIN;
    char folder[200], range[120], text[400];
    dw_shoot_folder(s->shots, folder);
    date_range(s, range);
    dw_paper_line(p, MARGIN, 78, 1100, DW_LEFT, &title, "Problem frames");
    snprintf(text, sizeof text, "%s%s%s", folder, folder[0] ? "  \xc2\xb7  " : "", range);
    double counts = draw_counts(p, s, right, 112);
    dw_paper_line(p, MARGIN, 112, counts - MARGIN - 20, DW_LEFT, &note, text);
    snprintf(text, sizeof text, "%zu of %zu shots have a fault", s->found, s->shots->n);
    dw_paper_line(p, right, 78, 700, DW_RIGHT, &note, text);
    dw_paper_box(p, MARGIN, 132, PAGE_WIDTH - 2 * MARGIN, 1.5, rule);
    snprintf(
        text, sizeof text, "%s",
        "Of a run of like faults the first, the worst and the last are shown. ledger.csv holds "
        "every shot; its column use may be edited.");
    dw_paper_line(p, MARGIN, PAGE_HEIGHT - 36, 1500, DW_LEFT, &small, text);
    snprintf(text, sizeof text, "page %zu of %zu", page + 1, s->pages);
    dw_paper_line(p, right, PAGE_HEIGHT - 36, 300, DW_RIGHT, &small, text);
}

/* "12 more like it" in the picture's lower right corner. */
static void draw_unshown(struct dw_paper *p, double x, double y, double w, size_t unshown)
{
    char text[60];
    struct dw_letters l = {17, true, white};
    snprintf(text, sizeof text, "+ %zu like it", unshown);
    const double width = 12.0 * (double)strlen(text) + 8;
    dw_paper_box(p, x + w - width, y + PICTURE_HEIGHT - 32, width, 32, black);
    dw_paper_line(p, x + w - width / 2, y + PICTURE_HEIGHT - 10, width - 8, DW_CENTRE, &l, text);
}

/* Codes in their own ink, the leading one's square before them; then the sun's altitude. */
static void draw_codes(struct dw_paper *p, double x, double y, double w,
                       const struct dw_ledger_row *row)
{
    char codes[128], sun[60] = "";
    int lead = dw_problem_leading(row->faults);
    struct dw_letters l = plain;
    l.bold = true;
    l.ink = dw_kind(lead)->ink;
    dw_fault_codes(row->faults, codes);
    dw_paper_box(p, x, y - 14, 14, 14, l.ink);
    if (isfinite(row->sun_alt_deg))
        snprintf(sun, sizeof sun, "sun %s%.1f\xc2\xb0", row->sun_alt_deg < 0 ? "\xe2\x88\x92" : "",
                 fabs(row->sun_alt_deg));
    double used = dw_paper_line(p, x + w, y, w / 2, DW_RIGHT, &small, sun);
    dw_paper_line(p, x + 24, y, w - used - 40, DW_LEFT, &l, codes);
}

static void draw_cell(struct dw_paper *p, const struct sheet *s, const struct dw_problem *problem,
                      double x, double y, double w)
{
    const struct dw_ledger_row *row = &s->d->ledger[problem->shot];
    struct dw_image picture;
    char text[300], why[80], when[32];
    if (dw_sheet_picture(s->shots, s->survey, s->d, problem->shot, s->look, 0, &picture, why)) {
        dw_paper_picture(p, x, y, w, PICTURE_HEIGHT, &picture, mat);
        dw_image_free(&picture);
    } else {
        dw_paper_hatch(p, x, y, w, PICTURE_HEIGHT, mat, hatch);
        dw_paper_box(p, x + w / 2 - 150, y + PICTURE_HEIGHT / 2.0 - 20, 300, 40, mat);
        dw_paper_line(p, x + w / 2, y + PICTURE_HEIGHT / 2.0 + 7, 290, DW_CENTRE, &small, why);
    }
    if (problem->unshown > 0)
        draw_unshown(p, x, y, w, problem->unshown);
    double base = y + PICTURE_HEIGHT + 27;
    dw_when_local(row->utc_s, s->d->facts.utc_offset_s, when);
    double used = dw_paper_line(p, x + w, base, w, DW_RIGHT, &small,
                                strlen(when) == 19 ? when + 5 : when); /* the year stands above */
    dw_paper_line(p, x, base, w - used - 16, DW_LEFT, &name, s->shots->shot[problem->shot].name);
    draw_codes(p, x, base + 26, w, row);
    dw_problem_reason(row, text);
    int lines = dw_paper_words(p, x, base + 51, w, 2, 22, &plain, text);
    dw_problem_remedy(s->shots, s->d, problem->shot, text);
    dw_paper_words(p, x, base + 51 + 22 * lines, w, 4 - lines > 2 ? 2 : 1, 22, &small, text);
}

static enum dw_status draw_page(const struct sheet *s, size_t page, const char *path,
                                bool *plain_font, struct dw_error *err)
{
    struct dw_paper p;
    enum dw_status status = dw_paper_new(PAGE_WIDTH, PAGE_HEIGHT, white, &p, err);
    if (status < 0)
        return status;
    *plain_font = p.plain;
    draw_frame_of_page(&p, s, page);
    const double w = (PAGE_WIDTH - 2.0 * MARGIN - (COLUMNS - 1) * GUTTER) / COLUMNS;
    for (size_t k = 0; k < COLUMNS * ROWS && page * COLUMNS * ROWS + k < s->n; k++)
        draw_cell(&p, s, &s->list[page * COLUMNS * ROWS + k],
                  MARGIN + (double)(k % COLUMNS) * (w + GUTTER),
                  TOP + (double)(k / COLUMNS) * ROW_HEIGHT, w);
    status = dw_paper_write(&p, path, err);
    dw_paper_free(&p);
    return status;
}

static char *page_path(const char *dir, size_t page)
{
    char file[40];
    snprintf(file, sizeof file, "sheet-%zu.jpg", page + 1);
    return dw_join_path(dir, file);
}

/* Pages of an earlier run beyond this one's last; only files that carry our mark. */
static void remove_further(const char *dir, size_t page)
{
    for (;; page++) {
        char recipe[33], *path = page_path(dir, page);
        bool ours = path && dw_frame_file_recipe(path, DW_JPEG, recipe) && unlink(path) == 0;
        free(path);
        if (!ours)
            return;
    }
}

enum dw_status dw_write_sheets(const char *dir, const struct dw_shots *shots,
                               const struct dw_survey *survey, const struct dw_decision *d,
                               const struct dw_report_params *params, int *pages,
                               struct dw_error *err)
{
    *pages = 0;
    struct sheet s = {.shots = shots, .survey = survey, .d = d, .look = params->look};
    const size_t per_page = COLUMNS * ROWS;
    enum dw_status status = dw_problem_runs(d, &s.run, &s.n_runs, &s.found, err);
    if (status >= 0)
        status = dw_problems(d, s.run, s.n_runs, MOST_PAGES * per_page, &s.list, &s.n, err);
    if (status >= 0)
        status = dw_make_folder(dir, err);
    s.pages = (s.n + per_page - 1) / per_page;
    bool plain_font = false;
    for (size_t page = 0; page < s.pages && status >= 0; page++) {
        char *path = page_path(dir, page);
        status = path ? draw_page(&s, page, path, &plain_font, err)
                      : dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", dir);
        free(path);
    }
    free(s.list);
    free(s.run);
    if (status < 0)
        return status;
    remove_further(dir, s.pages);
    *pages = (int)s.pages;
    return plain_font ? dw_paper_no_fonts(dir, err) : DW_OK;
}
