/* list.h: options whose value is a list: names and times, several by commas, or from files. */
#ifndef DW_CLI_LIST_H
#define DW_CLI_LIST_H

#include <daywheel/base.h>

#include "base/buffers.h"

/* Adds the entries of one value, those not there yet. `@FILE` stands for the lines of a file:
 * blank ones and those that begin with # say nothing, commas part nothing there. Entries are kept
 * as text that can stand in a settings file or on a command line: bytes that would mean something
 * there, or are no text, are written \xNN, which dw_pick_shots undoes.
 * Errors: DW_ERR_USAGE (empty, or not such a file; `where` stands in front), DW_ERR_MEMORY. */
enum dw_status dw_list_add(struct dw_strings *list, const char *where, const char *value,
                           struct dw_error *err);

/* The entries with commas between; false if they do not fit or there are none. */
bool dw_list_show(const struct dw_strings *list, char *out, size_t n);

#endif
