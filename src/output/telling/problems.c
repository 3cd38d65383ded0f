/* problems.c: see problems.h. */
#include "output/telling/problems.h"

#include "output/telling/kinds.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOWN_WHOLE 3 /* runs up to this length are shown in full */
#define CREEP_OVER 2  /* clean shots that do not end what creeps */
#define CREEP_APART 8 /* shots from what creeps to a clean one that shows the difference */
#define COMPARE_REACH 3

int dw_problem_leading(const struct dw_ledger_row *row)
{
    const uint32_t worst = row->faults & row->worst, from = worst ? worst : row->faults;
    for (int i = 0; i < DW_FAULT_COUNT; i++)
        if (from >> i & 1)
            return i;
    return -1;
}

/* Whether shot i still belongs to the run whose last shot so far is r->last. */
static bool goes_on(const struct dw_decision *d, const struct dw_problem_run *r, size_t i)
{
    size_t clean = 0;
    if (!dw_kind(r->fault)->creeps)
        return i == r->last + 1;
    for (size_t k = r->last + 1; k < i; k++)
        clean += !(d->ledger[k].faults >> r->fault & 1);
    return clean <= CREEP_OVER;
}

static void count(const struct dw_decision *d, struct dw_problem_run *r)
{
    r->n = r->left_out = 0;
    for (size_t i = r->first; i <= r->last; i++)
        if (d->ledger[i].faults >> r->fault & 1) {
            r->n++;
            r->left_out += !d->ledger[i].use;
        }
}

static int by_first(const void *a, const void *b)
{
    const struct dw_problem_run *p = a, *q = b;
    return (p->first > q->first) - (p->first < q->first);
}

static size_t find_runs(const struct dw_decision *d, struct dw_problem_run *run, size_t *found)
{
    size_t n = 0, latest[DW_FAULT_COUNT]; /* per fault: its run + 1 */
    memset(latest, 0, sizeof latest);
    for (size_t i = 0; i < d->n_shots; i++) {
        int lead = dw_problem_leading(&d->ledger[i]);
        if (lead < 0)
            continue;
        ++*found;
        double severity = d->ledger[i].severity;
        struct dw_problem_run *r = latest[lead] ? &run[latest[lead] - 1] : NULL;
        if (!r || !goes_on(d, r, i)) {
            r = &run[n];
            *r = (struct dw_problem_run){
                .fault = lead, .first = i, .worst = i, .severity = severity};
            latest[lead] = ++n;
        }
        r->last = i;
        if (severity > r->severity) {
            r->severity = severity;
            r->worst = i;
        }
    }
    for (size_t k = 0; k < n; k++)
        count(d, &run[k]);
    qsort(run, n, sizeof *run, by_first);
    return n;
}

enum dw_status dw_problem_runs(const struct dw_decision *d, struct dw_problem_run **run, size_t *n,
                               size_t *found, struct dw_error *err)
{
    *n = *found = 0;
    *run = calloc(d->n_shots ? d->n_shots : 1, sizeof **run);
    if (!*run)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the faults of %zu shots", d->n_shots);
    *n = find_runs(d, *run, found);
    return DW_OK;
}

/* A clean shot near the run, at most a few away, for the eye; n_shots if there is none or it would
 * not help. What creeps is there, if faintly, before it is called a fault: so farther off. */
static size_t to_compare(const struct dw_decision *d, const struct dw_problem_run *r)
{
    const struct dw_kind *kind = dw_kind(r->fault);
    const size_t near = kind->creeps ? CREEP_APART : 1;
    if (!kind->comparable)
        return d->n_shots;
    for (size_t k = near; k < near + COMPARE_REACH; k++) {
        if (r->first >= k && d->ledger[r->first - k].faults == 0)
            return r->first - k;
        if (r->last + k < d->n_shots && d->ledger[r->last + k].faults == 0)
            return r->last + k;
    }
    return d->n_shots;
}

