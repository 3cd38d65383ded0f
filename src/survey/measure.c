/* measure.c: see measure.h. A glance at a few places tells the light and the noise of every tile;
 * from these come the thresholds of the one pass over all samples. */
#include "survey/measure.h"

#include "survey/glance.h"
#include "survey/noise.h"
#include "survey/patches.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct dw_measure_params defaults = DW_MEASURE_DEFAULTS;

void dw_measurer_free(struct dw_measurer *w)
{
    dw_pass_free(&w->pass);
    dw_spots_free(&w->spots);
    free(w->kept_out);
    free(w->patch);
    *w = (struct dw_measurer){0};
}

/* Whether a tile tells about noise: not near saturation, where noise is cut off; and most of it
 * equally light, for its noise is that of its larger part. */
static bool tells_noise(const struct dw_glance *tile, const struct dw_mosaic *m)
{
    double range = (double)m->white - (double)m->black[1];
    double light = tile->light - (double)m->black[1];
    if (!isfinite(tile->noise_var) || !(light < 0.9 * range) || tile->high > 0.01)
        return false;
    double uneven = defaults.even_share * light;
    return tile->scatter * tile->scatter < 2 * tile->noise_var + uneven * uneven;
}

/* The frame's noise from its tiles' green differences. */
static enum dw_status learn_noise(const struct dw_glance *tile, size_t n, const struct dw_mosaic *m,
                                  struct dw_noise *out, struct dw_error *err)
{
    struct dw_noise_point *point = malloc((n + 1) * sizeof *point);
    if (!point)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for the noise of %zu tiles", n);
    size_t used = 0;
    for (size_t i = 0; i < n; i++) {
        if (tells_noise(&tile[i], m))
            point[used++] =
                (struct dw_noise_point){tile[i].light - (double)m->black[1],
                                        fmax(tile[i].noise_var, 1.0 / 12), tile[i].noise_rel};
    }
    *out = dw_noise_fit(point, used);
    free(point);
    return DW_OK;
}

static uint16_t to_limit(double dn)
{
    return (uint16_t)fmin(fmax(ceil(dn), 1), UINT16_MAX);
}

/* What is worth a closer look in a tile: noise, and what the tile is rough by beyond it. */
static void set_spot_limits(const struct dw_glance *tile, const struct dw_mosaic *m,
                            const struct dw_noise *noise, struct dw_spot_limits *out)
{
    double green = tile->mean[1] - (double)m->black[1], rough = 0;
    if (green > 1 && isfinite(tile->noise_var))
        rough = fmax(tile->noise_var - dw_noise_var(noise, green), 0) / (green * green);
    for (int c = 0; c < 3; c++) {
        double light = isfinite(tile->mean[c]) ? fmax(tile->mean[c] - (double)m->black[c], 0) : 0;
        double sigma = sqrt(dw_noise_var(noise, light) + rough * light * light);
        out->dn[c] = to_limit(fmax(defaults.list_sigma * sigma, defaults.list_share * light));
    }
}

static double read_noise(const struct dw_noise *noise)
{
    return sqrt(fmax(noise->read_var, noise->floor));
}

static uint16_t clip_level(const struct dw_mosaic *m)
{
    double range = (double)m->white - (double)m->black[1];
    return to_limit((double)m->black[1] + defaults.clip_share * range);
}

static void set_thresholds(const struct dw_mosaic *m, const struct dw_noise *noise,
                           struct dw_thresholds *out)
{
    out->clip = clip_level(m);
    for (int c = 0; c < 3; c++)
        out->dark[c] = (uint16_t)fmin(fmax((double)m->black[c] + read_noise(noise), 0), UINT16_MAX);
}

/* Samples to take off a tile, each by its weight of 256. */
struct kept_out {
    uint64_t sum[3], n[3]; /* times 256 */
};

/* What the cores and their surroundings add to each tile. The surroundings go whatever their
 * values, so that noise is not chosen by its sign: the mean stays unbiased. Cores come by falling
 * weight: a pixel near two of them counts by the stronger. */
