/* pool.h: a plain worker pool. Items are handed out in order; a stage that needs results in
 * order writes them into its own array by index. */
#ifndef DW_BASE_POOL_H
#define DW_BASE_POOL_H

#include <daywheel/base.h>

struct dw_pool_work {
    /* Called once per worker on its own thread before its first item; may be NULL.
     * Returns the worker's own state (buffers), or NULL with *err filled. */
    void *(*start)(void *ctx, struct dw_error *err);
    /* One item, concurrently with others; touches only its own state and its own slot of
     * shared arrays. A negative status stops the run after the items in hand. */
    enum dw_status (*item)(void *ctx, void *state, size_t i, struct dw_error *err);
    void (*finish)(void *ctx, void *state); /* frees the state; may be NULL */
    void *ctx;
    const char *stage; /* for progress */
};

/* Runs items 0..n-1 on run->jobs workers (at most n) and waits. Progress callbacks come from the
 * calling thread, about ten times a second and once at the end.
 * Returns the first negative status in item order, with its error; DW_ERR_INTERRUPTED when
 * stopped. run may be NULL (one worker, no progress). */
enum dw_status dw_pool_run(const struct dw_pool_work *work, size_t n, const struct dw_run *run,
                           struct dw_error *err);

#endif
