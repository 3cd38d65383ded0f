/* light.h: the linear half, row by row: one source's mosaic as scene-linear light in the output's
 * size, in the sensor's orientation. Rows, not planes, so that a worker needs little more memory
 * than the mosaic itself. */
#ifndef DW_RENDER_LIGHT_H
#define DW_RENDER_LIGHT_H

#include "render/mosaic/cells.h"
#include "render/clipped/clipped.h"
#include "render/clipped/lost.h"
#include "render/light/noise.h"
#include "render/mosaic/pixels.h"
#include "render/planes/place.h"
#include "render/planes/resize.h"
#include "render/facts/shade.h"

/* Zero it before the first use; work space is kept from frame to frame. */
struct dw_light {
    struct dw_geometry geo;   /* of the result */
    struct dw_geometry whole; /* of the mosaic without a crop */
    struct dw_samples samples;
    struct dw_cells cells;
    struct dw_pixels pixels;
    struct dw_clipped clipped;
    struct dw_develop develop_cells, develop_pixels;
    struct dw_source source;
    struct dw_noise_window noise;
    struct dw_reduction across, down; /* when out is smaller than src */
    bool placed;                      /* cropped or moved: rows come by way of these two */
    struct dw_place cells_at, rows_at;
    int wide;                  /* room of a row */
    struct dw_space_kept rows; /* peak, three of colours; reduction: a sum, a ring */
    int next_row;              /* reduction: source rows held are those before this one */
};

/* The gain, balance, matrix and clip rule of one source. Errors: DW_ERR_USAGE for multipliers
 * beyond 16, a matrix beyond 8 or shading beyond DW_MOST_SHADE, which no camera has and under which
 * sums might overflow. */
enum dw_status dw_develop_make(const struct dw_facts *facts, const struct dw_source *source,
                               struct dw_develop *out, struct dw_error *err);

/* Errors: DW_ERR_USAGE (size), DW_ERR_FORMAT (mosaic), DW_ERR_MEMORY. m must outlive the rows. */
enum dw_status dw_light_open(struct dw_light *l, const struct dw_mosaic *m,
                             const struct dw_levels *levels, const struct dw_facts *facts,
                             const struct dw_source *source, const struct dw_size *size,
                             struct dw_error *err);
/* After dw_light_open, which takes DW_SHOWN_DEFAULTS. */
void dw_light_show(struct dw_light *l, const struct dw_facts *facts, const struct dw_shown *shown);
/* How large noise is in the rows of an opened source, before any reduction. */
struct dw_light_noise dw_light_noise_of(const struct dw_light *l, const struct dw_levels *levels);
/* After dw_light_open: its rows shall come with the noise smoothed, by strength 0..1. Levels: those
 * given there. Errors: DW_ERR_MEMORY. */
enum dw_status dw_light_smooth(struct dw_light *l, const struct dw_levels *levels, float strength,
                               struct dw_error *err);
/* Row y of the output, geo.out_w long. In rising order. */
void dw_light_row(struct dw_light *l, int y, float *const rgb[3]);
/* Row y of the cells, geo.cells_w long, whatever the output's size: for what is learnt from the
 * frame before its rows are made. Any order. */
void dw_light_cell_row(struct dw_light *l, int y, float *const rgb[3]);
void dw_light_free(struct dw_light *l);

#endif
