/* faults.c: judges every shot before the steadying, so that no spoiled one pulls it. */
#include "decide/steps.h"
#include "decide/whittaker.h"
#include "base/robust.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Rules of docs/method.md, faults. Stops of raw level above or below the camera's habit. */
#define BRIGHT_STOPS 1.2
#define DARK_STOPS (-1.6)
#define BRIGHT_CLIPPED 0.35 /* share of the tiles that are clipped */
#define LOST_CLIPPED 0.9    /* nothing is left to see, whatever the neighbours are like */
#define GAP_INTERVALS 1.6   /* steps of time that count as one missing frame */

/* Names in the order of the bits of enum dw_fault. */
static const char *const fault_names[DW_FAULT_COUNT] = {
    "unreadable", "no-exposure", "gap",  "bright", "dark",
    "flash",      "soft",        "haze", "cloud",  "moved"};

const char *dw_fault_name(int i)
{
    return i >= 0 && i < DW_FAULT_COUNT ? fault_names[i] : NULL;
}

/* Adds a fault; the sentence of the worst one stays. */
static void blame(struct dw_ledger_row *row, enum dw_fault fault, double severity,
                  const char *sentence)
{
    row->faults |= (uint32_t)fault;
    if (severity > row->severity || !row->reason[0])
        snprintf(row->reason, sizeof row->reason, "%s", sentence);
    row->severity = fmax(row->severity, fmin(severity, 1));
}

static void judge_record(struct dw_work *w, struct dw_ledger_row *ledger)
{
    char text[200];
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shot *s = &w->shots->shot[i];
        const struct dw_measure *m = &w->survey->measure[i];
        if (!s->readable || !m->usable) {
            const char *why = !s->readable ? s->problem : m->problem;
            snprintf(text, sizeof text, "cannot be decoded: %.170s", why[0] ? why : "no picture");
            blame(&ledger[i], DW_UNREADABLE, 1, text);
        }
        if (!w->recorded[i] && !w->no_records && s->readable) {
            snprintf(text, sizeof text, "%s not recorded; judged from the picture",
                     !s->has_shutter && !s->has_iso ? "shutter time and ISO are"
                     : !s->has_shutter              ? "the shutter time is"
                     : !s->has_iso                  ? "the ISO is"
                                                    : "the exposure is");
            blame(&ledger[i], DW_NO_EXPOSURE, 0.2, text);
        }
        double step = i ? (w->utc[i] - w->utc[i - 1]) / w->interval : 1;
        /* a step that its own neighbours share is a change of interval, not a gap */
        double next = i + 1 < w->n ? (w->utc[i + 1] - w->utc[i]) / w->interval : 1;
        double last = i > 1 ? (w->utc[i - 1] - w->utc[i - 2]) / w->interval : next;
        double usual = fmax(1, fmin(next, last));
        if (step > GAP_INTERVALS * usual) {
            double missing = round(step / usual) - 1;
            snprintf(text, sizeof text,
                     "%.0f frame%s missing before this one (%.0f s without a picture)", missing,
                     missing > 1 ? "s are" : " is", step * w->interval);
            blame(&ledger[i], DW_GAP, fmin(0.1 * missing, 1), text);
        }
    }
}

/* Level in the file of the shot's key, stops below white; and share of clipped tiles. */
static double raw_level(const struct dw_work *w, size_t i)
{
    return w->key[i] - w->ev[i];
}

static double clipped_tiles(const struct dw_work *w, size_t i)
{
    const struct dw_measure *m = &w->survey->measure[i];
    int n = 0;
    for (int k = 0; k < w->tiles; k++)
        n += m->tile[k].clipped > 0.02f;
    return (double)n / w->tiles;
}

/* Raw levels of the shots to one side, nearest first, up to an hour's; returns how many. */
static size_t side_levels(const struct dw_work *w, size_t i, int side, double *level)
{
    size_t reach = (size_t)fmin(60, fmax(15, 3600 / w->interval)), n = 0;
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

/* How far a shot stands out from the camera's habit. The habit is what came before *and* what came
 * after: a lamp that goes on for the evening changes the one, dusk at the end of the camera's range
 * lies between the two, and only a spoiled shot stands out from both. The first and last shots of a
 * shoot have one side only: they must stand out from their neighbour and from where their two
 * neighbours' trend leads as well, or dusk would be a fault of the shoot's first shot. */
static double stands_out(const struct dw_work *w, size_t i, double *work)
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
    if (known[0] && known[1])
        return agreed(off[0], off[1]);
    return agreed(known[0] ? off[0] : off[1], edge);
}

static void judge_level(struct dw_work *w, struct dw_ledger_row *ledger, double *work)
{
    char text[200];
    for (size_t i = 0; i < w->n; i++) {
        if (!isfinite(w->key[i]))
            continue;
        double off = w->params->few ? 0 : stands_out(w, i, work), clipped = clipped_tiles(w, i);
        if (off > BRIGHT_STOPS || (off > BRIGHT_STOPS / 3 && clipped > BRIGHT_CLIPPED) ||
            clipped > LOST_CLIPPED) {
            if (off > 0.1)
                snprintf(
                    text, sizeof text,
                    "%.1f stops brighter than its neighbours, %.0f %% of the picture is clipped",
                    off, 100 * clipped);
            else
                snprintf(text, sizeof text, "%.0f %% of the picture is clipped", 100 * clipped);
            blame(&ledger[i], DW_BRIGHT, 0.3 + 0.2 * off + clipped, text);
        } else if (off < DARK_STOPS) {
            snprintf(text, sizeof text, "%.1f stops darker than its neighbours", -off);
            blame(&ledger[i], DW_DARK, 0.3 + 0.2 * -off, text);
        }
    }
}

enum dw_status dw_faults(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    w->usable = DW_TAKE(&w->arena, w->n, bool);
    double *work = DW_TAKE(&w->arena, w->n, double);
    if (!w->usable || !work)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    judge_record(w, ledger);
    judge_level(w, ledger, work);
    for (size_t i = 0; i < w->n; i++) {
        const uint32_t spoiled = DW_UNREADABLE | DW_BRIGHT | DW_DARK;
        enum dw_word word = w->params->word ? w->params->word[i] : DW_WORD_NONE;
        bool decoded = !(ledger[i].faults & DW_UNREADABLE) && isfinite(w->key[i]);
        /* what a person rejects teaches nothing either; a spoiled shot that is wanted all the same
         * is shown, but does not pull the others */
        w->usable[i] = decoded && !(ledger[i].faults & spoiled) && word != DW_WORD_DROP;
        ledger[i].use = decoded && (word == DW_WORD_USE ||
                                    (word == DW_WORD_NONE && !(ledger[i].faults & spoiled)));
        if (word == DW_WORD_DROP && !ledger[i].reason[0])
            snprintf(ledger[i].reason, sizeof ledger[i].reason, "left out by hand");
    }
    return DW_OK;
}
