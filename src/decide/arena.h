/* arena.h: arrays that live as long as one decision and go together at its end, so that the
 * steps need no clean-up paths of their own. They lie one behind the other in large pieces of
 * memory, and what a step gives back the next one takes: new memory must be asked of the kernel
 * page by page, which would cost more than many a step does with it. */
#ifndef DW_DECIDE_ARENA_H
#define DW_DECIDE_ARENA_H

#include <stdbool.h>
#include <stddef.h>

struct dw_arena_piece;
struct dw_arena_block;

/* Zero it before the first use. */
struct dw_arena {
    struct dw_arena_piece *piece;
    size_t pieces;
    struct dw_arena_block *block;
    size_t n, room; /* blocks taken; entries of `block` */
};

/* Zeroed room for count items of `size` bytes, for any type and on cache lines of its own; NULL
 * when memory ran out. count 0 gives room for one, so that NULL always means failure. */
void *dw_arena_take(struct dw_arena *a, size_t count, size_t size);
/* Gives back everything taken since the arena held `mark` blocks; 0: all of it, and the memory
 * goes back to the system. */
void dw_arena_free_to(struct dw_arena *a, size_t mark);

#define DW_TAKE(arena, count, type) ((type *)dw_arena_take((arena), (count), sizeof(type)))

#endif
