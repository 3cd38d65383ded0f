/* base.h: what every stage shares: status codes, errors that carry a text, and the
 * circumstances of a run (where messages go, how many workers, whether to stop). */
#ifndef DAYWHEEL_BASE_H
#define DAYWHEEL_BASE_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define DW_PRINTF(fmt, first) __attribute__((format(printf, fmt, first)))
#else
#define DW_PRINTF(fmt, first)
#endif

/* Warn upwards, fail downwards: a positive status still gives an answer, a negative one none. */
enum dw_status {
    DW_WARN = 1,             /* done, with something that the person should know */
    DW_OK = 0,               /* done */
    DW_ERR_USAGE = -1,       /* an argument is outside its range */
    DW_ERR_MEMORY = -2,      /* an allocation failed */
    DW_ERR_IO = -3,          /* reading or writing failed */
    DW_ERR_FULL = -4,        /* the disk is full */
    DW_ERR_FORMAT = -5,      /* the file is not what it should be */
    DW_ERR_EMPTY = -6,       /* nothing there to work on */
    DW_ERR_MIXED = -7,       /* things that do not belong together */
    DW_ERR_BUSY = -8,        /* somebody else holds it */
    DW_ERR_INTERRUPTED = -9, /* the stop flag of the run was set */
    DW_ERR_NUMERIC = -10     /* a system of equations could not be solved */
};

/* A failure in words: names the file, what was found, what was expected and what to do. */
struct dw_error {
    enum dw_status status;
    char text[1200];
};

/* Fills *err (which may be NULL) and returns status, so that callers can `return dw_fail(...)`. */
enum dw_status dw_fail(struct dw_error *err, enum dw_status status, const char *fmt, ...)
    DW_PRINTF(3, 4);

enum dw_level { DW_INFO, DW_WARNING, DW_ERROR };

/* The circumstances of a run, handed to every stage that takes long. All callbacks are made
 * from the thread that called the stage, never from a worker; each may be NULL. */
struct dw_run {
    int jobs; /* worker threads, >= 1 */
    void (*message)(void *ctx, enum dw_level level, const char *text);
    /* `stage` is a verb phrase such as "surveying"; done <= total. */
    void (*progress)(void *ctx, const char *stage, size_t done, size_t total);
    void *ctx;
    const atomic_int *stop; /* nonzero: finish or discard the frame in hand and return */
};

/* Sends one message (no newline at its end) to run->message; run may be NULL. */
void dw_say(const struct dw_run *run, enum dw_level level, const char *fmt, ...) DW_PRINTF(3, 4);

/* True once the run was asked to stop; run may be NULL. */
bool dw_stopping(const struct dw_run *run);

/* The version of the library, "MAJOR.MINOR.PATCH". */
const char *dw_version(void);

#ifdef __cplusplus
}
#endif
#endif
