/* strip.c: the preview's sheet, to judge a look by: night rendering, day rendering and their mix,
 * one under the other, on a page that flatters none of them. */
#include <daywheel/output.h>

#include "output/paper/paper.h"

#include <math.h>

#define PAGE_WIDTH 2000
#define MARGIN 48
#define SIDE 76   /* where the rows' names stand */
#define GUTTER 14 /* between columns */
#define LEAF 6    /* between the pictures of a column */
#define HEADER 128
#define ABOVE 58 /* two lines above a column */
#define BELOW 34 /* one below */
#define BAND_GAP 34
#define MOST_COLUMNS 7
#define LEAST_COLUMNS 4 /* two lone pictures need not fill the page */

/* Neutral and dark, so that neither brightness nor colour of the pictures is flattered. */
static const struct dw_ink ground = {0.115, 0.115, 0.115}, mat = {0.085, 0.085, 0.085},
                           rule = {0.24, 0.24, 0.24};
static const struct dw_letters title_letters = {34, true, {0.92, 0.92, 0.92}},
                               note_letters = {19, false, {0.62, 0.62, 0.62}},
                               strong = {22, true, {0.88, 0.88, 0.88}},
                               soft = {17, false, {0.62, 0.62, 0.62}},
                               side = {19, true, {0.74, 0.74, 0.74}};

/* From above: what the two looks are by themselves, then what the run makes of them. */
static const struct {
    enum dw_rendering rendering;
    const char *name;
} rows[DW_RENDERINGS] = {{DW_NIGHT, "night"}, {DW_DAY, "day"}, {DW_MIX, "mix"}};

struct layout {
    size_t columns, bands;
    double width, height, band; /* of a picture; of a band of columns with its texts */
};

/* Bands as equally long as can be. */
static void lay_out(const struct dw_strip_column *column, size_t n, struct layout *l)
{
    double tallest = 0; /* height over width */
    for (size_t i = 0; i < n; i++)
        for (int r = 0; r < DW_RENDERINGS; r++)
            tallest = fmax(tallest, (double)column[i].image[r].height / column[i].image[r].width);
    l->bands = (n + MOST_COLUMNS - 1) / MOST_COLUMNS;
    l->columns = (n + l->bands - 1) / l->bands;
    double across = (double)(l->columns < LEAST_COLUMNS ? LEAST_COLUMNS : l->columns);
    l->width = floor((PAGE_WIDTH - 2.0 * MARGIN - SIDE - (across - 1) * GUTTER) / across);
    l->height = floor(l->width * fmin(tallest, 1.5));
    l->band = ABOVE + DW_RENDERINGS * (l->height + LEAF) + BELOW;
}

static void draw_column(struct dw_paper *p, const struct layout *l, double x, double y,
                        const struct dw_strip_column *column)
{
    dw_paper_line(p, x, y + 20, l->width, DW_LEFT, &strong, column->altitude);
    dw_paper_line(p, x, y + 44, l->width, DW_LEFT, &soft, column->when);
    double at = y + ABOVE;
    for (int r = 0; r < DW_RENDERINGS; r++, at += l->height + LEAF)
        dw_paper_picture(p, x, at, l->width, l->height, &column->image[rows[r].rendering], mat);
    double used =
        dw_paper_line(p, x + l->width, at + 18, l->width, DW_RIGHT, &soft, column->weight);
    dw_paper_line(p, x, at + 18, l->width - used - 14, DW_LEFT, &soft, column->name);
}

static void draw_band(struct dw_paper *p, const struct layout *l, double y,
                      const struct dw_strip_column *column, size_t n)
{
    for (int r = 0; r < DW_RENDERINGS; r++)
        dw_paper_line(p, MARGIN, y + ABOVE + r * (l->height + LEAF) + l->height / 2 + 7, SIDE - 8,
                      DW_LEFT, &side, rows[r].name);
    for (size_t i = 0; i < n; i++)
        draw_column(p, l, MARGIN + SIDE + (double)i * (l->width + GUTTER), y, &column[i]);
}

static bool is_picture(const struct dw_image *m)
{
    return m->width > 0 && m->height > 0 && (m->bits == 16 ? m->px16 != NULL : m->px8 != NULL);
}

enum dw_status dw_write_strip(const char *path, const char *title, const char *note,
                              const struct dw_strip_column *column, size_t n, struct dw_error *err)
{
    for (size_t i = 0; i < n; i++)
        for (int r = 0; r < DW_RENDERINGS; r++)
            if (!is_picture(&column[i].image[r]))
                return dw_fail(err, DW_ERR_USAGE, "%s: picture %d of column %zu of %zu is empty",
                               path, r + 1, i + 1, n);
    if (n == 0)
        return dw_fail(err, DW_ERR_EMPTY, "%s: there is no picture to show", path);
    struct layout l;
    struct dw_paper p;
    lay_out(column, n, &l);
    double height = HEADER + (double)l.bands * (l.band + BAND_GAP) - BAND_GAP + MARGIN;
    enum dw_status s = dw_paper_new(PAGE_WIDTH, (int)height, ground, &p, err);
    if (s < 0)
        return s;
    const double room = PAGE_WIDTH - 2.0 * MARGIN;
    dw_paper_line(&p, MARGIN, 66, room, DW_LEFT, &title_letters, title);
    dw_paper_line(&p, MARGIN, 96, room, DW_LEFT, &note_letters, note);
    for (size_t b = 0; b < l.bands; b++) {
        size_t first = b * l.columns, left = n - first;
        double y = HEADER + (double)b * (l.band + BAND_GAP);
        if (b > 0)
            dw_paper_box(&p, MARGIN, y - BAND_GAP / 2.0 - 2, room, 1, rule);
        draw_band(&p, &l, y, &column[first], left < l.columns ? left : l.columns);
    }
    bool plain = p.plain;
    s = dw_paper_write(&p, path, err);
    dw_paper_free(&p);
    return s == DW_OK && plain ? dw_paper_no_fonts(path, err) : s;
}
