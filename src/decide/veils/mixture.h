/* mixture.h: what light does while fog or cloud comes and goes. Each place then shows a mixture of
 * a few lights, its own, the fog's, the sky's, in shares that add up to one (Koschmieder 1924). So
 * there are weights with which the light of all places adds up to the same whatever the shares are;
 * and with q_r the light of place r in units of the common light, the common light is
 * 1 / sum w_r q_r: what all share follows from what they do beside each other, which no exposure
 * error touches. The weights are unknown; along the few directions in which the q_r go (parts z_m,
 * about their means) they come down to a factor each: log2 light = -log2(1 + ln 2 sum f_m z_m). */
#ifndef DW_DECIDE_MIXTURE_H
#define DW_DECIDE_MIXTURE_H

#include <stdbool.h>
#include <stddef.h>

enum {
    DW_MIXTURE_PARTS = 2,
    DW_MIXTURE_TAPER = 12 /* shots over which a spell's end fades out */
};

struct dw_mixture {
    size_t first, n;                      /* shots */
    const double *part[DW_MIXTURE_PARTS]; /* n values each; of small ones, stops */
    /* n values: the common light meant, stops, by the record; variance of one by noise, stops^2 */
    const double *common;
    double common_var;
    double guess[DW_MIXTURE_PARTS]; /* of the factors, to begin with */
};

/* Factors with which light[0..n-1] (stops, exposure errors in it) comes closest to what the mixture
 * does, a parabola in time beside it. time: n values, s. work: n * (DW_MIXTURE_PARTS + 4) values.
 * False where that has no solution. */
bool dw_mixture_guess(const struct dw_mixture *m, const double *light, const double *time,
                      double *work, double factor[DW_MIXTURE_PARTS]);

/* Share of the step from shot i of the spell to the next that counts: near either end less and
 * less, that light comes in and goes out softly. */
double dw_mixture_share(const struct dw_mixture *m, size_t i);
/* Light with these factors, stops, 0 at the first shot, as near them as it is linear in them:
 * fixed + sum f_m course_m. fixed, course[m]: n values. */
void dw_mixture_at(const struct dw_mixture *m, const double factor[DW_MIXTURE_PARTS], double *fixed,
                   double *const course[DW_MIXTURE_PARTS]);
/* How much of the way from these factors to those may be gone, 0 to 1, so that no light becomes
 * endless on it. */
double dw_mixture_way(const struct dw_mixture *m, const double from[DW_MIXTURE_PARTS],
                      const double to[DW_MIXTURE_PARTS]);

#endif
