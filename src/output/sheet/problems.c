/* problems.c: the contact sheet of problem frames. See sheet.h. */
#include "output/sheet/sheet.h"

#include "output/tables/documents.h"
#include "output/telling/kinds.h"
#include "output/paper/picture.h"
#include "base/text.h"
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define COLUMNS 4
#define ROWS 3
#define GUTTER 34
#define TOP 164 /* of the first row */
#define ROW_HEIGHT 398
#define PICTURE_HEIGHT 236
#define LABEL_HEIGHT 32 /* of the words upon a picture */

static const struct dw_ink white = {1, 1, 1}, grey = {0.38, 0.38, 0.4};
static const struct dw_letters name = {21, true, {0.09, 0.09, 0.1}},
                               plain = {18, false, {0.09, 0.09, 0.1}};

size_t dw_sheet_problem_pages(size_t pictures)
{
    return (pictures + COLUMNS * ROWS - 1) / (COLUMNS * ROWS);
}

int dw_sheet_problem_height(const struct dw_sheet *s, size_t page)
{
    size_t rows = (s->n - page * COLUMNS * ROWS + COLUMNS - 1) / COLUMNS;
    return DW_SHEET_HEIGHT - (rows < ROWS ? ROWS - (int)rows : 0) * ROW_HEIGHT;
}

/* Words upon a corner of the picture: its upper left one, or its lower right one. */
static void draw_label(struct dw_paper *p, double x, double y, double w, bool below,
                       struct dw_ink ground, const char *text)
{
    const struct dw_letters l = {17, true, white};
    const double width = 11.5 * (double)strlen(text) + 10, left = below ? x + w - width : x;
    const double top = below ? y + PICTURE_HEIGHT - LABEL_HEIGHT : y;
    dw_paper_box(p, left, top, width, LABEL_HEIGHT, ground);
    dw_paper_line(p, left + width / 2, top + LABEL_HEIGHT - 10, width - 8, DW_CENTRE, &l, text);
}

static void draw_labels(struct dw_paper *p, const struct dw_problem *problem, double x, double y,
                        double w)
{
    static const char *const role[] = {NULL, "first of", "worst of", "last of", "to compare"};
    char text[60];
    if (problem->role == DW_TO_COMPARE) {
        dw_paper_outline(p, x, y, w, PICTURE_HEIGHT, grey);
        draw_label(p, x, y, w, false, grey, role[problem->role]);
    } else if (role[problem->role]) {
        snprintf(text, sizeof text, "%s %zu", role[problem->role], problem->run_size);
        draw_label(p, x, y, w, false, dw_sheet_black, text);
    }
    if (problem->unshown > 0) {
        snprintf(text, sizeof text, "%zu more to the %s", problem->unshown,
                 problem->next == DW_WORST_OF_RUN ? "worst" : "last");
        draw_label(p, x, y, w, true, dw_sheet_black, text);
    }
}

/* Codes in their own ink, the leading one's square before them; then how bad it is. */
static void draw_codes(struct dw_paper *p, double x, double y, double w,
                       const struct dw_ledger_row *row)
{
    char codes[128];
    int lead = dw_problem_leading(row);
    struct dw_letters l = plain;
    l.bold = true;
    l.ink = dw_kind(lead)->ink;
    dw_fault_codes(row->faults, codes);
    size_t n = strlen(codes);
    if (n < 100)
        snprintf(codes + n, sizeof codes - n, "  %s", dw_problem_how_bad(row->severity));
    dw_paper_box(p, x, y - 14, 14, 14, l.ink);
    dw_paper_line(p, x + 24, y, w - 24, DW_LEFT, &l, codes);
}

