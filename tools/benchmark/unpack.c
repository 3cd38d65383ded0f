/* unpack.c: the yardstick of the benchmark: LibRaw's open and unpack of some files, nothing
 * else, with so many workers.   daywheel-unpack JOBS FILE... */
#include "base/pool.h"

#include <libraw/libraw.h>
#include <stdio.h>
#include <stdlib.h>

struct files {
    char **path;
};

static enum dw_status unpack_one(void *ctx, void *state, size_t i, struct dw_error *err)
{
    (void)state;
    const struct files *f = ctx;
    libraw_data_t *raw = libraw_init(0);
    int code = raw ? libraw_open_file(raw, f->path[i]) : -1;
    if (code == 0)
        code = libraw_unpack(raw);
    libraw_close(raw);
    return code == 0 ? DW_OK
                     : dw_fail(err, DW_ERR_FORMAT, "%s: LibRaw says %s", f->path[i],
                               libraw_strerror(code));
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: daywheel-unpack JOBS FILE...\n");
        return 2;
    }
    struct files f = {argv + 2};
    struct dw_run run = {.jobs = atoi(argv[1])};
    struct dw_pool_work work = {.item = unpack_one, .ctx = &f, .stage = "unpacking"};
    struct dw_error err = {0};
    if (dw_pool_run(&work, (size_t)argc - 2, &run, &err) < 0) {
        fprintf(stderr, "daywheel-unpack: %s\n", err.text);
        return 1;
    }
    return 0;
}
