/* file.c: see file.h. */
#include "survey/file.h"

#include "base/atomic_file.h"
#include "survey/checksum.h"
#include "survey/record.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

static const char magic[16] = "daywheel survey";
enum { BYTE_ORDER_MARK = 0x01020304 };

struct file_head {
    char magic[16];
    uint32_t byte_order, version;
    int32_t cols, rows, thumb_long, max_spikes;
    uint32_t head_bytes, tile_bytes; /* of this build: the layout of records */
    uint64_t checksum;
};

struct place {
    uint64_t offset; /* 0: no record */
    uint32_t bytes;
};

/* Keys sorted, to find the shot of a record. */
struct key_index {
    struct dw_hash128 key;
    size_t shot;
};

struct dw_survey_file {
    int fd;
    char *path;
    struct file_head head;
    size_t tiles, n;
    struct place *place; /* one a shot */
    struct key_index *index;
    uint64_t end;        /* behind the last whole record; under lock while appending */
    bool only_looked_at; /* nothing is said about it or done to it */
    pthread_mutex_t lock;
};

static enum dw_status file_failure(struct dw_error *err, const char *path, const char *what)
{
    int e = errno;
    if (e == ENOSPC || e == EDQUOT || e == EFBIG)
        return dw_fail(err, DW_ERR_FULL,
                       "%s: the disk is full; make room and run the same command again, it goes on "
                       "where it stopped",
                       path);
    return dw_fail(err, DW_ERR_IO, "%s: cannot be %s: %s%s", path, what, strerror(e),
                   e == EACCES || e == EROFS || e == EPERM
                       ? "; choose an output folder that you may write to"
                       : "");
}

static struct file_head make_head(const struct dw_survey_params *p)
{
    struct file_head h;
    memset(&h, 0, sizeof h);
    memcpy(h.magic, magic, sizeof magic);
    h.byte_order = BYTE_ORDER_MARK;
    h.version = DW_SURVEY_VERSION;
    h.cols = p->cols;
    h.rows = p->rows;
    h.thumb_long = p->thumb_long;
    h.max_spikes = p->max_spikes;
    h.head_bytes = sizeof(struct dw_record_head);
    h.tile_bytes = sizeof(struct dw_tile);
    h.checksum = dw_checksum(&h, offsetof(struct file_head, checksum));
    return h;
}

/* ---- plain reading and writing at a place ---- */

/* Bytes read, fewer only at the end of the file; -1 with errno. */
static ssize_t read_at(int fd, void *data, size_t n, uint64_t offset)
{
    size_t got = 0;
    while (got < n) {
        ssize_t k = pread(fd, (char *)data + got, n - got, (off_t)(offset + got));
        if (k < 0 && errno == EINTR)
            continue;
        if (k < 0)
            return -1;
        if (k == 0)
            break;
        got += (size_t)k;
    }
    return (ssize_t)got;
}

static bool write_at(int fd, const void *data, size_t n, uint64_t offset)
{
    for (size_t done = 0; done < n;) {
        ssize_t k = pwrite(fd, (const char *)data + done, n - done, (off_t)(offset + done));
        if (k < 0 && errno == EINTR)
            continue;
        if (k < 0)
            return false;
        done += (size_t)k;
    }
    return true;
}

/* ---- opening ---- */

/* Opens and locks; the file may be replaced by another run's finished one between the two, then
 * again. */
