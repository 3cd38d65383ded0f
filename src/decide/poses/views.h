/* views.h: a shot's patches made fit for comparing: spots clipped, noise smoothed, slow light taken
 * off. Unit throughout: cells of 2x2 mosaic pixels. */
#ifndef DW_DECIDE_VIEWS_H
#define DW_DECIDE_VIEWS_H

#include <daywheel/survey.h>

#define DW_BLOCK_SIDE 16 /* the vote is by blocks: small enough to hold ground or sky, not both */
#define DW_BLOCKS_ACROSS (DW_PATCH_SIDE / DW_BLOCK_SIDE)
#define DW_PATCH_BLOCKS (DW_BLOCKS_ACROSS * DW_BLOCKS_ACROSS)
#define DW_MAX_BLOCKS (DW_PATCHES * DW_PATCH_BLOCKS)

/* Zero it before the first use. */
struct dw_view {
    int n;       /* patches */
    float *band; /* n * DW_PATCH_CELLS: root of light, its middle scales only */
    bool
        structure[DW_MAX_BLOCKS]; /* the block shows more than noise and the sensor's own pattern */
};

/* Scratch of one worker; zero it before the first use. */
struct dw_view_work {
    struct dw_band_work *band; /* kernels.h */
};

/* wanted: per patch whether it is looked at; NULL: all are. The others come out without structure
 * and their band is not touched. m: its noise_dn and photon_dn are NAN where unknown. Errors:
 * DW_ERR_MEMORY. */
enum dw_status dw_view_make(const struct dw_patches *p, const struct dw_measure *m,
                            const bool *wanted, struct dw_view_work *work, struct dw_view *out,
                            struct dw_error *err);
void dw_view_free(struct dw_view *v);
void dw_view_work_free(struct dw_view_work *w);

#endif