/* The pictures of one run; gives their number, at most SHOWN_WHOLE + 1. to may be NULL. */
static size_t add_run(const struct dw_decision *d, const struct dw_problem_run *r, size_t number,
                      struct dw_problem *to)
{
    const size_t size = r->last - r->first + 1;
    struct dw_problem p[SHOWN_WHOLE + 1];
    size_t n = 0, other = to_compare(d, r);
    if (other < d->n_shots)
        p[n++] = (struct dw_problem){.shot = other, .role = DW_TO_COMPARE};
    for (size_t i = r->first; i <= r->last; i++) {
        if (size <= SHOWN_WHOLE)
            p[n++] = (struct dw_problem){.shot = i, .role = DW_ONE_OF_FEW};
        else if (i == r->first || i == r->worst || i == r->last)
            p[n++] = (struct dw_problem){.shot = i,
                                         .role = i == r->worst   ? DW_WORST_OF_RUN
                                                 : i == r->first ? DW_FIRST_OF_RUN
                                                                 : DW_LAST_OF_RUN};
    }
    for (size_t k = 0; k < n; k++) {
        const bool compared = p[k].role == DW_TO_COMPARE;
        p[k].run = number;
        p[k].run_size = r->n;
        p[k].beside = p[k + compared].shot;
        p[k].like = dw_kind(r->fault)->as_taken && other < d->n_shots ? other : p[k].shot;
        if (k + 1 < n && !compared) {
            p[k].unshown = p[k + 1].shot - p[k].shot - 1;
            p[k].next = p[k + 1].role;
        }
        if (to)
            to[k] = p[k];
    }
    return n;
}

struct ranked {
    const struct dw_problem_run *run;
    size_t number;
};

static int worst_first(const void *a, const void *b)
{
    const struct dw_problem_run *p = ((const struct ranked *)a)->run,
                                *q = ((const struct ranked *)b)->run;
    int c = (p->severity < q->severity) - (p->severity > q->severity);
    return c ? c : (p->first > q->first) - (p->first < q->first);
}

enum dw_status dw_problems(const struct dw_decision *d, const struct dw_problem_run *run, size_t n,
                           size_t most, struct dw_problem **list, size_t *n_list,
                           struct dw_error *err)
{
    struct ranked *order = calloc(n ? n : 1, sizeof *order);
    bool *shown = calloc(n ? n : 1, sizeof *shown);
    struct dw_problem *out = calloc(most ? most : 1, sizeof *out);
    *list = NULL;
    *n_list = 0;
    if (!order || !shown || !out) {
        free(out);
        free(order);
        free(shown);
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the contact sheet of %zu shots",
                       d->n_shots);
    }
    for (size_t i = 0; i < n; i++)
        order[i] = (struct ranked){&run[i], i};
    qsort(order, n, sizeof *order, worst_first);
    size_t pictures = 0;
    for (size_t i = 0; i < n; i++) {
        size_t more = add_run(d, order[i].run, 0, NULL);
        shown[order[i].number] = pictures + more <= most;
        pictures += shown[order[i].number] ? more : 0;
    }
    for (size_t i = 0; i < n; i++)
        if (shown[i])
            *n_list += add_run(d, &run[i], i, out + *n_list);
    free(order);
    free(shown);
    *list = out;
    return DW_OK;
}

static int by_time(const void *a, const void *b)
{
    const struct dw_problem *p = a, *q = b;
    int c = (p->beside > q->beside) - (p->beside < q->beside);
    return c ? c : (q->role == DW_TO_COMPARE) - (p->role == DW_TO_COMPARE);
}

void dw_problems_by_time(struct dw_problem *list, size_t n)
{
    qsort(list, n, sizeof *list, by_time);
}

const char *dw_problem_how_bad(double severity)
{
    return severity >= 0.75 ? "spoiled" : severity >= DW_CLEARLY_SEEN ? "clearly seen" : "slight";
}

/* Whether shot i is shown where the camera stood. */
static bool is_put_back(const struct dw_decision *d, size_t i)
{
    uint32_t number = d->ledger[i].frame;
    if (d->ledger[i].put_right) /* also one that the others are moved to */
        return true;
    const struct dw_frame *f = number > 0 && number <= d->n_frames ? &d->frame[number - 1] : NULL;
    for (int k = 0; f && k < f->n_sources; k++) {
        const struct dw_source *s = &f->source[k];
        if (s->shot == i && (s->shift_x != 0 || s->shift_y != 0 || s->roll_deg != 0))
            return true;
    }
    return false;
}

bool dw_problem_shot_is_mended(const struct dw_decision *d, size_t i, int fault)
{
    const struct dw_ledger_row *row = &d->ledger[i];
    const uint32_t bit = (uint32_t)1 << fault;
    if (!row->use)
        return row->done == DW_DONE_BRIDGED;
    return (bit & DW_MOVED && is_put_back(d, i)) || (bit & DW_GAP && row->bridged_before > 0);
}

