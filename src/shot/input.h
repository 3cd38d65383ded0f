/* input.h: a file's bytes for the decoder, in memory that goes back to the system after use. */
#ifndef DW_SHOT_INPUT_H
#define DW_SHOT_INPUT_H

#include <daywheel/base.h>

/* Mapped anonymously, so that releasing it really lowers the memory of the process: the decoder
 * holds the unpacked picture, and the copy made from it, at the same time. */
struct dw_input {
    unsigned char *data;
    size_t n, mapped;
};

/* Reads a whole file in large blocks. Errors: DW_ERR_IO, DW_ERR_FORMAT (empty, or larger than
 * any camera's), DW_ERR_MEMORY; the texts name the file. */
enum dw_status dw_input_read(struct dw_input *in, const char *path, struct dw_error *err);
void dw_input_free(struct dw_input *in);

#endif
