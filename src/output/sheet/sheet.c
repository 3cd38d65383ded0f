/* sheet.c: the contact sheets as files: pages for the screen, and one PDF of all for print. */
#include "output/sheet/sheet.h"

#include "base/atomic_file.h"
#include "output/sheet/book.h"
#include "output/tables/documents.h"
#include "output/formats/frame_file.h"

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

/* One kind of sheet. */
struct form {
    const char *name;
    size_t pages;
    int (*height)(const struct dw_sheet *s, size_t page);
    void (*draw)(struct dw_paper *p, void *ctx, size_t page);
};

static enum dw_status write_pages(struct dw_sheet *s, struct dw_book *book, const char *dir,
                                  const struct form *f, bool *plain, struct dw_error *err)
{
    enum dw_status status = DW_OK;
    for (size_t page = 0; page < f->pages && status >= 0; page++) {
        char name[40];
        snprintf(name, sizeof name, "%s-%zu.jpg", f->name, page + 1);
        status = dw_book_page(book, dir, name, f->height(s, page), f->draw, s, page, plain, err);
    }
    if (status >= 0)
        remove_further(dir, f->name, f->pages);
    return status;
}

static enum dw_status write_all(struct dw_sheet *s, const char *dir, bool *plain,
                                struct dw_error *err)
{
    const struct form forms[] = {
        {"sheet", s->problem_pages, dw_sheet_problem_height, dw_sheet_draw_problems},
        {"whole", s->whole_pages, dw_sheet_whole_height, dw_sheet_draw_whole}};
    struct dw_book book;
    enum dw_status status =
        dw_book_open(&book, DW_SHEET_WIDTH, DW_SHEET_HEIGHT, "Contact sheets", s->day.last_s, err);
    if (status < 0)
        return status;
    for (size_t i = 0; i < sizeof forms / sizeof *forms && status >= 0; i++)
        status = write_pages(s, &book, dir, &forms[i], plain, err);
    if (status >= 0)
        status = dw_book_close(&book, dir, "sheets.pdf", err);
    dw_book_free(&book);
    return status;
}

static enum dw_status prepare(struct dw_sheet *s, struct dw_error *err)
{
    const struct dw_decision *d = s->d;
    enum dw_status status = dw_day_of_shoot(d, &s->day, err);
    if (status >= 0)
        status = dw_problem_runs(d, &s->run, &s->n_runs, &s->found, err);
    if (status >= 0)
        status = dw_problems(d, s->run, s->n_runs, DW_SHEET_MOST_PROBLEMS, &s->list, &s->n, err);
    if (status >= 0)
        dw_problems_by_time(s->list, s->n);
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
