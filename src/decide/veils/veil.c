/* veil.c: fog that clears bends the common light at once, by more than an exposure error is large,
 * and smoothness then tells nothing. But fog changes what places show beside each other as well,
 * which no exposure error does, and light and contrasts have one cause, its thickness. So in such a
 * spell the common light follows from what the regions' lights do beside each other (mixture.h),
 * along the two directions in which nearly all of them go (principal components; Hotelling 1933):
 * two, because regions near and far answer thickening fog differently. With which factors, sharing
 * out learns (share.c), from exposure errors being small and at random over the whole spell. Broken
 * cloud has many causes: there this says nothing. By night regions are noisy, and what follows
 * noise flickers; so the course of either part is freed of its noise first (course.c), and a bank
 * of cloud before the stars is followed as fog is by day. */
#include "decide/veils/veil.h"
#include "decide/solve/course.h"
#include "decide/solve/third.h"
#include "decide/veils/region_light.h"
#include "decide/veils/spells.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define LN2 0.69314718055994530942
#define LEAST_SHOTS 24
#define LEAST_REGIONS 6
enum { PARTS = DW_MIXTURE_PARTS };
#define ONE_CAUSE 0.03  /* share of the regions' variance that may be left beside the parts */
#define FAIR 1e-3       /* stops: regions known better than this are equals */
#define CLEAR 10        /* times noise: the stronger part's variance must be */
#define MUST_TURN 2e-3  /* stops: so far the stronger part bends somewhere, or it was chance */
#define MOST_FLASH 0.25 /* of its range that a part may come and go by within two shots */
/* What light does more than so many times regions do beside each other, they do not tell. */
#define MOST_FACTOR 8
#define QUIET 2e-4 /* stops, third difference: a part bends by so much where nothing happens */
#define CHANCE 3.0 /* standard deviations that noise may bend regions by */

/* A spell at work: room for the largest. `known` regions, n values each. */
struct room {
    const struct dw_spell *spell;
    const double *time;
    double unit_s;
    size_t n, known;
    double *light; /* of each region in units of the common one (region_light.h) */
    double
        *level; /* the same less its mean, scaled by how well it is known; small changes: stops */
    double *square; /* directions in which regions went, a column each, the last the strongest */
    double *value;  /* how far */
    double *var, *scale, *work;
    double *common; /* n: common light, stops, by the record */
    double common_var;
    double noise; /* variance of a level, the mean of all regions */
};

/* By night regions of dark ground are many times noisier than the sky: each counts as it is known,
 * as far as that matters beside FAIR, in the light that is common to all and beside it. */
static void weigh_regions(struct room *m)
{
    size_t n = m->n;
    double all = 0;
    m->noise = m->common_var = 0;
    for (size_t r = 0; r < m->known; r++)
        all += 1 / (m->var[r] + FAIR * FAIR);
    for (size_t r = 0; r < m->known; r++) {
        double share = 1 / (m->var[r] + FAIR * FAIR) / all;
        m->scale[r] = sqrt((double)m->known * share);
        m->noise += m->var[r] * share;
        m->common_var += m->var[r] * share * share;
    }
    for (size_t i = 0; i < n; i++) {
        double beside = 0;
        for (size_t r = 0; r < m->known; r++)
            beside += m->scale[r] * m->scale[r] / (double)m->known * log2(m->light[r * n + i]);
        for (size_t r = 0; r < m->known; r++)
            m->light[r * n + i] *= exp2(-beside);
        m->common[i] += beside;
    }
    for (size_t r = 0; r < m->known; r++) {
        double *light = m->light + r * n, mean = 0;
        for (size_t i = 0; i < n; i++)
            mean += light[i] / (double)n;
        for (size_t i = 0; i < n; i++)
            m->level[r * n + i] = m->scale[r] * (light[i] - mean) / LN2;
    }
}

