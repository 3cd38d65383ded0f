/* shading.c: how the lens' shading changes with its aperture. Wide open a lens darkens its corners,
 * and less so with every stop that it closes; a camera that closes it as the day grows lets the
 * corners jump. All tiles' light is fitted with one change alike everywhere (light, and exposure's
 * errors) and one that grows with r^2 and r^4, r from the middle to the corner, which only the lens
 * makes again whenever an aperture is used. */
#include "decide/settings/bends.h"
#include "decide/settings/uneven.h"
#include "decide/steps.h"

#include <math.h>

#define LEAST_STOPS 1e-3 /* rms in the corner; less is let be */

/* Squared distance of a tile's middle from that of the frame, 1 in the corner. */
static double radius2(const struct dw_work *w, const struct dw_measure *m, int tile)
{
    int cols = w->survey->cols, rows = w->survey->rows, col = tile % cols, row = tile / cols;
    double x = ((col + 0.5) / cols - 0.5) * m->width, y = ((row + 0.5) / rows - 0.5) * m->height;
    return 4 * (x * x + y * y) / ((double)m->width * m->width + (double)m->height * m->height);
}

double dw_lift(const struct dw_work *w, size_t i, int tile)
{
    const double *shade = w->shade ? w->shade[i] : NULL;
    if (!shade || (shade[0] == 0 && shade[1] == 0))
        return 0;
    double r2 = radius2(w, &w->survey->measure[i], tile);
    return r2 * (shade[0] + r2 * shade[1]);
}

/* r^2, and r^4 with what of it is like r^2 taken off, so that the two are known independently of
 * each other. Returns how much that is. */
static double make_basis(const struct dw_work *w, const struct dw_measure *m, double *two,
                         double *four)
{
    double mean2 = 0, mean4 = 0, both = 0, square = 0;
    for (int k = 0; k < w->tiles; k++) {
        two[k] = radius2(w, m, k);
        four[k] = two[k] * two[k];
        mean2 += two[k] / w->tiles;
        mean4 += four[k] / w->tiles;
    }
    for (int k = 0; k < w->tiles; k++) {
        both += (two[k] - mean2) * (four[k] - mean4);
        square += (two[k] - mean2) * (two[k] - mean2);
    }
    double like = square > 0 ? both / square : 0;
    for (int k = 0; k < w->tiles; k++)
        four[k] -= like * two[k];
    return like;
}

/* two, four: of r^2, and of the other part of r^4, for each aperture. */
static enum dw_status note(struct dw_decision *out, const struct dw_set_shots *p,
                           const struct dw_offset *two, const struct dw_offset *four, double like,
                           struct dw_error *err)
{
    for (int c = 0; c < p->known.n; c++) {
        if (two[c].stops == 0 && four[c].stops == 0)
            continue;
        struct dw_setting_error *s = dw_setting_entry(out, &p->known, c);
        if (!s)
            return dw_fail(err, DW_ERR_MEMORY, "out of memory for the settings");
        s->corner = two[c].stops + (1 - like) * four[c].stops;
        s->corner_sigma = hypot(two[c].sigma, (1 - like) * four[c].sigma);
    }
    return DW_OK;
}

static enum dw_status learn(struct dw_work *w, struct dw_decision *out,
                            const struct dw_set_shots *p, struct dw_error *err)
{
    size_t known = (size_t)p->known.n, tiles = (size_t)w->tiles;
    double *two = DW_TAKE(&w->arena, tiles, double), *four = DW_TAKE(&w->arena, tiles, double);
    struct dw_offset *offset = DW_TAKE(&w->arena, 2 * known, struct dw_offset);
    struct dw_bend *bend = DW_TAKE(&w->arena, p->n, struct dw_bend);
    bool *asked = DW_TAKE(&w->arena, p->n, bool);
    if (!two || !four || !offset || !bend || !asked)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the shading of %zu frames", p->n);
    double like = make_basis(w, &w->survey->measure[p->shot[0]], two, four);
    dw_set_shots_change(p, asked);
    struct dw_bends bends = {p->n,     p->shot, w->light, w->noise,
                             w->lever, asked,   3,        {NULL, two, four}};
    enum dw_status status = dw_bends_measure(&bends, w, bend, err);
    struct dw_uneven_params params = DW_UNEVEN_DEFAULTS;
    params.least_stops = LEAST_STOPS;
    params.odd_shots = false;
    for (int term = 1; term <= 2 && status >= 0; term++) {
        struct dw_uneven uneven = {p, w->interval, bend, term};
        status =
            dw_uneven_fit(&uneven, &params, &w->arena, offset + (size_t)(term - 1) * known, err);
    }
    for (size_t i = 0; i < w->n && status >= 0; i++) {
        int aperture = p->every[i][DW_APERTURE];
        if (aperture < 0)
            continue;
        double b = offset[known + (size_t)aperture].stops, a = offset[aperture].stops - like * b;
        w->shade[i][0] = -a;
        w->shade[i][1] = -b;
    }
    return status < 0 ? status : note(out, p, offset, offset + known, like, err);
}

enum dw_status dw_shading(struct dw_work *w, struct dw_decision *out, struct dw_error *err)
{
    w->shade = dw_arena_take(&w->arena, w->n, sizeof *w->shade);
    if (!w->shade)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the shading of %zu frames", w->n);
    size_t mark = w->arena.n;
    struct dw_set_shots p;
    enum dw_status status = dw_set_shots_find(w, 1u << DW_APERTURE, &p, err);
    if (status >= 0 && p.known.n > 1)
        status = learn(w, out, &p, err);
    dw_arena_free_to(&w->arena, mark);
    return status;
}
