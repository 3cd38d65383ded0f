/* known.c: see known.h. */
#include "render/stars/known.h"

#include "render/stars/air.h"
#include "render/facts/colour.h"
#include "render/stars/open.h"

#include <math.h>
#include <string.h>

enum { KNOWN, TINTED, BRIGHTER, TINT }; /* rows of numbers */

#define RAD (3.14159265358979323846 / 180)

static const struct dw_known_params PARAMS = DW_KNOWN_DEFAULTS;

static int row_of(float y)
{
    return (int)floorf(y + 0.5f);
}

static float larger(float a, float b)
{
    return a > b ? a : b;
}

/* In the order of rows; first[y] is the first star of row y or behind it. */
static void sort(struct dw_known *k, struct dw_known_star *found, size_t n)
{
    uint32_t *first = k->first.p;
    struct dw_known_star *star = k->stars.p;
    memset(first, 0, ((size_t)k->height + 2) * sizeof *first);
    for (size_t i = 0; i < n; i++)
        first[row_of(found[i].y) + 2]++;
    for (int y = 0; y < k->height; y++)
        first[y + 2] += first[y + 1];
    for (size_t i = 0; i < n; i++)
        star[first[row_of(found[i].y) + 1]++] = found[i];
    k->n = n;
}

/* A power of how bright a star is beside the prominent ones, which are all 1. */
static float in_order(float light, float power)
{
    return light < 1 ? powf(light, power) : 1;
}

/* By what share a star is to be raised more than others: for what the air took of it, and less
 * the fainter it is; at least it stays as it is. */
static float raised_more(const struct dw_star *s, float dimmed, const struct dw_look_params *look)
{
    float lift = look->star_lift, own = lift * in_order(s->light, look->order);
    return (1 + own) / (1 + lift) * (1 + dimmed) - 1;
}

/* Starlight is never green nor magenta: green lies midway between its red and blue, in logarithms.
 */
static bool set_tint(const struct dw_facts *f, const struct dw_star *s, float pale_power,
                     float tint[3])
{
    static const float luma[3] = DW_WIDE_LUMA;
    float blue = sqrtf(s->colour), red = blue > 0 ? 1 / blue : 1, y = 0;
    const float vivid = in_order(s->light, pale_power);
    for (int c = 0; c < 3; c++) {
        const float *m = f->cam_to_wide + 3 * (size_t)c;
        tint[c] = larger(m[0] * red + m[1] + m[2] * blue, 0);
        y += luma[c] * tint[c];
    }
    for (int c = 0; c < 3; c++)
        tint[c] = blue > 0 && y > 0 ? 1 + vivid * (tint[c] / y - 1) : 1;
    return blue > 0 && y > 0;
}

/* No star is anywhere along the row. */
static void clear(const struct dw_known *k, int from, int to)
{
    for (int i = 0; i < DW_KNOWN_ROWS; i++) {
        float *row = (float *)k->row.p + (size_t)i * dw_row_stride((size_t)k->width);
        for (int x = from; x < to; x++)
            row[x] = i < TINT ? 0 : 1;
    }
}

