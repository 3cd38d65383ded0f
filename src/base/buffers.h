/* buffers.h: a growing list of owned strings and a growing text buffer. */
#ifndef DW_BASE_BUFFERS_H
#define DW_BASE_BUFFERS_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>

struct dw_strings {
    char **v;
    size_t n, room;
};
/* Appends a copy; false when memory ran out. */
bool dw_strings_add(struct dw_strings *s, const char *text);
void dw_strings_free(struct dw_strings *s);

/* A text that grows; `failed` sticks once memory ran out, so one check at the end suffices. */
struct dw_buffer {
    char *data; /* always NUL-terminated once something was added */
    size_t n, room;
    bool failed;
};
void dw_buffer_add(struct dw_buffer *b, const char *data, size_t n);
void dw_buffer_printf(struct dw_buffer *b, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
void dw_buffer_free(struct dw_buffer *b);

#endif
