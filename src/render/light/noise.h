/* noise.h: the sensor's noise smoothed in linear light, stars and edges left alone.
 *
 * Every pixel trades a part of its difference with its four neighbours (one step of the diffusion
 * of Perona & Malik 1990, IEEE Trans. PAMI 12, 629), the less the farther that difference stands
 * out of the noise, and nothing from a limit on. What one gives the other takes: light is neither
 * made nor lost, so a star keeps all of its own. Luminance is smoothed gently, in one step; the two
 * colour differences strongly, in two, the second over twice the distance (in a full-size picture,
 * whose noise is spread over neighbours by the demosaic, both over twice as far again). How large
 * noise is comes from the sensor model: var = (read noise)^2 + photon * light, DN^2 (EMVA Standard
 * 1288). */
#ifndef DW_RENDER_NOISE_H
#define DW_RENDER_NOISE_H

#include <daywheel/render.h>

#include "render/planes/grow.h"
#include "render/kernels/kernels.h"

/* What there is to decide; the noise itself is measured. */
struct dw_noise_params {
    float luma_limit, chroma_limit; /* sigmas of a difference from which on nothing is traded */
    float luma_trade, chroma_trade; /* share traded with each neighbour where all is noise, at full
                                       strength; 0.2 makes all five alike, and where there is
                                       noise, differences make it less */
    float least, most; /* relative noise of the key below which nothing is done, and from which on
                          all is done */
};
#define DW_NOISE_DEFAULTS                                                                          \
    {                                                                                              \
        2.0f, 5.0f, 0.2f, 0.5f, 0.015f, 0.04f                                                      \
    }
#define DW_NOISE_MOST_TRADE 0.25f /* all of a difference is traded: no more */

/* The noise of finished light (linear BT.2020, key = 1) of neutral colour, from a camera's. */
struct dw_light_noise {
    float luma[2];   /* variance of luminance Y: luma[0] + luma[1] * Y */
    float chroma[2]; /* variance of R - Y and of B - Y, in variances of Y */
};

/* share[c]: the share of a mosaic sample's variance that is left in colour c of a pixel;
 * one_colour: the sensor sees no colours. Zero where the levels know no noise. */
struct dw_light_noise dw_light_noise_make(const struct dw_levels *levels,
                                          const struct dw_develop *develop, const float share[3],
                                          bool one_colour);

/* Rows on their way through the filter. Zero it before the first use. */
struct dw_noise_window {
    const struct dw_kernels *k;
    struct dw_settle first, second;
    int width, height, next;   /* next: source row that is wanted next */
    struct dw_space_kept rows; /* rings of Y, R-Y, B-Y: as they come, after the first step */
    size_t stride;
    bool on;
};

/* Makes ready for a picture; w->on is false when there is nothing to do. strength: 0..1;
 * reach: of the first step, 1 or 2 pixels. */
enum dw_status dw_noise_open(struct dw_noise_window *w, const struct dw_kernels *k,
                             const struct dw_light_noise *noise,
                             const struct dw_noise_params *params, float strength, int reach,
                             int width, int height, struct dw_error *err);
/* Row y of the smoothed picture; source: gives any row of the picture, asked for in rising order,
 * up to 3 * reach rows ahead. Rows in rising order cost least. */
void dw_noise_row(struct dw_noise_window *w, int y,
                  void (*source)(void *ctx, int y, float *const rgb[3]), void *ctx,
                  float *const rgb[3]);
void dw_noise_free(struct dw_noise_window *w);

#endif
