/* hash.h: FNV-1a, to know things again. Not for secrets. */
#ifndef DW_BASE_HASH_H
#define DW_BASE_HASH_H

#include <stddef.h>
#include <stdint.h>

#define DW_HASH_START 0xcbf29ce484222325u

/* Continues a 64-bit FNV-1a hash over n bytes; start from DW_HASH_START. */
uint64_t dw_hash(uint64_t h, const void *data, size_t n);

/* 128 bits as two 64-bit hashes with different starts, written as 32 hexadecimal digits + NUL. */
struct dw_hash128 {
    uint64_t a, b;
};
struct dw_hash128 dw_hash128_start(void);
void dw_hash128_add(struct dw_hash128 *h, const void *data, size_t n);
void dw_hash128_text(const struct dw_hash128 *h, char out[33]);

#endif
