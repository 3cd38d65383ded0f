/* each.h: the same for each of many things (shots, pairs, tiles) that do not ask for one another's
 * results, spread over the run's workers. Results are written by index, and what is summed over
 * things is summed afterwards in their order: so they are equal to the bit for any number of
 * workers, and for any size of a portion. */
#ifndef DW_BASE_EACH_H
#define DW_BASE_EACH_H

#include <daywheel/base.h>

/* Things from..to-1, concurrently with others: reads what they share, writes only what belongs to
 * these. work: room of the worker's own, whatever was left in it. Errors as they come. */
typedef enum dw_status dw_each_portion(void *ctx, void *work, size_t from, size_t to,
                                       struct dw_error *err);

struct dw_each {
    size_t n;       /* things */
    size_t portion; /* so many at a time, 1 or more: work beside which handing it out is nothing */
    size_t work;    /* bytes of each worker's own room; 0: none, and it is handed NULL */
    dw_each_portion *of;
    void *ctx;
};

/* Returns when all is done; with one worker (run NULL, too) everything happens in the calling
 * thread. No progress is told. Errors: the first in order of the things; DW_ERR_MEMORY;
 * DW_ERR_INTERRUPTED when the run was stopped. */
enum dw_status dw_each(const struct dw_each *each, const struct dw_run *run, struct dw_error *err);

#endif
