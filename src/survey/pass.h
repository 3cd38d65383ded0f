/* pass.h: one pass down a mosaic: levels and detail of every tile, the thumbnail, the
 * spots. Only adds up; what the sums mean is measure.c's business. */
#ifndef DW_SURVEY_PASS_H
#define DW_SURVEY_PASS_H

#include "survey/kernels.h"
#include "survey/layout.h"
#include "survey/spots.h"

struct dw_tile_sums {
    uint64_t sum[3];           /* DN */
    uint32_t n[3];             /* samples */
    uint32_t high, low;        /* samples at saturation; at black */
    double fine, middle;       /* detail energy, noise still in it, DN^2 summed over ... */
    uint32_t fine_n, middle_n; /* ... so many places */
};

/* Buffers of one worker, kept from frame to frame. */
struct dw_pass {
    const struct dw_survey_kernels *k;
    struct dw_tile_sums *tile; /* rows * cols */
    float *thumb;              /* thumb_width * thumb_height * 3, mean DN; NAN without samples */
    uint32_t *sum;             /* vp rows of `samples` */
    uint16_t *high, *low, *dark, *limit; /* dark, limit: vp rows of `samples` */
    float *green, *bins;                 /* three rows of cells; of bins of 3x3 cells */
    float *row3;                         /* three rows of cells added */
    float *energy;
    uint8_t *hit;
    uint16_t *col_of;     /* tile column of a pixel column */
    uint32_t energy_rows; /* cell rows since the last fold */
    char *block;          /* the memory of all of these */
    size_t block_size;
};

/* Makes room for a layout. Errors: DW_ERR_MEMORY. */
enum dw_status dw_pass_prepare(struct dw_pass *p, const struct dw_layout *l, struct dw_error *err);
void dw_pass_free(struct dw_pass *p);

/* Levels that the whole pass compares with. */
struct dw_thresholds {
    uint16_t clip;                       /* samples from here on are saturated */
    uint16_t dark[3];                    /* per colour: samples up to here are black */
    const struct dw_spot_limits *limits; /* rows*cols */
    const struct dw_spot_rule *rule;
};
/* The whole pass: every field of every tile, the thumbnail, the spots.
 * Errors: DW_ERR_MEMORY (the list of spots). */
enum dw_status dw_pass_run(struct dw_pass *p, const struct dw_layout *l, const struct dw_mosaic *m,
                           const struct dw_thresholds *t, struct dw_spots *spots,
                           struct dw_error *err);

#endif
