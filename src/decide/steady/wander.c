/* wander.c: see dw_black_wander. A black that the camera measures anew for every shot is off at
 * random; what else lifts dark tiles beside bright ones (fog, dusk, a moon) does so smoothly. The
 * same two kinds of unknowns as light and exposure errors, so the same solver tells them apart. */
#include "decide/share/joint.h"
#include "decide/steady/steady.h"

#include <math.h>

#define LEAST_WANDER 0.02 /* DN^2 a step; less is not seen, and chance finds as much */
#define MOST_STEP 4.0     /* DN: more is no black level */
#define SMOOTH_DN 0.05    /* rms third difference of what is not black */
#define LEAST_VAR 1e-6

enum dw_status dw_black_wander(const struct dw_beside *beside, const double *time, size_t n,
                               struct dw_arena *arena, double *black)
{
    for (size_t i = 0; i < n; i++)
        black[i] = 0;
    if (n < 4 || beside->wander < LEAST_WANDER)
        return DW_OK;
    size_t mark = arena->n, pairs = 0;
    struct dw_pair *pair = DW_TAKE(arena, n, struct dw_pair);
    double *weight = DW_TAKE(arena, n, double), *stiff = DW_TAKE(arena, n, double);
    double *tie = DW_TAKE(arena, n, double), *smooth = DW_TAKE(arena, n, double);
    int(*setting)[DW_MAX_CLASSES] = dw_arena_take(arena, n, sizeof *setting);
    if (!pair || !weight || !stiff || !tie || !smooth || !setting)
        return DW_ERR_MEMORY;
    for (size_t j = 0; j + 1 < n; j++) {
        double v = beside->black[j], var = beside->black_var[j];
        if (!isfinite(var) || fabs(v) > MOST_STEP)
            continue;
        weight[pairs] = 1 / fmax(var, LEAST_VAR);
        pair[pairs++] = (struct dw_pair){(uint32_t)j, (uint32_t)(j + 1), v, var, true};
    }
    for (size_t i = 0; i < n; i++) {
        stiff[i] = 1 / (SMOOTH_DN * SMOOTH_DN);
        tie[i] = 2 / beside->wander; /* a step is the difference of two */
        for (int c = 0; c < DW_MAX_CLASSES; c++)
            setting[i][c] = -1;
    }
    const struct dw_joint joint = {.n = n,
                                   .time = time,
                                   .n_pairs = pairs,
                                   .pair = pair,
                                   .weight = weight,
                                   .stiff = stiff,
                                   .unit_s = beside->unit_s,
                                   .tie = tie,
                                   .setting = (const int(*)[DW_MAX_CLASSES])setting,
                                   .offset_weight = 1};
    enum dw_status status = dw_joint_solve(&joint, arena, smooth, black, NULL, NULL, NULL);
    dw_arena_free_to(arena, mark);
    return status;
}
