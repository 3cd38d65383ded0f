/* spells.c: when something passed before the light: bends of light that lie close together. */
#include "decide/veils/spells.h"

#include <math.h>

#define LEAST_UNREST 5e-4 /* stops, third difference: light bent, */
#define MUST_REACH 2e-3   /* and in a spell so much somewhere: dusk bends light by less ... */
#define USUAL_S 120.0     /* ... in steps of so many seconds, and with their cube in longer ones */
#define REACH 24          /* shots of a spell before the first bend and after the last */
#define APART 12          /* shots between two bends that belong to two spells */

/* Bends that lie close together belong to one spell, which is here from the first shot of its first
 * bend to the last one of its last. Dusk bends light as well, but by less: a weak one gives
 * its place to the next. */
static size_t gather_bends(const struct dw_beside *b, size_t n,
                           struct dw_spell spell[DW_MOST_SPELLS])
{
    size_t spells = 0;
    double dusk = pow(fmax(1, b->unit_s / USUAL_S), 3);
    for (size_t i = 0; i + 3 < n; i++) {
        double unrest = fmax(b->unrest[i], b->along ? b->along[i] : 0);
        if (!(unrest > LEAST_UNREST * dusk))
            continue;
        struct dw_spell *s = spells ? &spell[spells - 1] : NULL;
        if (s && i <= s->last + APART) {
            s->last = i + 3;
            s->unrest = fmax(s->unrest, unrest);
            continue;
        }
        if (s && s->unrest < MUST_REACH * dusk)
            spells--;
        if (spells == DW_MOST_SPELLS)
            return spells;
        spell[spells++] = (struct dw_spell){unrest, i, i + 3};
    }
    return spells && spell[spells - 1].unrest < MUST_REACH * dusk ? spells - 1 : spells;
}

/* A displaced view has other contrasts: the spell ends there, and is none if that is between its
 * bends, over which it is from low to high. */
static void end_at_bumps(struct dw_spell *s, const bool *bump, size_t low, size_t high)
{
    bool bumped = false;
    for (size_t i = low + 1; i <= high; i++)
        bumped |= bump[i];
    for (size_t i = low; i > s->first; i--)
        if (bump[i])
            s->first = i;
    for (size_t i = high + 1; i <= s->last; i++)
        if (bump[i])
            s->last = i - 1;
    if (bumped)
        s->last = s->first;
}

/* Each spell goes on for a reach beyond its bends. Those whose bends lie closer together than two
 * meet in the middle and stay apart: fog comes in one light and goes in another, and in either has
 * fewer causes than in both. */
static void widen(struct dw_spell *spell, size_t spells, const bool *bump, size_t n)
{
    for (size_t k = 0; k < spells; k++) {
        struct dw_spell *s = &spell[k];
        size_t low = s->first, high = s->last;
        s->first = low > REACH ? low - REACH : 0;
        s->last = high + REACH < n ? high + REACH : n - 1;
        if (k && spell[k - 1].last >= s->first) /* already widened */
            s->first = spell[k - 1].last;
        if (k + 1 < spells && spell[k + 1].first <= high + 2 * REACH)
            s->last = (high + spell[k + 1].first) / 2;
        end_at_bumps(s, bump, low, high);
    }
}

size_t dw_spells_find(const struct dw_beside *b, const bool *bump, size_t n,
                      struct dw_spell spell[DW_MOST_SPELLS])
{
    size_t spells = gather_bends(b, n, spell);
    widen(spell, spells, bump, n);
    return spells;
}