/* "03-29 11:18  ·  sun 44.2°"; the year stands at the page's head. */
static void when_and_sun(const struct dw_sheet *s, const struct dw_ledger_row *row, char out[80])
{
    char when[32], sun[32];
    dw_when_minute(row->utc_s, s->d->facts.utc_offset_s, when);
    snprintf(out, 80, "%s", strlen(when) == 16 ? when + 5 : when);
    if (isfinite(row->sun_alt_deg)) {
        dw_signed(1, row->sun_alt_deg, sun);
        snprintf(out + strlen(out), 80 - strlen(out), "  \xc2\xb7  sun %s\xc2\xb0", sun);
    }
}

static void draw_picture(struct dw_paper *p, const struct dw_sheet *s,
                         const struct dw_problem *problem, double x, double y, double w)
{
    struct dw_image picture;
    char why[80];
    if (dw_sheet_picture(s->shots, s->survey, s->d, problem->shot, problem->like, s->look, 0,
                         &picture, why)) {
        dw_paper_picture(p, x, y, w, PICTURE_HEIGHT, &picture, dw_sheet_mat);
        dw_image_free(&picture);
        return;
    }
    dw_paper_hatch(p, x, y, w, PICTURE_HEIGHT, dw_sheet_mat, dw_sheet_hatch);
    dw_paper_box(p, x + w / 2 - 150, y + PICTURE_HEIGHT / 2.0 - 20, 300, 40, dw_sheet_mat);
    dw_paper_line(p, x + w / 2, y + PICTURE_HEIGHT / 2.0 + 7, 290, DW_CENTRE, &dw_sheet_small, why);
}

static void draw_cell(struct dw_paper *p, const struct dw_sheet *s,
                      const struct dw_problem *problem, double x, double y, double w)
{
    const struct dw_ledger_row *row = &s->d->ledger[problem->shot];
    char text[300], when[80];
    draw_picture(p, s, problem, x, y, w);
    draw_labels(p, problem, x, y, w);
    double base = y + PICTURE_HEIGHT + 27;
    when_and_sun(s, row, when);
    double used = dw_paper_line(p, x + w, base, w, DW_RIGHT, &dw_sheet_small, when);
    dw_paper_line(p, x, base, w - used - 16, DW_LEFT, &name, s->shots->shot[problem->shot].name);
    if (problem->role == DW_TO_COMPARE) {
        dw_paper_words(p, x, base + 26, w, 3, 22, &dw_sheet_small,
                       dw_kind(s->run[problem->run].fault)->as_taken
                           ? "A neighbour without a fault, for the eye; the next is shown with "
                             "its exposure, which is else brought into line."
                           : "A neighbour without a fault, for the eye to compare with the next "
                             "one.");
        return;
    }
    draw_codes(p, x, base + 26, w, row);
    dw_problem_reason(row, text);
    int lines = dw_paper_words(p, x, base + 51, w, 3, 22, &plain, text);
    dw_problem_remedy(s->shots, s->d, problem->shot, text);
    dw_paper_words(p, x, base + 51 + 22 * lines, w, 4 - lines, 22, &dw_sheet_small, text);
}

void dw_sheet_draw_problems(struct dw_paper *p, void *ctx, size_t page)
{
    const struct dw_sheet *s = ctx;
    const size_t cells = COLUMNS * ROWS;
    const double w = (DW_SHEET_WIDTH - 2.0 * DW_SHEET_MARGIN - (COLUMNS - 1) * GUTTER) / COLUMNS;
    char aside[160];
    snprintf(aside, sizeof aside, "%zu of %zu shots have a fault, in %zu stretch%s", s->found,
             s->shots->n, s->n_runs, s->n_runs == 1 ? "" : "es");
    dw_sheet_frame(p, s, "Problem frames", aside,
                   "Of a longer run the first, the worst and the last are shown. report.html "
                   "tells the shoot, ledger.csv holds every shot; its column use may be edited.",
                   page, s->problem_pages);
    for (size_t k = 0; k < cells && page * cells + k < s->n; k++)
        draw_cell(p, s, &s->list[page * cells + k],
                  DW_SHEET_MARGIN + (double)(k % COLUMNS) * (w + GUTTER),
                  TOP + (double)(k / COLUMNS) * ROW_HEIGHT, w);
}
