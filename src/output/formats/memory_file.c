/* memory_file.c: see memory_file.h. */
#include "output/formats/memory_file.h"

#include <stdlib.h>
#include <string.h>

bool dw_memory_write(struct dw_memory_file *m, size_t at, const void *from, size_t n)
{
    size_t end = at + n;
    if (end < at)
        return false;
    if (end > m->room) {
        size_t room = m->room ? m->room : (size_t)1 << 20;
        while (room < end)
            room *= 2;
        unsigned char *data = realloc(m->data, room);
        if (!data)
            return false;
        m->data = data;
        m->room = room;
    }
    if (at > m->n)
        memset(m->data + m->n, 0, at - m->n);
    if (n > 0)
        memcpy(m->data + at, from, n);
    if (end > m->n)
        m->n = end;
    return true;
}

size_t dw_memory_read(const struct dw_memory_file *m, size_t at, void *to, size_t n)
{
    if (at >= m->n)
        return 0;
    if (n > m->n - at)
        n = m->n - at;
    memcpy(to, m->data + at, n);
    return n;
}
