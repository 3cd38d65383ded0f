/* level.c: shots that are far too bright or too dark for the camera's habit at that light; a brief
 * light over all of the picture, which looks like it, is told by the settings. */
#include "decide/faults/judges.h"
#include "base/robust.h"

#include <math.h>

/* Rules of docs/method/faults.md. Stops of raw level above or below the camera's habit. */
#define BRIGHT_STOPS 1.2
#define DARK_STOPS (-1.6)
#define BRIGHT_CLIPPED 0.35 /* share of the tiles that are clipped beyond what is usual there */
#define STEP_SHARE 0.4      /* of how far it stands out, in one step at either end */
#define JUMP_STOPS 0.6      /* a lone shot off by this, and by so many times what neighbouring */
#define JUMP_USUAL 1.7      /* levels differ by (their 90th percentile), stands out as well */
#define DARK_DEG (-3)       /* below it a light can be brighter than what the sky gives */
#define SETTING_STEP                                                                               \
    0.4 /* shares of that: settings that a brief light changes by more are to blame */
#define SETTING_OFF 0.15 /* or that are so far from the mean of their neighbours' */
#define LOST_CLIPPED 0.9 /* nothing is left to see, whatever the neighbours are like */

/* Level in the file of what the shot shows, stops below white; and share of clipped tiles. */
static double raw_level(const struct dw_work *w, size_t i)
{
    return w->whole[i] - w->ev[i];
}

static double clipped_tiles(const struct dw_work *w, size_t i)
{
    const struct dw_measure *m = &w->survey->measure[i];
    int n = 0;
    for (int k = 0; k < w->tiles; k++)
        n += m->tile[k].clipped > 0.02f;
    return (double)n / w->tiles;
}

static size_t most_reach(const struct dw_work *w)
{
    return (size_t)fmin(60, fmax(15, 3600 / w->interval));
}

/* Raw levels of the shots to one side, nearest first, up to an hour's; returns how many. */
static size_t side_levels(const struct dw_work *w, size_t i, int side, double *level)
{
    size_t reach = most_reach(w), n = 0;
    for (size_t d = 1; d <= reach; d++) {
        if (side < 0 ? d > i : i + d >= w->n)
            break;
        size_t j = side < 0 ? i - d : i + d;
        if (isfinite(w->key[j]))
            level[n++] = raw_level(w, j);
    }
    return n;
}

/* What two comparisons agree on: the smaller if they have one sign, else nothing. */
static double agreed(double a, double b)
{
    if ((a > 0) != (b > 0))
        return 0;
    return fabs(a) < fabs(b) ? a : b;
}

/* The largest step between two shots in a row that leads from shot i to one side, up to where the
 * level has come back by half of `off`, or to the last one known. */
static double step_out(const struct dw_work *w, const struct dw_ledger_row *ledger, size_t i,
                       int side, double off)
{
    double level = raw_level(w, i), last = level, most = 0;
    size_t reach = most_reach(w);
    for (size_t d = 1; d <= reach; d++) {
        if (side < 0 ? d > i : i + d >= w->n)
            break;
        size_t j = side < 0 ? i - d : i + d;
        if (!isfinite(w->key[j]) || (ledger[j].faults & DW_FLASH))
            continue;
        double here = raw_level(w, j), step = off > 0 ? last - here : here - last;
        most = fmax(most, step);
        last = here;
        if ((off > 0 ? level - here : here - level) > 0.5 * fabs(off))
            break;
    }
    return most;
}

/* How far a shot stands out from the camera's habit. The habit is what came before *and* what came
 * after: a lamp that goes on for the evening changes the one, dusk at the end of the camera's range
 * lies between the two, and only a spoiled shot stands out from both. The first and last shots of a
 * shoot have one side only: they must stand out from their neighbour and from where their two
 * neighbours' trend leads as well, or dusk would be a fault of the shoot's first shot. Light that
 * creeps away and back, as between the end of dusk and moonrise, is no fault either: what is
 * exposed wrongly begins and ends with a step. */
static double stands_out(const struct dw_work *w, const struct dw_ledger_row *ledger, size_t i,
                         double *work)
{
    double level = raw_level(w, i), off[2] = {0, 0}, edge = 0;
    bool known[2];
    for (int k = 0; k < 2; k++) {
        size_t n = side_levels(w, i, k ? 1 : -1, work);
        known[k] = n > 0;
        if (n == 0)
            continue;
        edge = agreed(level - work[0], n > 1 ? level - (2 * work[0] - work[1]) : level - work[0]);
        off[k] = level - dw_median(work, n); /* reorders work */
    }
    if (known[0] && known[1]) {
        double both = agreed(off[0], off[1]);
        return fmin(step_out(w, ledger, i, -1, both), step_out(w, ledger, i, 1, both)) <
                       STEP_SHARE * fabs(both)
                   ? 0
                   : both;
    }
    return agreed(known[0] ? off[0] : off[1], edge);
}

