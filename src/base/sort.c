/* sort.c: see sort.h. */
#include "base/sort.h"

#include <string.h>

enum { BYTES = 4, VALUES = 256 };

void dw_sort_numbers(uint32_t *v, size_t n, uint32_t *work)
{
    size_t count[BYTES][VALUES] = {{0}};
    for (size_t i = 0; i < n; i++)
        for (int b = 0; b < BYTES; b++)
            count[b][v[i] >> 8 * b & 255]++;
    uint32_t *from = v, *to = work;
    for (int b = 0; b < BYTES && n > 0; b++) {
        size_t *c = count[b], place = 0;
        if (c[v[0] >> 8 * b & 255] == n) /* all have the same byte here */
            continue;
        for (int k = 0; k < VALUES; k++) {
            size_t many = c[k];
            c[k] = place;
            place += many;
        }
        for (size_t i = 0; i < n; i++)
            to[c[from[i] >> 8 * b & 255]++] = from[i];
        uint32_t *t = from;
        from = to;
        to = t;
    }
    if (from != v)
        memcpy(v, from, n * sizeof *v);
}
