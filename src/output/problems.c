/* problems.c: see problems.h. */
#include "output/problems.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SHOWN_WHOLE 3 /* runs up to this length are shown in full */

struct run {
    size_t first, last, worst; /* shots */
    double severity;
    bool shown;
};

int dw_problem_leading(uint32_t faults)
{
    for (int i = 0; i < DW_FAULT_COUNT; i++)
        if (faults >> i & 1)
            return i;
    return -1;
}

static size_t find_runs(const struct dw_decision *d, struct run *run, size_t *found)
{
    size_t n = 0;
    *found = 0;
    for (size_t i = 0; i < d->n_shots; i++) {
        int lead = dw_problem_leading(d->ledger[i].faults);
        if (lead < 0)
            continue;
        ++*found;
        double severity = d->ledger[i].severity;
        if (n > 0 && run[n - 1].last + 1 == i &&
            dw_problem_leading(d->ledger[i - 1].faults) == lead) {
            struct run *r = &run[n - 1];
            r->last = i;
            if (severity > r->severity) {
                r->severity = severity;
                r->worst = i;
            }
        } else {
            run[n++] = (struct run){i, i, i, severity, false};
        }
    }
    return n;
}

static size_t pictures_of(const struct run *r)
{
    size_t size = r->last - r->first + 1;
    if (size <= SHOWN_WHOLE)
        return size;
    return r->worst == r->first || r->worst == r->last ? 2 : 3;
}

static int worst_first(const void *a, const void *b)
{
    const struct run *p = *(const struct run *const *)a, *q = *(const struct run *const *)b;
    int c = (p->severity < q->severity) - (p->severity > q->severity);
    return c ? c : (p->first > q->first) - (p->first < q->first);
}

/* Marks the worst runs as shown, as many as `most` pictures allow; gives the pictures' number. */
static size_t mark_shown(struct run *run, size_t n, struct run **order, size_t most)
{
    size_t pictures = 0;
    for (size_t i = 0; i < n; i++)
        order[i] = &run[i];
    qsort(order, n, sizeof *order, worst_first);
    for (size_t i = 0; i < n; i++) {
        if (pictures + pictures_of(order[i]) > most)
            continue;
        pictures += pictures_of(order[i]);
        order[i]->shown = true;
    }
    return pictures;
}

static size_t add_run(const struct run *r, size_t number, struct dw_problem *to)
{
    size_t size = r->last - r->first + 1, n = 0;
    for (size_t i = r->first; i <= r->last; i++)
        if (size <= SHOWN_WHOLE || i == r->first || i == r->worst || i == r->last)
            to[n++] = (struct dw_problem){.shot = i, .run = number, .run_size = size};
    for (size_t k = 0; k + 1 < n; k++)
        to[k].unshown = to[k + 1].shot - to[k].shot - 1;
    return n;
}

enum dw_status dw_problems(const struct dw_decision *d, size_t most, struct dw_problem **list,
                           size_t *n, size_t *found, struct dw_error *err)
{
    *list = NULL;
    *n = *found = 0;
    size_t room = d->n_shots ? d->n_shots : 1;
    struct run *run = calloc(room, sizeof *run);
    struct run **order = calloc(room, sizeof *order);
    enum dw_status s = DW_OK;
    size_t runs = run && order ? find_runs(d, run, found) : 0;
    size_t pictures = runs ? mark_shown(run, runs, order, most) : 0;
    struct dw_problem *out = calloc(pictures ? pictures : 1, sizeof *out);
    if (!run || !order || !out) {
        free(out);
        s = dw_fail(err, DW_ERR_MEMORY, "no memory for the contact sheet of %zu shots", d->n_shots);
    } else {
        size_t shown = 0;
        for (size_t i = 0; i < runs; i++)
            if (run[i].shown)
                *n += add_run(&run[i], shown++, out + *n);
        *list = out;
    }
    free(run);
    free(order);
    return s;
}

/* The frame nearest in time; NULL without frames. They are in order of time. */
static const struct dw_frame *nearest_frame(const struct dw_decision *d, double utc_s)
{
    size_t low = 0, high = d->n_frames;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (d->frame[middle].utc_s < utc_s)
            low = middle + 1;
        else
            high = middle;
    }
    if (d->n_frames == 0)
        return NULL;
    if (low == d->n_frames ||
        (low > 0 && utc_s - d->frame[low - 1].utc_s < d->frame[low].utc_s - utc_s))
        low--;
    return &d->frame[low];
}

/* Frames in the time since the last shot that has one: nothing was shot for them. */
static size_t bridged_before(const struct dw_decision *d, size_t i)
{
    size_t before = i, n = 0;
    while (before > 0 && d->ledger[--before].frame == 0)
        ;
    uint32_t last = before < i ? d->ledger[before].frame : 0;
    if (last == 0 || d->ledger[i].frame <= last)
        return 0;
    for (uint32_t number = last + 1; number < d->ledger[i].frame && number <= d->n_frames; number++)
        n += d->frame[number - 1].utc_s - d->ledger[i - 1].utc_s >
             d->facts.interval_s / 2; /* not the frame of a dropped shot */
    return n;
}

void dw_problem_remedy(const struct dw_decision *d, size_t i, char out[200])
{
    const struct dw_ledger_row *row = &d->ledger[i];
    const struct dw_frame *f = nearest_frame(d, row->utc_s);
    if (!row->use) {
        bool there = f && fabs(f->utc_s - row->utc_s) < 0.75 * d->facts.interval_s;
        if (there)
            snprintf(out, 200, "Left out; frame %lu made from %s.", (unsigned long)f->number,
                     f->n_sources > 1 ? "its neighbours" : "a neighbour");
        else
            snprintf(out, 200, "Left out.");
        return;
    }
    size_t bridged = row->faults & DW_GAP ? bridged_before(d, i) : 0;
    int n = row->frame > 0 ? snprintf(out, 200, "Used in frame %lu", (unsigned long)row->frame)
                           : snprintf(out, 200, "Good enough to be used, but no frame needs it");
    if (bridged > 0)
        snprintf(out + n, 200 - (size_t)n, "; %zu frame%s before it %s bridged.", bridged,
                 bridged == 1 ? "" : "s", bridged == 1 ? "is" : "are");
    else if (row->faults & (DW_BRIGHT | DW_DARK) && isfinite(row->gain_stops) && row->frame > 0)
        snprintf(out + n, 200 - (size_t)n, ", its light brought into line.");
    else
        snprintf(out + n, 200 - (size_t)n, ".");
}

void dw_problem_reason(const struct dw_ledger_row *row, char out[300])
{
    static const char *const words[DW_FAULT_COUNT] = {"it cannot be decoded",
                                                      "its shutter time or ISO is not recorded",
                                                      "frames are missing before it",
                                                      "too much of it is clipped",
                                                      "too much of it is lost in noise",
                                                      "a brief light passes",
                                                      "detail is lost: dew or focus",
                                                      "contrast is lost: fog or haze",
                                                      "clouds hide the stars",
                                                      "the camera moved"};
    int lead = dw_problem_leading(row->faults);
    const char *text = row->reason[0] ? row->reason : lead >= 0 ? words[lead] : "";
    snprintf(out, 299, "%s", text);
    size_t n = strlen(out);
    if (n > 0 && out[n - 1] != '.')
        strcpy(out + n, ".");
    if (out[0] >= 'a' && out[0] <= 'z')
        out[0] = (char)(out[0] - 'a' + 'A');
}
