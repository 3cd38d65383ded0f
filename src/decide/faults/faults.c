/* faults.c: the order of the judges, and what becomes of a shot that one of them blames. */
#include "decide/faults/judges.h"
#include "decide/faults/stars.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

typedef enum dw_status judge(struct dw_work *, struct dw_ledger_row *, struct dw_error *);

/* Before the steadying. Later judges may look at what earlier ones blamed. */
static judge *const before[] = {dw_judge_record, dw_judge_flash, dw_judge_level, dw_judge_moved};

/* After it: w->error is known, so that key - error is the scene's own light. One fault explains
 * others: shots with a code of DW_SPOILED are not judged again.
 * Poses are known by then: soft and haze compare a shot with others of the same pose. */
static judge *const after[] = {dw_judge_soft, dw_judge_soft_stars, dw_judge_reflection,
                               dw_judge_haze, dw_judge_cloud};

/* Names in the order of the bits of enum dw_fault. */
static const char *const fault_names[DW_FAULT_COUNT] = {
    "unreadable", "no-exposure", "gap",   "bright", "dark",      "flash",
    "soft",       "haze",        "cloud", "moved",  "reflection"};

const char *dw_fault_name(int i)
{
    return i >= 0 && i < DW_FAULT_COUNT ? fault_names[i] : NULL;
}

void dw_blame(struct dw_ledger_row *row, enum dw_fault fault, double severity, const char *fmt, ...)
{
    row->faults |= (uint32_t)fault;
    if (severity > row->severity || !row->reason[0]) {
        va_list ap;
        va_start(ap, fmt);
        vsnprintf(row->reason, sizeof row->reason, fmt, ap);
        va_end(ap);
        row->worst = (uint32_t)fault;
    }
    row->severity = fmax(row->severity, fmin(severity, 1));
}

static enum dw_status call(judge *const *list, size_t n, struct dw_work *w,
                           struct dw_ledger_row *ledger, struct dw_error *err)
{
    enum dw_status status = DW_OK;
    for (size_t k = 0; k < n && status >= 0; k++)
        status = list[k](w, ledger, err);
    return status;
}

enum dw_status dw_faults(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err)
{
    w->usable = DW_TAKE(&w->arena, w->n, bool);
    if (!w->usable)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    enum dw_status status = call(before, sizeof before / sizeof *before, w, ledger, err);
    for (size_t i = 0; i < w->n && status >= 0; i++) {
        enum dw_word word = w->params->word ? w->params->word[i] : DW_WORD_NONE;
        bool decoded = !(ledger[i].faults & DW_UNREADABLE) && isfinite(w->key[i]);
        bool sound = decoded && !(ledger[i].faults & DW_SPOILED);
        /* what a person rejects teaches nothing either; a spoiled shot that is wanted all the same
         * is shown, but does not pull the others */
        w->usable[i] = sound && word != DW_WORD_DROP;
        ledger[i].verdict = sound;
        ledger[i].use = word == DW_WORD_NONE ? sound : decoded && word == DW_WORD_USE;
        if (word == DW_WORD_DROP && !ledger[i].reason[0])
            snprintf(ledger[i].reason, sizeof ledger[i].reason, "left out by hand");
    }
    return status;
}

enum dw_status dw_faults_after(struct dw_work *w, struct dw_ledger_row *ledger,
                               struct dw_error *err)
{
    enum dw_status status = dw_find_stars(w, ledger, err);
    return status < 0 ? status : call(after, sizeof after / sizeof *after, w, ledger, err);
}
