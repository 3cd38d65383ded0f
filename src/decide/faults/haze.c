/* haze.c: contrast lost to fog. Ground detail, relative to its own tile's light, fades with the
 * thickness of the air before it: each tile against itself in the same light. */
#include "decide/faults/ground.h"
#include "decide/faults/judges.h"
#include "decide/faults/same_light.h"
#include "base/robust.h"

#include <math.h>

static const struct dw_haze_params {
    double sigma;    /* of middle detail above its noise */
    double quantile; /* the clear side of shots in the same light */
    double share;    /* of the alike shots that must know a tile */
    double clipped;
    double
        lamps_log2;  /* detail so much stronger than the light it lies in is lamps or lit by them */
    int tiles;       /* fewer tell nothing */
    double far, all; /* quantiles over tiles: the distant part, and nearly all of it */
    /* Contrast lost by the distant part: from here on it is haze, in light without shadows and, as
     * shadows move and fog takes the sun's own light as well, in the sun's or the moon's, */
    double far_stops, far_sunlit;
    double sun_from, sun_over; /* sun altitude from which shadows come, degrees over which */
    double all_stops;          /* if at its thickest nearly all is lost by so much; */
    double all_moonlit;        /* by so much in moonlight, */
    double dark_deg, moon_lit; /* which is seen below this altitude of the sun, from so large a lit
                                  part of the disc on */
    size_t calm; /* shots on either side whose median is taken: headlights are brief */
    /* By day also against all light of the place with the sun above this: where nearly all is lost
     * by so much, no shadow did it. */
    double day_deg, day_all;
} params = {6,  0.75, 0.3,   1e-3,  2,  12,   0.3, 0.7, -0.45, -0.9,
            -1, 6,    -0.75, -0.95, -9, 0.25, 2,   4,   -0.5};

struct haze {
    struct dw_work *w;
    struct dw_ledger_row *ledger;
    bool *ground, *moon, *by_place;
    double *far, *all; /* of each shot */
    /* of the class at work */
    double *reference, *usual_far, *usual_all, *work;
    size_t *day; /* shots */
};

/* A worker's own state. */
static struct haze at_work(const struct haze *shared, void *work)
{
    struct haze h = *shared;
    size_t n = h.w->n, tiles = (size_t)h.w->tiles;
    h.reference = work;
    h.usual_far = h.reference + tiles;
    h.usual_all = h.usual_far + n;
    h.work = h.usual_all + n;
    h.day = (void *)(h.work + DW_LIGHT_COLUMNS * n + tiles);
    return h;
}

static size_t work_bytes(const struct dw_work *w)
{
    return (2 * (size_t)w->tiles + (2 + DW_LIGHT_COLUMNS) * w->n) * sizeof(double) +
           w->n * sizeof(size_t);
}

/* Contrast lost by the distant part of the ground, and by nearly all of it; false where too few
 * places tell. */
static bool loss_of(const struct haze *h, size_t i, double *far, double *all)
{
    const struct dw_measure *m = &h->w->survey->measure[i];
    size_t n = 0;
    for (int k = 0; k < h->w->tiles && m->tile; k++) {
        const struct dw_tile *t = &m->tile[k];
        double ref = h->reference[k], sd = (double)t->middle_sd;
        if (!h->ground[k] || !isfinite(ref) || ref > params.lamps_log2 ||
            (double)t->clipped > params.clipped)
            continue;
        /* detail that would be seen if it were there */
        double light = dw_contrast_light(h->w, i, k);
        if (!(exp2(2 * ref) * light * light > 2 * params.sigma * sd))
            continue;
        double middle = fmax((double)t->middle, fmax(2 * sd, 1e-12));
        h->work[n++] = 0.5 * log2(middle) - log2(light) - ref;
    }
    if (n < (size_t)params.tiles)
        return false;
    *far = dw_quantile(h->work, n, params.far);
    *all = dw_quantile(h->work, n, params.all);
    return true;
}

static void judge_class(void *ctx, const struct dw_light_class *c, void *work)
{
    struct haze own = at_work(ctx, work), *h = &own;
    size_t known = 0;
    dw_same_light_quantile(c, h->w->contrast, h->w->tiles, params.quantile, params.share,
                           h->reference, h->work);
    /* a low quantile of noisy values lies low: what clear shots are off by is taken off */
    for (size_t j = 0; j < c->n_like; j++)
        known += loss_of(h, c->like[j], &h->usual_far[known], &h->usual_all[known]);
    if (known == 0)
        return;
    double far = dw_quantile(h->usual_far, known, params.quantile),
           all = dw_quantile(h->usual_all, known, params.quantile);
    for (size_t j = 0; j < c->n_mine; j++) {
        size_t i = c->mine[j];
        if (!loss_of(h, i, &h->far[i], &h->all[i]))
            continue;
        h->far[i] -= far;
        h->all[i] -= all;
    }
}

/* The same against all daylight of the place: a fog that fills all shots of its light, as that of a
 * single morning, has no like. The sun's height changes the contrast of some places, and of the
 * distant ones as much as fog does, but hardly of nearly all at once. */
