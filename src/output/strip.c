/* strip.c: a few labelled pictures on one dark page, to judge a look by. */
#include <daywheel/output.h>

#include "output/paper.h"

#include <math.h>

#define PAGE_WIDTH 2000
#define MARGIN 50
#define GUTTER 26
#define HEADER 110
#define LABEL 66 /* below each picture: two lines */
#define MOST_COLUMNS 5

/* Neutral and dark, so that neither brightness nor colour of the pictures is flattered. */
static const struct dw_ink ground = {0.13, 0.13, 0.13}, mat = {0.1, 0.1, 0.1};
static const struct dw_letters title_letters = {32, true, {0.9, 0.9, 0.9}},
                               label_letters = {19, false, {0.78, 0.78, 0.78}};

/* Rows as equal as can be. */
static size_t columns_for(size_t n)
{
    size_t rows = (n + MOST_COLUMNS - 1) / MOST_COLUMNS;
    if (n == 4 || n == 3)
        rows = n == 4 ? 2 : 1;
    return rows ? (n + rows - 1) / rows : 1;
}

enum dw_status dw_write_strip(const char *path, const char *title, const struct dw_strip_item *item,
                              size_t n, struct dw_error *err)
{
    double tallest = 0; /* height over width */
    for (size_t i = 0; i < n; i++) {
        const struct dw_image *m = &item[i].image;
        if (m->width < 1 || m->height < 1 || (m->bits == 16 ? !m->px16 : !m->px8))
            return dw_fail(err, DW_ERR_USAGE, "%s: picture %zu of %zu is empty", path, i + 1, n);
        tallest = fmax(tallest, (double)m->height / m->width);
    }
    if (n == 0)
        return dw_fail(err, DW_ERR_EMPTY, "%s: there is no picture to show", path);
    size_t columns = columns_for(n), rows = (n + columns - 1) / columns;
    double w = (PAGE_WIDTH - 2.0 * MARGIN - (double)(columns - 1) * GUTTER) / (double)columns;
    double h = floor(w * fmin(tallest, 1)); /* portraits stand in a square */
    struct dw_paper p;
    enum dw_status s =
        dw_paper_new(PAGE_WIDTH, (int)(HEADER + (double)rows * (h + LABEL + GUTTER) + MARGIN / 2),
                     ground, &p, err);
    if (s < 0)
        return s;
    dw_paper_line(&p, MARGIN, 68, PAGE_WIDTH - 2.0 * MARGIN, DW_LEFT, &title_letters, title);
    for (size_t i = 0; i < n; i++) {
        double x = MARGIN + (double)(i % columns) * (w + GUTTER);
        double y = HEADER + (double)(i / columns) * (h + LABEL + GUTTER);
        dw_paper_picture(&p, x, y, w, h, &item[i].image, mat);
        dw_paper_words(&p, x, y + h + 28, w, 2, 24, &label_letters, item[i].label);
    }
    bool plain = p.plain;
    s = dw_paper_write(&p, path, err);
    dw_paper_free(&p);
    return s == DW_OK && plain ? dw_paper_no_fonts(path, err) : s;
}
