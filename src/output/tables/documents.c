/* documents.c: see documents.h. */
#include "output/tables/documents.h"

#include "base/atomic_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LARGEST_TABLE ((size_t)256 << 20)

enum dw_status dw_document_commit(const char *dir, const char *name, struct dw_buffer *b,
                                  struct dw_error *err)
{
    char *path = dw_join_path(dir, name);
    enum dw_status s;
    if (!path || b->failed) {
        s = dw_fail(err, DW_ERR_MEMORY, "%s/%s: no memory for the document", dir, name);
    } else {
        s = dw_make_folder(dir, err);
        if (s >= 0)
            s = dw_write_whole(path, b->data ? b->data : "", b->n, true, err);
    }
    free(path);
    dw_buffer_free(b);
    return s;
}

enum dw_status dw_document_table(const char *dir, const char *name, struct dw_csv *out,
                                 struct dw_error *err)
{
    *out = (struct dw_csv){0};
    char *path = dw_join_path(dir, name), *text = NULL;
    size_t n;
    enum dw_status s;
    if (!path)
        return dw_fail(err, DW_ERR_MEMORY, "%s/%s: no memory for its name", dir, name);
    if (access(path, F_OK) != 0) {
        s = DW_WARN;
        dw_fail(err, DW_WARN, "%s: is not there", path);
    } else {
        s = dw_read_whole(path, LARGEST_TABLE, &text, &n, err);
        if (s >= 0)
            s = dw_csv_parse(path, text, n, out, err);
    }
    free(text);
    free(path);
    return s;
}

void dw_fault_codes(uint32_t faults, char out[128])
{
    size_t n = 0;
    out[0] = '\0';
    for (int i = 0; i < DW_FAULT_COUNT; i++) {
        const char *name = dw_fault_name(i);
        if (!(faults & 1u << i) || !name)
            continue;
        n += (size_t)snprintf(out + n, 128 - n, "%s%s", n ? " " : "", name);
        if (n >= 128)
            break;
    }
}

void dw_csv_short(struct dw_buffer *b, double value, int decimals)
{
    char text[350] = "";
    if (isfinite(value)) {
        snprintf(text, sizeof text, "%.*f", decimals, value);
        if (strchr(text, '.')) {
            char *end = text + strlen(text);
            while (end[-1] == '0')
                *--end = '\0';
            if (end[-1] == '.')
                *--end = '\0';
        }
    }
    dw_csv_text(b, text);
}

void dw_csv_exact(struct dw_buffer *b, double value)
{
    char text[40] = "";
    if (isfinite(value))
        snprintf(text, sizeof text, "%.17g", value);
    dw_csv_text(b, text);
}
