/* measure.h: one decoded mosaic to its measure. */
#ifndef DW_SURVEY_MEASURE_H
#define DW_SURVEY_MEASURE_H

#include <daywheel/survey.h>

#include "survey/pass.h"
#include "survey/spots.h"

/* What the measuring itself goes by. docs/method.md gives the reasons. */
struct dw_measure_params {
    double clip_share; /* of black..white: samples from here on count as saturated */
    double even_share; /* a tile tells about noise whose greens scatter by noise and this share */
    double list_sigma, list_share, dark_share, core_sigma, core_share; /* struct dw_spot_rule */
    double smooth_sigma, wing_share, rival_share;                      /* the same */
    double core_most; /* share of a tile's samples that may be kept out; more is no star field */
};
/* clang-format off */
#define DW_MEASURE_DEFAULTS {0.98, 0.15, 4.4, 0.08, 0.5, 5.0, 0.7, 3.0, 0.06, 0.7, 0.25}
/* clang-format on */
/* Buffers of one worker, kept from frame to frame. Start from a zeroed struct. */
struct dw_measurer {
    struct dw_pass pass;
    struct dw_spots spots;
    uint64_t *kept_out; /* a bit a pixel */
    size_t kept_out_words;
    uint16_t *patch; /* DW_PATCHES * DW_PATCH_CELLS */
};
void dw_measurer_free(struct dw_measurer *w);

/* A measure together with what is kept on disk only. spot, thumb and patch belong to the measurer
 * and hold until its next frame. */
struct dw_measured {
    struct dw_measure m; /* m.tile is the caller's memory, cols * rows */
    const struct dw_spot *spot;
    const float *thumb;    /* thumb_width * thumb_height * 3, mean DN */
    int block;             /* mosaic pixels of a thumbnail pixel's side */
    const uint16_t *patch; /* n_patches * DW_PATCH_CELLS codes (patches.h) */
    int n_patches;
};

/* Measures a mosaic into out (out->m.tile must point at cols * rows tiles).
 * Errors: DW_ERR_FORMAT (the mosaic makes no sense), DW_ERR_USAGE, DW_ERR_MEMORY. */
enum dw_status dw_measure_mosaic(struct dw_measurer *w, const struct dw_mosaic *mosaic,
                                 const struct dw_survey_params *params, struct dw_measured *out,
                                 struct dw_error *err);

#endif
