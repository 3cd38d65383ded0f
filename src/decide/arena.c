/* arena.c: see arena.h. */
#include "decide/arena.h"

#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>

/* Grids of all shots are walked through again and again: with large pages the kernel is asked for
 * each of them once instead of hundreds of times. A hint only, for what lies wholly inside. */
static void ask_for_large_pages(char *p, size_t bytes)
{
    const size_t large = (size_t)2 << 20;
    size_t skip = (large - (uintptr_t)p % large) % large;
    if (bytes >= skip + large)
        (void)madvise(p + skip, (bytes - skip) / large * large, MADV_HUGEPAGE);
}

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
    if (p) {
        ask_for_large_pages(p, count * size);
        a->block[a->n++] = p;
    }
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
