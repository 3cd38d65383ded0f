/* samples.c: see samples.h. */
#include "render/mosaic/samples.h"

#include <string.h>

static size_t row_length(const struct dw_mosaic *m)
{
    return (size_t)m->width * (m->cfa == DW_CFA_RGB ? 3 : 1);
}

static bool pattern_is_sound(const struct dw_mosaic *m)
{
    if (m->cfa != DW_CFA_BAYER && m->cfa != DW_CFA_XTRANS)
        return true;
    if (m->period != (m->cfa == DW_CFA_BAYER ? 2 : 6))
        return false;
    int count[3] = {0};
    for (int i = 0; i < m->period * m->period; i++) {
        if (m->pattern[i] > 2)
            return false;
        count[m->pattern[i]]++;
    }
    if (m->cfa == DW_CFA_BAYER) { /* one red, one blue, and the two greens on a diagonal */
        bool diagonal = (m->pattern[0] == 1 && m->pattern[3] == 1) ||
                        (m->pattern[1] == 1 && m->pattern[2] == 1);
        return count[0] == 1 && count[2] == 1 && diagonal;
    }
    return count[0] > 0 && count[1] > 0 && count[2] > 0;
}

enum dw_status dw_samples_open(struct dw_samples *s, const struct dw_mosaic *m,
                               const struct dw_levels *levels, const struct dw_facts *facts,
                               struct dw_error *err)
{
    if (!m->px || m->samples < row_length(m) * (size_t)m->height || !pattern_is_sound(m))
        return dw_fail(err, DW_ERR_FORMAT, "the mosaic's shape or colour pattern makes no sense");
    if (facts->mosaic_width > 0 &&
        (m->width != facts->mosaic_width || m->height != facts->mosaic_height))
        return dw_fail(err, DW_ERR_FORMAT, "mosaic of %dx%d pixels, expected %dx%d as surveyed",
                       m->width, m->height, facts->mosaic_width, facts->mosaic_height);
    for (int c = 0; c < 3; c++) {
        float range = levels->white - levels->black[c];
        if (!(range > 0.0f) || !(range < 1e9f))
            return dw_fail(err, DW_ERR_FORMAT, "white level %g is not above black level %g",
                           (double)levels->white, (double)levels->black[c]);
        s->black[c] = levels->black[c];
        s->scale[c] = 1.0f / range;
    }
    s->k = dw_kernels_best();
    s->m = m;
    enum dw_status hot = dw_hot_map_make(&s->hot, facts->hot, facts->n_hot, m, err);
    if (hot < 0)
        return hot;
    if (!dw_grow(&s->patched, row_length(m) * sizeof(uint16_t)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a row of %d pixels", m->width);
    return DW_OK;
}

const uint16_t *dw_samples_row(struct dw_samples *s, int y)
{
    const struct dw_mosaic *m = s->m;
    const uint16_t *row = dw_samples_raw_row(s, y);
    uint32_t from = s->hot.row[y], to = s->hot.row[y + 1];
    if (from == to)
        return row;
    uint16_t *patched = s->patched.p;
    memcpy(patched, row, row_length(m) * sizeof *row);
    int channels = m->cfa == DW_CFA_RGB ? 3 : 1;
    for (uint32_t i = from; i < to; i++)
        for (int c = 0; c < channels; c++)
            patched[s->hot.repair[i].x * channels + c] = dw_hot_value(m, &s->hot.repair[i], y, c);
    return patched;
}

void dw_samples_free(struct dw_samples *s)
{
    dw_grow_free(&s->patched);
    dw_hot_map_free(&s->hot);
}
