/* atomic_file.h: files that appear under their final name only when whole. */
#ifndef DW_BASE_ATOMIC_FILE_H
#define DW_BASE_ATOMIC_FILE_H

#include <daywheel/base.h>

#include <stdio.h>

/* Temporary names are "." + name + ".part": hidden, and known to dw_remove_leftovers. */
struct dw_atomic_file {
    char *path, *temp;
    int fd;       /* open for writing; -1 once closed */
    bool durable; /* fsync file and folder before and after the rename */
};

/* Opens the temporary beside `path`. durable costs a disk flush; documents want it, frames of a
 * long run do not (a frame lost to a power cut is simply made again: its recipe is missing). */
enum dw_status dw_atomic_open(struct dw_atomic_file *f, const char *path, bool durable,
                              struct dw_error *err);
/* Writes all n bytes; DW_ERR_FULL when the disk is full. */
enum dw_status dw_atomic_write(struct dw_atomic_file *f, const void *data, size_t n,
                               struct dw_error *err);
/* Closes, checks and renames. On failure the temporary is removed. */
enum dw_status dw_atomic_commit(struct dw_atomic_file *f, struct dw_error *err);
/* Removes the temporary; harmless after a commit. */
void dw_atomic_discard(struct dw_atomic_file *f);

/* All of it for a file whose bytes are in memory. */
enum dw_status dw_write_whole(const char *path, const void *data, size_t n, bool durable,
                              struct dw_error *err);
/* Reads a whole file of at most `most` bytes with large reads; *data is malloc'd with a NUL behind
 * the n bytes. Errors: DW_ERR_IO (the text says why), DW_ERR_MEMORY, DW_ERR_FORMAT (too large). */
enum dw_status dw_read_whole(const char *path, size_t most, char **data, size_t *n,
                             struct dw_error *err);
/* Makes a folder and its parents; fine if it is there. */
enum dw_status dw_make_folder(const char *path, struct dw_error *err);
/* Removes temporaries left by killed runs in a folder. */
void dw_remove_leftovers(const char *dir);
/* Joins dir and name with one slash; malloc'd, NULL without memory. */
char *dw_join_path(const char *dir, const char *name);

#endif
