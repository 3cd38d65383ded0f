/* problems.h: the stretches of a shoot that have a fault, which of their shots are shown, and what
 * is said about them. The contact sheet and the report both follow it. */
#ifndef DW_OUTPUT_PROBLEMS_H
#define DW_OUTPUT_PROBLEMS_H

#include <daywheel/decide.h>

/* A stretch of shots with one leading fault. Of what creeps (dew, fog, clouds) a shot or two
 * without it, or led by a graver one, do not end it. */
struct dw_problem_run {
    int fault;                 /* bit number of what leads */
    size_t first, last, worst; /* shots */
    size_t n;                  /* shots of it that have the fault */
    size_t left_out;           /* of those */
    double severity;           /* of the worst */
};

/* In order of their first shots. *run is malloc'd; *found counts all shots with a fault.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_problem_runs(const struct dw_decision *d, struct dw_problem_run **run, size_t *n,
                               size_t *found, struct dw_error *err);

enum dw_problem_role {
    DW_ONE_OF_FEW, /* of a run that is shown in full */
    DW_FIRST_OF_RUN,
    DW_WORST_OF_RUN,
    DW_LAST_OF_RUN,
    DW_TO_COMPARE /* no problem: a clean neighbour, which stands before the run */
};

/* One picture of a sheet. */
struct dw_problem {
    size_t shot; /* index into the shot table */
    size_t run;  /* number of its run */
    enum dw_problem_role role;
    size_t run_size;           /* shots in the run that have its fault */
    size_t unshown;            /* shots between this picture and the next of its run */
    enum dw_problem_role next; /* role of that next one */
    size_t beside;             /* the shot itself; of a comparison, the one that it stands before */
    size_t like; /* shown as exposed beside this shot; the shot itself: its exposure put right */
};

/* The bit number of a shot's leading fault: the one that its reason tells of, else the lowest. -1
 * without. */
int dw_problem_leading(const struct dw_ledger_row *row);

/* What a sheet shows: a run of up to three shots in full, of a longer one the first, the worst and
 * the last, and before them a clean neighbour where that helps the eye. Beyond `most` pictures,
 * runs with the least severe faults are left out. *list is malloc'd; the runs are those of
 * dw_problem_runs. Errors: DW_ERR_MEMORY. */
enum dw_status dw_problems(const struct dw_decision *d, const struct dw_problem_run *run, size_t n,
                           size_t most, struct dw_problem **list, size_t *n_list,
                           struct dw_error *err);

/* Puts the pictures of all runs into one order of time, each comparison before its own. */
void dw_problems_by_time(struct dw_problem *list, size_t n);

/* Whether the film shows nothing of a fault (bit number) of shot i: it is bridged or, where it was
 * displaced, put back, or the frames missing before it are bridged. */
bool dw_problem_shot_is_mended(const struct dw_decision *d, size_t i, int fault);
/* The same of every shot of a run that has its fault. */
bool dw_problem_is_mended(const struct dw_decision *d, const struct dw_problem_run *run);

#define DW_CLEARLY_SEEN 0.4 /* severity from which a fault is more than slight */
/* "slight", "clearly seen", "spoiled". */
const char *dw_problem_how_bad(double severity);
/* A plain sentence: what was done about shot i. */
void dw_problem_remedy(const struct dw_shots *shots, const struct dw_decision *d, size_t i,
                       char out[300]);
/* The same of a whole run. */
void dw_problem_run_remedy(const struct dw_shots *shots, const struct dw_decision *d,
                           const struct dw_problem_run *run, char out[300]);
/* A plain sentence: what is wrong with a shot. The judge's reason, or else the fault's own words.
 */
void dw_problem_reason(const struct dw_ledger_row *row, char out[300]);

#endif
