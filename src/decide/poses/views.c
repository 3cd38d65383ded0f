/* views.c: see views.h. */
#include "decide/poses/views.h"

#include "decide/poses/kernels.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SIDE DW_PATCH_SIDE
#define CELLS DW_PATCH_CELLS

/* Share of white noise's variance that smoothing by 1 4 6 4 1 leaves, both ways: (70/256)^2. */
#define NOISE_LEFT 0.0748f
/* A block shows structure when it varies by so many times the noise that is left, and by this share
 * of its light: a sensor's pixels differ by less once smoothed, and they stand still whatever the
 * camera does. */
#define OVER_NOISE 3.0f
#define CONTRAST 0.004f

/* light: mean of the block's roots; var: mean square of its band. */
static bool has_structure(float light, float var, const struct dw_measure *m)
{
    float photon = isfinite(m->photon_dn) ? m->photon_dn : 1;
    float read = isfinite(m->noise_dn) ? m->noise_dn : 1;
    float lifted = light * light, dn = fmaxf(lifted - DW_PATCH_LIFT, 0);
    /* of a mean of two greens, by the slope of the root; and the code's own rounding */
    float noise = (photon * dn + read * read) / 2 / (4 * lifted + 1) + 1.0f / 3072;
    float share = CONTRAST * dn / (2 * light + 1e-3f); /* contrast in units of the root */
    return var > OVER_NOISE * NOISE_LEFT * noise && var > share * share;
}

static void find_structure(const struct dw_pose_kernels *k, const uint16_t *code, const float *band,
                           const struct dw_measure *m, bool *structure)
{
    const double cells = DW_BLOCK_SIDE * DW_BLOCK_SIDE;
    for (int row = 0; row < SIDE; row += DW_BLOCK_SIDE) {
        uint32_t lights[SIDE];
        float squares[SIDE];
        k->columns(code + row * SIDE, band + row * SIDE, lights, squares);
        for (int x0 = 0; x0 < SIDE; x0 += DW_BLOCK_SIDE) {
            double light = 0, square = 0;
            for (int x = x0; x < x0 + DW_BLOCK_SIDE; x++) {
                light += lights[x];
                square += (double)squares[x];
            }
            *structure++ = has_structure((float)(light / (cells * (double)DW_PATCH_SCALE)),
                                         (float)(square / cells), m);
        }
    }
}

enum dw_status dw_view_make(const struct dw_patches *p, const struct dw_measure *m,
                            const bool *wanted, struct dw_view_work *work, struct dw_view *out,
                            struct dw_error *err)
{
    const struct dw_pose_kernels *k = dw_pose_kernels_best();
    if (!work->band)
        work->band = malloc(sizeof *work->band);
    if (!out->band)
        out->band = malloc(DW_PATCHES * CELLS * sizeof *out->band);
    if (!work->band || !out->band)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for a shot's patches");
    out->n = p->n;
    for (int i = 0; i < p->n; i++) {
        const uint16_t *code = p->code + (size_t)i * CELLS;
        float *band = out->band + (size_t)i * CELLS;
        bool *structure = out->structure + i * DW_PATCH_BLOCKS;
        if (wanted && !wanted[i]) {
            memset(structure, 0, DW_PATCH_BLOCKS);
            continue;
        }
        k->band(code, work->band, band);
        find_structure(k, code, band, m, structure);
    }
    return DW_OK;
}

void dw_view_free(struct dw_view *v)
{
    free(v->band);
    *v = (struct dw_view){0};
}

void dw_view_work_free(struct dw_view_work *w)
{
    free(w->band);
    *w = (struct dw_view_work){0};
}
