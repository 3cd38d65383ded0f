/* raw_private.h: what the raw_*.c files share. */
#ifndef DW_SHOT_RAW_PRIVATE_H
#define DW_SHOT_RAW_PRIVATE_H

#include "shot/raw_libraw.h"

#include <libraw/libraw.h>

struct dw_raw {
    libraw_data_t *lr;
    int data_errors;
    bool memory_failed;
    struct dw_exif_map map[3]; /* of the file in hand */
};

/* Colour matrix and daylight multipliers into the record. */
void dw_raw_take_colour(const struct dw_raw *r, struct dw_raw_record *rec);

/* The pattern of the visible area, colours 0..2; false (with the reason) for arrangements that are
 * no mosaic of red, green and blue. */
bool dw_raw_take_pattern(const struct dw_raw *r, enum dw_cfa *cfa, int *period, uint8_t pattern[36],
                         char *why, size_t why_size);

#endif