/* Directions in which regions went, if two hold nearly all there is. */
static bool find_parts(struct room *m)
{
    size_t known = m->known, n = m->n;
    double *square = m->square, all = 0;
    for (size_t p = 0; p < known; p++)
        for (size_t q = 0; q <= p; q++) {
            const double *a = m->level + p * n, *b = m->level + q * n;
            double sum = 0;
            for (size_t j = 0; j < n; j++)
                sum += a[j] * b[j];
            square[p * known + q] = square[q * known + p] = sum;
        }
    if (LAPACKE_dsyev(LAPACK_COL_MAJOR, 'V', 'L', (int)known, square, (int)known, m->value) != 0)
        return false;
    for (size_t r = 0; r < known; r++)
        all += m->value[r];
    double held = 0, noise = m->noise * (double)n;
    for (size_t p = 0; p < PARTS; p++)
        held += m->value[known - 1 - p];
    return m->value[known - 1] > CLEAR * noise &&
           all - held - noise * (double)(known - PARTS) < ONE_CAUSE * (all - noise * (double)known);
}

/* Regions' lights over the spell and the directions in which they went; false where these tell
 * nothing. */
static bool take_lights(const struct dw_veil_view *v, struct room *m)
{
    m->known = dw_region_light(v->grids, v->black, m->spell->first, m->n, m->common, m->light,
                               m->var, m->level);
    if (m->known < LEAST_REGIONS)
        return false;
    weigh_regions(m);
    return find_parts(m);
}

/* How far regions bend beside their two parts, as logarithms: rms of third differences, less what
 * noise may do. By as much the common light may bend beside what it follows. */
static void bend_beside(const struct room *m, double *rest)
{
    size_t n = m->n, known = m->known, free = known - PARTS;
    const double *time = m->time + m->spell->first;
    for (size_t j = 0; j + 3 < n; j++) {
        double sum = 0, along[PARTS] = {0}, w[4], squares = 0;
        dw_third_difference(time + j, m->unit_s, w);
        for (int p = 0; p < 4; p++)
            squares += w[p] * w[p];
        for (size_t r = 0; r < known; r++) {
            const double *x = m->level + r * n + j;
            double bend = w[0] * x[0] + w[1] * x[1] + w[2] * x[2] + w[3] * x[3];
            m->work[r] = bend;
            for (int p = 0; p < PARTS; p++)
                along[p] += bend * m->square[(known - 1 - (size_t)p) * known + r];
        }
        for (size_t r = 0; r < known; r++) {
            double bend = m->work[r];
            for (int p = 0; p < PARTS; p++)
                bend -= along[p] * m->square[(known - 1 - (size_t)p) * known + r];
            bend /= 0.5 * (m->light[r * n + j + 1] + m->light[r * n + j + 2]);
            sum += bend * bend;
        }
        double chance = squares * m->noise * ((double)free + CHANCE * sqrt(2.0 * (double)free));
        rest[m->spell->first + j] = sqrt(fmax(0, sum - chance) / (double)known);
    }
}

/* The course of part p, freed of its noise. */
static enum dw_status part_course(const struct room *m, int p, struct dw_arena *arena, double *x)
{
    const double *part = m->square + (m->known - 1 - (size_t)p) * m->known;
    double unit = 1 / sqrt((double)m->known);
    for (size_t j = 0; j < m->n; j++) {
        x[j] = 0;
        for (size_t r = 0; r < m->known; r++)
            x[j] += unit * part[r] * m->level[r * m->n + j];
    }
    return dw_course(x, m->n, m->noise / (double)m->known, QUIET, m->time + m->spell->first,
                     m->unit_s, arena);
}

/* What a course does when all that comes and goes within two shots is left out: its range, the most
 * that it bends anywhere; and the most that was left out. */
struct shape {
    double range, bend, flash;
};

static struct shape shape_of(const double *x, size_t n, const double *time, double unit_s)
{
    struct shape f = {0, 0, 0};
    double low = INFINITY, high = -INFINITY;
    for (size_t i = 2; i + 2 < n; i++) {
        double middle = dw_middle_of_five(x + i), w[4], bend = 0;
        low = fmin(low, middle);
        high = fmax(high, middle);
        f.flash = fmax(f.flash, fabs(x[i] - middle));
        if (i + 5 >= n)
            continue;
        dw_third_difference(time + i, unit_s, w);
        for (size_t p = 0; p < 4; p++)
            bend += w[p] * dw_middle_of_five(x + i + p);
        f.bend = fmax(f.bend, fabs(bend));
    }
    f.range = fmax(0, high - low);
    return f;
}

