/* lock.c: one process at a time in an output folder. flock is released by the kernel however
 * the holder ends, so a killed run never locks anybody out. */
#include <daywheel/output.h>

#include "base/atomic_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define LOCK_NAME ".daywheel-lock"

struct dw_lock {
    int fd;
    char *path;
};

static enum dw_status busy(int fd, const char *dir, struct dw_error *err)
{
    char text[32] = "";
    ssize_t n = pread(fd, text, sizeof text - 1, 0);
    text[n > 0 ? n : 0] = '\0';
    long pid = strtol(text, NULL, 10);
    if (pid > 0)
        return dw_fail(err, DW_ERR_BUSY,
                       "%s: process %ld is working in this output folder; wait until it has ended "
                       "or choose another folder",
                       dir, pid);
    return dw_fail(err, DW_ERR_BUSY,
                   "%s: another process is working in this output folder; wait until it has ended "
                   "or choose another folder",
                   dir);
}

/* True if the name still leads to the file that fd holds: the last holder may have removed it
 * between our opening and our locking it. */
static bool still_there(int fd, const char *path)
{
    struct stat held, named;
    return fstat(fd, &held) == 0 && stat(path, &named) == 0 && held.st_ino == named.st_ino &&
           held.st_dev == named.st_dev;
}

static enum dw_status take_lock(struct dw_lock *lock, const char *dir, struct dw_error *err)
{
    for (int attempt = 0; attempt < 100; attempt++) {
        lock->fd = open(lock->path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
        if (lock->fd < 0)
            return dw_fail(err, errno == ENOSPC ? DW_ERR_FULL : DW_ERR_IO,
                           "%s: cannot be created: %s; choose an output folder that you may write "
                           "to",
                           lock->path, strerror(errno));
        if (flock(lock->fd, LOCK_EX | LOCK_NB) != 0) {
            if (errno == EWOULDBLOCK)
                return busy(lock->fd, dir, err);
            if (errno == EINTR) {
                close(lock->fd);
                continue;
            }
            /* Some network file systems know no locks: better unguarded than unusable. */
            dw_fail(err, DW_WARN,
                    "%s: this file system cannot lock files (%s); do not start a second run in it",
                    dir, strerror(errno));
            return DW_WARN;
        }
        if (still_there(lock->fd, lock->path))
            return DW_OK;
        close(lock->fd);
    }
    lock->fd = -1;
    return dw_fail(err, DW_ERR_BUSY, "%s: other processes keep coming and going in this folder",
                   dir);
}

enum dw_status dw_lock_folder(const char *dir, struct dw_lock **out, struct dw_error *err)
{
    *out = NULL;
    enum dw_status s = dw_make_folder(dir, err);
    if (s < 0)
        return s;
    struct dw_lock *lock = calloc(1, sizeof *lock);
    if (lock) {
        lock->fd = -1;
        lock->path = dw_join_path(dir, LOCK_NAME);
    }
    if (!lock || !lock->path) {
        free(lock);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its lock", dir);
    }
    s = take_lock(lock, dir, err);
    if (s < 0) {
        if (lock->fd >= 0)
            close(lock->fd);
        free(lock->path);
        free(lock);
        return s;
    }
    /* Who holds it; nothing depends on the text, so a failed write is no failure. */
    char text[32];
    int n = snprintf(text, sizeof text, "%ld\n", (long)getpid());
    if (ftruncate(lock->fd, 0) == 0 && pwrite(lock->fd, text, (size_t)n, 0) != n)
        (void)ftruncate(lock->fd, 0);
    *out = lock;
    return s;
}

void dw_unlock_folder(struct dw_lock *lock)
{
    if (!lock)
        return;
    if (lock->fd >= 0) {
        unlink(lock->path); /* while held: whoever opens it now finds it gone and tries again */
        close(lock->fd);
    }
    free(lock->path);
    free(lock);
}
