/* csv.c: see csv.h. Source: RFC 4180. */
#include "base/csv.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void separate(struct dw_buffer *b)
{
    if (b->n > 0 && b->data[b->n - 1] != '\n')
        dw_buffer_add(b, ",", 1);
}

/* An empty first field would be taken for a line's beginning by separate(): such a field is
 * written as "" so that the next one still gets its comma. */
void dw_csv_text(struct dw_buffer *b, const char *field)
{
    bool first = b->n == 0 || b->data[b->n - 1] == '\n';
    separate(b);
    if (strpbrk(field, ",\"\r\n") == NULL && !(first && *field == '\0')) {
        dw_buffer_add(b, field, strlen(field));
        return;
    }
    dw_buffer_add(b, "\"", 1);
    for (const char *c = field; *c; c++) {
        if (*c == '"')
            dw_buffer_add(b, "\"", 1);
        dw_buffer_add(b, c, 1);
    }
    dw_buffer_add(b, "\"", 1);
}

void dw_csv_number(struct dw_buffer *b, double value, int decimals)
{
    if (!isfinite(value)) {
        dw_csv_text(b, "");
        return;
    }
    char text[64];
    snprintf(text, sizeof text, "%.*f", decimals, value);
    char *comma = strchr(text, ',');
    if (comma)
        *comma = '.';
    /* "-0.000" says nothing that "0.000" does not */
    const char *shown = text;
    if (text[0] == '-' && strspn(text + 1, "0.") == strlen(text + 1))
        shown = text + 1;
    dw_csv_text(b, shown);
}

void dw_csv_end_line(struct dw_buffer *b)
{
    dw_buffer_add(b, "\n", 1);
}

/* Reads one field at *p in place: unquotes, terminates. Sets *line_end when the line is over. */
static char *take_field(char **p, char *end, bool *line_end)
{
    char *in = *p, *out = *p, *start = *p;
    bool quoted = in < end && *in == '"';
    if (quoted)
        in++;
    while (in < end) {
        if (quoted && *in == '"') {
            if (in + 1 < end && in[1] == '"') {
                *out++ = '"';
                in += 2;
                continue;
            }
            quoted = false;
            in++;
            continue;
        }
        if (!quoted && (*in == ',' || *in == '\n'))
            break;
        if (!quoted && *in == '\r' && (in + 1 == end || in[1] == '\n')) {
            in++;
            continue;
        }
        *out++ = *in++;
    }
    *line_end = in >= end || *in == '\n';
    *p = in < end ? in + 1 : in;
    *out = '\0';
    return start;
}

enum dw_status dw_csv_parse(const char *name, const char *text, size_t n, struct dw_csv *out,
                            struct dw_error *err)
{
    *out = (struct dw_csv){0};
    if (n >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
        text += 3, n -= 3; /* byte order mark of spreadsheet programs */
    if (n == 0)
        return dw_fail(err, DW_ERR_FORMAT, "%s: is empty; a header line was expected", name);
    out->data = malloc(n + 1);
    if (!out->data)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for the table", name);
    memcpy(out->data, text, n);
    out->data[n] = '\0';
    char *p = out->data, *end = out->data + n;
    size_t room = 0, used = 0, in_line = 0;
    bool failed = false;
    while (p < end && !failed) {
        bool line_end;
        char *field = take_field(&p, end, &line_end);
        if (out->cols == 0 || in_line < out->cols) {
            if (used == room) {
                room = room ? 2 * room : 256;
                char **cell = realloc(out->cell, room * sizeof *cell);
                if (!cell) {
                    failed = true;
                    break;
                }
                out->cell = cell;
            }
            out->cell[used++] = field;
        }
        in_line++;
        if (!line_end)
            continue;
        if (out->cols == 0)
            out->cols = in_line;
        while (in_line < out->cols && !failed) {
            if (used == room) {
                room *= 2;
                char **cell = realloc(out->cell, room * sizeof *cell);
                failed = cell == NULL;
                if (failed)
                    break;
                out->cell = cell;
            }
            out->cell[used++] = out->data + n; /* the final NUL: an empty field */
            in_line++;
        }
        in_line = 0;
    }
    if (failed) {
        dw_csv_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for the table", name);
    }
    out->rows = used / out->cols - 1;
    return DW_OK;
}

int dw_csv_column(const struct dw_csv *t, const char *name)
{
    for (size_t i = 0; i < t->cols; i++)
        if (strcmp(t->cell[i], name) == 0)
            return (int)i;
    return -1;
}

const char *dw_csv_field(const struct dw_csv *t, size_t row, int col)
{
    if (col < 0 || (size_t)col >= t->cols || row >= t->rows)
        return "";
    return t->cell[(row + 1) * t->cols + (size_t)col];
}

void dw_csv_free(struct dw_csv *t)
{
    free(t->cell);
    free(t->data);
    *t = (struct dw_csv){0};
}
