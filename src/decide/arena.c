/* arena.c: see arena.h. */
#include "decide/arena.h"

#include <stdlib.h>

void *dw_arena_take(struct dw_arena *a, size_t count, size_t size)
{
    if (a->n == a->room) {
        size_t room = a->room ? 2 * a->room : 32;
        void **block = realloc(a->block, room * sizeof *block);
        if (!block)
            return NULL;
        a->block = block;
        a->room = room;
    }
    void *p = calloc(count ? count : 1, size);
    if (p)
        a->block[a->n++] = p;
    return p;
}

void dw_arena_free_to(struct dw_arena *a, size_t mark)
{
    while (a->n > mark)
        free(a->block[--a->n]);
    if (mark == 0) {
        free(a->block);
        a->block = NULL;
        a->room = 0;
    }
}
