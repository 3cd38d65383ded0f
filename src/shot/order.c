/* order.c: being written: time, then number, then name. */
#include "shot/scan.h"

#include <stdlib.h>
#include <string.h>

static int by_time(const void *a, const void *b)
{
    const struct dw_shot *x = a, *y = b;
    if (x->clock_s != y->clock_s)
        return x->clock_s < y->clock_s ? -1 : 1;
    if (x->file_number != y->file_number)
        return x->file_number < y->file_number ? -1 : 1;
    return strcmp(x->path, y->path);
}

enum dw_status dw_order(struct dw_shot *shot, size_t n, const struct dw_run *run,
                        struct dw_error *err)
{
    (void)run;
    (void)err;
    if (n > 1)
        qsort(shot, n, sizeof *shot, by_time);
    return DW_OK;
}
