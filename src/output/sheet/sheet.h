/* sheet.h: what the contact sheets share: pages of A4 landscape at 171 dots an inch, so that the
 * smallest letters (17 pixels) print at 7 points, with a head and a foot. */
#ifndef DW_OUTPUT_SHEET_H
#define DW_OUTPUT_SHEET_H

#include <daywheel/output.h>

#include "output/telling/day.h"
#include "output/paper/paper.h"
#include "output/telling/problems.h"

#define DW_SHEET_WIDTH 2000
#define DW_SHEET_HEIGHT 1414
#define DW_SHEET_MARGIN 70

struct dw_sheet {
    const struct dw_shots *shots;
    const struct dw_survey *survey;
    const struct dw_decision *d;
    const struct dw_look_params *look;
    struct dw_problem_run *run;
    struct dw_problem *list; /* pictures of the problem pages */
    size_t n_runs, n, found;
    size_t problem_pages, whole_pages;
    struct dw_day day;
};

extern const struct dw_ink dw_sheet_black, dw_sheet_rule, dw_sheet_mat, dw_sheet_hatch;
extern const struct dw_letters dw_sheet_note, dw_sheet_small;

/* Title, dates, folder and counts of faults at the head; a sentence and the page's number below. */
void dw_sheet_frame(struct dw_paper *p, const struct dw_sheet *s, const char *title,
                    const char *aside, const char *foot, size_t page, size_t pages);

/* Pages of problem frames: how many, how high each one is on the screen (no higher than what it
 * holds; on paper all are whole), and one of them. ctx is the sheet. */
size_t dw_sheet_problem_pages(size_t pictures);
int dw_sheet_problem_height(const struct dw_sheet *s, size_t page);
#define DW_SHEET_MOST_PROBLEMS 240 /* it is to be looked through; the ledger holds every shot */
void dw_sheet_draw_problems(struct dw_paper *p, void *ctx, size_t page);

/* Pages of the whole shoot: one frame every 15 minutes, below a timeline. */
size_t dw_sheet_whole_pages(const struct dw_sheet *s);
int dw_sheet_whole_height(const struct dw_sheet *s, size_t page);
void dw_sheet_draw_whole(struct dw_paper *p, void *ctx, size_t page);

#endif