static enum dw_status sum_kept_out(struct dw_measurer *w, const struct dw_layout *l,
                                   const struct dw_mosaic *m, struct kept_out *out,
                                   struct dw_error *err)
{
    size_t words = ((size_t)l->width * (size_t)l->height + 63) / 64;
    if (words > w->kept_out_words) {
        free(w->kept_out);
        w->kept_out = malloc(words * sizeof *w->kept_out);
        w->kept_out_words = w->kept_out ? words : 0;
        if (!w->kept_out)
            return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a mask of %zu pixels",
                           64 * words);
    }
    if (w->spots.cores > 0)
        memset(w->kept_out, 0, words * sizeof *w->kept_out);
    for (size_t i = 0; i < w->spots.cores; i++) {
        const struct dw_core *core = &w->spots.core[i];
        int cx = core->x, cy = core->y;
        for (int y = cy > 2 ? cy - 2 : 0; y <= cy + 2 && y < l->height; y++) {
            int row = dw_layout_find(l->tile_y, l->rows, y) * l->cols;
            for (int x = cx > 2 ? cx - 2 : 0; x <= cx + 2 && x < l->width; x++) {
                size_t bit = (size_t)y * (size_t)l->width + (size_t)x;
                if (w->kept_out[bit / 64] >> bit % 64 & 1)
                    continue;
                w->kept_out[bit / 64] |= (uint64_t)1 << bit % 64;
                struct kept_out *t = &out[row + w->pass.col_of[x]];
                for (int s = x * l->spp; s < (x + 1) * l->spp; s++) {
                    int c = l->colour[y % l->vp][s % l->hp];
                    t->sum[c] +=
                        (uint64_t)core->weight * m->px[(size_t)y * (size_t)l->stride + (size_t)s];
                    t->n[c] += core->weight;
                }
            }
        }
    }
    return DW_OK;
}

/* The share of one green sample's variance that is left in a cell of the binned picture. */
static double cell_noise(const struct dw_layout *l)
{
    if (l->spp == 3 || l->hp == 1)
        return 0.25;
    double sum = 0, cells = 0;
    for (int y = 0; y < l->vp; y += 2) {
        for (int x = 0; x < l->hp; x += 2) {
            int greens = (l->colour[y][x] == 1) + (l->colour[y][x + 1] == 1) +
                         (l->colour[y + 1][x] == 1) + (l->colour[y + 1][x + 1] == 1);
            sum += greens > 0 ? 1.0 / greens : 0;
            cells++;
        }
    }
    return sum / cells;
}

/* Detail energy with the noise's share taken off, and how well it is known. A point less the
 * mean of its four neighbours carries 1 + 1/4 of a point's noise; neighbouring such differences
 * share noise, so that n of them count as n / 1.69 (sum of the squared autocorrelation of the
 * stencil: 1 + 4*0.4^2 + 4*0.1^2 + 4*0.05^2). */
static void finish_detail(double energy, uint32_t n, double point_var, double model_rel, float *out,
                          float *out_sd)
{
    if (n == 0) {
        *out = *out_sd = NAN;
        return;
    }
    double noise = 1.25 * point_var, detail = energy / n - noise;
    double var = 2 * 1.69 / n * noise * (noise + 2 * fmax(detail, 0)) +
                 noise * noise * model_rel * model_rel;
    *out = (float)detail;
    *out_sd = (float)sqrt(var);
}

static void finish_levels(const struct dw_tile_sums *t, const struct kept_out *without,
                          const struct dw_mosaic *m, const struct dw_noise *noise,
                          struct dw_tile *out)
{
    for (int c = 0; c < 3; c++) {
        out->mean[c] = out->var[c] = NAN;
        if (t->n[c] == 0)
            continue;
        double sum = (double)t->sum[c], n = t->n[c], off = (double)without->n[c] / 256;
        if (off <= defaults.core_most * n) {
            sum -= (double)without->sum[c] / 256;
            n -= off;
        }
        out->mean[c] = (float)(sum / n);
        out->var[c] = (float)(dw_noise_var(noise, sum / n - (double)m->black[c]) / n);
    }
}

static void finish_tile(const struct dw_tile_sums *t, const struct kept_out *without,
                        const struct dw_layout *l, const struct dw_mosaic *m,
                        const struct dw_noise *noise, struct dw_tile *out)
{
    *out = (struct dw_tile){0};
    finish_levels(t, without, m, noise, out);
    double samples = (double)t->n[0] + t->n[1] + t->n[2];
    if (samples > 0) {
        out->clipped = (float)(t->high / samples);
        out->dark = (float)(t->low / samples);
    }
    double light = isfinite(out->mean[1]) ? (double)out->mean[1] - (double)m->black[1] : 0;
    double cell = dw_noise_var(noise, light) * cell_noise(l);
    finish_detail(t->fine, t->fine_n, cell, noise->rel, &out->fine, &out->fine_sd);
    finish_detail(t->middle, t->middle_n, cell / 9, noise->rel, &out->middle, &out->middle_sd);
}

