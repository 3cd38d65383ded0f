/* arena.h: arrays that live as long as one decision and go together at its end, so that the
 * steps need no clean-up paths of their own. */
#ifndef DW_DECIDE_ARENA_H
#define DW_DECIDE_ARENA_H

#include <stdbool.h>
#include <stddef.h>

struct dw_arena {
    void **block;
    size_t n, room;
};

/* Zeroed room for count items of `size` bytes; NULL when memory ran out. count 0 gives room
 * for one, so that NULL always means failure. */
void *dw_arena_take(struct dw_arena *a, size_t count, size_t size);
/* Frees everything taken since the arena held `mark` blocks (0: all of it). */
void dw_arena_free_to(struct dw_arena *a, size_t mark);

#define DW_TAKE(arena, count, type) ((type *)dw_arena_take((arena), (count), sizeof(type)))

#endif
