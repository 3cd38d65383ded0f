/* arena.c: see arena.h. */
#include "decide/arena.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

/* The address sanitizer is told which bytes nobody has taken: it knows nothing of our blocks. */
#ifdef __SANITIZE_ADDRESS__
#include <sanitizer/asan_interface.h>
#define FORBID(p, bytes) ASAN_POISON_MEMORY_REGION(p, bytes)
#define ALLOW(p, bytes) ASAN_UNPOISON_MEMORY_REGION(p, bytes)
#define GAP 64 /* between two blocks: writing beyond a block is seen */
#else
#define FORBID(p, bytes) ((void)0)
#define ALLOW(p, bytes) ((void)0)
#define GAP 0
#endif

#define LINE ((size_t)64)       /* of the cache: blocks begin on one */
#define LARGE ((size_t)2 << 20) /* a large page */
/* Of address space: what is never touched takes no memory. */
#define LEAST_PIECE ((size_t)16 * LARGE)

struct dw_arena_piece {
    void *mapped;
    size_t bytes; /* mapped */
    char *start;  /* on a large page */
    size_t size;  /* from there on */
    size_t used;  /* so many may have been written to since the kernel gave them, all zero */
};

/* In the order in which they were taken, which is that of the pieces too. */
struct dw_arena_block {
    size_t piece, end;
};

static size_t round_up(size_t n, size_t step)
{
    return (n + step - 1) / step * step;
}

/* Grids of all shots are walked through again and again: with large pages the kernel is asked for
 * each of them once instead of hundreds of times. A hint only. */
static bool add_piece(struct dw_arena *a, size_t least)
{
    size_t so_far = 0; /* pieces that grow as the arena does leave little unused for being small */
    for (size_t i = 0; i < a->pieces; i++)
        so_far += a->piece[i].size;
    size_t size = least > LEAST_PIECE ? least : LEAST_PIECE;
    size = round_up(size > so_far ? size : so_far, LARGE);
    struct dw_arena_piece *piece = realloc(a->piece, (a->pieces + 1) * sizeof *piece);
    if (!piece)
        return false;
    a->piece = piece;
    struct dw_arena_piece p = {.bytes = size + LARGE, .size = size};
    p.mapped = mmap(NULL, p.bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (p.mapped == MAP_FAILED)
        return false;
    p.start = (char *)p.mapped + (LARGE - (uintptr_t)p.mapped % LARGE) % LARGE;
    (void)madvise(p.start, p.size, MADV_HUGEPAGE);
    FORBID(p.mapped, p.bytes);
    a->piece[a->pieces++] = p;
    return true;
}

static bool add_room(struct dw_arena *a)
{
    size_t room = a->room ? 2 * a->room : 32;
    struct dw_arena_block *block = realloc(a->block, room * sizeof *block);
    if (!block)
        return false;
    a->block = block;
    a->room = room;
    return true;
}

void *dw_arena_take(struct dw_arena *a, size_t count, size_t size)
{
    count = count ? count : 1;
    if (count > SIZE_MAX / 4 / size || (a->n == a->room && !add_room(a)))
        return NULL;
    size_t bytes = count * size, room = round_up(bytes + GAP, LINE);
    struct dw_arena_block last = a->n ? a->block[a->n - 1] : (struct dw_arena_block){0, 0};
    while (last.piece < a->pieces && a->piece[last.piece].size - last.end < room)
        last = (struct dw_arena_block){last.piece + 1, 0};
    if (last.piece == a->pieces && !add_piece(a, room))
        return NULL;
    struct dw_arena_piece *piece = &a->piece[last.piece];
    char *p = piece->start + last.end;
    ALLOW(p, bytes);
    if (piece->used > last.end)
        memset(p, 0, piece->used - last.end < bytes ? piece->used - last.end : bytes);
    last.end += room;
    piece->used = piece->used > last.end ? piece->used : last.end;
    a->block[a->n++] = last;
    return p;
}

/* Forgets the last block. */
static void give_back(struct dw_arena *a)
{
    struct dw_arena_block last = a->block[--a->n];
    size_t from = a->n && a->block[a->n - 1].piece == last.piece ? a->block[a->n - 1].end : 0;
    FORBID(a->piece[last.piece].start + from, last.end - from);
    (void)from;
}

void dw_arena_free_to(struct dw_arena *a, size_t mark)
{
    while (a->n > mark)
        give_back(a);
    if (mark > 0)
        return;
    for (size_t i = 0; i < a->pieces; i++) {
        ALLOW(a->piece[i].mapped, a->piece[i].bytes);
        munmap(a->piece[i].mapped, a->piece[i].bytes);
    }
    free(a->piece);
    free(a->block);
    *a = (struct dw_arena){0};
}
