/* grow.h: work space that a worker keeps from frame to frame. */
#ifndef DW_RENDER_GROW_H
#define DW_RENDER_GROW_H

#include <stdbool.h>
#include <stdlib.h>

struct dw_space_kept {
    void *p;
    size_t bytes;
};

/* At least so many bytes, contents undefined after a change; false without memory. */
static inline bool dw_grow(struct dw_space_kept *s, size_t bytes)
{
    if (s->bytes >= bytes && s->p)
        return true;
    free(s->p);
    s->p = malloc(bytes ? bytes : 1);
    s->bytes = s->p ? bytes : 0;
    return s->p != NULL;
}

static inline void dw_grow_free(struct dw_space_kept *s)
{
    free(s->p);
    *s = (struct dw_space_kept){0};
}

#endif
