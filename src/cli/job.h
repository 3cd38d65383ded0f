/* job.h: what `render`, its preview and `survey` share: from SHOTS to a decision with its
 * documents. One struct holds everything of a job; each step leaves its error in it. */
#ifndef DW_CLI_JOB_H
#define DW_CLI_JOB_H

#include "cli/settings.h"
#include "cli/terminal.h"

#include <daywheel/daywheel.h>

struct dw_job {
    const struct dw_settings *settings;
    struct dw_terminal *terminal;
    struct dw_run run;
    struct dw_lock *lock;
    char *share_folder; /* holds the lock of one share; removed with it; NULL if none */
    struct dw_shots shots;
    struct dw_survey survey;
    struct dw_scratch *scratch;
    bool keep_scratch;
    bool renders;                        /* pictures are made, not only the survey */
    enum dw_word *edited, *asked, *word; /* a person's in the ledger, by options, and both */
    struct dw_decision decision;
    bool decided;
    struct dw_error error;
    double began_s, survey_took_s; /* dw_now_s; seconds */
};

void dw_job_open(struct dw_job *job, const struct dw_settings *s, struct dw_terminal *t);
/* Frees everything; removes the scratch unless it is to be kept or the run was interrupted. */
void dw_job_close(struct dw_job *job);

/* The steps, in this order; each returns a status and fills job->error on failure.
 *
 * Finds the frames and sees to it that a site is known before anything long begins. */
enum dw_status dw_job_scan(struct dw_job *job, const char *const *input, size_t n);
/* Scans, and makes the output folder ours: locked, and not that of another shoot. A folder that
 * exists is locked before the scan, one that does not is made after it. */
enum dw_status dw_job_begin(struct dw_job *job, const char *const *input, size_t n);
/* Opens the scratch if wanted, and measures what is not measured yet. */
enum dw_status dw_job_survey(struct dw_job *job);
/* Learns what a person says of each shot, in the ledger and on the command line (which wins). */
enum dw_status dw_job_words(struct dw_job *job);
/* Decides, with the words that a person put into the ledger, and writes the documents. */
enum dw_status dw_job_decide(struct dw_job *job);

/* The parameters of stages that follow from settings. */
struct dw_decide_params dw_job_decide_params(const struct dw_settings *s, const enum dw_word *word);
struct dw_render_params dw_job_render_params(const struct dw_settings *s);

/* Prints the error of a job that failed and gives the exit status for it. */
int dw_job_failed(struct dw_job *job);

#endif
