/* moonlight.h: what a moon adds to the light of the sun's law. The law (law.h) is one curve for
 * every dusk and dawn; a moon that rises in one of them, or stands in the sky in it, bends light
 * there as nothing does in the other. With l the law's stops and q the moon's,
 *
 *   light = log2(2^l + 2^(q + f)).
 *
 * What a moon gives to this picture is what the sun gave to it from the same altitude, by as much
 * as moonlight is fainter (dw_moon_beside_sun); so q is the law there in broad strokes, and where
 * the sun never stood the published curve goes on from it. f is an unknown level: haze, another
 * azimuth. It all is linear in l and f as near what was found last: the moon's share w of the light
 * moves with f, the law's with 1 - w.
 *
 * Where the moon outshines it the law is hardly seen, and free to run away: down, and f with it, or
 * up, till all moonlight is its doing, which a full moon, opposite the sun, lets it be. So f moves
 * by steps, the law is held flat in full night, where the sun gives nothing, and a moon whose level
 * goes where none is believed to be is let go: light is the law's alone. */
#ifndef DW_DECIDE_MOONLIGHT_H
#define DW_DECIDE_MOONLIGHT_H

#include "decide/share/share.h"

struct dw_moonlight {
    size_t n;                /* shots; 0: no moon shines in any */
    const double *alt;       /* per shot: of the moon, degrees */
    double low, high;        /* altitudes at which the law says what the sun gives */
    struct dw_spline by_sun; /* what it gives, there as the law has it, stops ... */
    double *knot;            /* ... by its altitude */
    double *sun;             /* per shot: stops that the sun gives to a level plain, as published */
    double *fainter;         /* by which the moon gives less from its place; -INFINITY: none */
    double above;            /* stops of the pictures above the published */
    double *share;           /* w */
    double *fixed;           /* what stays of the light when (1-w) l and w f are taken off */
    double level, about; /* f, found last; and the f by whose change from there light follows it */
    int rounds;          /* solutions; the law is known but in the first */
    bool lost;           /* let go */
    struct dw_follow by; /* by what light follows f */
};

/* Room, and the light of sun and moon as published; false when memory ran out. */
bool dw_moonlight_lay_out(struct dw_moonlight *m, const struct dw_share *share,
                          struct dw_arena *arena);
/* Anew near the law and the level as they stand; the law keeps its part, and what is fixed goes off
 * the pairs. */
void dw_moonlight_take(struct dw_moonlight *m, const struct dw_share *share,
                       struct dw_light_law *law);
/* Whether its level is held still, so that what is found is not settled yet. */
bool dw_moonlight_is_led(const struct dw_moonlight *m);
/* The change from `about` that a solution found. */
void dw_moonlight_learn(struct dw_moonlight *m, double found);
/* Stops by which its part of the light, all but the law's, changes from shot a to shot b. */
double dw_moonlight_change(const struct dw_moonlight *m, size_t a, size_t b);
/* Its part is light as well, with the change found, and the pairs get it back. */
void dw_moonlight_give_back(const struct dw_moonlight *m, struct dw_share *share, double found);

#endif
