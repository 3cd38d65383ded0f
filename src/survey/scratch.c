/* scratch.c: the folder of packed mosaics. Several processes may share one: files appear whole
 * under their final names, and the folder is cleared only by the last who holds it (a shared
 * flock on the folder itself). */
#include <daywheel/survey.h>

#include "base/atomic_file.h"
#include "survey/key.h"
#include "survey/pack.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

enum { NAME_ROOM = 80 };
static const double packed_share = 0.6;         /* of the mosaic's bytes; 0.5 is usual */
static const uint64_t least_free = 2000000000u; /* or a tenth of the disk if that is less */
static const char suffix[] = ".dwpack";

/* Packers wait here between calls: as many come into being as threads call at once. */
struct idle {
    struct dw_packer packer;
    struct idle *next;
};

struct dw_scratch {
    char *dir;
    int fd; /* of the folder; carries the lock */
    uint64_t reserve;
    atomic_uint serial; /* makes temporary names differ between threads */
    size_t n;
    struct dw_hash128 *key; /* of the shoot's shots */
    pthread_mutex_t lock;
    struct idle *idle; /* under lock */
};

static void key_name(struct dw_hash128 key, char out[NAME_ROOM])
{
    char text[33];
    dw_hash128_text(&key, text);
    snprintf(out, NAME_ROOM, "%s%s", text, suffix);
}

static struct idle *borrow(struct dw_scratch *s)
{
    pthread_mutex_lock(&s->lock);
    struct idle *p = s->idle;
    if (p)
        s->idle = p->next;
    pthread_mutex_unlock(&s->lock);
    return p ? p : calloc(1, sizeof *p);
}

static void give_back(struct dw_scratch *s, struct idle *p)
{
    pthread_mutex_lock(&s->lock);
    p->next = s->idle;
    s->idle = p;
    pthread_mutex_unlock(&s->lock);
}

/* Opens and locks the folder. Somebody may remove it between our making and locking it: then it
 * is made again. */
static enum dw_status hold_folder(const char *dir, int *fd, struct dw_error *err)
{
    for (int tries = 0; tries < 10; tries++) {
        enum dw_status s = dw_make_folder(dir, err);
        if (s < 0)
            return s;
        *fd = open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        struct stat st;
        if (*fd < 0 && errno == ENOENT)
            continue;
        if (*fd < 0)
            return dw_fail(err, DW_ERR_IO, "%s: cannot be opened as a folder: %s", dir,
                           strerror(errno));
        while (flock(*fd, LOCK_SH) != 0 && errno == EINTR) {
        }
        if (fstat(*fd, &st) == 0 && st.st_nlink > 0)
            return DW_OK;
        close(*fd);
        *fd = -1;
    }
    return dw_fail(err, DW_ERR_IO, "%s: is removed by another program again and again", dir);
}

/* True when nobody else holds the folder; it is then held alone, else still shared. */
static bool hold_alone(struct dw_scratch *s)
{
    if (flock(s->fd, LOCK_EX | LOCK_NB) == 0)
        return true;
    flock(s->fd, LOCK_SH | LOCK_NB); /* a failed change may have dropped the lock */
    return false;
}

/* Temporaries of killed runs: ".NAME.part", and NAME-PID-N not yet given its final name. */
static void remove_leftovers(struct dw_scratch *s)
{
    dw_remove_leftovers(s->dir);
    DIR *d = opendir(s->dir);
    if (!d)
        return;
    for (struct dirent *e; (e = readdir(d)) != NULL;) {
        size_t n = strlen(e->d_name), end = sizeof suffix - 1;
        bool ours = n > 32 + end && strcmp(e->d_name + n - end, suffix) == 0;
        if (ours && strspn(e->d_name, "0123456789abcdef") == 32 && e->d_name[32] == '-')
            unlinkat(dirfd(d), e->d_name, 0);
    }
    closedir(d);
}

static uint64_t free_bytes(const struct dw_scratch *s)
{
    struct statvfs v;
    if (fstatvfs(s->fd, &v) != 0)
        return 0;
    uint64_t bytes = (uint64_t)v.f_bavail * v.f_frsize;
    return bytes > s->reserve ? bytes - s->reserve : 0;
}

static uint64_t mosaic_bytes(const struct dw_shot *shot)
{
    return (uint64_t)shot->width * (uint64_t)shot->height * (shot->cfa == DW_CFA_RGB ? 6 : 2);
}

/* Says once how much fits; what does not is decoded again, and nothing else changes. */
static void check_room(const struct dw_scratch *s, const struct dw_shots *shots,
                       const struct dw_run *run)
{
    double needed = 0, largest = 1;
    size_t missing = 0;
    for (size_t i = 0; i < shots->n; i++) {
        char name[NAME_ROOM];
        key_name(s->key[i], name);
        if (!shots->shot[i].readable || faccessat(s->fd, name, R_OK, 0) == 0)
            continue;
        double bytes = packed_share * (double)mosaic_bytes(&shots->shot[i]);
        needed += bytes;
        largest = bytes > largest ? bytes : largest;
        missing++;
    }
    double room = (double)free_bytes(s);
    const double unit = needed < 1e9 ? 1e6 : 1e9;
    if (needed > room)
        dw_say(run, DW_WARNING,
               "%s: room for about %.0f of %zu packed frames (%.1f %s wanted, %.1f to spare beside "
               "the results); the others will be decoded twice, which takes longer and changes "
               "nothing else",
               s->dir, floor(room / largest), missing, needed / unit, needed < 1e9 ? "MB" : "GB",
               room / unit);
}

