/* demosaic.h: the sums of demosaicing, on rows of half width. A Bayer row is kept as its even and
 * its odd columns; one of the two is green, the other the row's own colour (red or blue).
 *
 * Every pointer may be read up to three samples before its start and after its end. All sums of
 * neighbours pair left with right and up with down, so that a mirrored mosaic gives the mirrored
 * picture to the last bit. */
#ifndef DW_RENDER_KERNELS_DEMOSAIC_H
#define DW_RENDER_KERNELS_DEMOSAIC_H

#include <stddef.h>

/* Surroundings of the sites of a row's own colour: the colour and the green in its row, and in
 * the columns through its sites. */
struct dw_demosaic_site {
    const float *colour, *left, *right; /* left[i], right[i]: green beside colour[i] */
    const float *up[3], *down[3]; /* one (green), two (same colour), three rows away (green) */
};

/* What is known of a site once its green is: colour = residual + slope * green, nearby. `green` is
 * read by `diagonal` alone. */
struct dw_demosaic_fit {
    const float *residual, *slope, *colour, *green;
};

struct dw_demosaic_kernels {
    /* How much the difference of the colours changes across (along the row) and down, at every
     * sample; even[3], odd[3] are the row itself, [0] the third above. */
    void (*activity)(const float *const even[7], const float *const odd[7], size_t n,
                     float *across_even, float *across_odd, float *down_even, float *down_odd);
    /* Sums over five columns about every sample. */
    void (*gather)(const float *even, const float *odd, size_t n, float *sum_even, float *sum_odd);
    /* How much green and the own colour change about every site, on one scale. */
    void (*contrast)(const struct dw_demosaic_site *s, size_t n, float *green, float *colour);
    /* Sums over five neighbouring sites of a row. */
    void (*spread)(const float *in, size_t n, float *sum);
    /* Sums of five rows. */
    void (*stack)(const float *const row[5], size_t n, float *sum);
    /* Green at the sites, the fit of the own colour to it, and the share of `across`. */
    void (*green)(const struct dw_demosaic_site *s, const float *across, const float *down,
                  const float *green_contrast, const float *colour_contrast, size_t n, float *green,
                  float *residual, float *slope, float *share);
    /* The other colour at the sites, from the fits of the four diagonal sites: up-left, up-right,
     * down-left, down-right. */
    void (*diagonal)(const struct dw_demosaic_fit fit[4], const float *green, size_t n,
                     float *colour, float *residual, float *slope);
    /* Share of `across` at the green samples: mean of the four sites about it. */
    void (*between)(const float *left, const float *right, const float *up, const float *down,
                    size_t n, float *share);
    /* A colour at the green samples, from the fits left, right, up and down. */
    void (*straight)(const struct dw_demosaic_fit fit[4], const float *share, const float *green,
                     size_t n, float *colour);
    /* A row of 2 n to its even and odd columns. */
    void (*part)(const float *row, size_t n, float *even, float *odd);
    /* Even and odd columns to a row of 2 n. */
    void (*join)(const float *even, const float *odd, size_t n, float *row);
};

#endif
