/* patches.h: small pictures of fixed places of the mosaic, fine enough to tell a displacement of a
 * twentieth of a pixel, few enough to be kept of every shot. */
#ifndef DW_SURVEY_PATCHES_H
#define DW_SURVEY_PATCHES_H

#include <daywheel/survey.h>

#include "survey/layout.h"

/* The codes of all patches of a mosaic, one after the other, rows from the top: cells of 2x2
 * pixels, the mean of their greens. code: room for DW_PATCHES * DW_PATCH_CELLS. Returns how many
 * patches. */
int dw_patches_take(const struct dw_layout *l, const struct dw_mosaic *m, uint16_t *code);

/* DW_PATCH_SCALE times the root of the cell's DN above the stated black, plus DW_PATCH_LIFT so that
 * noise below black has a root too. Photon noise is then the same in light and dark, half a step is
 * less than it, and a brighter exposure is the same picture times a number. */
uint16_t dw_patch_code(float dn_above_black);

#endif
