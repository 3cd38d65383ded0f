/* input.c: see input.h. Reading, not mapping: a card that is pulled out under a mapping kills the
 * process, a failed read is only an error. */
#include "shot/input.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#define MOST_BYTES ((off_t)1 << 31) /* the decoder counts bytes in 32 bits */
#define BLOCK ((size_t)4 << 20)

static enum dw_status fill(struct dw_input *in, int fd, const char *path, struct dw_error *err)
{
    size_t done = 0;
    while (done < in->n) {
        size_t want = in->n - done < BLOCK ? in->n - done : BLOCK;
        ssize_t got = read(fd, in->data + done, want);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return dw_fail(err, DW_ERR_IO, "%s: cannot be read at byte %zu: %s", path, done,
                           strerror(errno));
        if (got == 0)
            return dw_fail(err, DW_ERR_IO, "%s: ended at byte %zu of %zu while being read", path,
                           done, in->n);
        done += (size_t)got;
    }
    return DW_OK;
}

enum dw_status dw_input_read(struct dw_input *in, const char *path, struct dw_error *err)
{
    *in = (struct dw_input){0};
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return dw_fail(err, DW_ERR_IO, "%s: cannot be opened: %s", path, strerror(errno));
    struct stat st;
    enum dw_status s = DW_OK;
    if (fstat(fd, &st) != 0)
        s = dw_fail(err, DW_ERR_IO, "%s: cannot be examined: %s", path, strerror(errno));
    else if (!S_ISREG(st.st_mode))
        s = dw_fail(err, DW_ERR_FORMAT, "%s: is not a regular file", path);
    else if (st.st_size == 0)
        s = dw_fail(err, DW_ERR_FORMAT, "%s: is empty (0 bytes)", path);
    else if (st.st_size > MOST_BYTES)
        s = dw_fail(err, DW_ERR_FORMAT, "%s: has %lld bytes; no frame is larger than %lld", path,
                    (long long)st.st_size, (long long)MOST_BYTES);
    if (s == DW_OK) {
        in->n = (size_t)st.st_size;
        void *p = mmap(NULL, in->n, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
        if (p == MAP_FAILED) {
            in->n = 0;
            s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its %lld bytes", path,
                        (long long)st.st_size);
        } else {
            in->data = p;
            in->mapped = in->n;
            /* Thousands of small pages, each of which faults when it is first touched, cost a
             * tenth of all that is done for an unpacked frame of 24 MP. Only a wish: where there
             * are no large pages nothing changes. */
            (void)madvise(p, in->n, MADV_HUGEPAGE);
            s = fill(in, fd, path, err);
        }
    }
    close(fd);
    if (s != DW_OK)
        dw_input_free(in);
    return s;
}

void dw_input_free(struct dw_input *in)
{
    if (in->data)
        munmap(in->data, in->mapped);
    *in = (struct dw_input){0};
}
