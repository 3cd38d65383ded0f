/* kinds.h: what a file's name says about it. Only for counting and for wording: what is a frame is
 * decided by the decoder. */
#ifndef DW_SHOT_KINDS_H
#define DW_SHOT_KINDS_H

#include <stdbool.h>
#include <stddef.h>

enum dw_kind {
    DW_KIND_OTHER,
    DW_KIND_RAW, /* a suffix that cameras give to RAW files */
    DW_KIND_PICTURE,
    DW_KIND_SIDECAR,
    DW_KIND_VIDEO
};

enum dw_kind dw_kind_of(const char *name);

/* Hidden files and folders, and those that operating systems leave on cards. */
bool dw_kind_is_system(const char *name);

/* The suffix with its point ("" without one); points into name. */
const char *dw_kind_suffix(const char *name);

/* Length of the name without its suffix. */
size_t dw_kind_stem(const char *name);

/* The number in the digits that end the stem, at most 9 of them; -1 without. */
long dw_kind_number(const char *name);

#endif
