/* walk.h: from the inputs of the command line to a list of files. */
#ifndef DW_SHOT_WALK_H
#define DW_SHOT_WALK_H

#include <daywheel/base.h>

#include "base/buffers.h"

struct dw_walk {
    struct dw_strings files; /* inputs in their order, folders sorted by name */
    size_t system;           /* hidden and system files and folders passed over */
};

/* Goes through folders recursively, following links but into no folder twice; "-" reads paths from
 * standard input, one a line (or separated by NUL). A folder inside that cannot be read is told
 * through run and passed over; an input that cannot is DW_ERR_IO. */
enum dw_status dw_walk_inputs(const char *const *inputs, size_t n, const struct dw_run *run,
                              struct dw_walk *out, struct dw_error *err);
void dw_walk_free(struct dw_walk *w);

#endif
