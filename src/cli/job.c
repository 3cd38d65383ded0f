/* job.c: see job.h. */
#include "cli/job.h"

#include "base/atomic_file.h"
#include "base/text.h"
#include "cli/claim.h"
#include "cli/cmd.h"
#include "cli/person.h"
#include "cli/room.h"
#include "cli/settings_file.h"
#include "cli/signals.h"
#include "cli/told.h"

#include <math.h>
#include <sched.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* The cores that this process may use, which is fewer than there are in a container. */
static int cores(void)
{
    cpu_set_t set;
    int n = sched_getaffinity(0, sizeof set, &set) == 0 ? CPU_COUNT(&set) : 1;
    return n > 0 ? n : 1;
}

void dw_job_open(struct dw_job *job, const struct dw_settings *s, struct dw_terminal *t)
{
    *job = (struct dw_job){.settings = s, .terminal = t, .began_s = dw_now_s()};
    job->keep_scratch = s->keep_scratch;
    job->run = (struct dw_run){.jobs = s->jobs > 0 ? s->jobs : cores(),
                               .message = dw_terminal_message,
                               .progress = dw_terminal_progress,
                               .ctx = t,
                               .stop = dw_signals_stop()};
}

void dw_job_close(struct dw_job *job)
{
    /* an interrupted run goes on later, and then wants its scratch */
    dw_scratch_close(job->scratch, job->keep_scratch || dw_stopping(&job->run));
    if (job->decided)
        dw_decision_free(&job->decision);
    dw_survey_free(&job->survey);
    dw_shots_free(&job->shots);
    free(job->edited);
    free(job->asked);
    free(job->word);
    dw_unlock_folder(job->lock);
    if (job->share_folder)
        rmdir(job->share_folder);
    free(job->share_folder);
    dw_terminal_end_stage(job->terminal);
}

/* A step that went through may still have something to say. */
static enum dw_status heard(struct dw_job *job, enum dw_status status)
{
    if (status == DW_WARN && job->error.text[0] != '\0')
        dw_say(&job->run, DW_WARNING, "%s", job->error.text);
    if (status >= 0)
        job->error.text[0] = '\0';
    return status;
}

/* Before the long survey, so that a missing site is not found out after hours. */
static enum dw_status need_site(struct dw_job *job)
{
    const struct dw_settings *s = job->settings;
    const struct dw_site given = {s->site[0], s->site[1], 0};
    struct dw_site site;
    return dw_find_site(&job->shots, s->has_site ? &given : NULL, &site, &job->error);
}

static void tell_scan(struct dw_job *job)
{
    const struct dw_scan_counts *c = &job->shots.counts;
    size_t other = c->pictures + c->sidecars + c->videos + c->system + c->other + c->raw_jpeg_pairs;
    dw_say(&job->run, DW_INFO,
           "%zu frames found; not frames: %zu files (%zu of them JPEG beside a RAW file, %zu other "
           "pictures, %zu sidecars, %zu videos), %zu doubles",
           job->shots.n, other, c->raw_jpeg_pairs, c->pictures, c->sidecars, c->videos,
           c->duplicates);
}

enum dw_status dw_job_scan(struct dw_job *job, const char *const *input, size_t n)
{
    const struct dw_settings *s = job->settings;
    struct dw_scan_params params = DW_SCAN_DEFAULTS;
    params.only_model = s->only;
    params.exact_marks = s->exact_marks;
    enum dw_status status =
        heard(job, dw_scan(input, n, &params, &job->run, &job->shots, &job->error));
    dw_terminal_end_stage(job->terminal);
    if (status < 0)
        return status;
    tell_scan(job);
    status = dw_person_asked(s, &job->shots, &job->asked, &job->error);
    return status < 0 ? status : need_site(job);
}

enum dw_status dw_job_begin(struct dw_job *job, const char *const *input, size_t n)
{
    const char *dir = job->settings->output;
    enum dw_status status = dw_claim_place(dir, input, n, &job->error);
    if (status >= 0 && dw_folder_exists(dir))
        status = heard(job, dw_claim_lock(job, dir));
    if (status >= 0)
        status = dw_job_scan(job, input, n);
    if (status >= 0 && !job->lock)
        status = heard(job, dw_claim_lock(job, dir));
    if (status >= 0)
        status = dw_claim_same_shoot(dir, &job->shots, &job->error);
    if (status >= 0)
        dw_remove_leftovers(dir);
    return status;
}

static enum dw_status open_scratch(struct dw_job *job)
{
    const char *dir = job->settings->scratch;
    if (dir && dw_text_same(dir, "off"))
        return DW_OK;
    char *own = dir ? NULL : dw_join_path(job->settings->output, "scratch");
    if (!dir && !own)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory for the name of the scratch");
    double others = dir ? 0 : dw_room_for_results(job); /* elsewhere it stands in nobody's way */
    enum dw_status status = heard(job, dw_scratch_open(dir ? dir : own, &job->shots, others,
                                                       &job->run, &job->scratch, &job->error));
    free(own);
    return status;
}