enum dw_status dw_known_place(struct dw_known *k, const struct dw_facts *facts,
                              const struct dw_geometry *g, double sky_deg,
                              const struct dw_look_params *look, struct dw_error *err)
{
    k->n = 0;
    if (!(facts->aim.focal_px > 0) || !isfinite(sky_deg) || facts->n_stars == 0)
        return DW_OK;
    k->width = g->out_w;
    k->height = g->out_h;
    if (!dw_grow(&k->stars, 2 * facts->n_stars * sizeof(struct dw_known_star)) ||
        !dw_grow(&k->first, ((size_t)g->out_h + 2) * sizeof(uint32_t)) ||
        !dw_grow(&k->row, DW_KNOWN_ROWS * dw_row_stride((size_t)g->out_w) * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the places of %zu stars", facts->n_stars);
    const double cells = (double)g->out_w / g->cells_w / g->cell; /* output over mosaic pixels */
    k->near = larger(PARAMS.near_out, PARAMS.near_px * (float)cells);
    k->far = larger(PARAMS.far_out, PARAMS.far_px * (float)cells);
    struct dw_known_star *found = (struct dw_known_star *)k->stars.p + facts->n_stars;
    size_t n = 0;
    for (size_t i = 0; i < facts->n_stars; i++) {
        const struct dw_star *s = &facts->star[i];
        double ray[3], x, y;
        dw_aim_towards(&facts->aim, sky_deg - s->ra_deg, s->dec_deg, ray);
        if (!dw_aim_pixel(&facts->aim, ray, &x, &y) || !dw_open_at(facts, x, y))
            continue;
        struct dw_known_star at = {
            .x = (float)((x + 0.5 - facts->crop.left) * cells - 0.5),
            .y = (float)((y + 0.5 - facts->crop.top) * cells - 0.5),
            .sure = (s->share - PARAMS.least_share) / (PARAMS.full_share - PARAMS.least_share),
            .brighter = raised_more(s,
                                    dw_air_dimmed(dw_aim_altitude(&facts->aim, ray),
                                                  facts->site.height_m, (double)look->star_air),
                                    look)};
        at.tinted = set_tint(facts, s, look->order_pale, at.tint);
        at.sure = at.sure < 0 ? 0 : at.sure > 1 ? 1 : at.sure;
        if (at.x > -k->far && at.x < (float)k->width + k->far && row_of(at.y) >= 0 &&
            row_of(at.y) < k->height)
            found[n++] = at;
    }
    sort(k, found, n);
    clear(k, 0, k->width);
    k->marked = -1;
    return DW_OK;
}

/* Along row y: writes how far pixels belong to stars about it, or takes that off again. */
static void mark(const struct dw_known *k, int y, bool on)
{
    float *row = k->row.p;
    const uint32_t *first = k->first.p;
    const struct dw_known_star *star = k->stars.p;
    const size_t w = dw_row_stride((size_t)k->width);
    int reach = (int)ceilf(k->far), from = y - reach, to = y + reach;
    from = from < 0 ? 0 : from;
    to = to >= k->height ? k->height - 1 : to;
    for (uint32_t i = first[from]; i < first[to + 1]; i++) {
        const struct dw_known_star *s = &star[i];
        float dy = (float)y - s->y;
        int left = (int)ceilf(s->x - k->far), right = (int)floorf(s->x + k->far);
        left = left < 0 ? 0 : left;
        right = right >= k->width ? k->width - 1 : right;
        if (!on)
            clear(k, left, right + 1);
        for (int x = left; x <= right && on; x++) {
            float dx = (float)x - s->x, d = sqrtf(dx * dx + dy * dy);
            float in = (k->far - d) / (k->far - k->near);
            in = s->sure * (in < 0 ? 0 : in > 1 ? 1 : in);
            if (in <= row[x])
                continue;
            row[KNOWN * w + (size_t)x] = in;
            row[TINTED * w + (size_t)x] = s->tinted ? in : 0;
            row[BRIGHTER * w + (size_t)x] = in * s->brighter;
            for (size_t c = 0; c < 3; c++)
                row[(TINT + c) * w + (size_t)x] = s->tint[c];
        }
    }
}

void dw_known_row(struct dw_known *k, int y, const float *out[DW_KNOWN_ROWS])
{
    if (k->marked >= 0)
        mark(k, k->marked, false);
    mark(k, y, true);
    k->marked = y;
    for (size_t i = 0; i < DW_KNOWN_ROWS; i++)
        out[i] = (const float *)k->row.p + i * dw_row_stride((size_t)k->width);
}

void dw_known_free(struct dw_known *k)
{
    dw_grow_free(&k->stars);
    dw_grow_free(&k->first);
    dw_grow_free(&k->row);
    *k = (struct dw_known){0};
}
