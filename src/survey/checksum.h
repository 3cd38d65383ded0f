/* checksum.h: a fast check of large blocks against damage. Not for secrets, and not FNV: at a
 * byte a multiply that would take as long as packing itself. */
#ifndef DW_SURVEY_CHECKSUM_H
#define DW_SURVEY_CHECKSUM_H

#include <stddef.h>
#include <stdint.h>

/* 64 bits over n bytes; every flipped bit and every swapped word shows but for one chance in
 * about 2^64. Depends on the machine's byte order, as the files do that it guards. */
uint64_t dw_checksum(const void *data, size_t n);

#endif
