/* grow.h: work space that a worker keeps from frame to frame. */
#ifndef DW_RENDER_GROW_H
#define DW_RENDER_GROW_H

#include <stdbool.h>
#include <stdlib.h>

struct dw_space_kept {
    void *p;
    size_t bytes;
};

#define DW_LINE 64 /* bytes: the longest vector, and a line of the caches */

/* At least so many bytes, at a multiple of DW_LINE; contents undefined after a change; false
 * without memory. */
static inline bool dw_grow(struct dw_space_kept *s, size_t bytes)
{
    if (s->bytes >= bytes && s->p)
        return true;
    free(s->p);
    s->p = aligned_alloc(DW_LINE, (bytes / DW_LINE + 1) * DW_LINE);
    s->bytes = s->p ? bytes : 0;
    return s->p != NULL;
}

/* Floats from one row of `width` to the next, so that all begin alike: a vector that lies across
 * two lines is read twice. An odd number of lines, as rows a power of two apart would drive each
 * other out of the caches. */
static inline size_t dw_row_stride(size_t width)
{
    const size_t line = DW_LINE / sizeof(float);
    return ((width + line - 1) / line | 1) * line;
}

static inline void dw_grow_free(struct dw_space_kept *s)
{
    free(s->p);
    *s = (struct dw_space_kept){0};
}

#endif
