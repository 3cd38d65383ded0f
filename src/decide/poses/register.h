/* register.h: by how much the camera was displaced between two shots. */
#ifndef DW_DECIDE_REGISTER_H
#define DW_DECIDE_REGISTER_H

#include "decide/poses/fourier.h"
#include "decide/poses/vote.h"

/* Scratch of one worker; zero it before the first use. */
struct dw_register {
    struct dw_fourier fourier;
    double *a, *sum;
};
void dw_register_free(struct dw_register *r);

/* Where all blocks of these patches lie; mosaic size in pixels. Returns how many blocks. */
int dw_block_places(const struct dw_patch_place *patch, int n, int width, int height,
                    struct dw_block_place *at);

/* One step from `start` for all blocks; those whose weight is 0 come out without information. */
void dw_register_step(const struct dw_view *a, const struct dw_view *b, const float *weight,
                      const struct dw_block_place *at, const struct dw_shift *start,
                      struct dw_block *block);
/* Whole displacement, from nothing: least squares to the limit of the noise, from where the ground
 * was and, unless nearly all of it agrees that it is still there, from the place where the two
 * shots' ground correlates best (by Fourier transform, up to 5/8 of a patch). Shots in which
 * nothing agrees come out with sigma = INFINITY. Errors: DW_ERR_MEMORY. */
enum dw_status dw_register(struct dw_register *r, const struct dw_view *a, const struct dw_view *b,
                           const float *weight, const struct dw_block_place *at,
                           struct dw_shift *out, struct dw_error *err);

#endif
