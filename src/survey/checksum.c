/* checksum.c: see checksum.h. Four lanes of xor, multiply by an odd number and rotate (each step
 * can be undone, so one changed word always changes its lane), folded together at the end. */
#include "survey/checksum.h"

#include <string.h>

static const uint64_t odd = 0x9e3779b97f4a7c15u; /* 2^64 / golden ratio */

static inline uint64_t mix(uint64_t h, uint64_t w)
{
    h = (h ^ w) * odd;
    return h << 29 | h >> 35;
}

uint64_t dw_checksum(const void *data, size_t n)
{
    const unsigned char *p = data;
    uint64_t lane[4] = {n, n + 1, n + 2, n + 3};
    size_t i = 0;
    for (; i + 32 <= n; i += 32) {
        uint64_t w[4];
        memcpy(w, p + i, 32);
        for (int k = 0; k < 4; k++)
            lane[k] = mix(lane[k], w[k]);
    }
    for (int k = 0; i < n; i += 8, k++) {
        uint64_t w = 0;
        memcpy(&w, p + i, n - i < 8 ? n - i : 8);
        lane[k] = mix(lane[k], w);
    }
    uint64_t h = lane[0];
    for (int k = 1; k < 4; k++)
        h = mix(h, lane[k]);
    h ^= h >> 32;
    h *= odd;
    return h ^ h >> 29;
}
