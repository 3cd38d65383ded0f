/* hash.c: see hash.h. Check values: the FNV reference vectors (tests/test_base.c). */
#include "base/hash.h"

#include <stdio.h>

uint64_t dw_hash(uint64_t h, const void *data, size_t n)
{
    const unsigned char *p = data;
    for (size_t i = 0; i < n; i++) {
        h ^= p[i];
        h *= 0x100000001b3u;
    }
    return h;
}

/* The second lane sees every byte complemented, so the two lanes do not collide together. */
static uint64_t hash_complement(uint64_t h, const void *data, size_t n)
{
    const unsigned char *p = data;
    for (size_t i = 0; i < n; i++) {
        h ^= (unsigned char)~p[i];
        h *= 0x100000001b3u;
        h ^= h >> 29;
    }
    return h;
}

struct dw_hash128 dw_hash128_start(void)
{
    return (struct dw_hash128){DW_HASH_START, DW_HASH_START ^ 0x9e3779b97f4a7c15u};
}

void dw_hash128_add(struct dw_hash128 *h, const void *data, size_t n)
{
    h->a = dw_hash(h->a, data, n);
    h->b = hash_complement(h->b, data, n);
}

void dw_hash128_text(const struct dw_hash128 *h, char out[33])
{
    snprintf(out, 33, "%016llx%016llx", (unsigned long long)h->a, (unsigned long long)h->b);
}
