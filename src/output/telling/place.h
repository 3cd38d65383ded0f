/* place.h: what a shoot is called in sheets and reports. */
#ifndef DW_OUTPUT_PLACE_H
#define DW_OUTPUT_PLACE_H

#include <daywheel/shot.h>

/* The name of the innermost folder that holds all shots, made safe to show; "" if it has none. */
void dw_shoot_folder(const struct dw_shots *shots, char out[200]);

#endif
