/* pack_kernels.h: what makes a mosaic easy to compress, and back. */
#ifndef DW_SURVEY_PACK_KERNELS_H
#define DW_SURVEY_PACK_KERNELS_H

#include <stddef.h>
#include <stdint.h>

/* n samples less the ones before them (before[i]), folded so that small differences of either
 * sign become small numbers (0, -1, 1, -2, ... to 0, 1, 2, 3, ...), split into bytes. All
 * arithmetic is modulo 2^16, so any samples come back. Arrays must not overlap, but for
 * before, which may be p shifted. */
void dw_pack_split(const uint16_t *p, const uint16_t *before, size_t n, uint8_t *low,
                   uint8_t *high);
/* Undoes dw_pack_split. before may be p less a distance >= 1: samples are made in order. */
void dw_pack_join(const uint8_t *low, const uint8_t *high, const uint16_t *before, size_t n,
                  uint16_t *p);

#endif
