/* outcome.c: see outcome.h. */
#include "cli/outcome.h"

#include "base/atomic_file.h"
#include "base/buffers.h"
#include "cli/claim.h"
#include "cli/cmd.h"

#include <math.h>
#include <stdlib.h>
#include <unistd.h>

static bool left_out_for_a_fault(const struct dw_job *job, size_t i)
{
    const struct dw_ledger_row *row = &job->decision.ledger[i];
    return !row->use && row->faults != 0 && !row->verdict;
}

int dw_outcome_exit(const struct dw_job *job)
{
    for (size_t i = 0; i < job->decision.n_shots; i++)
        if (left_out_for_a_fault(job, i) || (job->decision.ledger[i].faults & DW_GAP))
            return DW_EXIT_FAULTS;
    return DW_EXIT_DONE;
}

static void not_all_line(struct dw_job *job, const struct dw_made *made)
{
    const struct dw_settings *s = job->settings;
    dw_terminal_line(
        job->terminal,
        "Not all of %zu frames could be made; see above. %zu made now, in %s/frames. "
        "%s",
        made->share, made->now, s->output,
        s->part[1] > 1 ? "When all shares are done, run the same command without --part: it makes "
                         "what is missing and bridges what still cannot be read."
                       : "Run the same command again once their sources can be read.");
}

/* Where the other renderings are; and of those that this run did not make, that they are older. */
static void also_lines(struct dw_job *job)
{
    const struct dw_settings *s = job->settings;
    for (unsigned r = DW_MIX + 1; r < DW_RENDERINGS; r++) {
        const char *folder = dw_frames_folder((enum dw_rendering)r);
        char *path = dw_join_path(s->output, folder);
        if (s->also >> r & 1)
            dw_terminal_line(job->terminal, "The clean %s look of each: %s/%s.",
                             r == DW_NIGHT ? "night" : "day", s->output, folder);
        else if (path && dw_folder_exists(path))
            dw_terminal_line(job->terminal,
                             "%s is of an earlier run and was not touched, so it may not match any "
                             "more; remove it if it is no longer wanted.",
                             path);
        free(path);
    }
}

static void frames_line(struct dw_job *job, const struct dw_made *made)
{
    const struct dw_settings *s = job->settings;
    size_t there = made->share > made->now ? made->share - made->now : 0;
    char share[60] = "";
    if (made->incomplete) {
        not_all_line(job, made);
        return;
    }
    if (s->part[1] > 1)
        snprintf(share, sizeof share, " (share %d of %d; %zu in all)", s->part[0], s->part[1],
                 job->decision.n_frames);
    dw_terminal_line(job->terminal,
                     "%zu frames%s of %dx%d in %s/frames: %zu made now, %zu already "
                     "there.",
                     made->share, share, made->width, made->height, s->output, made->now, there);
    if (made->other_format > 0)
        dw_terminal_line(job->terminal,
                         "%zu frames of an earlier run in another format lie there as well; remove "
                         "them if they are no longer wanted.",
                         made->other_format);
    also_lines(job);
}

/* Adds "3 unreadable" for every code that shots of this kind carry. */
static void shots_line(struct dw_job *job)
{
    const struct dw_decision *d = &job->decision;
    size_t used = 0, by_hand = 0, left[DW_FAULT_COUNT] = {0}, only_noted[DW_FAULT_COUNT] = {0};
    for (size_t i = 0; i < d->n_shots; i++) {
        used += d->ledger[i].use;
        by_hand += !d->ledger[i].use && d->ledger[i].verdict;
        for (int k = 0; k < DW_FAULT_COUNT; k++) {
            bool has = (d->ledger[i].faults >> k & 1) != 0;
            left[k] += has && left_out_for_a_fault(job, i);
            only_noted[k] += has && d->ledger[i].use;
        }
    }
    struct dw_buffer b = {0};
    dw_buffer_printf(&b, "%zu of %zu shots used", used, d->n_shots);
    const char *before = "; left out: ";
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        if (left[k] > 0 && (1 << k) != DW_GAP) {
            dw_buffer_printf(&b, "%s%zu %s", before, left[k], dw_fault_name(k));
            before = ", ";
        }
    }
    if (by_hand > 0)
        dw_buffer_printf(&b, "%s%zu by hand", before, by_hand);
    before = "; noted: ";
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        size_t n = only_noted[k] + ((1 << k) == DW_GAP ? left[k] : 0);
        if (n > 0) {
            dw_buffer_printf(&b, "%s%zu %s", before, n, dw_fault_name(k));
            before = ", ";
        }
    }
    if (!b.failed)
        dw_terminal_line(job->terminal, "%s.", b.data);
    dw_buffer_free(&b);
}

static void steadiness_line(struct dw_job *job)
{
    const struct dw_decision *d = &job->decision;
    if (isfinite(d->before.all) && isfinite(d->after.all))
        dw_terminal_line(
            job->terminal,
            "Flicker: %.4f stop as shot, %.4f stop now, which is %.2g times what is just "
            "seen at %g frames a second.",
            d->before.all, d->after.all, d->after.all / d->flicker_threshold, d->fps);
}

static void places_line(struct dw_job *job)
{
    char *sheet = dw_join_path(job->settings->output, "sheet-1.jpg");
    if (sheet && access(sheet, R_OK) == 0)
        dw_terminal_line(job->terminal,
                         "Look at %s/report.html first: what went wrong and what was done "
                         "(sheet-1.jpg: for print). Your word: `use` in %s/ledger.csv, or --drop "
                         "and --keep.",
                         job->settings->output, job->settings->output);
    else
        dw_terminal_line(job->terminal, "What was done to each shot: %s/ledger.csv.",
                         job->settings->output);
    free(sheet);
}

static void time_line(struct dw_job *job, const struct dw_made *made)
{
    char all[40], survey[40], render[40];
    dw_duration_text(dw_now_s() - job->began_s, all, sizeof all);
    dw_duration_text(job->survey_took_s, survey, sizeof survey);
    dw_duration_text(made ? made->took_s : 0, render, sizeof render);
    if (made)
        dw_terminal_line(job->terminal, "Took %s (survey %s, rendering %s).", all, survey, render);
    else
        dw_terminal_line(job->terminal,
                         "Took %s. `daywheel render` with the same SHOTS and -o "
                         "makes the pictures.",
                         all);
}

void dw_outcome_tell(struct dw_job *job, const struct dw_made *made)
{
    dw_terminal_end_stage(job->terminal);
    if (made)
        frames_line(job, made);
    else
        dw_terminal_line(job->terminal, "%zu frames planned in %s/frames.csv.",
                         job->decision.n_frames, job->settings->output);
    shots_line(job);
    steadiness_line(job);
    places_line(job);
    time_line(job, made);
}
