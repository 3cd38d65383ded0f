/* law.h: the law of light against sun altitude, a cubic B-spline that is learnt together with light
 * and exposure errors (joint.c). */
#ifndef DW_DECIDE_LAW_H
#define DW_DECIDE_LAW_H

#include "decide/arena.h"
#include "decide/solve/bspline.h"

enum {
    DW_LAW_MEETS = 16, /* coefficients that four shots meet at most */
    DW_LAW_REACH = 5   /* entries of its prior on the diagonal and below it */
};

/* What the law does over four shots: its third difference is the sum of value * coefficient, that
 * of any light the sum of third * light. */
struct dw_law_bend {
    double third[4], value[DW_LAW_MEETS];
    int n, at[DW_LAW_MEETS];
};

struct dw_light_law {
    const struct dw_law_params *p;
    bool known; /* coef holds what it was found to be, if only roughly */
    struct dw_spline spline;
    size_t n;                 /* shots */
    struct dw_law_bend *bend; /* over shots i .. i+3; n-3 of them */
    double (*basis)[4];       /* per shot: the sum of these times coef[first ...] is its value, */
    double (*level)[4];       /* and of these its part in the light, all of it but for a moon's */
    int *first;
    const double *time; /* per shot, s; and the unit of the bends */
    double unit_s;
    double loose;       /* weight of the square of what light is beside it */
    double night_slope; /* rms slope in full night, stops/degree; INFINITY: none is believed in */
    double (*prior)[DW_LAW_REACH]; /* entry (i+d, i) of the prior's matrix at [i][d] */
    double *coef;
    bool doubted;  /* doubt is wanted */
    double *doubt; /* per shot: variance of its error beside its neighbours that not knowing the law
                    * adds, as the last joint solution has it, stops^2 (joint.c) */
};

/* What is believed of the law before light is looked at. */
struct dw_law_params {
    double step;    /* between its knots, degrees of sun altitude */
    double level;   /* rms of light about it, stops: weather */
    double change;  /* mean change of its third derivative from knot to knot where it slopes, stops/
                     * degree^3; any size is as likely as Laplace's distribution has it ... */
    double least;   /* ... and as a normal one has it below this */
    double uniform; /* rms of its third derivative there, stops/degree^3; far more than is usual */
    int rounds;     /* at most so many solutions, each with its prior weighed anew, ... */
    double settled; /* ... until no coefficient moves by more, stops */
};

/* Of n shots at these instants, s, and sun altitudes, degrees; bends are taken in unit_s of time.
 * Nothing is known of it yet. p and time are kept. False: out of memory. */
bool dw_law_lay_out(struct dw_light_law *law, const struct dw_law_params *p, size_t n,
                    const double *time, const double *alt, double unit_s, struct dw_arena *arena);
/* Sets the prior anew, by what the law was found to be if it is known. */
void dw_law_believe(struct dw_light_law *law);
/* Minimises c^T a c / 2 - right^T c, and what is believed of the law, over its coefficients: its
 * prior is weighed anew, as the law's params say, by each solution. a: symmetric, of which the
 * lower half is read, columns `rows` apart; right: a value a coefficient; work: their number
 * squared, and as many more. The solution goes to law->coef. False: not positive definite. */
bool dw_law_settle(struct dw_light_law *law, const double *a, int rows, const double *right,
                   double *work);

/* Light goes with the law by 1 - share[i] alone at shot i. */
void dw_law_give_way(struct dw_light_law *law, const double *share);
/* What it is at a sun altitude, degrees; at a shot; and its part in the light there; stops. */
double dw_law_of(const struct dw_light_law *law, double alt);
double dw_law_whole(const struct dw_light_law *law, size_t shot);
double dw_law_at(const struct dw_light_law *law, size_t shot);

/* Its part of a joint system of `rows` unknowns, of which light at shot i is the one at 2 i, with
 * law->spline.n more that border it from column `at` on; `all` border it in all. stiff: weight of
 * each bend of light beside the law. Columns of border hold `rows` values, corner all*all. */
struct dw_law_place {
    size_t shots, rows;
    int at, all;
    const double *stiff;
};
/* Adds what its coefficients have to do with light, and with each other through it: all but the
 * prior. */
void dw_law_border(const struct dw_light_law *law, const struct dw_law_place *place, double *border,
                   double *corner);
/* Transposed border of the law (as dw_law_border adds it) times y of `rows` values. out: a value a
 * coefficient. */
void dw_law_meet(const struct dw_light_law *law, const struct dw_law_place *place, const double *y,
                 double *out);

#endif
