/* mixing.h: the mixtures' part in sharing out (share.c). */
#ifndef DW_DECIDE_MIXING_H
#define DW_DECIDE_MIXING_H

#include "decide/share/share.h"

/* Light of mixtures as near the factors found last it is linear in them. */
struct dw_mixing {
    const struct dw_mixture *mixture;
    int mixtures;
    double *factor; /* found last */
    bool *lost;  /* per mixture: it explains nothing, its factors run away; light does without it */
    int follows; /* one a factor: */
    struct dw_follow *follow, *fixed; /* what it is multiplied with; the rest, one a mixture */
    double **course;                  /* where their values stand */
    double *taken;                    /* per shot: of the rest, what pairs are without */
};

/* Room, and the factors as guessed first; false when memory ran out. */
bool dw_mixing_lay_out(struct dw_mixing *m, const struct dw_share *share, struct dw_arena *arena);
/* Anew near the factors as they stand; what is fixed goes off the pairs. work: a value a shot. */
void dw_mix(struct dw_mixing *m, const struct dw_share *share, double *work);
/* Goes towards the factors found, as far as light stays finite; a mixture that cannot go there is
 * lost. False if one was: it still stands in what was found. */
bool dw_mixing_learn(struct dw_mixing *m, const double *found);
/* Loses all of them; false when there was none left. */
bool dw_mixing_give_up(struct dw_mixing *m);
/* Whether the bend over shots i .. i+3 lies in a spell that is told by its mixture. */
bool dw_mixing_tells(const struct dw_mixing *m, size_t i);
/* What mixtures did, with the factors found, is light as well, and the pairs get it back. */
void dw_unmix(const struct dw_mixing *m, struct dw_share *share);

#endif
