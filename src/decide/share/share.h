/* share.h: shares the changes that comparing shots found out between light and exposure. */
#ifndef DW_DECIDE_SHARE_H
#define DW_DECIDE_SHARE_H

#include "decide/share/joint.h"
#include "decide/veils/mixture.h"

/* What three things are worth that settle what is exposure and what is light: defaults below. */
struct dw_share_params {
    double light_stops;  /* rms third difference of light beside the law, per 120 s */
    double law_share;    /* and per stop that the law changes in one interval, */
    double unrest_share; /* and times the bends that the picture's contrasts show (unrest.c), */
    double veiled_share; /* or times those left where light is held against contrasts (veil.c) */
    double veiled_stops; /* and at least so much while the law is learnt: fog is not its doing */
    double follow_stops; /* rms of what light does for each stop of contrasts there (mixture.h) */
    double moon_stops;   /* rms of a moon's level beside the sun's law from the same altitude */
    double offset_stops; /* rms of a setting's own error */
    double error_stops;  /* of a shot's own error, before it is learnt */
    double loose_stops;  /* of a shot without a record */
    double tail;         /* degrees of freedom of the shots' errors (Student): few are large */
    double light_tail;   /* the same for the bends of light, */
    double law_tail;     /* and while the law is learnt: a bend that every dusk has is the law's */
    int rounds;          /* at most so many solutions in which the law is learnt, and as many ... */
    double settled;      /* ... then without it, until no error moves by more, stops */
    struct dw_law_params law;
};
#define DW_SHARE_DEFAULTS                                                                          \
    {                                                                                              \
        2e-4, 0.002, 10, 1, 0.01, 3, 0.3, 0.03, 0.03, 5, 5, 10, 20, 20, 2e-4,                      \
        {                                                                                          \
            0.4, 0.3, 0.007, 0.0017, 0.3, 30, 3e-5                                                 \
        }                                                                                          \
    }

struct dw_share {
    const struct dw_share_params *p;
    size_t n;                 /* shots */
    double unit_s;            /* usual time between neighbours */
    const double *time, *alt; /* per shot: s; sun altitude, degrees */
    /* per shot: altitude of the moon, degrees, and what it gives of what the sun gives from there,
     * 0 where there is none; NULL: no moon in any */
    const double *moon_deg, *moon_beside;
    const bool *loose;    /* per shot: no record */
    const double *unrest; /* per shot: bends of light that contrasts show (pairs.h) */
    size_t n_pairs;
    struct dw_pair *pair; /* v loses the law */
    int classes;
    const int (*setting)[DW_MAX_CLASSES]; /* as in struct dw_joint */
    int mixtures; /* spells in which light is told by the picture's contrasts (veil.h) */
    const struct dw_mixture *mixture;
    const double *rest; /* per shot: bends of contrasts beside them (veil.h) */
    /* found: light beside the law and error of each shot, stops; its variance, and that of what it
     * is beside its neighbours; a setting's own error, then the factors of the mixtures, then the
     * moon's level (room for all: classes + DW_MIXTURE_PARTS * mixtures + 1) */
    double *s, *e, *e_var, *e_fast, *offset;
    /* found, in the arena: what not knowing the law adds to e_fast. Apart from it, as cloud is told
     * from its neighbours in time under whatever law (cloudy.c) */
    const double *law_doubt;
    double sigma; /* rms of the shots' own errors: a first guess, then learnt */
};

/* Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_share_out(struct dw_share *t, struct dw_arena *arena, struct dw_error *err);
/* What of a shot's error its settings do not explain. */
double dw_share_own(const struct dw_share *t, size_t i);

#endif
