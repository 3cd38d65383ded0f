/* sheet.c: the contact sheets as files: pages for the screen, and one PDF of all for print. */
#include "output/sheet.h"

#include "base/atomic_file.h"
#include "output/book.h"
#include "output/documents.h"
#include "output/frame_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

/* Pages of an earlier run beyond this one's last; only files that carry our mark. */
static void remove_further(const char *dir, const char *form, size_t page)
{
    for (;; page++) {
        char name[40], recipe[33];
        snprintf(name, sizeof name, "%s-%zu.jpg", form, page + 1);
        char *path = dw_join_path(dir, name);
        bool ours = path && dw_frame_file_recipe(path, DW_JPEG, recipe) && unlink(path) == 0;
        free(path);
        if (!ours)
            return;
    }
}

static enum dw_status write_pages(struct dw_sheet *s, struct dw_book *book, const char *dir,
                                  const char *form, size_t pages,
                                  void (*draw)(struct dw_paper *, void *, size_t), bool *plain,
                                  struct dw_error *err)
{
    enum dw_status status = DW_OK;
    for (size_t page = 0; page < pages && status >= 0; page++) {
        char name[40];
        snprintf(name, sizeof name, "%s-%zu.jpg", form, page + 1);
        status = dw_book_page(book, dir, name, draw, s, page, plain, err);
    }
    if (status >= 0)
        remove_further(dir, form, pages);
    return status;
}

static enum dw_status write_all(struct dw_sheet *s, const char *dir, bool *plain,
                                struct dw_error *err)
{
    struct dw_book book;
    enum dw_status status =
        dw_book_open(&book, DW_SHEET_WIDTH, DW_SHEET_HEIGHT, "Contact sheets", s->day.last_s, err);
    if (status < 0)
        return status;
    status =
        write_pages(s, &book, dir, "sheet", s->problem_pages, dw_sheet_draw_problems, plain, err);
    if (status >= 0)
        status =
            write_pages(s, &book, dir, "whole", s->whole_pages, dw_sheet_draw_whole, plain, err);
    if (status >= 0)
        status = dw_book_close(&book, dir, "sheets.pdf", err);
    dw_book_free(&book);
    return status;
}

static enum dw_status prepare(struct dw_sheet *s, struct dw_error *err)
{
    const struct dw_decision *d = s->d;
    double low = HUGE_VAL, high = -HUGE_VAL;
    for (size_t i = 0; i < d->n_shots; i++)
        if (isfinite(d->ledger[i].utc_s)) {
            low = fmin(low, d->ledger[i].utc_s);
            high = fmax(high, d->ledger[i].utc_s);
        }
    enum dw_status status =
        dw_day_make(&d->facts.site, low, high, d->facts.utc_offset_s, &s->day, err);
    if (status >= 0)
        status = dw_problem_runs(d, &s->run, &s->n_runs, &s->found, err);
    if (status >= 0)
        status = dw_problems(d, s->run, s->n_runs, DW_SHEET_MOST_PROBLEMS, &s->list, &s->n, err);
    return status;
}

enum dw_status dw_write_sheets(const char *dir, const struct dw_shots *shots,
                               const struct dw_survey *survey, const struct dw_decision *d,
                               const struct dw_report_params *params, int *pages,
                               struct dw_error *err)
{
    struct dw_sheet s = {.shots = shots, .survey = survey, .d = d, .look = params->look};
    bool plain = false;
    *pages = 0;
    enum dw_status status = prepare(&s, err);
    if (status >= 0)
        status = dw_make_folder(dir, err);
    if (status >= 0) {
        s.problem_pages = dw_sheet_problem_pages(s.n);
        s.whole_pages = dw_sheet_whole_pages(&s);
        status = write_all(&s, dir, &plain, err);
    }
    *pages = (int)s.problem_pages;
    free(s.list);
    free(s.run);
    dw_day_free(&s.day);
    if (status < 0)
        return status;
    return plain ? dw_paper_no_fonts(dir, err) : DW_OK;
}
