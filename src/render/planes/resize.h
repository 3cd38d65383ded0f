/* resize.h: reducing a picture in linear light, row by row.
 *
 * The filter is a raised cosine, 1 + cos(pi x / s), as wide as two output pixels on either side
 * together (half-width s = the reduction). Why this one: it has no negative lobes, so no star gets
 * a dark ring; and its copies at whole output pixels add up to one everywhere, so a star keeps its
 * light wherever it stands between pixels and does not twinkle as the sky turns. */
#ifndef DW_RENDER_RESIZE_H
#define DW_RENDER_RESIZE_H

#include <daywheel/base.h>

#include "render/kernels/kernels.h"

/* For every output sample, `taps` weights that sum to 1, from input sample start[i] on. */
struct dw_reduction {
    int in, out, taps;
    int *start;    /* out */
    float *weight; /* out * taps */
};

/* in >= out >= 1 */
enum dw_status dw_reduction_make(int in, int out, struct dw_reduction *r, struct dw_error *err);
void dw_reduction_free(struct dw_reduction *r);

/* One row along its length: in[r->in] to out[r->out]. */
void dw_reduce_row(const struct dw_reduction *r, const float *in, float *out);

#endif