enum dw_status dw_job_survey(struct dw_job *job)
{
    const struct dw_survey_params params = DW_SURVEY_DEFAULTS;
    double began = dw_now_s();
    enum dw_status status = open_scratch(job);
    if (status < 0)
        return status;
    char *path = dw_join_path(job->settings->output, "survey.dws");
    if (!path)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory for the name of the survey file");
    status = heard(job, dw_survey_run(&job->shots, path, &params, job->scratch, &job->run,
                                      &job->survey, &job->error));
    free(path);
    dw_terminal_end_stage(job->terminal);
    job->survey_took_s = dw_now_s() - began;
    return status;
}

struct dw_decide_params dw_job_decide_params(const struct dw_settings *s, const enum dw_word *word)
{
    struct dw_decide_params p = DW_DECIDE_DEFAULTS;
    p.has_site = s->has_site;
    p.site = (struct dw_site){s->site[0], s->site[1], 0};
    p.has_utc_offset = s->has_utc_offset;
    p.utc_offset_s = s->utc_offset_s;
    p.night_deg = s->twilight[0];
    p.day_deg = s->twilight[1];
    p.steady = s->steady;
    p.fps = s->fps;
    p.has_white = s->has_white;
    p.white_k = s->white[0];
    p.white_tint = s->white[1];
    p.word = word;
    return p;
}

struct dw_render_params dw_job_render_params(const struct dw_settings *s)
{
    struct dw_render_params p = DW_RENDER_DEFAULTS;
    p.size = s->size;
    p.bits = s->format == DW_JPEG ? 8 : 16;
    p.light = s->format == DW_EXR;
    p.space = (enum dw_space)s->space;
    p.look.star_lift = (float)(exp2(s->stars) - 1);
    p.noise_reduction = (float)s->noise;
    p.part = s->part[0];
    p.parts = s->part[1];
    return p;
}

/* What is to be looked at: contact sheets and the report, in the look of this run. */
static enum dw_status write_shown(struct dw_job *job)
{
    const char *dir = job->settings->output;
    const struct dw_render_params render = dw_job_render_params(job->settings);
    struct dw_told told;
    int pages = 0;
    enum dw_status status = dw_told_make(job->settings, &told, &job->error);
    if (status < 0)
        return status;
    const struct dw_report_params params = {
        .look = &render.look, .setting = told.v, .n_settings = told.n, .run = &job->run};
    status = heard(job, dw_write_sheets(dir, &job->shots, &job->survey, &job->decision, &params,
                                        &pages, &job->error));
    if (status >= 0)
        status = heard(job, dw_write_report(dir, &job->shots, &job->survey, &job->decision, &params,
                                            &job->error));
    dw_terminal_end_stage(job->terminal);
    dw_told_free(&told);
    return status;
}

static enum dw_status write_documents(struct dw_job *job)
{
    const char *dir = job->settings->output;
    const struct dw_decision *d = &job->decision;
    const double site[2] = {d->facts.site.lat_deg, d->facts.site.lon_deg};
    enum dw_status status =
        dw_settings_file_write(dir, job->settings, site, d->facts.utc_offset_s, &job->error);
    if (status >= 0)
        status = dw_write_facts(dir, d, &job->error);
    if (status >= 0)
        status = dw_write_frames(dir, &job->shots, d, &job->error);
    if (status >= 0)
        status = dw_write_summary(dir, d, &job->error);
    if (status >= 0)
        status = write_shown(job);
    if (status >= 0) /* last: the ledger is what a person looks for, and then all else is there */
        status = dw_write_ledger(dir, &job->shots, d, job->edited, job->asked, &job->error);
    return heard(job, status);
}

enum dw_status dw_job_words(struct dw_job *job)
{
    size_t n = job->shots.n;
    free(job->edited);
    free(job->word);
    job->edited = calloc(n ? n : 1, sizeof *job->edited);
    job->word = calloc(n ? n : 1, sizeof *job->word);
    if (!job->edited || !job->word)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory for %zu shots", n);
    enum dw_status status =
        heard(job, dw_read_words(job->settings->output, &job->shots, job->edited, &job->error));
    if (status < 0)
        return status;
    for (size_t i = 0; i < n; i++)
        job->word[i] = job->asked[i] != DW_WORD_NONE ? job->asked[i] : job->edited[i];
    return status;
}

enum dw_status dw_job_decide(struct dw_job *job)
{
    if (job->decided) /* again, because something has changed */
        dw_decision_free(&job->decision);
    job->decided = false;
    enum dw_status status = dw_job_words(job);
    if (status < 0)
        return status;
    struct dw_decide_params params = dw_job_decide_params(job->settings, job->word);
    status = heard(
        job, dw_decide(&job->shots, &job->survey, &params, &job->run, &job->decision, &job->error));
    dw_terminal_end_stage(job->terminal);
    if (status < 0)
        return status;
    job->decided = true;
    return write_documents(job);
}

int dw_job_failed(struct dw_job *job)
{
    dw_terminal_end_stage(job->terminal);
    if (job->error.status == DW_ERR_INTERRUPTED || dw_stopping(&job->run)) {
        dw_terminal_line(job->terminal, "Stopped. Run the same command again, and it goes on where "
                                        "it was.");
        return DW_EXIT_NOTHING;
    }
    dw_terminal_message(job->terminal, DW_ERROR, job->error.text);
    return job->error.status == DW_ERR_USAGE ? DW_EXIT_WRONG : DW_EXIT_NOTHING;
}
