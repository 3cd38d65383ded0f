/* pack_kernels.c: see pack_kernels.h. */
#include "survey/pack_kernels.h"

void dw_pack_split(const uint16_t *p, const uint16_t *before, size_t n, uint8_t *restrict low,
                   uint8_t *restrict high)
{
    for (size_t i = 0; i < n; i++) {
        uint16_t d = (uint16_t)(p[i] - before[i]);
        uint16_t sign = (uint16_t)(d & 0x8000 ? 0xffff : 0);
        uint16_t z = (uint16_t)((uint16_t)(d << 1) ^ sign);
        low[i] = (uint8_t)z;
        high[i] = (uint8_t)(z >> 8);
    }
}

void dw_pack_join(const uint8_t *restrict low, const uint8_t *restrict high, const uint16_t *before,
                  size_t n, uint16_t *p)
{
    for (size_t i = 0; i < n; i++) {
        uint16_t z = (uint16_t)(low[i] | high[i] << 8);
        uint16_t sign = (uint16_t)(z & 1 ? 0xffff : 0);
        p[i] = (uint16_t)(before[i] + (uint16_t)((z >> 1) ^ sign));
    }
}
