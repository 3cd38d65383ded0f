/* layout.c: see layout.h. */
#include "survey/layout.h"

#include <stdlib.h>
#include <string.h>

static int *make_edges(int n, int units, int unit)
{
    int *edge = malloc(((size_t)n + 1) * sizeof *edge);
    for (int i = 0; edge && i <= n; i++)
        edge[i] = (int)((int64_t)i * units / n) * unit;
    return edge;
}

static bool believable(const struct dw_mosaic *m, int spp)
{
    if (m->width < 1 || m->height < 1 || m->width > 65535 || m->height > 65535 || !m->px)
        return false;
    if (m->cfa != DW_CFA_RGB && m->period != 1 && m->period != 2 && m->period != 6)
        return false;
    for (int i = 0; m->cfa != DW_CFA_RGB && i < m->period * m->period; i++) {
        if (m->pattern[i] > 2)
            return false;
    }
    return m->samples == (size_t)m->width * (size_t)m->height * (size_t)spp;
}

static void set_colours(struct dw_layout *l, const struct dw_mosaic *m)
{
    if (m->cfa == DW_CFA_RGB) {
        l->hp = 3;
        l->vp = 1;
        for (int c = 0; c < 3; c++)
            l->colour[0][c] = (uint8_t)c;
        l->step_x = 6; /* two pixels: a star covers its direct neighbours too */
        l->step_y = 2;
        return;
    }
    l->hp = l->vp = m->period;
    if (m->period == 1) { /* one colour: it counts as green, whatever the file calls it */
        l->colour[0][0] = 1;
        l->step_x = l->step_y = 2;
        return;
    }
    for (int r = 0; r < m->period; r++)
        memcpy(l->colour[r], m->pattern + r * m->period, (size_t)m->period);
    l->step_x = l->step_y = m->period;
}

enum dw_status dw_layout_make(const struct dw_mosaic *m, const struct dw_survey_params *params,
                              struct dw_layout *out, struct dw_error *err)
{
    *out = (struct dw_layout){0};
    if (params->cols < 1 || params->rows < 1 || params->cols > 256 || params->rows > 256 ||
        params->thumb_long < 8 || params->thumb_long > 4096 || params->max_spikes < 0 ||
        params->max_spikes > 1000000)
        return dw_fail(err, DW_ERR_USAGE,
                       "survey: a grid of %d x %d tiles, a thumbnail of %d pixels and %d spikes; "
                       "expected 1..256, 1..256, 8..4096 and 0..1000000",
                       params->cols, params->rows, params->thumb_long, params->max_spikes);
    struct dw_layout l = {
        .spp = m->cfa == DW_CFA_RGB ? 3 : 1, .cols = params->cols, .rows = params->rows};
    if (!believable(m, l.spp))
        return dw_fail(err, DW_ERR_FORMAT,
                       "the decoded picture makes no sense: %d x %d pixels, period %d, %zu samples",
                       m->width, m->height, m->period, m->samples);
    l.unit = m->cfa != DW_CFA_RGB && m->period == 6 ? 6 : 2;
    l.width = m->width - m->width % l.unit;
    l.height = m->height - m->height % l.unit;
    l.stride = m->width * l.spp;
    l.samples = l.width * l.spp;
    set_colours(&l, m);

    int longest = l.width > l.height ? l.width : l.height;
    int room = l.unit * params->thumb_long;
    l.block = l.unit * ((longest + room - 1) / room);
    l.thumb_width = l.block > 0 ? l.width / l.block : 0;
    l.thumb_height = l.block > 0 ? l.height / l.block : 0;

    l.tile_x = make_edges(l.cols, l.width / l.unit, l.unit);
    l.tile_y = make_edges(l.rows, l.height / l.unit, l.unit);
    *out = l;
    if (!l.tile_x || !l.tile_y) {
        dw_layout_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for the grid");
    }
    return DW_OK;
}

void dw_layout_free(struct dw_layout *l)
{
    free(l->tile_x);
    free(l->tile_y);
    *l = (struct dw_layout){0};
}

int dw_layout_find(const int *edge, int n, int p)
{
    int lo = 0, hi = n; /* edge[lo] <= p < edge[hi] for p inside */
    while (hi - lo > 1) {
        int mid = lo + (hi - lo) / 2;
        if (edge[mid] <= p)
            lo = mid;
        else
            hi = mid;
    }
    return lo;
}