/* How far a single shot jumps from both its neighbours, if it jumps back: a camera at the end of
 * its range cannot be off by more. 0 unless that stands out from how much levels jump around it. */
static double jumps(const struct dw_work *w, size_t i, double *work)
{
    double level = raw_level(w, i), near[2] = {(double)NAN, (double)NAN};
    size_t n = 0;
    for (int side = 0; side < 2; side++) {
        double last = (double)NAN;
        for (size_t d = 1; d <= 30 && (side ? i + d < w->n : d <= i); d++) {
            size_t j = side ? i + d : i - d;
            if (!isfinite(w->key[j]))
                continue;
            double here = raw_level(w, j);
            if (isfinite(last))
                work[n++] = fabs(here - last);
            else
                near[side] = here;
            last = here;
        }
    }
    if (!isfinite(near[0]) || !isfinite(near[1]) || n < 10)
        return 0;
    double off = agreed(level - near[0], level - near[1]);
    return fabs(off) > fmax(JUMP_STOPS, JUMP_USUAL * dw_quantile(work, n, 0.9)) ? off : 0;
}

/* In the dark, a shot that stands out from both neighbours with settings between theirs, as they
 * follow the dusk: not the exposure was wrong, light came and went. By day nothing outshines the
 * sun: a stuck aperture. */
static bool brief_light(const struct dw_work *w, size_t i, double off)
{
    if (i == 0 || i + 1 >= w->n || !w->recorded[i] || w->alt[i] > DARK_DEG)
        return false;
    for (size_t j = i - 1; j <= i + 1; j += 2)
        if (!isfinite(w->key[j]) || !w->recorded[j] ||
            fabs(w->ev[j] - w->ev[i]) > SETTING_STEP * off ||
            raw_level(w, i) - raw_level(w, j) < 0.5 * off)
            return false;
    return fabs(w->ev[i] - 0.5 * (w->ev[i - 1] + w->ev[i + 1])) < SETTING_OFF * off;
}

/* The larger median share of clipped tiles on either side: a lit room clips all evening. */
static double usual_clipped(const struct dw_work *w, size_t i, double *work)
{
    double most = 0;
    for (int side = 0; side < 2; side++) {
        size_t n = 0;
        for (size_t d = 1; d <= 15 && (side ? i + d < w->n : d <= i); d++) {
            size_t j = side ? i + d : i - d;
            if (isfinite(w->key[j]))
                work[n++] = clipped_tiles(w, j);
        }
        if (n > 0)
            most = fmax(most, dw_median(work, n));
    }
    return most;
}

enum dw_status dw_judge_level(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    double *work = DW_TAKE(&w->arena, w->n, double);
    if (!work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    for (size_t i = 0; i < w->n; i++) {
        if (!isfinite(w->key[i]) || (ledger[i].faults & DW_FLASH))
            continue;
        double off = w->params->few ? 0 : stands_out(w, ledger, i, work),
               clipped = clipped_tiles(w, i);
        double more = clipped > BRIGHT_CLIPPED ? clipped - usual_clipped(w, i, work) : 0;
        double jump = w->params->few ? 0 : jumps(w, i, work);
        if (agreed(jump, 2 * off) != jump) /* the hour's habit must say so as well */
            jump = 0;
        if (off > BRIGHT_STOPS || jump > 0 || (off > BRIGHT_STOPS / 3 && more > BRIGHT_CLIPPED) ||
            clipped > LOST_CLIPPED) {
            off = fmax(off, jump);
            if (brief_light(w, i, off)) {
                dw_blame(&ledger[i], DW_FLASH, 0.3 + 0.2 * off,
                         "a brief light over the whole picture, %.1f stops that its settings do "
                         "not explain",
                         off);
                continue;
            }
            if (off > 0.1)
                dw_blame(
                    &ledger[i], DW_BRIGHT, 0.3 + 0.2 * off + clipped,
                    "%.1f stops brighter than its neighbours, %.0f %% of the picture is clipped",
                    off, 100 * clipped);
            else
                dw_blame(&ledger[i], DW_BRIGHT, 0.3 + 0.2 * off + clipped,
                         "%.0f %% of the picture is clipped", 100 * clipped);
        } else if (off < DARK_STOPS || jump < 0) {
            off = fmin(off, jump);
            dw_blame(&ledger[i], DW_DARK, 0.3 + 0.2 * -off, "%.1f stops darker than its neighbours",
                     -off);
        }
    }
    return DW_OK;
}
