/* settings.c: colours and shading that change with the camera's settings: what the truth says of
 * every shot, and what frames.csv takes off it, from frame to frame (a cubic through 7 is taken
 * off; score.h), so that slow changes count nothing. */
#include "score.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { RED, BLUE, CORNER, HALF, QUANTITIES };
static const char *const name[QUANTITIES] = {"red beside green", "blue beside green",
                                             "light in the corner", "light half of r^2 out"};

/* Error of quantity q of a shot by the truth, and what its row does about it, stops. */
static double error_of(const struct score_shot *s, int q)
{
    const double error[QUANTITIES] = {s->red_error, s->blue_error, -s->vignetting,
                                      -s->vignetting * (0.7 * 0.5 + 0.3 * 0.25)};
    return error[q];
}

static double correction_of(const struct score_shot *s, int q)
{
    const double correction[QUANTITIES] = {s->red_fix, s->blue_fix, score_lift(s, 1),
                                           score_lift(s, 0.5)};
    return correction[q];
}

static double rms(const double *x, size_t n, double *worst)
{
    double sum = 0, count = 0;
    *worst = 0;
    for (size_t i = 0; i < n; i++)
        if (isfinite(x[i])) {
            sum += x[i] * x[i];
            count++;
            *worst = fmax(*worst, fabs(x[i]));
        }
    return count > 0 ? sqrt(sum / count) : (double)NAN;
}

void score_settings(const struct score_truth *t)
{
    size_t n = t->n_shots, corrected = 0, shown = 0;
    double *x = calloc(n + 1, 2 * sizeof *x);
    if (!x)
        return;
    double *r = x + n;
    for (size_t i = 0; i < n; i++) {
        const struct score_shot *s = &t->shot[i];
        shown += s->frame > 0;
        corrected += s->frame > 0 && (s->red_fix != 0 || s->blue_fix != 0 || score_lift(s, 1) != 0);
    }
    printf("colours and shading by settings, stops rms (worst); %zu of %zu frames corrected\n",
           corrected, shown);
    for (int q = 0; q < QUANTITIES; q++) {
        double rms_of[2], worst[2];
        for (int after = 0; after < 2; after++) {
            for (size_t i = 0; i < n; i++) {
                const struct score_shot *s = &t->shot[i];
                bool counts = s->frame > 0 && s->faults[0] == '\0';
                x[i] = counts ? error_of(s, q) + after * correction_of(s, q) : (double)NAN;
            }
            score_minus_cubic(x, n, r);
            rms_of[after] = rms(r, n, &worst[after]);
        }
        printf("  %-24s before %.5f (%.4f)  left %.5f (%.4f)\n", name[q], rms_of[0], worst[0],
               rms_of[1], worst[1]);
    }
    free(x);
}
