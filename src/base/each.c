/* each.c: see each.h. */
#include "base/each.h"

#include "base/pool.h"

#include <stdlib.h>

static void *start(void *ctx, struct dw_error *err)
{
    const struct dw_each *e = ctx;
    void *work = malloc(e->work + 1);
    if (!work)
        dw_fail(err, DW_ERR_MEMORY, "out of memory for a worker");
    return work;
}

static enum dw_status portion(void *ctx, void *work, size_t k, struct dw_error *err)
{
    const struct dw_each *e = ctx;
    size_t from = k * e->portion, to = from + e->portion < e->n ? from + e->portion : e->n;
    return e->of(e->ctx, e->work ? work : NULL, from, to, err);
}

static void finish(void *ctx, void *work)
{
    (void)ctx;
    free(work);
}

static enum dw_status alone(struct dw_each *e, size_t portions, const struct dw_run *run,
                            struct dw_error *err)
{
    void *work = start(e, err);
    enum dw_status status = work ? DW_OK : DW_ERR_MEMORY;
    for (size_t k = 0; k < portions && status >= 0; k++)
        status = dw_stopping(run) ? dw_fail(err, DW_ERR_INTERRUPTED, "stopped")
                                  : portion(e, work, k, err);
    free(work);
    return status;
}

enum dw_status dw_each(const struct dw_each *each, const struct dw_run *run, struct dw_error *err)
{
    struct dw_each e = *each;
    size_t portions = (e.n + e.portion - 1) / e.portion;
    if (!run || run->jobs < 2 || portions < 2)
        return alone(&e, portions, run, err);
    struct dw_run quiet = {.jobs = run->jobs, .stop = run->stop};
    struct dw_pool_work pool = {start, portion, finish, &e, "deciding"};
    enum dw_status status = dw_pool_run(&pool, portions, &quiet, err);
    return status < 0 ? status : DW_OK;
}
