/* terminal.h: messages to people on standard error, and the one moving line of progress. */
#ifndef DW_CLI_TERMINAL_H
#define DW_CLI_TERMINAL_H

#include <daywheel/base.h>

/* One running stage, for its rate and the time left. */
struct dw_rate {
    double at[8]; /* seconds; a ring of recent moments */
    size_t done[8];
    int n, next;
};

struct dw_terminal {
    bool quiet, verbose;
    bool moving; /* standard error is a terminal that can redraw a line */
    bool colour;
    bool drawn;        /* the moving line stands on the screen */
    const char *stage; /* of the last progress; compared by text */
    char stage_copy[64];
    double stage_began, last_draw;
    size_t stage_total, stage_first;
    struct dw_rate rate;
    size_t warnings;
};

/* Looks at standard error and the environment: colours only on a terminal, not with NO_COLOR
 * (no-color.org) and not with TERM=dumb; a moving line only on a terminal that is not dumb. */
void dw_terminal_open(struct dw_terminal *t, bool quiet, bool verbose);
/* The callbacks of struct dw_run; ctx is the terminal. */
void dw_terminal_message(void *ctx, enum dw_level level, const char *text);
void dw_terminal_progress(void *ctx, const char *stage, size_t done, size_t total);
/* Ends the stage: takes the moving line away; with --verbose says how long it took. */
void dw_terminal_end_stage(struct dw_terminal *t);
/* A plain line for people, not shown with --quiet. */
void dw_terminal_line(struct dw_terminal *t, const char *fmt, ...) DW_PRINTF(2, 3);

/* Monotonic seconds. */
double dw_now_s(void);
/* "45 s", "3 min 20 s", "2 h 5 min". */
void dw_duration_text(double s, char *out, size_t n);
/* "640 MB", "3.2 GB": decimal units, as disks are sold and filled. */
void dw_bytes_text(double bytes, char *out, size_t n);

/* Exposed for its test: notes a moment and gives the items per second over the recent ones;
 * 0 until that can be said. */
double dw_rate_note(struct dw_rate *r, double now_s, size_t done);

#endif
