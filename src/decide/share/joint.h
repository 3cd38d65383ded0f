/* joint.h: one joint least-squares problem for light and exposure errors. */
#ifndef DW_DECIDE_JOINT_H
#define DW_DECIDE_JOINT_H

#include "decide/arena.h"
#include "decide/compare/pairs.h"
#include "decide/share/law.h"

#define DW_MAX_CLASSES 3 /* kinds of settings: shutter, ISO, aperture */

/* A quantity that light may follow by an unknown factor: x at shots first .. first+n-1, and as at
 * the nearer end elsewhere. */
struct dw_follow {
    size_t first, n;
    const double *x;
    double weight; /* 1 / variance of the factor, by what is believed before */
};
double dw_follow_at(const struct dw_follow *f, size_t shot);

/* Unknowns: light s_i and error e_i of every shot, offset o_c of every setting, factor f_m of all
 * that light follows (t_i = sum f_m x_m at shot i), coefficients c of the law of light (l_i at shot
 * i). Minimised is
 *
 *   sum over pairs (v - (s_b-s_a) - (e_b-e_a) - (t_b-t_a))^2 / var
 * + sum (third divided difference of s - l over i .. i+3)^2 * stiff_i
 * + sum (s_i - l_i)^2 * law.loose  +  c^T law.prior c  (as law.h has it found)
 * + sum (e_i - sum of its settings' offsets)^2 * tie_i
 * + sum o_c^2 * offset_weight  +  sum f_m^2 * its weight  +  (s of the middle shot)^2 * 1e4
 *
 * The last term only settles the level of s, which pairs do not tell. */
struct dw_joint {
    size_t n;           /* shots */
    const double *time; /* s; equal times are kept apart by a millisecond */
    size_t n_pairs;
    const struct dw_pair *pair;
    const double *weight;                 /* per pair: 1/variance times its robust weight */
    const double *stiff;                  /* n-3 of them */
    double unit_s;                        /* differences are taken in this unit of time */
    const double *tie;                    /* per shot */
    int classes;                          /* offsets in all */
    const int (*setting)[DW_MAX_CLASSES]; /* per shot: indices of its offsets, or -1 */
    double offset_weight;
    int follows;
    const struct dw_follow *follow;
    struct dw_light_law *law; /* NULL: light has none; its prior and coef are found */
};

/* s, e: n values; offset: `classes` values, then `follows` factors. e_var, e_fast: variance of e,
 * and of what it is beside its neighbours, as errors that are independent from shot to shot would
 * have it (both NULL: not wanted), offsets held. Slow light and slow errors cannot be told apart,
 * which is in e_var alone. Linear in n. Errors: DW_ERR_MEMORY, DW_ERR_NUMERIC. */
enum dw_status dw_joint_solve(const struct dw_joint *j, struct dw_arena *arena, double *s,
                              double *e, double *e_var, double *e_fast, double *offset);

#endif
