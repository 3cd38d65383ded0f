/* veil.c: fog that clears bends the common light at once, by more than an exposure error is large,
 * and smoothness then tells nothing. But fog changes the picture's contrasts (each region beside
 * the common change) as well, which no exposure error does, and light and contrasts follow one
 * cause, its thickness. So in such a spell the common light is a fixed combination of the two
 * quantities that nearly all the contrasts' changes come down to (principal components; Hotelling
 * 1933): two, because regions near and far answer thickening fog differently. What the combination
 * is, the joint solution learns (joint.c), from exposure errors being small and at random over the
 * whole spell. Broken cloud has many causes: there this says nothing. */
#include "decide/veil.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define LEAST_UNREST 5e-4 /* stops, third difference: light bent, */
#define MUST_REACH 2e-3   /* and in a spell so much somewhere: dusk bends light by less */
#define REACH 24          /* shots of a spell before the first bend and after the last */
#define LEAST_SHOTS 24
#define LEAST_REGIONS 6
#define PARTS 2         /* quantities that contrasts come down to */
#define ONE_CAUSE 0.03  /* share of the contrasts' variance that may be left beside them */
#define MOST_NOISE 3e-4 /* stops rms of a part's change: more would make flicker of its own */
/* Steps that the stronger part moves in: of fewer, errors teach no factor. */
#define LEAST_MOVES 18
#define TAPER 12 /* shots over which a spell's end fades out */
#define MOST_SPELLS 64

struct spell {
    double unrest;                  /* its largest */
    size_t first, last;             /* shots */
    bool shared_first, shared_last; /* its end is another's beginning */
};

/* Bends no more than one reach apart belong to one spell. A spell is here from the first shot of
 * its first bend to the last one of its last. */
static size_t gather_bends(const struct dw_beside *b, size_t n, struct spell spell[MOST_SPELLS])
{
    size_t spells = 0;
    for (size_t i = 0; i + 3 < n; i++) {
        double unrest = b->unrest[i];
        if (!(unrest > LEAST_UNREST))
            continue;
        struct spell *s = spells ? &spell[spells - 1] : NULL;
        if (s && i <= s->last + REACH) {
            s->last = i + 3;
            s->unrest = fmax(s->unrest, unrest);
        } else if (spells < MOST_SPELLS) {
            spell[spells++] = (struct spell){unrest, i, i + 3, false, false};
        } else {
            break;
        }
    }
    return spells;
}

/* Dusk bends light as well, but by less. */
static size_t drop_weak(struct spell *spell, size_t spells)
{
    size_t kept = 0;
    for (size_t k = 0; k < spells; k++)
        if (spell[k].unrest >= MUST_REACH)
            spell[kept++] = spell[k];
    return kept;
}

/* A displaced view has other contrasts: the spell ends there, and is none if that is between its
 * bends, over which it is from low to high. */
static void end_at_bumps(struct spell *s, const bool *bump, size_t low, size_t high)
{
    bool bumped = false;
    for (size_t i = low + 1; i <= high; i++)
        bumped |= bump[i];
    for (size_t i = low; i > s->first; i--)
        if (bump[i]) {
            s->first = i;
            s->shared_first = false;
        }
    for (size_t i = high + 1; i <= s->last; i++)
        if (bump[i]) {
            s->last = i - 1;
            s->shared_last = false;
        }
    if (bumped)
        s->last = s->first;
}

/* Each spell goes on for a reach beyond its bends. Those whose bends lie closer together than two
 * meet in the middle and stay apart: fog comes in one light and goes in another. */
static void widen(struct spell *spell, size_t spells, const bool *bump, size_t n)
{
    for (size_t k = 0; k < spells; k++) {
        struct spell *s = &spell[k];
        size_t low = s->first, high = s->last;
        s->first = low > REACH ? low - REACH : 0;
        s->last = high + REACH < n ? high + REACH : n - 1;
        if (k && spell[k - 1].last >= s->first) { /* already widened */
            s->first = spell[k - 1].last;
            s->shared_first = true;
        }
        if (k + 1 < spells && spell[k + 1].first <= high + 2 * REACH) {
            s->last = (high + spell[k + 1].first) / 2;
            s->shared_last = true;
        }
        end_at_bumps(s, bump, low, high);
    }
}