bool dw_problem_is_mended(const struct dw_decision *d, const struct dw_problem_run *run)
{
    for (size_t i = run->first; i <= run->last; i++)
        if (d->ledger[i].faults >> run->fault & 1 && !dw_problem_shot_is_mended(d, i, run->fault))
            return false;
    return true;
}

static const char *name_of(const struct dw_shots *shots, uint32_t shot)
{
    return shot < shots->n ? shots->shot[shot].name : "a neighbour";
}

/* "mixed from A and B", "A shown again". */
static void bridge_words(const struct dw_shots *shots, const uint32_t bridge[2], char out[200])
{
    if (bridge[0] == bridge[1])
        snprintf(out, 200, "%.80s is shown again in its place", name_of(shots, bridge[0]));
    else
        snprintf(out, 200, "mixed from %.80s and %.80s in its place", name_of(shots, bridge[0]),
                 name_of(shots, bridge[1]));
}

void dw_problem_remedy(const struct dw_shots *shots, const struct dw_decision *d, size_t i,
                       char out[300])
{
    const struct dw_ledger_row *row = &d->ledger[i];
    char how[200];
    int n = 0;
    if (row->use && row->frame > 0)
        n = snprintf(out, 300, "Used in frame %lu", (unsigned long)row->frame);
    switch (row->done) {
    case DW_DONE_BRIDGED:
        bridge_words(shots, row->bridge, how);
        snprintf(out, 300, "Left out; %s.", how);
        return;
    case DW_DONE_LEFT_OUT:
        snprintf(out, 300, "Left out, with no frame in its place.");
        return;
    case DW_DONE_SPARE:
        snprintf(out, 300, "Good enough to be used, but no frame needs it.");
        return;
    case DW_DONE_SHOWN:
        break;
    }
    if (row->bridged_before > 0)
        snprintf(out + n, 300 - (size_t)n, "; %lu frame%s before it %s bridged.",
                 (unsigned long)row->bridged_before, row->bridged_before == 1 ? "" : "s",
                 row->bridged_before == 1 ? "is" : "are");
    else if (row->faults & DW_MOVED && is_put_back(d, i))
        snprintf(out + n, 300 - (size_t)n, ", moved back to where the camera stood before.");
    else if (row->faults & (DW_BRIGHT | DW_DARK) && isfinite(row->gain_stops))
        snprintf(out + n, 300 - (size_t)n, ", its light brought into line.");
    else
        snprintf(out + n, 300 - (size_t)n, ".");
}

void dw_problem_run_remedy(const struct dw_shots *shots, const struct dw_decision *d,
                           const struct dw_problem_run *run, char out[300])
{
    size_t bridged = 0, kept = run->n - run->left_out;
    if (run->n == 1) {
        dw_problem_remedy(shots, d, run->worst, out);
        return;
    }
    for (size_t i = run->first; i <= run->last; i++)
        bridged += (d->ledger[i].faults >> run->fault & 1) && !d->ledger[i].use &&
                   d->ledger[i].done == DW_DONE_BRIDGED;
    int n = 0;
    char all[40] = "Both";
    if (run->n != 2)
        snprintf(all, sizeof all, "All %zu", run->n);
    if (run->left_out == 0)
        n = snprintf(out, 300, "%s are kept in the sequence", all);
    else if (kept == 0)
        n = snprintf(out, 300, "%s are left out", all);
    else
        n = snprintf(out, 300, "%zu of %zu are left out", run->left_out, run->n);
    if (run->left_out > 0 && bridged == run->left_out)
        snprintf(out + n, 300 - (size_t)n, "; their places are bridged from the neighbours.");
    else if (run->left_out > 0 && bridged == 0)
        snprintf(out + n, 300 - (size_t)n, "; the sequence goes on without them.");
    else if (run->left_out > 0)
        snprintf(out + n, 300 - (size_t)n, "; %zu of their places are bridged.", bridged);
    else
        snprintf(out + n, 300 - (size_t)n, ".");
}

void dw_problem_reason(const struct dw_ledger_row *row, char out[300])
{
    int lead = dw_problem_leading(row);
    const char *text = row->reason[0] ? row->reason : lead >= 0 ? dw_kind(lead)->words : "";
    snprintf(out, 299, "%s", text);
    size_t n = strlen(out);
    if (n > 0 && out[n - 1] != '.')
        strcpy(out + n, ".");
    if (out[0] >= 'a' && out[0] <= 'z')
        out[0] = (char)(out[0] - 'a' + 'A');
}
