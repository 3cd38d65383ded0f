/* search.h: what bsearch lacks. */
#ifndef DW_BASE_SEARCH_H
#define DW_BASE_SEARCH_H

#include <stddef.h>

/* The place of the first of n sorted items that does not come before the key; n if all do. Several
 * equal items follow from there on. compare: as for bsearch, the key first. */
size_t dw_lower_bound(const void *key, const void *sorted, size_t n, size_t size,
                      int (*compare)(const void *key, const void *item));

#endif
