/* book.h: pages that become JPEG files for the screen and, all together, one PDF for print. */
#ifndef DW_OUTPUT_BOOK_H
#define DW_OUTPUT_BOOK_H

#include "base/buffers.h"
#include "output/paper/paper.h"

struct dw_book {
    struct dw_paper paper; /* the PDF's page in hand, in the same pixels as a JPEG page */
    struct dw_buffer data;
    size_t pages;
};

/* A PDF of A4 landscape pages drawn in width x height pixels. when_s: its date, Unix seconds, so
 * that equal shoots give equal bytes. Errors: DW_ERR_MEMORY. */
enum dw_status dw_book_open(struct dw_book *b, int width, int height, const char *title,
                            double when_s, struct dw_error *err);
/* Draws one page twice: into dir/name as JPEG of that height, and as the book's next page, which is
 * always a whole one. *plain: no fonts. */
enum dw_status dw_book_page(struct dw_book *b, const char *dir, const char *name, int height,
                            void (*draw)(struct dw_paper *p, void *ctx, size_t page), void *ctx,
                            size_t page, bool *plain, struct dw_error *err);
/* Writes dir/name. */
enum dw_status dw_book_close(struct dw_book *b, const char *dir, const char *name,
                             struct dw_error *err);
/* Frees; harmless after closing. */
void dw_book_free(struct dw_book *b);

#endif
