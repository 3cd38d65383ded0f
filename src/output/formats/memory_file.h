/* memory_file.h: a file that exists in memory only, for format libraries that seek: on a full disk
 * they tell nobody, and a file must not appear in halves. */
#ifndef DW_OUTPUT_MEMORY_FILE_H
#define DW_OUTPUT_MEMORY_FILE_H

#include <stdbool.h>
#include <stddef.h>

/* Zero it before the first use; free data. */
struct dw_memory_file {
    unsigned char *data;
    size_t n, room;
};

/* Writes at any place; what lies between the end and there becomes zero. False without memory. */
bool dw_memory_write(struct dw_memory_file *m, size_t at, const void *from, size_t n);
/* Reads what is there, up to n bytes; gives how many. */
size_t dw_memory_read(const struct dw_memory_file *m, size_t at, void *to, size_t n);

#endif