static enum dw_status hold(struct dw_survey_file *f, struct dw_error *err)
{
    for (int tries = 0; tries < 10; tries++) {
        f->fd = open(f->path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
        if (f->fd < 0)
            return file_failure(err, f->path, "opened");
        if (flock(f->fd, LOCK_EX | LOCK_NB) != 0) {
            if (errno == EWOULDBLOCK)
                return dw_fail(err, DW_ERR_BUSY,
                               "%s: is in use by another run; wait until it is done or choose "
                               "another output folder",
                               f->path);
            return file_failure(err, f->path, "locked");
        }
        struct stat here, there;
        if (fstat(f->fd, &here) == 0 && stat(f->path, &there) == 0 && here.st_ino == there.st_ino &&
            here.st_dev == there.st_dev) {
            if (!S_ISREG(here.st_mode))
                return dw_fail(err, DW_ERR_IO, "%s: is not an ordinary file", f->path);
            return DW_OK;
        }
        close(f->fd);
        f->fd = -1;
    }
    return dw_fail(err, DW_ERR_BUSY, "%s: is replaced by another run again and again", f->path);
}

static enum dw_status begin_anew(struct dw_survey_file *f, struct dw_error *err)
{
    if (ftruncate(f->fd, 0) != 0 || !write_at(f->fd, &f->head, sizeof f->head, 0))
        return file_failure(err, f->path, "written");
    f->end = sizeof f->head;
    return DW_OK;
}

/* Somebody else's file under our name is moved aside, not overwritten. */
static enum dw_status set_aside(struct dw_survey_file *f, const struct dw_run *run,
                                struct dw_error *err)
{
    char *aside = malloc(strlen(f->path) + 8);
    if (!aside)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", f->path);
    sprintf(aside, "%s.aside", f->path);
    enum dw_status s = DW_OK;
    if (rename(f->path, aside) != 0) {
        s = file_failure(err, f->path, "moved aside");
    } else {
        dw_say(run, DW_WARNING,
               "%s: is not a survey file; it was moved to %s, and the shots are measured anew",
               f->path, aside);
        close(f->fd);
        s = hold(f, err);
    }
    free(aside);
    return s;
}

/* Looks at the header. *anew: the file must be begun anew. */
static enum dw_status check_head(struct dw_survey_file *f, const struct dw_run *run, bool *anew,
                                 struct dw_error *err)
{
    struct file_head h;
    *anew = true;
    ssize_t got = read_at(f->fd, &h, sizeof h, 0);
    if (got < 0)
        return file_failure(err, f->path, "read");
    if (got == 0)
        return DW_OK;
    size_t known = (size_t)got < sizeof magic ? (size_t)got : sizeof magic;
    if (memcmp(h.magic, magic, known) != 0)
        return set_aside(f, run, err);
    if ((size_t)got < sizeof h || h.byte_order != BYTE_ORDER_MARK ||
        h.checksum != dw_checksum(&h, offsetof(struct file_head, checksum)))
        dw_say(run, DW_WARNING,
               "%s: is damaged or from another kind of machine; the shots are measured anew",
               f->path);
    else if (h.version > DW_SURVEY_VERSION)
        dw_say(run, DW_WARNING,
               "%s: was written by a newer version (format %u, this program knows %u); the shots "
               "are measured anew",
               f->path, h.version, (unsigned)DW_SURVEY_VERSION);
    else if (memcmp(&h, &f->head, sizeof h) != 0)
        dw_say(run, DW_INFO,
               "%s: was made with other settings or by an older version; the shots are measured "
               "anew",
               f->path);
    else
        *anew = false;
    return DW_OK;
}

static int by_key(const void *a, const void *b)
{
    const struct key_index *p = a, *q = b;
    if (p->key.a != q->key.a)
        return p->key.a < q->key.a ? -1 : 1;
    if (p->key.b != q->key.b)
        return p->key.b < q->key.b ? -1 : 1;
    return p->shot < q->shot ? -1 : p->shot > q->shot;
}

/* The shot of this key that has no record yet; n when there is none. */
static size_t find_shot(const struct dw_survey_file *f, struct dw_hash128 key)
{
    size_t lo = 0, hi = f->n;
    struct key_index wanted = {key, 0};
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        if (by_key(&f->index[mid], &wanted) < 0)
            lo = mid + 1;
        else
            hi = mid;
    }
    for (; lo < f->n && f->index[lo].key.a == key.a && f->index[lo].key.b == key.b; lo++) {
        if (f->place[f->index[lo].shot].offset == 0)
            return f->index[lo].shot;
    }
    return f->n;
}

