/* learn.c: the step of a decision that learns where the camera looked. */
#include "decide/steps.h"

#include "decide/aim/aim.h"

enum dw_status dw_aim_learn(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    struct dw_aim_shots shots;
    struct dw_aim v = {0};
    double sigma;
    bool turns = false;
    size_t n, *night = DW_TAKE(&w->arena, w->n, size_t);
    if (!night)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the nights of %zu shots", w->n);
    facts->aim = (struct dw_aim){0};
    dw_aim_night(w, night, &n);
    enum dw_status s = dw_aim_gather(w, facts, night, n, &shots, err);
    if (s >= 0 && shots.n_groups > 0)
        s = dw_aim_flow(&shots, w->run, &v, &turns, err);
    if (!turns || !dw_aim_fit(&shots, &v, &sigma) || !dw_aim_point(&shots, &facts->site, &v))
        return s;
    facts->aim = v;
    return dw_aim_map(w, facts, night, n, err);
}
