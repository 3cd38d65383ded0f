/* veil.c: fog that clears bends the common light at once, by more than an exposure error is large,
 * and smoothness then tells nothing. But fog changes the picture's contrasts (each region beside
 * the common change) as well, which no exposure error does, and light and contrasts follow one
 * cause, its thickness. So in such a spell the common light is a fixed combination of the two
 * quantities that nearly all the contrasts' changes come down to (principal components; Hotelling
 * 1933): two, because regions near and far answer thickening fog differently. What the combination
 * is, the joint solution learns (joint.c), from exposure errors being small and at random over the
 * whole spell. Broken cloud has many causes: there this says nothing. By night contrasts are noisy,
 * and what follows noise flickers; so the course of either part is freed of its noise first
 * (course.c), and a bank of cloud before the stars is followed as fog is by day. */
#include "decide/veil.h"
#include "decide/course.h"
#include "decide/spells.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define LEAST_SHOTS 24
#define LEAST_REGIONS 6
#define PARTS 2        /* quantities that contrasts come down to */
#define ONE_CAUSE 0.03 /* share of the contrasts' variance that may be left beside them */
#define FAIR 1e-3      /* stops: regions known better than this are equals */
#define CLEAR 10       /* times noise: the stronger part's variance must be */
/* Steps that the stronger part moves in: of fewer, errors teach no factor. */
#define LEAST_MOVES 18
#define MUST_TURN 2e-3  /* stops: so far the stronger part bends somewhere, or it was chance */
#define MOST_FLASH 0.25 /* of its range that a part may come and go by within two shots */
#define TAPER 12        /* shots over which a spell's end fades out */
#define QUIET 2e-4      /* stops, third difference: a part bends by so much where nothing happens */
#define CHANCE 3.0      /* standard deviations that noise may bend contrasts by */

/* room: of the largest spell, for changes, levels, squares and values, and of regions' noise. */
struct room {
    double *change, *level, *square, *value, *var;
};

/* Changes of the regions that are known all through a spell, without what is even in time, one
 * column of `steps` values each; returns how many. mean_var: the variance that a level has from
 * noise. By night regions of dark ground are many times noisier than the sky: each is scaled by how
 * well it is known, as far as that matters beside FAIR. */
static size_t take_changes(const struct dw_beside *b, const struct dw_spell *s, const double *time,
                           struct room *m, double *mean_var)
{
    size_t steps = s->last - s->first, regions = (size_t)b->regions, known = 0;
    double noise = 0, all = 0, spread = 0;
    const double *t = time + s->first;
    double middle = 0.5 * (t[0] + t[steps]), span = t[steps] - t[0];
    for (size_t j = 0; j < steps; j++) {
        double at = 0.5 * (t[j] + t[j + 1]) - middle;
        spread += (t[j + 1] - t[j]) * at * at;
    }
    for (size_t r = 0; r < regions; r++) {
        double *c = m->change + known * steps, sum = 0, slope = 0, var = 0;
        bool whole = true;
        for (size_t j = 0; j < steps; j++) {
            c[j] = (double)b->contrast[(s->first + j) * regions + r];
            var += (double)b->contrast_var[(s->first + j) * regions + r];
            whole &= isfinite(c[j]);
            sum += c[j];
            slope += c[j] * (0.5 * (t[j] + t[j + 1]) - middle);
        }
        if (!whole)
            continue;
        for (size_t j = 0; j < steps; j++)
            c[j] -= (t[j + 1] - t[j]) *
                    (sum / span + slope / spread * (0.5 * (t[j] + t[j + 1]) - middle));
        m->var[known++] = var / (double)steps;
    }
    for (size_t r = 0; r < known; r++)
        all += 1 / (m->var[r] + FAIR * FAIR);
    for (size_t r = 0; r < known; r++) {
        double scale = sqrt((double)known / all / (m->var[r] + FAIR * FAIR));
        for (size_t j = 0; j < steps; j++)
            m->change[r * steps + j] *= scale;
        noise += m->var[r] * scale * scale / (double)known;
    }
    *mean_var = noise;
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

static double fade(const struct dw_spell *s, size_t step)
{
    size_t before = step, after = s->last - s->first - 1 - step, near = TAPER;
    if (!s->shared_first && before < near)
        near = before;
    if (!s->shared_last && after < near)
        near = after;
    return near == TAPER ? 1
                         : 0.5 - 0.5 * cos(3.14159265358979323846 * ((double)near + 0.5) / TAPER);
}

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
    return m->value[known - 1] > CLEAR * noise &&
           all - held - noise * (double)(known - PARTS) < ONE_CAUSE * (all - noise * (double)known);
}

/* How far contrasts bend beside their two parts: rms over the regions of third differences, less
 * what noise may do. By as much the common light may bend beside what it follows. */
