/* sort.h: sorting many whole numbers. */
#ifndef DW_BASE_SORT_H
#define DW_BASE_SORT_H

#include <stddef.h>
#include <stdint.h>

/* Sorts n numbers upwards, byte by byte (radix sort): time grows with n alone. work: n numbers. */
void dw_sort_numbers(uint32_t *v, size_t n, uint32_t *work);

#endif