static void finish(const struct dw_tile_sums *tile, const struct kept_out *without,
                   const struct dw_layout *l, const struct dw_mosaic *m,
                   const struct dw_noise *noise, struct dw_measure *out)
{
    double high = 0, low = 0, all = 0;
    for (int i = 0; i < l->cols * l->rows; i++) {
        high += tile[i].high;
        low += tile[i].low;
        all += (double)tile[i].n[0] + tile[i].n[1] + tile[i].n[2];
        finish_tile(&tile[i], &without[i], l, m, noise, &out->tile[i]);
    }
    out->clipped = all > 0 ? (float)(high / all) : 0;
    out->dark = all > 0 ? (float)(low / all) : 0;
    out->noise_dn = (float)read_noise(noise);
    out->photon_dn = (float)noise->photon;
    out->usable = true;
    out->width = m->width;
    out->height = m->height;
    memcpy(out->black, m->black, sizeof out->black);
    out->white = m->white;
}

static struct dw_spot_rule make_rule(const struct dw_mosaic *m, const struct dw_noise *noise)
{
    struct dw_spot_rule r = {*noise,
                             {(double)m->black[0], (double)m->black[1], (double)m->black[2]},
                             defaults.list_sigma,
                             defaults.list_share,
                             defaults.dark_share,
                             defaults.core_sigma,
                             defaults.core_share,
                             defaults.smooth_sigma,
                             defaults.wing_share,
                             defaults.rival_share};
    return r;
}

/* The larger the sensor, the more stars and hot pixels it holds. */
static size_t max_spikes(const struct dw_mosaic *m, const struct dw_survey_params *params)
{
    size_t pixels = (size_t)m->width * (size_t)m->height;
    return (size_t)params->max_spikes * ((pixels + DW_SPIKE_PIXELS - 1) / DW_SPIKE_PIXELS);
}

/* Work space of one frame, one element a tile. */
struct tiles {
    struct kept_out *without;
    struct dw_glance *glance;
    struct dw_spot_limits *limits;
};

static enum dw_status measure(struct dw_measurer *w, const struct dw_layout *l,
                              const struct dw_mosaic *m, const struct dw_survey_params *params,
                              const struct tiles *tiles, struct dw_measured *out,
                              struct dw_error *err)
{
    const size_t n = (size_t)l->cols * (size_t)l->rows;
    struct dw_pass *p = &w->pass;
    struct dw_noise noise;
    dw_glance(l, m, clip_level(m), tiles->glance);
    enum dw_status s = learn_noise(tiles->glance, n, m, &noise, err);
    if (s < 0)
        return s;
    for (size_t i = 0; i < n; i++)
        set_spot_limits(&tiles->glance[i], m, &noise, &tiles->limits[i]);
    const struct dw_spot_rule rule = make_rule(m, &noise);
    struct dw_thresholds t = {.limits = tiles->limits, .rule = &rule};
    set_thresholds(m, &noise, &t);

    s = dw_spots_start(&w->spots, max_spikes(m, params), m->samples / 16, err);
    if (s >= 0)
        s = dw_pass_run(p, l, m, &t, &w->spots, err);
    if (s < 0)
        return s;
    dw_spots_colour(&w->spots, l, m);
    dw_spots_sort(&w->spots);
    s = sum_kept_out(w, l, m, tiles->without, err);
    if (s < 0)
        return s;
    finish(p->tile, tiles->without, l, m, &noise, &out->m);
    out->m.n_spikes = (uint32_t)w->spots.n;
    out->m.thumb_width = (uint32_t)l->thumb_width;
    out->m.thumb_height = (uint32_t)l->thumb_height;
    out->spot = w->spots.list;
    out->thumb = p->thumb;
    out->block = l->block;
    if (!w->patch)
        w->patch = malloc(DW_PATCHES * DW_PATCH_CELLS * sizeof *w->patch);
    if (!w->patch)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for patches");
    out->n_patches = dw_patches_take(l, m, w->patch);
    out->patch = w->patch;
    out->m.n_patches = (uint32_t)out->n_patches;
    return DW_OK;
}

enum dw_status dw_measure_mosaic(struct dw_measurer *w, const struct dw_mosaic *mosaic,
                                 const struct dw_survey_params *params, struct dw_measured *out,
                                 struct dw_error *err)
{
    struct dw_layout l;
    enum dw_status s = dw_layout_make(mosaic, params, &l, err);
    if (s < 0)
        return s;
    size_t n = (size_t)l.cols * (size_t)l.rows;
    struct tiles tiles = {calloc(n, sizeof *tiles.without), calloc(n, sizeof *tiles.glance),
                          calloc(n, sizeof *tiles.limits)};
    if (!tiles.without || !tiles.glance || !tiles.limits)
        s = dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu tiles", n);
    if (s >= 0)
        s = dw_pass_prepare(&w->pass, &l, err);
    if (s >= 0)
        s = measure(w, &l, mosaic, params, &tiles, out, err);
    free(tiles.without);
    free(tiles.glance);
    free(tiles.limits);
    dw_layout_free(&l);
    return s;
}
