/* sources.h: the mosaics that one frame is made of, opened as light, and their mix row by row. */
#ifndef DW_RENDER_SOURCES_H
#define DW_RENDER_SOURCES_H

#include "render/light/light.h"

/* One source that could be read. */
struct dw_lit {
    struct dw_light light;
    struct dw_mosaic mosaic;
    float weight;
};

/* A worker's sources. Zero it before the first use; work space is kept from frame to frame. */
struct dw_sources {
    struct dw_decoder *decoder;
    struct dw_lit lit[DW_MAX_SOURCES];
    int n; /* of those that could be read; their weights sum to 1 */
};

/* Errors: DW_ERR_MEMORY. */
enum dw_status dw_sources_init(struct dw_sources *s, struct dw_error *err);
void dw_sources_free(struct dw_sources *s);

/* Reads what can be read of a frame's sources; s->n = 0: nothing. What cannot is told to `missed`,
 * and the frame is made without it. Errors: those that concern more than one source. */
enum dw_status dw_sources_read(struct dw_sources *s, const struct dw_shots *shots,
                               const struct dw_facts *facts, struct dw_scratch *scratch,
                               const struct dw_frame *frame, const struct dw_render_params *params,
                               void (*missed)(void *ctx, const char *text), void *ctx,
                               struct dw_error *err);

/* Row y of the output or of the cells; see dw_light_row and dw_light_cell_row. other: work space
 * of the same size. */
void dw_sources_row(struct dw_sources *s, int y, float *const rgb[3], float *const other[3]);
void dw_sources_cell_row(struct dw_sources *s, int y, float *const rgb[3], float *const other[3]);

static inline const struct dw_geometry *dw_sources_geometry(const struct dw_sources *s)
{
    return &s->lit[0].light.geo;
}

#endif
