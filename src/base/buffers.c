/* buffers.c: see buffers.h. */
#include "base/buffers.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool dw_strings_add(struct dw_strings *s, const char *text)
{
    if (s->n == s->room) {
        size_t room = s->room ? 2 * s->room : 64;
        char **v = realloc(s->v, room * sizeof *v);
        if (!v)
            return false;
        s->v = v;
        s->room = room;
    }
    s->v[s->n] = strdup(text);
    if (!s->v[s->n])
        return false;
    s->n++;
    return true;
}

void dw_strings_free(struct dw_strings *s)
{
    for (size_t i = 0; i < s->n; i++)
        free(s->v[i]);
    free(s->v);
    *s = (struct dw_strings){0};
}

/* Makes room for n more bytes and a NUL. */
static bool reserve(struct dw_buffer *b, size_t n)
{
    if (b->failed)
        return false;
    if (b->n + n + 1 > b->room) {
        size_t room = b->room ? b->room : 256;
        while (room < b->n + n + 1)
            room *= 2;
        char *data = realloc(b->data, room);
        if (!data) {
            b->failed = true;
            return false;
        }
        b->data = data;
        b->room = room;
    }
    return true;
}

void dw_buffer_add(struct dw_buffer *b, const char *data, size_t n)
{
    if (!reserve(b, n))
        return;
    if (n > 0)
        memcpy(b->data + b->n, data, n);
    b->n += n;
    b->data[b->n] = '\0';
}

void dw_buffer_printf(struct dw_buffer *b, const char *fmt, ...)
{
    va_list ap, again;
    va_start(ap, fmt);
    va_copy(again, ap);
    int n = vsnprintf(NULL, 0, fmt, ap);
    va_end(ap);
    if (n >= 0 && reserve(b, (size_t)n)) {
        vsnprintf(b->data + b->n, (size_t)n + 1, fmt, again);
        b->n += (size_t)n;
    } else {
        b->failed = true;
    }
    va_end(again);
}

void dw_buffer_free(struct dw_buffer *b)
{
    free(b->data);
    *b = (struct dw_buffer){0};
}
