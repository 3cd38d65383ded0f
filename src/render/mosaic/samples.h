/* samples.h: the rows of a mosaic with hot pixels repaired, and what turns them into levels. */
#ifndef DW_RENDER_SAMPLES_H
#define DW_RENDER_SAMPLES_H

#include <daywheel/render.h>

#include "render/planes/grow.h"
#include "render/mosaic/hot.h"
#include "render/kernels/kernels.h"

struct dw_samples {
    const struct dw_kernels *k;
    const struct dw_mosaic *m;
    struct dw_hot_map hot;
    float black[3], scale[3]; /* level = (sample - black) * scale; 1 = saturation */
    struct dw_space_kept patched;
};

/* Zero *s before the first use; work space is kept from the last. Levels: those of the facts.
 * Errors: DW_ERR_FORMAT (mosaic of another size than the facts', or a white level that is not above
 * black), DW_ERR_MEMORY. */
enum dw_status dw_samples_open(struct dw_samples *s, const struct dw_mosaic *m,
                               const struct dw_levels *levels, const struct dw_facts *facts,
                               struct dw_error *err);
/* Row y as it was recorded. */
static inline const uint16_t *dw_samples_raw_row(const struct dw_samples *s, int y)
{
    return s->m->px + (size_t)y * (size_t)s->m->width * (s->m->cfa == DW_CFA_RGB ? 3 : 1);
}
/* Row y with hot pixels repaired, interleaved for DW_CFA_RGB; valid until the next call. */
const uint16_t *dw_samples_row(struct dw_samples *s, int y);
/* Colour of (x, y): 0, 1 or 2; 1 for monochrome and full-colour mosaics. */
static inline int dw_samples_colour(const struct dw_samples *s, int x, int y)
{
    const struct dw_mosaic *m = s->m;
    if (m->cfa != DW_CFA_BAYER && m->cfa != DW_CFA_XTRANS)
        return 1;
    return m->pattern[(y % m->period) * m->period + x % m->period];
}
void dw_samples_free(struct dw_samples *s);

#endif