static void judge_place(void *ctx, const struct dw_light_class *c, void *work)
{
    struct haze own = at_work(ctx, work), *h = &own;
    struct dw_light_class day = {c->mine, h->day, c->n_mine, 0};
    for (size_t j = 0; j < c->n_like; j++)
        if (h->w->alt[c->like[j]] > params.day_deg)
            h->day[day.n_like++] = c->like[j];
    dw_same_light_quantile(&day, h->w->contrast, h->w->tiles, 0.5, params.share, h->reference,
                           h->work);
    for (size_t j = 0; j < c->n_mine; j++) {
        size_t i = c->mine[j];
        double far, all;
        if (!(h->w->alt[i] > params.day_deg) || !loss_of(h, i, &far, &all) ||
            !(all < params.day_all) || far > h->far[i])
            continue;
        h->far[i] = far;
        h->all[i] = all;
        h->by_place[i] = true;
    }
}

/* Median of the known values within `reach` shots; NAN without any. */
static double calmed(const double *v, size_t n, size_t i, size_t reach)
{
    double work[2 * 8 + 1];
    size_t k = 0;
    for (size_t j = i > reach ? i - reach : 0; j <= i + reach && j < n; j++)
        if (isfinite(v[j]))
            work[k++] = v[j];
    return dw_median(work, k);
}

/* Whether the moon throws shadows: they turn as she climbs, and all night is one class. */
static bool moonlit(const struct dw_work *w, size_t i)
{
    struct dw_horizontal moon;
    double lit;
    return dw_moon(&w->site, w->utc[i], &moon, NULL) >= 0 && moon.alt_deg > 0 &&
           dw_moon(&w->site, w->utc[i], &moon, &lit) >= 0 && lit > params.moon_lit;
}

/* Shots of a night with a moon are held against moonlit ones, whose relief shows, before she rises
 * and after she sets as well. */
static void find_moonlit(const struct dw_work *w, bool *moon)
{
    for (size_t a = 0, b; a < w->n; a = b) {
        bool any = false;
        double asked = -(double)INFINITY; /* five minutes carry her a degree */
        for (b = a; b < w->n && w->alt[b] < params.dark_deg; b++)
            if (!any && !(fabs(w->utc[b] - asked) < 300)) {
                asked = w->utc[b];
                any = moonlit(w, b);
            }
        for (size_t i = a; i < b; i++)
            moon[i] = any;
        if (b == a)
            moon[b++] = false;
    }
}

/* A stretch over which the distant contrast stays low; shots that are not known do not end it. far,
 * limit: room for a value a shot. */
static void judge_stretches(struct haze *h, double *far, double *limit)
{
    struct dw_work *w = h->w;
    find_moonlit(w, h->moon);
    for (size_t i = 0; i < w->n; i++) {
        double sun = fmin(fmax((w->alt[i] - params.sun_from) / params.sun_over, 0), 1);
        far[i] = calmed(h->far, w->n, i, params.calm);
        limit[i] = params.far_stops + sun * (params.far_sunlit - params.far_stops);
        if (h->moon[i])
            limit[i] = params.far_sunlit;
    }
    for (size_t a = 0, b; a < w->n; a = b) {
        b = a + 1;
        if (!(far[a] < limit[a]))
            continue;
        while (b < w->n && !(far[b] >= limit[b]))
            b++;
        bool thick = false;
        for (size_t i = a; i < b; i++)
            thick |= calmed(h->all, w->n, i, params.calm) <
                     (h->moon[i] ? params.all_moonlit : params.all_stops);
        for (size_t i = a; thick && i < b; i++)
            if (far[i] < limit[i] && isfinite(h->far[i]))
                dw_blame(&h->ledger[i], DW_HAZE, 0.3 + (limit[i] - far[i]) / 3,
                         "contrast is lost, by fog or haze: distant detail keeps %.0f %% of its "
                         "contrast in %s light",
                         100 * exp2(far[i]), h->by_place[i] ? "clear" : "the same");
    }
}

enum dw_status dw_judge_haze(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    struct haze h = {.w = w,
                     .ledger = ledger,
                     .ground = DW_TAKE(&w->arena, (size_t)w->tiles, bool),
                     .moon = DW_TAKE(&w->arena, w->n, bool),
                     .by_place = DW_TAKE(&w->arena, w->n, bool),
                     .far = DW_TAKE(&w->arena, w->n, double),
                     .all = DW_TAKE(&w->arena, w->n, double)};
    double *far = DW_TAKE(&w->arena, w->n, double), *limit = DW_TAKE(&w->arena, w->n, double);
    if (!h.ground || !h.moon || !h.by_place || !h.far || !h.all || !far || !limit)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the contrast of %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++) {
        h.far[i] = h.all[i] = (double)NAN;
        h.by_place[i] = false;
    }
    const uint32_t without = DW_SPOILED | DW_SOFT | DW_REFLECTION;
    enum dw_status status = dw_contrasts(w, err);
    if (status < 0)
        return status;
    dw_find_ground(w, h.ground, far);
    status = dw_same_light(w, ledger, without, true, judge_class, &h, work_bytes(w), err);
    if (status >= 0)
        status = dw_same_place(w, ledger, without, judge_place, &h, work_bytes(w), err);
    if (status >= 0)
        judge_stretches(&h, far, limit);
    return status;
}
