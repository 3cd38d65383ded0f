/* pool.c: see pool.h. */
#include "base/pool.h"

#include <pthread.h>
#include <stdlib.h>
#include <time.h>

struct pool {
    const struct dw_pool_work *work;
    const struct dw_run *run;
    size_t n;
    pthread_mutex_t lock;
    pthread_cond_t moved;
    size_t next, done; /* under lock */
    int workers;       /* still alive; under lock */
    size_t failed_item;
    enum dw_status status; /* of the failed item with the smallest index; under lock */
    struct dw_error error;
};

static void note_failure(struct pool *p, size_t item, enum dw_status status,
                         const struct dw_error *err)
{
    if (p->status >= 0 || item < p->failed_item) {
        p->status = status;
        p->failed_item = item;
        p->error = *err;
    }
}

static void *worker(void *arg)
{
    struct pool *p = arg;
    struct dw_error err = {0};
    void *state = NULL;
    bool ready = true;
    if (p->work->start) {
        state = p->work->start(p->work->ctx, &err);
        ready = state != NULL;
    }
    pthread_mutex_lock(&p->lock);
    if (!ready)
        note_failure(p, 0, err.status < 0 ? err.status : DW_ERR_MEMORY, &err);
    while (ready && p->next < p->n && p->status >= 0 && !dw_stopping(p->run)) {
        size_t i = p->next++;
        pthread_mutex_unlock(&p->lock);
        enum dw_status s = p->work->item(p->work->ctx, state, i, &err);
        pthread_mutex_lock(&p->lock);
        if (s < 0)
            note_failure(p, i, s, &err);
        p->done++;
        pthread_cond_signal(&p->moved);
    }
    pthread_mutex_unlock(&p->lock);
    if (p->work->finish && state)
        p->work->finish(p->work->ctx, state);
    pthread_mutex_lock(&p->lock);
    p->workers--;
    pthread_cond_signal(&p->moved);
    pthread_mutex_unlock(&p->lock);
    return NULL;
}

static void tell_progress(struct pool *p, size_t done)
{
    if (p->run && p->run->progress)
        p->run->progress(p->run->ctx, p->work->stage, done, p->n);
}

/* Sleeps on the pool's condition for a tenth of a second at most. The lock is held. */
static void wait_a_moment(struct pool *p)
{
    struct timespec until;
    clock_gettime(CLOCK_MONOTONIC, &until);
    until.tv_nsec += 100000000;
    if (until.tv_nsec >= 1000000000) {
        until.tv_nsec -= 1000000000;
        until.tv_sec++;
    }
    pthread_cond_timedwait(&p->moved, &p->lock, &until);
}

/* Waits for all workers, telling progress from this thread, at most ten times a second. */
static void attend(struct pool *p)
{
    double last = 0;
    pthread_mutex_lock(&p->lock);
    while (p->workers > 0) {
        wait_a_moment(p);
        struct timespec now;
        clock_gettime(CLOCK_MONOTONIC, &now);
        double t = (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
        if (t - last >= 0.1) {
            last = t;
            size_t done = p->done;
            pthread_mutex_unlock(&p->lock);
            tell_progress(p, done);
            pthread_mutex_lock(&p->lock);
        }
    }
    pthread_mutex_unlock(&p->lock);
    tell_progress(p, p->done);
}

enum dw_status dw_pool_run(const struct dw_pool_work *work, size_t n, const struct dw_run *run,
                           struct dw_error *err)
{
    if (n == 0)
        return dw_stopping(run) ? dw_fail(err, DW_ERR_INTERRUPTED, "stopped") : DW_OK;
    size_t jobs = run && run->jobs > 0 ? (size_t)run->jobs : 1;
    if (jobs > n)
        jobs = n;
    pthread_t *thread = calloc(jobs, sizeof *thread);
    if (!thread)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for %zu workers", work->stage, jobs);

    struct pool p = {.work = work, .run = run, .n = n, .status = DW_OK, .failed_item = n};
    pthread_mutex_init(&p.lock, NULL);
    pthread_condattr_t attr;
    pthread_condattr_init(&attr);
    pthread_condattr_setclock(&attr, CLOCK_MONOTONIC);
    pthread_cond_init(&p.moved, &attr);
    pthread_condattr_destroy(&attr);

    size_t started = 0;
    pthread_mutex_lock(&p.lock);
    for (; started < jobs; started++) {
        if (pthread_create(&thread[started], NULL, worker, &p) != 0)
            break;
        p.workers++;
    }
    pthread_mutex_unlock(&p.lock);
    if (started > 0)
        attend(&p);
    for (size_t i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    free(thread);
    pthread_cond_destroy(&p.moved);
    pthread_mutex_destroy(&p.lock);

    if (started == 0)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no thread could be started", work->stage);
    if (p.status < 0) {
        if (err)
            *err = p.error;
        return p.status;
    }
    if (p.done < n)
        return dw_fail(err, DW_ERR_INTERRUPTED, "%s: stopped after %zu of %zu", work->stage, p.done,
                       n);
    return DW_OK;
}
