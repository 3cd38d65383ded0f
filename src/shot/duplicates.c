/* duplicates.c: the same frame met twice: by a link, a path given twice, a copy of a card. */
#include "shot/scan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 1 << 18 };

struct entry {
    const struct dw_find *find;
    size_t at;
};

static int order_of(uint64_t a, uint64_t b)
{
    return (a > b) - (a < b);
}

static int by_file(const void *a, const void *b)
{
    const struct entry *x = a, *y = b;
    int c = order_of(x->find->dev, y->find->dev);
    c = c ? c : order_of(x->find->ino, y->find->ino);
    return c ? c : order_of(x->at, y->at);
}

static int by_content(const void *a, const void *b)
{
    const struct entry *x = a, *y = b;
    int c = order_of(x->find->shot.id.size, y->find->shot.id.size);
    c = c ? c : order_of(x->find->shot.id.head_hash, y->find->shot.id.head_hash);
    return c ? c : order_of(x->at, y->at);
}

static bool same_bytes(const char *a, const char *b)
{
    FILE *f = fopen(a, "rb"), *g = fopen(b, "rb");
    char *x = malloc(2 * BLOCK);
    bool same = f && g && x;
    while (same) {
        size_t n = fread(x, 1, BLOCK, f), m = fread(x + BLOCK, 1, BLOCK, g);
        same = n == m && memcmp(x, x + BLOCK, n) == 0 && !ferror(f) && !ferror(g);
        if (n < BLOCK)
            break;
    }
    if (f)
        fclose(f);
    if (g)
        fclose(g);
    free(x);
    return same;
}

/* Equal size and head are not enough: broken files may share a head of zeros, and two frames of a
 * burst may lack anything that tells them apart there. With equal names we believe it, which
 * spares reading a whole backup card; broken files must be equal in name and in bytes. */
static bool same_content(const struct dw_find *a, const struct dw_find *b)
{
    if (a->shot.id.size != b->shot.id.size || a->shot.id.head_hash != b->shot.id.head_hash)
        return false;
    bool same_name = strcmp(a->shot.name, b->shot.name) == 0;
    if (a->state != DW_FIND_FRAME || b->state != DW_FIND_FRAME)
        return same_name && a->state == b->state && same_bytes(a->shot.path, b->shot.path);
    return (same_name && a->shot.has_clock) || same_bytes(a->shot.path, b->shot.path);
}

static bool is_row(const struct dw_find *f)
{
    return f->state == DW_FIND_FRAME || f->state == DW_FIND_BROKEN;
}

size_t dw_drop_duplicates(struct dw_find *find, size_t n)
{
    struct entry *e = malloc((n + 1) * sizeof *e);
    size_t dropped = 0, rows = 0;
    if (!e)
        return 0; /* duplicates then stay, which is harmless */
    for (size_t i = 0; i < n; i++)
        if (find[i].ino != 0)
            e[rows++] = (struct entry){&find[i], i};
    qsort(e, rows, sizeof *e, by_file);
    for (size_t i = 1, first = 0; i < rows; i++) {
        if (e[i].find->dev != e[first].find->dev || e[i].find->ino != e[first].find->ino) {
            first = i;
            continue;
        }
        dropped += is_row(e[i].find);
        find[e[i].at].state = DW_FIND_DROPPED;
    }
    size_t left = 0;
    for (size_t i = 0; i < rows; i++)
        if (is_row(e[i].find))
            e[left++] = e[i];
    qsort(e, left, sizeof *e, by_content);
    for (size_t i = 1; i < left; i++)
        for (size_t k = i; k-- > 0;) {
            if (e[k].find->shot.id.size != e[i].find->shot.id.size ||
                e[k].find->shot.id.head_hash != e[i].find->shot.id.head_hash)
                break;
            if (is_row(e[k].find) && same_content(e[k].find, e[i].find)) {
                find[e[i].at].state = DW_FIND_DROPPED;
                dropped++;
                break;
            }
        }
    free(e);
    return dropped;
}
