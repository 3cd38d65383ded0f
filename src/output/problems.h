/* problems.h: which shots a contact sheet shows, and what it says about them. */
#ifndef DW_OUTPUT_PROBLEMS_H
#define DW_OUTPUT_PROBLEMS_H

#include <daywheel/decide.h>

/* One picture of the sheet. */
struct dw_problem {
    size_t shot;     /* index into the shot table */
    size_t run;      /* number of its run, from 0 */
    size_t run_size; /* shots in the run */
    size_t unshown;  /* of its run between this one and the next shown */
};

/* The bit number of a shot's leading fault: the lowest, which is the gravest. -1 without. */
int dw_problem_leading(uint32_t faults);

/* Groups neighbouring shots with the same leading fault into runs and shows the first, the worst
 * and the last of a run of more than three. Beyond `most` pictures, runs with the least severe
 * faults are left out. *list is malloc'd; *found counts all shots with a fault.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_problems(const struct dw_decision *d, size_t most, struct dw_problem **list,
                           size_t *n, size_t *found, struct dw_error *err);

/* A plain sentence: what was done about shot i. */
void dw_problem_remedy(const struct dw_decision *d, size_t i, char out[200]);
/* A plain sentence: what is wrong with a shot. The judge's reason, or else the fault's own words. */
void dw_problem_reason(const struct dw_ledger_row *row, char out[300]);

#endif
