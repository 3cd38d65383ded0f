/* exr_file.h: what an OpenEXR frame says about itself, read without decoding the picture. */
#ifndef DW_OUTPUT_EXR_FILE_H
#define DW_OUTPUT_EXR_FILE_H

#include <stdbool.h>
#include <stdint.h>

/* The recipe of an open file of `size` bytes; see dw_frame_file_recipe. */
bool dw_exr_file_recipe(int fd, uint64_t size, char recipe[33]);

#endif