static void bend_beside(const struct dw_spell *s, const struct room *m, const double *time,
                        double unit_s, size_t known, double var, double *rest)
{
    size_t steps = s->last - s->first, free = known - PARTS;
    for (size_t j = 0; j + 2 < steps; j++) {
        double sum = 0, along[PARTS] = {0}, w[4], squares = 0;
        dw_third_difference(time + s->first + j, unit_s, w);
        for (int p = 0; p < 4; p++)
            squares += w[p] * w[p];
        for (size_t r = 0; r < known; r++) {
            const double *c = m->change + r * steps + j;
            double bend = dw_third_of_changes(w, c[0], c[1], c[2]);
            sum += bend * bend;
            for (int p = 0; p < PARTS; p++)
                along[p] += bend * m->square[(known - 1 - (size_t)p) * known + r];
        }
        for (int p = 0; p < PARTS; p++)
            sum -= along[p] * along[p];
        double chance = squares * var * ((double)free + CHANCE * sqrt(2.0 * (double)free));
        rest[s->first + j] = sqrt(fmax(0, sum - chance) / (double)known);
    }
}

/* The course of part p over a spell, `steps` + 1 values, freed of its noise. */
static enum dw_status part_course(const struct dw_beside *b, const double *time,
                                  const struct room *m, size_t known, size_t steps, int p,
                                  double var, struct dw_arena *arena, double *x)
{
    const double *part = m->square + (known - 1 - (size_t)p) * known;
    double unit = 1 / sqrt((double)known);
    for (size_t j = 0; j <= steps; j++) {
        x[j] = 0;
        for (size_t r = 0; r < known; r++)
            x[j] += unit * part[r] * m->level[r * (steps + 1) + j];
    }
    return dw_course(x, steps + 1, var / (double)known, QUIET, time, b->unit_s, arena);
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

/* Lets a course come in and go out softly where no other spell goes on with it; returns in how many
 * steps it moves, were all alike. */
static double fade_ends(const struct dw_spell *s, double *x)
{
    double moves = 0, squares = 0, was = x[0];
    x[0] = 0;
    for (size_t j = 0; j < s->last - s->first; j++) {
        double change = x[j + 1] - was;
        was = x[j + 1];
        x[j + 1] = x[j] + fade(s, j) * change;
        moves += fabs(change);
        squares += change * change;
    }
    return squares > 0 ? moves * moves / squares : 0;
}

/* What light follows in a spell, and what bends contrasts have beside it; false where they tell
 * nothing, or *status has an error. */
static bool follow_spell(const struct dw_beside *b, const struct dw_spell *s, const double *time,
                         struct room *m, struct dw_arena *arena, struct dw_follow out[PARTS],
                         double *rest, enum dw_status *status)
{
    size_t steps = s->last - s->first;
    double var;
    if (steps + 1 < LEAST_SHOTS)
        return false;
    size_t known = take_changes(b, s, time, m, &var);
    if (known < LEAST_REGIONS || !find_parts(m, known, steps, var))
        return false;
    double range = 0;
    for (int p = 0; p < PARTS; p++) {
        double *x = DW_TAKE(arena, steps + 1, double);
        *status =
            x ? part_course(b, time + s->first, m, known, steps, p, var, arena, x) : DW_ERR_MEMORY;
        if (*status < 0)
            return false;
        struct shape shape = shape_of(x, steps + 1, time + s->first, b->unit_s);
        double moves = fade_ends(s, x);
        if (p == 0 && (moves < LEAST_MOVES || shape.bend < MUST_TURN))
            return false;
        range = fmax(range, shape.range);
        if (shape.flash > MOST_FLASH * range)
            return false; /* passing cars */
        out[p] = (struct dw_follow){s->first, steps + 1, x};
    }
    bend_beside(s, m, time, b->unit_s, known, var, rest);
    return true;
}

enum dw_status dw_veils_find(const struct dw_beside *beside, const double *time, const bool *bump,
                             size_t n, struct dw_arena *arena, struct dw_follow **follow,
                             int *n_follow, double *rest)
{
    struct dw_spell spell[DW_MOST_SPELLS];
    size_t spells = n > 3 && beside->regions > 0 ? dw_spells_find(beside, bump, n, spell) : 0;
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
                        DW_TAKE(arena, regions * regions, double), DW_TAKE(arena, regions, double),
                        DW_TAKE(arena, regions, double)};
    enum dw_status status = DW_OK;
    if (!*follow || !room.change || !room.level || !room.square || !room.value || !room.var)
        return DW_ERR_MEMORY;
    bool told[DW_MOST_SPELLS] = {false};
    size_t mark = arena->n;
    for (size_t k = 0; k < spells && status == DW_OK; k++)
        told[k] = follow_spell(beside, &spell[k], time, &room, arena, *follow, rest, &status);
    dw_arena_free_to(arena, mark);
    /* where the next spell tells nothing, there is nobody to take over */
    for (size_t k = 0; k < spells; k++) {
        spell[k].shared_first = spell[k].shared_first && told[k - 1];
        spell[k].shared_last = spell[k].shared_last && told[k + 1];
    }
    for (size_t k = 0; k < spells && status == DW_OK; k++)
        if (told[k] &&
            follow_spell(beside, &spell[k], time, &room, arena, *follow + *n_follow, rest, &status))
            *n_follow += PARTS;
    return status;
}
