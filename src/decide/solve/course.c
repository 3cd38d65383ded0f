/* course.c: see course.h. Penalized least squares on third differences (Whittaker 1923) whose
 * weights are learnt with the solution: Student's, so that a bend costs the less the larger it is.
 * The first weights come from the noisy values themselves, less what noise bends them by. */
#include "decide/solve/course.h"

#include "base/robust.h"
#include "decide/solve/banded.h"
#include "decide/solve/third.h"

#include <math.h>
#include <string.h>

#define TAIL 4.0 /* degrees of freedom of the bends, as of light's (share.h) */
#define ROUNDS 8 /* of learning them; then the course hardly moves */

enum dw_status dw_course(double *x, size_t n, double var, double quiet, const double *time,
                         double unit_s, struct dw_arena *arena)
{
    size_t mark = arena->n;
    struct dw_banded m = {(int)n, 3, DW_TAKE(arena, 4 * n, double)};
    double *found = DW_TAKE(arena, n, double);
    enum dw_status status = m.a && found ? DW_OK : DW_ERR_MEMORY;
    if (status == DW_OK)
        memcpy(found, x, n * sizeof *found);
    for (int round = 0; round < ROUNDS && status == DW_OK && var > 0; round++) {
        memset(m.a, 0, 4 * n * sizeof *m.a);
        for (size_t i = 0; i + 3 < n; i++) {
            double w[4], bend = 0, noise = 0;
            dw_third_difference(time + i, unit_s, w);
            for (size_t p = 0; p < 4; p++) {
                bend += w[p] * found[i + p];
                noise += round ? 0 : w[p] * w[p] * var;
            }
            double stiff = (TAIL + 1) / (TAIL * quiet * quiet + fmax(0, bend * bend - noise));
            for (int p = 0; p < 4; p++)
                for (int q = 0; q <= p; q++)
                    dw_banded_add(&m, (int)i + p, (int)i + q, stiff * w[p] * w[q]);
        }
        for (size_t i = 0; i < n; i++) {
            dw_banded_add(&m, (int)i, (int)i, 1 / var);
            found[i] = x[i] / var;
        }
        if (!dw_banded_factor(&m) || !dw_banded_solve(&m, found, 1))
            status = DW_ERR_NUMERIC;
    }
    if (status == DW_OK)
        memcpy(x, found, n * sizeof *x);
    dw_arena_free_to(arena, mark);
    return status;
}

double dw_middle_of_five(const double *x)
{
    double five[5];
    memcpy(five, x - 2, sizeof five);
    return dw_median(five, 5);
}