/* What light is a mixture of in a spell, and what bends regions have beside it; false where they
 * tell nothing, or *status has an error. */
static bool follow_spell(const struct dw_veil_view *v, const struct dw_spell *s, struct room *m,
                         struct dw_arena *arena, struct dw_mixture *out, double *rest,
                         enum dw_status *status)
{
    m->spell = s;
    m->n = s->last - s->first + 1;
    if (m->n < LEAST_SHOTS)
        return false;
    if (!take_lights(v, m))
        return false;
    double range = 0, *common = DW_TAKE(arena, m->n, double);
    *out = (struct dw_mixture){
        .first = s->first, .n = m->n, .common = common, .common_var = m->common_var};
    *status = common ? DW_OK : DW_ERR_MEMORY;
    for (int p = 0; p < PARTS && *status == DW_OK; p++) {
        double *x = DW_TAKE(arena, m->n, double);
        *status = x ? part_course(m, p, arena, x) : DW_ERR_MEMORY;
        if (*status < 0)
            return false;
        struct shape shape = shape_of(x, m->n, m->time + s->first, m->unit_s);
        if (p == 0 && shape.bend < MUST_TURN)
            return false;
        range = fmax(range, shape.range);
        if (shape.flash > MOST_FLASH * range)
            return false; /* passing cars */
        out->part[p] = x;
    }
    if (*status < 0)
        return false;
    memcpy(common, m->common, m->n * sizeof *common);
    bend_beside(m, rest);
    return dw_mixture_guess(out, common, m->time + s->first, m->work, out->guess) &&
           fabs(out->guess[0]) < MOST_FACTOR;
}

static bool take_room(struct room *m, const struct dw_veil_view *v, size_t most,
                      struct dw_arena *arena)
{
    size_t regions = (size_t)v->beside->regions, all = regions * most;
    *m = (struct room){.time = v->grids->time,
                       .unit_s = v->beside->unit_s,
                       .light = DW_TAKE(arena, all, double),
                       .level = DW_TAKE(arena, all + 3 * most, double),
                       .square = DW_TAKE(arena, regions * regions, double),
                       .value = DW_TAKE(arena, regions, double),
                       .var = DW_TAKE(arena, regions, double),
                       .scale = DW_TAKE(arena, regions, double),
                       .common = DW_TAKE(arena, most, double),
                       .work = DW_TAKE(arena, (PARTS + 4) * most + regions, double)};
    return m->light && m->level && m->square && m->value && m->var && m->scale && m->common &&
           m->work;
}

enum dw_status dw_veils_find(const struct dw_veil_view *view, struct dw_arena *arena,
                             struct dw_mixture **mixture, int *n_mixtures, double *rest)
{
    struct dw_spell spell[DW_MOST_SPELLS];
    size_t n = view->grids->n, most = 0;
    size_t spells =
        n > 3 && view->beside->regions > 0 ? dw_spells_find(view->beside, view->bump, n, spell) : 0;
    *n_mixtures = 0;
    *mixture = NULL;
    if (spells == 0)
        return DW_OK;
    for (size_t k = 0; k < spells; k++)
        most = spell[k].last - spell[k].first > most ? spell[k].last - spell[k].first : most;
    *mixture = DW_TAKE(arena, spells, struct dw_mixture);
    struct room room;
    if (!take_room(&room, view, most + 1, arena) || !*mixture)
        return DW_ERR_MEMORY;
    enum dw_status status = DW_OK;
    for (size_t k = 0; k < spells && status == DW_OK; k++)
        if (follow_spell(view, &spell[k], &room, arena, *mixture + *n_mixtures, rest, &status))
            ++*n_mixtures;
    return status;
}