enum dw_status dw_scratch_open(const char *dir, const struct dw_shots *shots, double others,
                               const struct dw_run *run, struct dw_scratch **out,
                               struct dw_error *err)
{
    *out = NULL;
    struct dw_scratch *s = calloc(1, sizeof *s);
    if (!s)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory", dir);
    s->fd = -1;
    pthread_mutex_init(&s->lock, NULL);
    s->n = shots->n;
    s->dir = strdup(dir);
    s->key = malloc((shots->n + 1) * sizeof *s->key);
    if (!s->dir || !s->key) {
        dw_scratch_close(s, true);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for %zu names", dir, shots->n);
    }
    for (size_t i = 0; i < shots->n; i++)
        s->key[i] = dw_shot_key(&shots->shot[i]);
    enum dw_status status = hold_folder(dir, &s->fd, err);
    if (status < 0) {
        dw_scratch_close(s, true);
        return status;
    }
    struct statvfs v;
    if (fstatvfs(s->fd, &v) == 0) {
        uint64_t tenth = (uint64_t)v.f_blocks * v.f_frsize / 10;
        s->reserve = (tenth < least_free ? tenth : least_free) + (uint64_t)others;
    }
    if (hold_alone(s)) {
        remove_leftovers(s);
        flock(s->fd, LOCK_SH | LOCK_NB);
    }
    check_room(s, shots, run);
    *out = s;
    return DW_OK;
}

enum dw_status dw_scratch_put(struct dw_scratch *s, const struct dw_shot *shot,
                              const struct dw_mosaic *m, struct dw_error *err)
{
    struct dw_hash128 key = dw_shot_key(shot);
    char name[NAME_ROOM], text[33], temp[NAME_ROOM];
    key_name(key, name);
    if (faccessat(s->fd, name, R_OK, 0) == 0)
        return DW_OK;
    if (packed_share * 2 * (double)m->samples > (double)free_bytes(s))
        return DW_WARN;
    /* A name of our own first: another process may be packing the same shot just now. */
    dw_hash128_text(&key, text);
    snprintf(temp, sizeof temp, "%s-%ld-%u%s", text, (long)getpid(),
             atomic_fetch_add(&s->serial, 1u), suffix);
    char *from = dw_join_path(s->dir, temp), *to = dw_join_path(s->dir, name);
    struct idle *p = borrow(s);
    enum dw_status status = DW_OK;
    if (!from || !to || !p) {
        status = dw_fail(err, DW_ERR_MEMORY, "%s: no memory to pack %s", s->dir, shot->name);
    } else {
        struct dw_atomic_file f;
        status = dw_atomic_open(&f, from, false, err);
        if (status >= 0) {
            status = dw_pack_write(&p->packer, m, key, &f, err);
            if (status >= 0)
                status = dw_atomic_commit(&f, err);
            else
                dw_atomic_discard(&f);
        }
        if (status >= 0 && rename(from, to) != 0) {
            status =
                dw_fail(err, DW_ERR_IO, "%s: cannot be given its name: %s", to, strerror(errno));
            unlink(from);
        }
    }
    if (p)
        give_back(s, p);
    free(from);
    free(to);
    return status == DW_ERR_FULL ? DW_WARN : status;
}

enum dw_status dw_scratch_get(struct dw_scratch *s, const struct dw_shot *shot,
                              struct dw_mosaic *out, struct dw_error *err)
{
    struct dw_hash128 key = dw_shot_key(shot);
    char name[NAME_ROOM];
    key_name(key, name);
    int fd = openat(s->fd, name, O_RDONLY | O_CLOEXEC);
    if (fd < 0) {
        dw_fail(err, DW_WARN, "%s/%s: is not there", s->dir, name);
        return DW_WARN;
    }
    struct idle *p = borrow(s);
    char *path = dw_join_path(s->dir, name);
    enum dw_status status;
    if (!p || !path)
        status = dw_fail(err, DW_ERR_MEMORY, "%s: no memory to unpack %s", s->dir, shot->name);
    else
        status = dw_pack_read(&p->packer, fd, path, key, out, err);
    close(fd);
    if (status == DW_ERR_FORMAT)
        unlinkat(s->fd, name, 0); /* damaged: it would only be tried again */
    if (status == DW_ERR_FORMAT || status == DW_ERR_IO)
        status = DW_WARN;
    if (p)
        give_back(s, p);
    free(path);
    return status;
}

enum dw_status dw_fetch_mosaic(struct dw_scratch *s, struct dw_decoder *d,
                               const struct dw_shot *shot, struct dw_mosaic *out,
                               struct dw_error *err)
{
    if (s) {
        enum dw_status status = dw_scratch_get(s, shot, out, err);
        if (status == DW_OK || status == DW_ERR_MEMORY)
            return status;
    }
    return dw_decode(d, shot, out, err);
}

void dw_scratch_close(struct dw_scratch *s, bool keep)
{
    if (!s)
        return;
    if (!keep && s->fd >= 0 && hold_alone(s)) {
        for (size_t i = 0; i < s->n; i++) {
            char name[NAME_ROOM];
            key_name(s->key[i], name);
            unlinkat(s->fd, name, 0);
        }
        remove_leftovers(s);
        rmdir(s->dir); /* stays if anything else is in it */
    }
    if (s->fd >= 0)
        close(s->fd); /* and the lock with it */
    while (s->idle) {
        struct idle *p = s->idle;
        s->idle = p->next;
        dw_packer_free(&p->packer);
        free(p);
    }
    pthread_mutex_destroy(&s->lock);
    free(s->key);
    free(s->dir);
    free(s);
}
