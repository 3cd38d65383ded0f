/* find.h: one file looked at: the row that it may become, and what only the scan needs to know. */
#ifndef DW_SHOT_FIND_H
#define DW_SHOT_FIND_H

#include <daywheel/shot.h>

#include "shot/exposure.h"
#include "shot/kinds.h"
#include "shot/raw_libraw.h"

#include <sys/types.h>

enum dw_find_state {
    DW_FIND_FRAME,  /* the decoder opened it */
    DW_FIND_BROKEN, /* it should be a frame but is none; a row with readable = false */
    DW_FIND_OTHER,  /* refused, and nothing says that it should be a frame */
    DW_FIND_DROPPED /* counted as something else already: a duplicate, another camera */
};

struct dw_find {
    struct dw_shot shot;
    enum dw_find_state state;
    enum dw_kind kind;
    struct dw_exposure_record exposure;
    uint8_t pattern[36];
    double white;
    bool has_gps_clock;
    double gps_clock_s;
    dev_t dev;
    ino_t ino;
};

/* A worker's own things. */
struct dw_finder {
    struct dw_raw *raw;
    struct dw_raw_record record;
    unsigned char *head; /* first 64 KiB of the file in hand */
    size_t head_n;
};
struct dw_finder *dw_finder_new(struct dw_error *err);
void dw_finder_free(struct dw_finder *f);

/* Looks at a file. Fails only without memory; whatever is wrong with the file stands in
 * shot.problem. The path is copied. */
enum dw_status dw_find_read(struct dw_finder *f, const char *path, struct dw_find *out,
                            struct dw_error *err);
void dw_find_free(struct dw_find *f);

#endif