static bool grow(char **buffer, size_t *room, size_t n)
{
    if (*room >= n)
        return true;
    free(*buffer);
    *buffer = malloc(n);
    *room = *buffer ? n : 0;
    return *buffer != NULL;
}

/* Walks over the records. What is torn or damaged ends the walk (a damaged length leads nowhere)
 * or is passed over (damage inside), and is said once. */
static enum dw_status scan(struct dw_survey_file *f, const struct dw_run *run,
                           void (*take)(void *ctx, size_t i, const char *record), void *ctx,
                           struct dw_error *err)
{
    struct stat st;
    if (fstat(f->fd, &st) != 0)
        return file_failure(err, f->path, "examined");
    const uint64_t size = (uint64_t)st.st_size;
    uint64_t at = sizeof f->head;
    size_t room = 0, damaged = 0;
    char *record = NULL;
    enum dw_status s = DW_OK;
    while (at < size) {
        struct dw_record_head h;
        ssize_t got = read_at(f->fd, &h, sizeof h, at);
        if (got < 0) {
            s = file_failure(err, f->path, "read");
            break;
        }
        if ((size_t)got < sizeof h || h.magic != DW_RECORD_MAGIC || h.bytes < sizeof h ||
            h.bytes % 8 != 0 || h.bytes > DW_RECORD_MOST || h.bytes > size - at) {
            damaged++;
            break;
        }
        if (!grow(&record, &room, h.bytes)) {
            s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for a record", f->path);
            break;
        }
        got = read_at(f->fd, record, h.bytes, at);
        if (got < 0) {
            s = file_failure(err, f->path, "read");
            break;
        }
        if ((size_t)got == h.bytes && dw_record_valid(record, h.bytes, f->tiles)) {
            size_t i = find_shot(f, dw_record_key(record));
            if (i < f->n) {
                f->place[i] = (struct place){at, h.bytes};
                take(ctx, i, record);
            }
        } else {
            damaged++;
        }
        at += h.bytes;
    }
    free(record);
    f->end = at;
    if (s >= 0 && damaged > 0 && !f->only_looked_at)
        dw_say(run, DW_WARNING,
               "%s: is incomplete or damaged; what is missing from it is measured anew", f->path);
    if (s >= 0 && at < size && !f->only_looked_at && ftruncate(f->fd, (off_t)at) != 0)
        s = file_failure(err, f->path, "shortened");
    return s;
}

static bool make_index(struct dw_survey_file *f, const struct dw_hash128 *keys)
{
    f->place = calloc(f->n + 1, sizeof *f->place);
    f->index = malloc((f->n + 1) * sizeof *f->index);
    if (!f->place || !f->index)
        return false;
    for (size_t i = 0; i < f->n; i++)
        f->index[i] = (struct key_index){keys[i], i};
    qsort(f->index, f->n, sizeof *f->index, by_key);
    return true;
}

static struct dw_survey_file *new_file(const char *path, const struct dw_survey_params *params,
                                       const struct dw_hash128 *keys, size_t n,
                                       struct dw_error *err)
{
    struct dw_survey_file *f = calloc(1, sizeof *f);
    if (!f) {
        dw_fail(err, DW_ERR_MEMORY, "%s: no memory", path);
        return NULL;
    }
    f->fd = -1;
    f->n = n;
    f->tiles = (size_t)params->cols * (size_t)params->rows;
    f->head = make_head(params);
    pthread_mutex_init(&f->lock, NULL);
    f->path = strdup(path);
    if (!f->path || !make_index(f, keys)) {
        dw_fail(err, DW_ERR_MEMORY, "%s: no memory for %zu shots", path, n);
        dw_survey_file_close(f);
        return NULL;
    }
    return f;
}