static size_t find_spells(const struct dw_beside *b, const bool *bump, size_t n,
                          struct spell spell[MOST_SPELLS])
{
    size_t spells = gather_bends(b, n, spell);
    spells = drop_weak(spell, spells);
    widen(spell, spells, bump, n);
    return spells;
}

/* Changes of the regions that are known all through a spell, without what is even in time, one
 * column of `steps` values each; returns how many. noise: of a change's variance, their sum. */
static size_t take_changes(const struct dw_beside *b, const struct spell *s, double *change,
                           double *mean_var)
{
    size_t steps = s->last - s->first, regions = (size_t)b->regions, known = 0;
    double middle = 0.5 * (double)(steps - 1), spread = 0, noise = 0;
    for (size_t j = 0; j < steps; j++)
        spread += ((double)j - middle) * ((double)j - middle);
    for (size_t r = 0; r < regions; r++) {
        double *c = change + known * steps, sum = 0, slope = 0, var = 0;
        bool all = true;
        for (size_t j = 0; j < steps; j++) {
            c[j] = (double)b->contrast[(s->first + j) * regions + r];
            var += (double)b->contrast_var[(s->first + j) * regions + r];
            all &= isfinite(c[j]);
            sum += c[j];
            slope += c[j] * ((double)j - middle);
        }
        if (!all)
            continue;
        for (size_t j = 0; j < steps; j++)
            c[j] -= sum / (double)steps + slope / spread * ((double)j - middle);
        noise += var / (double)steps;
        known++;
    }
    *mean_var = known ? noise / (double)known : 0;
    return known;
}

/* From changes to levels about their mean. */
static void add_up(const double *change, size_t steps, double *level)
{
    double sum = 0;
    level[0] = 0;
    for (size_t j = 0; j < steps; j++) {
        level[j + 1] = level[j] + change[j];
        sum += level[j + 1];
    }
    for (size_t j = 0; j <= steps; j++)
        level[j] -= sum / (double)(steps + 1);
}

static double fade(const struct spell *s, size_t step)
{
    size_t before = step, after = s->last - s->first - 1 - step, near = TAPER;
    if (!s->shared_first && before < near)
        near = before;
    if (!s->shared_last && after < near)
        near = after;
    return near == TAPER ? 1
                         : 0.5 - 0.5 * cos(3.14159265358979323846 * ((double)near + 0.5) / TAPER);
}

/* room: of the largest spell, for changes, levels, squares and values. */
struct room {
    double *change, *level, *square, *value;
};

/* Directions in which contrasts went, if two hold nearly all there is; columns of room->square, the
 * last being the strongest. */
static bool find_parts(struct room *m, size_t known, size_t steps, double var)
{
    double *square = m->square, all = 0;
    for (size_t r = 0; r < known; r++)
        add_up(m->change + r * steps, steps, m->level + r * (steps + 1));
    for (size_t p = 0; p < known; p++)
        for (size_t q = 0; q <= p; q++) {
            const double *a = m->level + p * (steps + 1), *b = m->level + q * (steps + 1);
            double sum = 0;
            for (size_t j = 0; j <= steps; j++)
                sum += a[j] * b[j];
            square[p * known + q] = square[q * known + p] = sum;
        }
    if (LAPACKE_dsyev(LAPACK_COL_MAJOR, 'V', 'L', (int)known, square, (int)known, m->value) != 0)
        return false;
    for (size_t r = 0; r < known; r++)
        all += m->value[r];
    double held = m->value[known - 1] + m->value[known - 2];
    /* a level's noise, not a change's: each change has that of two levels */
    double noise = var * (double)(steps + 1);
    return all - held - noise * (double)(known - PARTS) < ONE_CAUSE * all;
}

