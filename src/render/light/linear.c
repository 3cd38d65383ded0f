/* linear.c: the linear half as whole pictures, for those who want them so. */
#include "render/planes/geometry.h"
#include "render/light/light.h"

#include <stdlib.h>
#include <string.h>

/* Gives the planes room, or checks that what is added to has this size. */
static enum dw_status plane_room(struct dw_linear *l, int width, int height, bool add,
                                 struct dw_error *err)
{
    if (l->plane[0] && l->width == width && l->height == height)
        return DW_OK;
    if (l->plane[0] && add)
        return dw_fail(err, DW_ERR_USAGE, "light of %dx%d pixels cannot be added to %dx%d", width,
                       height, l->width, l->height);
    free(l->plane[0]);
    size_t n = (size_t)width * (size_t)height;
    *l = (struct dw_linear){.width = width, .height = height};
    l->plane[0] = calloc(3 * n, sizeof(float)); /* zero: adding to it sets it */
    if (!l->plane[0])
        return dw_fail(err, DW_ERR_MEMORY, "no memory for light of %dx%d pixels", width, height);
    l->plane[1] = l->plane[0] + n;
    l->plane[2] = l->plane[1] + n;
    return DW_OK;
}

void dw_linear_free(struct dw_linear *l)
{
    free(l->plane[0]);
    *l = (struct dw_linear){0};
}

/* Sets or adds weight * rgb, one row in the sensor's orientation, in its upright place. */
static void place_row(struct dw_linear *out, int turn_deg, int w, int h, int y, float weight,
                      bool add, float *const rgb[3])
{
    for (int c = 0; c < 3; c++)
        for (int x = 0; x < w; x++) {
            float *at =
                out->plane[c] + dw_turn_index(turn_deg, (size_t)w, (size_t)h, (size_t)x, (size_t)y);
            *at = (add ? *at : 0.0f) + weight * rgb[c][x];
        }
}

static enum dw_status upright_room(struct dw_linear *out, int turn_deg, int w, int h, bool add,
                                   struct dw_error *err)
{
    bool swap = dw_turn_swaps(turn_deg);
    return plane_room(out, swap ? h : w, swap ? w : h, add, err);
}

enum dw_status dw_linear_from_mosaic(const struct dw_mosaic *m, const struct dw_levels *levels,
                                     const struct dw_facts *facts, const struct dw_source *source,
                                     const struct dw_size *size, bool add, struct dw_linear *out,
                                     struct dw_error *err)
{
    struct dw_light light = {0};
    float *row = NULL;
    enum dw_status s = dw_light_open(&light, m, levels, facts, source, size, err);
    if (s < 0)
        goto end;
    int w = light.geo.out_w, h = light.geo.out_h;
    if ((s = upright_room(out, facts->turn_deg, w, h, add, err)) < 0)
        goto end;
    row = malloc(3 * (size_t)w * sizeof *row);
    if (!row) {
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for a row of %d pixels", w);
        goto end;
    }
    float *const rgb[3] = {row, row + w, row + 2 * (size_t)w};
    for (int y = 0; y < h; y++) {
        dw_light_row(&light, y, rgb);
        place_row(out, facts->turn_deg, w, h, y, source->weight, add, rgb);
    }
end:
    free(row);
    dw_light_free(&light);
    return s;
}

/* One thumbnail row, which is in levels of the file's own black and white, in the facts' levels. */
static void thumb_row(const float *samples, size_t width, const struct dw_measure *measured,
                      const struct dw_levels *levels, float black_dn, float *const rgb[3],
                      float *peak)
{
    for (size_t x = 0; x < width; x++) {
        const float *v = samples + 3 * x;
        for (int c = 0; c < 3; c++) {
            float dn = v[c] * (measured->white - measured->black[c]) + measured->black[c];
            float black = levels->black[c] + black_dn;
            rgb[c][x] = (dn - black) / (levels->white - black);
        }
        peak[x] = rgb[1][x];
    }
}

enum dw_status dw_linear_from_thumb(const struct dw_thumb *t, const struct dw_measure *measured,
                                    const struct dw_levels *levels, const struct dw_facts *facts,
                                    const struct dw_source *source, struct dw_linear *out,
                                    struct dw_error *err)
{
    if (!t->rgb || t->width < 1 || t->height < 1)
        return dw_fail(err, DW_ERR_USAGE, "the thumbnail is empty");
    for (int c = 0; c < 3; c++)
        if (!(levels->white > levels->black[c]))
            return dw_fail(err, DW_ERR_FORMAT, "white level %g is not above black level %g",
                           (double)levels->white, (double)levels->black[c]);
    struct dw_develop develop;
    enum dw_status s = dw_develop_make(facts, source, &develop, err);
    if (s < 0 || (s = upright_room(out, facts->turn_deg, t->width, t->height, false, err)) < 0)
        return s;
    size_t w = (size_t)t->width, samples = 3 * w * (size_t)t->height;
    float *row = malloc((4 * w + samples) * sizeof *row + samples / 3);
    if (!row)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for a thumbnail of %dx%d pixels", t->width,
                       t->height);
    float *const rgb[3] = {row, row + w, row + 2 * w}, *peak = row + 3 * w, *sound = row + 4 * w;
    memcpy(sound, t->rgb, samples * sizeof *sound);
    dw_hot_thumb(t, facts->hot, facts->n_hot, sound, (uint8_t *)(sound + samples));
    for (int y = 0; y < t->height; y++) {
        thumb_row(sound + 3 * w * (size_t)y, w, measured, levels, (float)source->black_dn, rgb,
                  peak);
        dw_kernels_best()->develop->develop(&develop, peak, NULL, w, rgb[0], rgb[1], rgb[2]);
        if (!dw_shade_idle(source))
            dw_shade_row(source, y, t->width, t->height, rgb);
        place_row(out, facts->turn_deg, t->width, t->height, y, source->weight, false, rgb);
    }
    free(row);
    return DW_OK;
}