enum dw_status dw_survey_file_open(const char *path, const struct dw_survey_params *params,
                                   const struct dw_hash128 *keys, size_t n,
                                   const struct dw_run *run,
                                   void (*take)(void *ctx, size_t i, const char *record), void *ctx,
                                   struct dw_survey_file **out, struct dw_error *err)
{
    *out = NULL;
    struct dw_survey_file *f = new_file(path, params, keys, n, err);
    if (!f)
        return DW_ERR_MEMORY;
    bool anew = true;
    enum dw_status s = hold(f, err);
    if (s >= 0)
        s = check_head(f, run, &anew, err);
    if (s >= 0)
        s = anew ? begin_anew(f, err) : scan(f, run, take, ctx, err);
    if (s < 0)
        dw_survey_file_close(f);
    else
        *out = f;
    return s;
}

enum dw_status dw_survey_file_look(const char *path, const struct dw_survey_params *params,
                                   const struct dw_hash128 *keys, size_t n,
                                   void (*take)(void *ctx, size_t i, const char *record), void *ctx,
                                   struct dw_survey_file **out, struct dw_error *err)
{
    *out = NULL;
    struct dw_survey_file *f = new_file(path, params, keys, n, err);
    if (!f)
        return DW_ERR_MEMORY;
    f->only_looked_at = true;
    f->fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    struct file_head h;
    struct stat st;
    enum dw_status s = DW_OK;
    /* a shared lock, let go when the places are known: who writes holds the other kind, and no
     * record that stands ever changes, it is only copied to a new file */
    if (f->fd < 0 || fstat(f->fd, &st) != 0 || !S_ISREG(st.st_mode) ||
        flock(f->fd, LOCK_SH | LOCK_NB) != 0 ||
        read_at(f->fd, &h, sizeof h, 0) != (ssize_t)sizeof h || memcmp(&h, &f->head, sizeof h) != 0)
        s = dw_fail(err, DW_ERR_EMPTY, "%s: there is no finished survey of this kind", path);
    if (s >= 0)
        s = scan(f, NULL, take, ctx, err);
    if (f->fd >= 0)
        flock(f->fd, LOCK_UN);
    if (s < 0)
        dw_survey_file_close(f);
    else
        *out = f;
    return s;
}

/* ---- growing ---- */

bool dw_survey_file_knows(const struct dw_survey_file *f, size_t i)
{
    return f->place[i].offset != 0;
}

enum dw_status dw_survey_file_append(struct dw_survey_file *f, size_t i, const char *record,
                                     size_t bytes, struct dw_error *err)
{
    enum dw_status s = DW_OK;
    pthread_mutex_lock(&f->lock);
    if (write_at(f->fd, record, bytes, f->end)) {
        f->place[i] = (struct place){f->end, (uint32_t)bytes};
        f->end += bytes;
    } else {
        s = file_failure(err, f->path, "written");
        if (ftruncate(f->fd, (off_t)f->end) != 0)
            errno = 0; /* the next run cuts the torn record off */
    }
    pthread_mutex_unlock(&f->lock);
    return s;
}

/* ---- final form ---- */

static bool in_final_form(const struct dw_survey_file *f)
{
    uint64_t at = sizeof f->head;
    for (size_t i = 0; i < f->n; i++) {
        if (f->place[i].offset == 0)
            continue;
        if (f->place[i].offset != at)
            return false;
        at += f->place[i].bytes;
    }
    return at == f->end;
}

