/* csv.h: comma-separated tables after RFC 4180, one header line, UTF-8. */
#ifndef DW_BASE_CSV_H
#define DW_BASE_CSV_H

#include <daywheel/base.h>

#include "base/buffers.h"

/* Adds one field (quoted when it must be), after a comma unless it is the line's first. */
void dw_csv_text(struct dw_buffer *b, const char *field);
/* A number with so many decimals; empty for NAN. Always with a point, whatever the locale. */
void dw_csv_number(struct dw_buffer *b, double value, int decimals);
void dw_csv_end_line(struct dw_buffer *b);

/* A table read from a file. field(row, column) is never NULL. */
struct dw_csv {
    size_t rows, cols; /* rows without the header */
    char **cell;       /* (rows + 1) * cols, header first */
    char *data;
};
/* Parses text (copied). Short lines are filled with empty fields, long ones cut.
 * Errors: DW_ERR_FORMAT, DW_ERR_MEMORY; `name` stands in the text. */
enum dw_status dw_csv_parse(const char *name, const char *text, size_t n, struct dw_csv *out,
                            struct dw_error *err);
/* Column number of a header name, -1 if absent. */
int dw_csv_column(const struct dw_csv *t, const char *name);
const char *dw_csv_field(const struct dw_csv *t, size_t row, int col);
void dw_csv_free(struct dw_csv *t);

#endif
