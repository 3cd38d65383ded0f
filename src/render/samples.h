/* samples.h: the rows of a mosaic with hot pixels repaired, and what turns them into levels. */
#ifndef DW_RENDER_SAMPLES_H
#define DW_RENDER_SAMPLES_H

#include <daywheel/render.h>

#include "render/grow.h"
#include "render/kernels/kernels.h"

struct dw_samples {
    const struct dw_kernels *k;
    const struct dw_mosaic *m;
    const struct dw_hot *hot;
    size_t n_hot;
    float black[3], scale[3]; /* level = (sample - black) * scale; 1 = saturation */
    struct dw_space_kept patched;
};

/* Levels: those of the facts. Errors: DW_ERR_FORMAT (mosaic of another size than the facts', or a
 * white level that is not above black), DW_ERR_MEMORY. Work space is kept from the last use. */
enum dw_status dw_samples_open(struct dw_samples *s, const struct dw_mosaic *m,
                               const struct dw_levels *levels, const struct dw_facts *facts,
                               struct dw_error *err);
/* Row y, interleaved for DW_CFA_RGB; valid until the next call. */
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