/* Copies the records in order to a new file, which takes the old one's name. */
static enum dw_status rewrite(struct dw_survey_file *f, struct place *place, struct dw_error *err)
{
    struct dw_atomic_file out;
    enum dw_status s = dw_atomic_open(&out, f->path, true, err);
    if (s < 0)
        return s;
    s = dw_atomic_write(&out, &f->head, sizeof f->head, err);
    uint64_t at = sizeof f->head;
    size_t room = 0;
    char *record = NULL;
    for (size_t i = 0; i < f->n && s >= 0; i++) {
        if (f->place[i].offset == 0)
            continue;
        size_t bytes = f->place[i].bytes;
        if (!grow(&record, &room, bytes))
            s = dw_fail(err, DW_ERR_MEMORY, "%s: no memory for a record", f->path);
        else if (read_at(f->fd, record, bytes, f->place[i].offset) != (ssize_t)bytes)
            s = file_failure(err, f->path, "read");
        else
            s = dw_atomic_write(&out, record, bytes, err);
        place[i] = (struct place){at, (uint32_t)bytes};
        at += bytes;
    }
    free(record);
    if (s < 0) {
        dw_atomic_discard(&out);
        return s;
    }
    return dw_atomic_commit(&out, err);
}

enum dw_status dw_survey_file_finish(struct dw_survey_file *f, const struct dw_run *run,
                                     struct dw_error *err)
{
    enum dw_status s = DW_OK;
    if (in_final_form(f)) {
        if (fsync(f->fd) != 0)
            return file_failure(err, f->path, "flushed");
    } else {
        struct place *place = calloc(f->n + 1, sizeof *place);
        s = place ? rewrite(f, place, err)
                  : dw_fail(err, DW_ERR_MEMORY, "%s: no memory to finish it", f->path);
        if (s == DW_ERR_FULL) {
            dw_say(run, DW_WARNING, "%s: no room to put it in order; it is complete all the same",
                   f->path);
            s = DW_WARN;
        } else if (s >= 0) {
            int fd = open(f->path, O_RDONLY | O_CLOEXEC);
            if (fd < 0) {
                s = file_failure(err, f->path, "opened again");
            } else {
                close(f->fd); /* the old file, and with it the lock */
                f->fd = fd;
                free(f->place);
                f->place = place;
                place = NULL;
            }
        }
        free(place);
    }
    flock(f->fd, LOCK_UN);
    return s;
}

enum dw_status dw_survey_file_read(const struct dw_survey_file *f, size_t i, char **record,
                                   struct dw_error *err)
{
    *record = NULL;
    if (i >= f->n || f->place[i].offset == 0)
        return dw_fail(err, DW_ERR_EMPTY, "%s: holds nothing about shot %zu", f->path, i);
    size_t bytes = f->place[i].bytes;
    char *data = malloc(bytes);
    if (!data)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for a record", f->path);
    ssize_t got = read_at(f->fd, data, bytes, f->place[i].offset);
    enum dw_status s = DW_OK;
    if (got < 0)
        s = file_failure(err, f->path, "read");
    else if ((size_t)got != bytes || !dw_record_valid(data, bytes, f->tiles))
        s = dw_fail(err, DW_ERR_FORMAT, "%s: was changed while in use", f->path);
    if (s < 0)
        free(data);
    else
        *record = data;
    return s;
}

size_t dw_survey_file_length(const struct dw_survey_file *f, size_t i)
{
    return i < f->n && f->place[i].offset != 0 ? f->place[i].bytes : 0;
}

enum dw_status dw_survey_file_read_part(const struct dw_survey_file *f, size_t i, size_t from,
                                        size_t bytes, void *out, struct dw_error *err)
{
    size_t length = dw_survey_file_length(f, i);
    ssize_t got = 0;
    if (from <= length && bytes <= length - from)
        got = read_at(f->fd, out, bytes, f->place[i].offset + from);
    if (got < 0)
        return file_failure(err, f->path, "read");
    if ((size_t)got != bytes)
        return dw_fail(err, DW_ERR_FORMAT, "%s: was changed while in use", f->path);
    return DW_OK;
}

void dw_survey_file_close(struct dw_survey_file *f)
{
    if (!f)
        return;
    if (f->fd >= 0)
        close(f->fd);
    pthread_mutex_destroy(&f->lock);
    free(f->index);
    free(f->place);
    free(f->path);
    free(f);
}
