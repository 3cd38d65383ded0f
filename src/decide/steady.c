/* steady.c: exposure error of every shot. First form: median tile ratios between neighbours,
 * added up and freed of their smooth part. */
#include "decide/steps.h"
#include "decide/whittaker.h"
#include "base/robust.h"

#include <math.h>

/* Median change of light between shots a and b over the tiles that both have. */
static double ratio(const struct dw_work *w, size_t a, size_t b, double *work)
{
    const float *x = w->light + a * (size_t)w->tiles, *y = w->light + b * (size_t)w->tiles;
    size_t n = 0;
    for (int k = 0; k < w->tiles; k++)
        if (isfinite(x[k]) && isfinite(y[k]))
            work[n++] = (double)(y[k] - x[k]);
    return n ? dw_median(work, n) : 0;
}

enum dw_status dw_steady(struct dw_work *w, struct dw_error *err)
{
    w->error = DW_TAKE(&w->arena, w->n, double);
    w->error_var = DW_TAKE(&w->arena, w->n, double);
    w->fast = DW_TAKE(&w->arena, w->n, double);
    w->left = DW_TAKE(&w->arena, w->n, double);
    w->before = DW_TAKE(&w->arena, w->n, double);
    double *work = DW_TAKE(&w->arena, (size_t)w->tiles, double);
    double *sum = DW_TAKE(&w->arena, w->n, double), *smooth = DW_TAKE(&w->arena, w->n, double);
    double *weight = DW_TAKE(&w->arena, w->n, double);
    if (!w->error || !w->error_var || !w->fast || !w->left || !w->before || !work || !sum ||
        !smooth || !weight)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the steadying");
    size_t last = w->n;
    for (size_t i = 0; i < w->n; i++) {
        w->left[i] = w->before[i] = (double)NAN;
        if (w->usable[i]) {
            sum[i] = last < w->n ? sum[last] + ratio(w, last, i, work) : 0;
            weight[i] = 1;
            last = i;
        }
    }
    if (dw_whittaker(sum, weight, (int)w->n, 1e4, 3, smooth) == DW_OK)
        for (size_t i = 0; i < w->n; i++)
            w->error[i] = w->usable[i] ? sum[i] - smooth[i] : 0;
    return DW_OK;
}
