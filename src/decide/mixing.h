/* mixing.h: the mixtures' part in sharing out (share.c). */
#ifndef DW_DECIDE_MIXING_H
#define DW_DECIDE_MIXING_H

#include "decide/share.h"

/* Light of mixtures as near the factors found last it is linear in them. */
struct dw_mixing {
    const struct dw_mixture *mixture;
    int mixtures;
    double *factor;                   /* found last */
    int follows;                      /* one a factor: */
    struct dw_follow *follow, *fixed; /* what it is multiplied with; the rest, one a mixture */
    double **course;                  /* where their values stand */
    double *taken;                    /* per shot: of the rest, what pairs are without */
};

/* Room, and the factors as guessed first; false when memory ran out. */
bool dw_mixing_lay_out(struct dw_mixing *m, const struct dw_share *share, struct dw_arena *arena);
/* Anew near the factors as they stand; what is fixed goes off the pairs. work: a value a shot. */
void dw_mix(struct dw_mixing *m, const struct dw_share *share, double *work);
/* Goes towards the factors found, as far as light stays finite. */
void dw_mixing_learn(struct dw_mixing *m, const double *found);
/* What mixtures did, with the factors found, is light as well, and the pairs get it back. */
void dw_unmix(const struct dw_mixing *m, struct dw_share *share);

#endif
