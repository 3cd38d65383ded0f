/* recipe.h: what a frame is made of, as one number. */
#ifndef DW_OUTPUT_RECIPE_H
#define DW_OUTPUT_RECIPE_H

#include <daywheel/output.h>

#include "base/hash.h"

/* The part that all frames of a run share: the program's version, the facts, look, size, space
 * and format; for files of light no look and none of the facts that only a look obeys. False when
 * memory ran out. */
bool dw_recipe_start(const struct dw_writer_params *writer, const struct dw_render_params *render,
                     const struct dw_facts *facts, struct dw_hash128 *out);
/* The recipe of one frame, 32 hexadecimal digits. Sources count with their size and the hash of
 * their head, not with the file's time or place: a copy of the shoot on another machine gives
 * the same bytes. A source whose pixels changed also changes its gain in the frame's line.
 * False when memory ran out. */
bool dw_recipe_of(const struct dw_hash128 *start, const struct dw_shots *shots,
                  const struct dw_frame *frame, char out[33]);

#endif
