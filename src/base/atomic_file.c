/* atomic_file.c: see atomic_file.h. */
#include "base/atomic_file.h"

#include "base/text.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum dw_status io_failure(struct dw_error *err, const char *what, const char *path)
{
    int e = errno;
    if (e == ENOSPC || e == EDQUOT)
        return dw_fail(err, DW_ERR_FULL,
                       "%s: the disk is full; make room and run the same command again, it goes on "
                       "where it stopped",
                       path);
    if (e == EROFS || e == EACCES || e == EPERM)
        return dw_fail(err, DW_ERR_IO,
                       "%s: cannot be %s: %s; choose an output folder that you may write to", path,
                       what, strerror(e));
    return dw_fail(err, DW_ERR_IO, "%s: cannot be %s: %s", path, what, strerror(e));
}

char *dw_join_path(const char *dir, const char *name)
{
    size_t n = strlen(dir);
    char *path = malloc(n + strlen(name) + 2);
    if (path) {
        memcpy(path, dir, n);
        if (n > 0 && dir[n - 1] != '/')
            path[n++] = '/';
        strcpy(path + n, name);
    }
    return path;
}

enum dw_status dw_atomic_open(struct dw_atomic_file *f, const char *path, bool durable,
                              struct dw_error *err)
{
    *f = (struct dw_atomic_file){.fd = -1, .durable = durable};
    size_t n = strlen(path);
    const char *base = dw_text_basename(path);
    size_t dir = (size_t)(base - path);
    f->path = strdup(path);
    f->temp = malloc(n + 8);
    if (!f->path || !f->temp) {
        dw_atomic_discard(f);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", path);
    }
    memcpy(f->temp, path, dir);
    f->temp[dir] = '.';
    strcpy(f->temp + dir + 1, base);
    strcat(f->temp, ".part");
    f->fd = open(f->temp, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (f->fd < 0) {
        enum dw_status s = io_failure(err, "created", path);
        free(f->temp); /* it is not ours: nothing to unlink */
        f->temp = NULL;
        dw_atomic_discard(f);
        return s;
    }
    return DW_OK;
}

enum dw_status dw_atomic_write(struct dw_atomic_file *f, const void *data, size_t n,
                               struct dw_error *err)
{
    const char *p = data;
    while (n > 0) {
        ssize_t k = write(f->fd, p, n);
        if (k < 0 && errno == EINTR)
            continue;
        if (k < 0)
            return io_failure(err, "written", f->path);
        p += k;
        n -= (size_t)k;
    }
    return DW_OK;
}

/* A rename is only durable once its folder is; failure here is not worth losing the file for. */
static void flush_folder(const char *path)
{
    char *dir = strdup(path);
    if (!dir)
        return;
    char *slash = strrchr(dir, '/');
    if (slash)
        slash[slash == dir] = '\0';
    int fd = open(slash ? dir : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd);
        close(fd);
    }
    free(dir);
}

enum dw_status dw_atomic_commit(struct dw_atomic_file *f, struct dw_error *err)
{
    enum dw_status s = DW_OK;
    if (f->durable && fsync(f->fd) != 0)
        s = io_failure(err, "flushed", f->path);
    if (close(f->fd) != 0 && s == DW_OK)
        s = io_failure(err, "closed", f->path);
    f->fd = -1;
    if (s == DW_OK && rename(f->temp, f->path) != 0)
        s = io_failure(err, "given its final name", f->path);
    if (s == DW_OK) {
        free(f->temp); /* renamed: nothing left to remove */
        f->temp = NULL;
        if (f->durable)
            flush_folder(f->path);
    }
    dw_atomic_discard(f);
    return s;
}

void dw_atomic_discard(struct dw_atomic_file *f)
{
    if (f->fd >= 0)
        close(f->fd);
    if (f->temp)
        unlink(f->temp);
    free(f->temp);
    free(f->path);
    *f = (struct dw_atomic_file){.fd = -1};
}

enum dw_status dw_write_whole(const char *path, const void *data, size_t n, bool durable,
                              struct dw_error *err)
{
    struct dw_atomic_file f;
    enum dw_status s = dw_atomic_open(&f, path, durable, err);
    if (s < 0)
        return s;
    s = dw_atomic_write(&f, data, n, err);
    if (s < 0) {
        dw_atomic_discard(&f);
        return s;
    }
    return dw_atomic_commit(&f, err);
}

enum dw_status dw_read_whole(const char *path, size_t most, char **data, size_t *n,
                             struct dw_error *err)
{
    *data = NULL;
    *n = 0;
    /* without waiting: a pipe that nobody writes to would hold us for ever */
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return dw_fail(err, DW_ERR_IO, "%s: cannot be opened: %s", path, strerror(errno));
    struct stat st;
    char *buffer = NULL;
    enum dw_status s = DW_OK;
    if (fstat(fd, &st) != 0) {
        s = dw_fail(err, DW_ERR_IO, "%s: cannot be examined: %s", path, strerror(errno));
        goto out;
    }
    if (!S_ISREG(st.st_mode)) {
        s = dw_fail(err, DW_ERR_FORMAT, "%s: is not an ordinary file", path);
        goto out;
    }
    if ((uint64_t)st.st_size > most) {
        s = dw_fail(err, DW_ERR_FORMAT, "%s: has %lld bytes, more than the %zu expected at most",
                    path, (long long)st.st_size, most);
        goto out;
    }
    size_t size = (size_t)st.st_size, got = 0;
    buffer = malloc(size + 1);
    if (!buffer) {
        s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its %zu bytes", path, size);
        goto out;
    }
    while (got < size) {
        ssize_t k = read(fd, buffer + got, size - got);
        if (k < 0 && errno == EINTR)
            continue;
        if (k < 0) {
            s = dw_fail(err, DW_ERR_IO, "%s: reading failed after %zu of %zu bytes: %s", path, got,
                        size, strerror(errno));
            goto out;
        }
        if (k == 0)
            break; /* shortened while we read: what is there is what it has */
        got += (size_t)k;
    }
    buffer[got] = '\0';
    *data = buffer;
    *n = got;
    buffer = NULL;
out:
    free(buffer);
    close(fd);
    return s;
}

enum dw_status dw_make_folder(const char *path, struct dw_error *err)
{
    char *p = strdup(path);
    if (!p)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", path);
    enum dw_status s = DW_OK;
    for (char *c = p + 1; s == DW_OK; c++) {
        if (*c != '/' && *c != '\0')
            continue;
        char end = *c;
        *c = '\0';
        struct stat st;
        if (mkdir(p, 0777) != 0) {
            int e = errno; /* of mkdir, not of the look at what is there */
            if (stat(p, &st) != 0 || !S_ISDIR(st.st_mode)) {
                errno = e;
                s = io_failure(err, "created as a folder", p);
            }
        }
        *c = end;
        if (end == '\0')
            break;
    }
    free(p);
    return s;
}

void dw_remove_leftovers(const char *dir)
{
    DIR *d = opendir(dir);
    if (!d)
        return;
    for (struct dirent *e; (e = readdir(d)) != NULL;) {
        size_t n = strlen(e->d_name);
        if (e->d_name[0] == '.' && n > 6 && strcmp(e->d_name + n - 5, ".part") == 0)
            unlinkat(dirfd(d), e->d_name, 0);
    }
    closedir(d);
}
