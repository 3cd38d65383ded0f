/* search.c: see search.h. */
#include "base/search.h"

size_t dw_lower_bound(const void *key, const void *sorted, size_t n, size_t size,
                      int (*compare)(const void *key, const void *item))
{
    const char *first = sorted;
    size_t low = 0, high = n;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (compare(key, first + middle * size) > 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}
