/* book.c: see book.h. */
#include "output/sheet/book.h"

#include "base/atomic_file.h"
#include "base/when.h"

#include <cairo-pdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define A4_LONG (297 / 25.4 * 72) /* points; ISO 216 */
#define A4_SHORT (210 / 25.4 * 72)

static const struct dw_ink white = {1, 1, 1};

static cairo_status_t keep(void *closure, const unsigned char *data, unsigned n)
{
    struct dw_buffer *b = closure;
    dw_buffer_add(b, (const char *)data, n);
    return b->failed ? CAIRO_STATUS_NO_MEMORY : CAIRO_STATUS_SUCCESS;
}

enum dw_status dw_book_open(struct dw_book *b, int width, int height, const char *title,
                            double when_s, struct dw_error *err)
{
    char now[32], date[32];
    *b = (struct dw_book){0};
    cairo_surface_t *s = cairo_pdf_surface_create_for_stream(keep, &b->data, A4_LONG, A4_SHORT);
    dw_when_utc(isfinite(when_s) ? when_s : 0, now);
    snprintf(date, sizeof date, "%.19sZ", now); /* cairo reads no fractions */
    cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_TITLE, title);
    cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_CREATOR, "daywheel");
    cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_CREATE_DATE, date);
    enum dw_status status = dw_paper_on(s, width, height, A4_LONG / width, &b->paper, err);
    if (status < 0)
        dw_book_free(b);
    return status;
}

enum dw_status dw_book_page(struct dw_book *b, const char *dir, const char *name, int height,
                            void (*draw)(struct dw_paper *p, void *ctx, size_t page), void *ctx,
                            size_t page, bool *plain, struct dw_error *err)
{
    struct dw_paper p;
    char *path = dw_join_path(dir, name);
    if (!path)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", dir);
    enum dw_status status = dw_paper_new(b->paper.width, height, white, &p, err);
    if (status >= 0) {
        *plain = p.plain;
        draw(&p, ctx, page);
        status = dw_paper_write(&p, path, err);
        dw_paper_free(&p);
    }
    free(path);
    if (status < 0)
        return status;
    draw(&b->paper, ctx, page);
    cairo_show_page(b->paper.c);
    b->pages++;
    return DW_OK;
}

enum dw_status dw_book_close(struct dw_book *b, const char *dir, const char *name,
                             struct dw_error *err)
{
    char *path = dw_join_path(dir, name);
    cairo_surface_finish(b->paper.surface);
    bool whole =
        path && !b->data.failed && cairo_surface_status(b->paper.surface) == CAIRO_STATUS_SUCCESS;
    enum dw_status status = whole
                                ? dw_write_whole(path, b->data.data, b->data.n, true, err)
                                : dw_fail(err, DW_ERR_MEMORY, "%s/%s: no memory for it", dir, name);
    free(path);
    return status;
}

void dw_book_free(struct dw_book *b)
{
    dw_paper_free(&b->paper); /* first: finishing writes into the buffer */
    dw_buffer_free(&b->data);
}
