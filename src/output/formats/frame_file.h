/* frame_file.h: what a frame's file says about itself, read without decoding the picture. */
#ifndef DW_OUTPUT_FRAME_FILE_H
#define DW_OUTPUT_FRAME_FILE_H

#include <daywheel/output.h>

#include <stdbool.h>

/* The attribute of an OpenEXR frame that holds its recipe. */
#define DW_EXR_RECIPE "daywheelRecipe"

/* Reads the recipe (32 hexadecimal digits) of a frame that this program wrote. False if the file
 * is not there, is not of this format, was not written by this program, or is not whole: a JPEG
 * must end with its end marker; a TIFF's directory must be readable and its strips lie within the
 * file, and so must an OpenEXR file's table and the pieces that it names. Reads a few kilobytes;
 * never trusts a length or an offset found in the file. */
bool dw_frame_file_recipe(const char *path, enum dw_format format, char recipe[33]);

#endif