/* How far contrasts bend beside their two parts: rms over the regions of third differences, noise
 * taken off. By as much the common light may bend beside what it follows. */
static void bend_beside(const struct spell *s, const struct room *m, size_t known, double var,
                        double *rest)
{
    size_t steps = s->last - s->first;
    for (size_t j = 0; j + 2 < steps; j++) {
        double sum = 0, along[PARTS] = {0};
        for (size_t r = 0; r < known; r++) {
            const double *c = m->change + r * steps + j;
            double bend = c[2] - 2 * c[1] + c[0];
            sum += bend * bend;
            for (int p = 0; p < PARTS; p++)
                along[p] += bend * m->square[(known - 1 - (size_t)p) * known + r];
        }
        for (int p = 0; p < PARTS; p++)
            sum -= along[p] * along[p];
        rest[s->first + j] = sqrt(fmax(0, sum / (double)known - 20 * var)); /* 1 9 9 1 */
    }
}

static bool follow_spell(const struct dw_beside *b, const struct spell *s, struct room *m,
                         struct dw_arena *arena, struct dw_follow out[PARTS], double *rest,
                         enum dw_status *status)
{
    size_t steps = s->last - s->first;
    double var;
    if (steps + 1 < LEAST_SHOTS)
        return false;
    size_t known = take_changes(b, s, m->change, &var);
    if (known < LEAST_REGIONS)
        return false;
    double noise = 2 * var / (double)known; /* of a part's change */
    if (noise > MOST_NOISE * MOST_NOISE || !find_parts(m, known, steps, var))
        return false;
    for (int p = 0; p < PARTS; p++) {
        const double *part = m->square + (known - 1 - (size_t)p) * known;
        double *x = DW_TAKE(arena, steps + 1, double), unit = 1 / sqrt((double)known);
        if (!x) {
            *status = DW_ERR_MEMORY;
            return false;
        }
        double moves = 0, squares = 0;
        for (size_t j = 0; j < steps; j++) {
            double sum = 0;
            for (size_t r = 0; r < known; r++)
                sum += part[r] * m->change[r * steps + j];
            x[j + 1] = x[j] + fade(s, j) * unit * sum;
            moves += fabs(sum);
            squares += sum * sum;
        }
        if (p == 0 && moves * moves < LEAST_MOVES * squares)
            return false;
        out[p] = (struct dw_follow){s->first, steps + 1, x};
    }
    bend_beside(s, m, known, var, rest);
    return true;
}

enum dw_status dw_veils_find(const struct dw_beside *beside, const bool *bump, size_t n,
                             struct dw_arena *arena, struct dw_follow **follow, int *n_follow,
                             double *rest)
{
    struct spell spell[MOST_SPELLS];
    size_t spells = n > 3 && beside->regions > 0 ? find_spells(beside, bump, n, spell) : 0;
    size_t most = 0, regions = (size_t)beside->regions;
    *n_follow = 0;
    *follow = NULL;
    if (spells == 0)
        return DW_OK;
    for (size_t k = 0; k < spells; k++)
        most = spell[k].last - spell[k].first > most ? spell[k].last - spell[k].first : most;
    *follow = DW_TAKE(arena, PARTS * spells, struct dw_follow);
    struct room room = {DW_TAKE(arena, regions * (most + 1), double),
                        DW_TAKE(arena, regions * (most + 1), double),
                        DW_TAKE(arena, regions * regions, double), DW_TAKE(arena, regions, double)};
    enum dw_status status = DW_OK;
    if (!*follow || !room.change || !room.level || !room.square || !room.value)
        return DW_ERR_MEMORY;
    for (size_t k = 0; k < spells && status == DW_OK; k++)
        if (follow_spell(beside, &spell[k], &room, arena, *follow + *n_follow, rest, &status))
            *n_follow += PARTS;
    return status;
}
