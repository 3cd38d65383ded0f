/* look.h: the second half, row by row: what dw_look does with a whole picture and dw_render with
 * one that exists only as rows. */
#ifndef DW_RENDER_LOOK_H
#define DW_RENDER_LOOK_H

#include <daywheel/render.h>

#include "render/kernels/kernels.h"

/* Everything that is the same for all pixels of a frame. */
struct dw_look_plan {
    const struct dw_kernels *k;
    struct dw_prepare prepare;
    struct dw_lift lift;
    struct dw_tone day, night;
    struct dw_gamut gamut;
    float day_weight; /* 0 and 1 mean: one curve alone */
    float smooth;     /* share of the colour's smoothing over 3x3 pixels; 0: none */
    bool lifts;       /* what is no sky keeps daylight's balance, stars are lifted: a background is
                       * needed */
    bool near;        /* a pixel's neighbours are needed */
    uint32_t seed;    /* of the dither */
};

/* Errors: DW_ERR_USAGE for parameters or weights outside their range. */
enum dw_status dw_look_plan_make(const struct dw_frame *frame, const struct dw_facts *facts,
                                 const struct dw_look_params *params, enum dw_space space,
                                 struct dw_look_plan *out, struct dw_error *err);

/* Says that dw_lift_rows.known tells of all stars of the picture: of others more is asked. */
void dw_look_know_stars(struct dw_look_plan *p, const struct dw_look_params *params);

/* In place: the colours of a row for dw_background_add, and its level. */
void dw_look_level(const struct dw_look_plan *p, int n, float *const rgb[3], float *level);

/* One row of n pixels from light to interleaved 8- or 16-bit pixels by the sRGB curve, for plans
 * that need no neighbours; for others see lift.h. y only seeds the dither. */
void dw_look_row(const struct dw_look_plan *p, int n, int y, int bits, const float *const light[3],
                 void *out);

/* Its steps, for pieces of a row that stay in the first cache from one to the next. */
#define DW_LOOK_PIECE 256
/* After the kernels' prepare, or lift if p->near, of so many pixels at most: red, luma and blue of
 * a piece become light in the output's primaries, 0..1. norm is work space from then on. */
void dw_look_finish(const struct dw_look_plan *p, size_t n, float *const piece[3], float *norm);
/* To pixels from the row's pixel x on; out: the row's first. rgb: work space. */
void dw_look_pack(const struct dw_look_plan *p, size_t x, size_t n, int y, int bits,
                  float *const rgb[3], void *out);

/* Gives the picture its pixels if it has none, in the size asked for. */
enum dw_status dw_image_room(struct dw_image *image, int width, int height, struct dw_error *err);

/* How many keys the frame's curves show as so much, linear output 0..1; from 1 to 2^12. */
float dw_look_keys(const struct dw_frame *f, const struct dw_look_params *p, float shown);

/* What the frame's balance shows as white: wide gamut, what is shown of luminance 1. */
void dw_look_white(const struct dw_frame *f, const struct dw_facts *facts, float wide[3]);

#endif
