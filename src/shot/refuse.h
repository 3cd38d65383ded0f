/* refuse.h: why a file that should be a frame is none, in words that help. */
#ifndef DW_SHOT_REFUSE_H
#define DW_SHOT_REFUSE_H

#include "shot/raw_libraw.h"

struct dw_refused {
    const char *path;
    uint64_t size;
    const unsigned char *head; /* its first bytes */
    size_t head_n;
    const struct dw_raw_record *rec;
};

/* Writes the reason without the file's name. Tells a file that is cut or damaged from a sound one
 * whose camera or compression this LibRaw does not know, as far as the containers allow. */
void dw_refuse(const struct dw_refused *f, char *out, size_t out_size);

#endif
