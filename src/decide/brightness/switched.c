/* switched.c: see switched.h. A lamp is one bright light and one dark: it goes from the one to the
 * other between two shots and keeps to it. Cloud before a moon is as bright and goes as fast, but
 * comes and goes, a dozen times in a night, and is not twice alike. A passing car lights a tile for
 * a shot. */
#include "decide/brightness/switched.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

struct switch_params {
    double step;      /* stops between two shots, beside what quiet tiles do */
    double lasting;   /* share of the step that is left between longer stretches, */
    double near;      /* and share of it by which shots in them may differ, ... */
    double strays;    /* ... but for this share of them */
    double window_s;  /* how long these are: a bright star is out of its tile in a third of it */
    int window;       /* shots in them at most */
    int least_window; /* and at least */
};
enum { MOST_WINDOW = 15 };
static const struct switch_params SWITCH = {2, 0.7, 0.25, 0.125, 1800, MOST_WINDOW, 3};

/* The night's shots that tell how it was on one side of the boundary before shot j, in one pose;
 * spread over the window, that frequent shots do not make it shorter. Returns how many. */
static int stretch(const struct dw_work *w, const struct dw_night *g, size_t j, bool after,
                   size_t of[MOST_WINDOW])
{
    size_t at = after ? j : j - 1, step = 1;
    double t = w->utc[g->shot[at]];
    if (w->interval > 0)
        step += (size_t)(SWITCH.window_s / w->interval / SWITCH.window);
    int n = 0;
    for (size_t next = at; n < SWITCH.window && next < g->n; next += after ? step : -step) {
        if (w->pose[g->shot[next]] != w->pose[g->shot[at]] ||
            fabs(w->utc[g->shot[next]] - t) > SWITCH.window_s)
            break;
        of[n++] = next;
    }
    return n;
}

/* One side of a boundary between two of the night's shots. */
struct side {
    int n;
    size_t of[MOST_WINDOW];     /* from the boundary on */
    double course[MOST_WINDOW]; /* what quiet tiles did since the first of them: dusk falls */
};

/* quiet: tiles that took no more than this step at the boundary. */
static void find_course(const struct dw_work *w, const struct dw_night *g, struct side *s,
                        const double *step, double quiet)
{
    size_t tiles = (size_t)w->tiles;
    const float *here = g->light + s->of[0] * tiles;
    for (int i = 0; i < s->n; i++) {
        const float *there = g->light + s->of[i] * tiles;
        size_t n = 0;
        for (size_t k = 0; k < tiles; k++)
            if (step[k] <= quiet && isfinite(there[k]))
                g->work[n++] = (double)there[k] - (double)here[k];
        s->course[i] = n > 0 ? dw_median(g->work, n) : 0;
    }
}

/* The light that a tile keeps on one side, all but a few times to within `near`; NAN where it keeps
 * none. Without the lamp it falls with the dusk. The least that a burnt-out lamp can be falls as
 * the camera opens, while the lamp may well be as bright as at the boundary. */
static double kept_light(const struct dw_work *w, const struct dw_night *g, const struct side *s,
                         size_t k, bool lit, double near)
{
    double known[MOST_WINDOW] = {0}, work[MOST_WINDOW];
    double here = (double)g->light[s->of[0] * (size_t)w->tiles + k];
    int n = 0, kept = 0;
    for (int i = 0; i < s->n; i++) {
        size_t at = s->of[i] * (size_t)w->tiles + k;
        double v = (double)g->light[at] - (lit ? 0 : s->course[i]);
        if (lit && g->burnt[at])
            v = fmax(v, here);
        if (isfinite(v))
            known[n++] = v;
    }
    memcpy(work, known, (size_t)n * sizeof *work);
    double middle = dw_median(work, (size_t)n);
    for (int i = 0; i < n; i++)
        kept += fabs(known[i] - middle) < near;
    return kept >= (1 - SWITCH.strays) * s->n ? middle : (double)NAN;
}

/* Whether the step of tile k to the night's shot j is more than a car's passing: it was so in the
 * shot before the last, and is so in the next one. There are more shots to either side of j. */
static bool is_leap(const struct dw_work *w, const struct dw_night *g, size_t j, size_t k)
{
    size_t tiles = (size_t)w->tiles;
    const float *light = g->light + j * tiles + k;
    double before = (double)light[-(ptrdiff_t)tiles], after = (double)light[0];
    double earlier = (double)light[-2 * (ptrdiff_t)tiles], later = (double)light[tiles];
    double near = 0.5 * fabs(after - before);
    return fabs(earlier - before) < near && fabs(later - after) < near;
}

void dw_count_leaps(const struct dw_work *w, const struct dw_night *g, size_t j,
                    const bool *stands_before, const bool *stands_after, double *step,
                    struct dw_leaps *leaps)
{
    size_t tiles = (size_t)w->tiles;
    struct side past, next;
    past.n = stretch(w, g, j, false, past.of);
    next.n = stretch(w, g, j, true, next.of);
    if (w->pose[g->shot[j]] != w->pose[g->shot[j - 1]] || past.n < SWITCH.least_window ||
        next.n < SWITCH.least_window)
        return;
    const float *before = g->light + (j - 1) * tiles, *after = g->light + j * tiles;
    for (size_t k = 0; k < tiles; k++)
        step[k] = fabs((double)after[k] - (double)before[k]);
    double quiet = dw_lower_quartile(step, tiles, g->work);
    bool course = false; /* asked for only where it matters: nearly never */
    for (size_t k = 0; k < tiles; k++) {
        if (!(step[k] > quiet + SWITCH.step))
            continue;
        bool on = after[k] > before[k];
        /* the lit side may be burnt out and even brighter; the dark side must be known */
        if (g->burnt[(on ? j - 1 : j) * tiles + k] || !(on ? stands_after : stands_before)[k])
            continue;
        leaps[k].all += is_leap(w, g, j, k);
        if (!course) {
            find_course(w, g, &past, step, quiet);
            find_course(w, g, &next, step, quiet);
            course = true;
        }
        double near = SWITCH.near * step[k];
        double lasts = kept_light(w, g, &next, k, on, near) - kept_light(w, g, &past, k, !on, near);
        if ((on ? lasts : -lasts) > SWITCH.lasting * step[k])
            leaps[k].kept++;
    }
}
