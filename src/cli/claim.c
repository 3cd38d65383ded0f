/* claim.c: see claim.h. */
#include "cli/claim.h"

#include "base/atomic_file.h"
#include "base/csv.h"
#include "base/search.h"
#include "base/when.h"

#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define LEDGER_MOST ((size_t)256 << 20)
/* Two readings of one clock differ at most by the whole range of offsets, -12 to +14 hours. */
#define SAME_TIME_S (26 * 3600.0)

bool dw_folder_exists(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

enum dw_status dw_claim_place(const char *dir, const char *const *input, size_t n,
                              struct dw_error *err)
{
    struct stat out, in;
    if (stat(dir, &out) != 0)
        return DW_OK;
    if (!S_ISDIR(out.st_mode))
        return dw_fail(err, DW_ERR_IO,
                       "%s: is a file, and the output needs a folder; choose "
                       "another name for -o",
                       dir);
    for (size_t i = 0; i < n; i++) {
        if (stat(input[i], &in) == 0 && in.st_dev == out.st_dev && in.st_ino == out.st_ino)
            return dw_fail(err, DW_ERR_USAGE,
                           "--output '%s' is the folder with the frames; what is made must not be "
                           "mixed with what was shot: choose a folder of its own, such as -o "
                           "%s/out",
                           dir, dir);
    }
    return DW_OK;
}

static bool is_share_lock(const char *name)
{
    return strncmp(name, ".part-", 6) == 0 && name[6] >= '0' && name[6] <= '9';
}

/* A run of everything must not write under the feet of one that makes a share. */
static enum dw_status no_share_at_work(const char *dir, struct dw_error *err)
{
    enum dw_status status = DW_OK;
    DIR *d = opendir(dir);
    if (!d)
        return DW_OK;
    for (struct dirent *e; status >= 0 && (e = readdir(d)) != NULL;) {
        char *path = is_share_lock(e->d_name) ? dw_join_path(dir, e->d_name) : NULL;
        struct dw_lock *lock = NULL;
        if (path && dw_folder_exists(path)) {
            status = dw_lock_folder(path, &lock, err);
            dw_unlock_folder(lock);
            if (status >= 0)
                rmdir(path); /* left by one that was killed */
        }
        free(path);
    }
    closedir(d);
    return status;
}

enum dw_status dw_claim_lock(struct dw_job *job, const char *dir)
{
    bool share = job->settings->part[1] > 1, told = false;
    for (;;) {
        enum dw_status status = dw_lock_folder(dir, &job->lock, &job->error);
        if (status >= 0 && !share && no_share_at_work(dir, &job->error) < 0)
            return job->error.status;
        if (status != DW_ERR_BUSY || !share)
            return status;
        if (!told)
            dw_terminal_line(job->terminal, "Another run surveys or plans in %s; waiting for it.",
                             dir);
        told = true;
        if (dw_stopping(&job->run))
            return dw_fail(&job->error, DW_ERR_INTERRUPTED, "stopped while waiting");
        nanosleep(&(struct timespec){.tv_nsec = 200000000}, NULL);
    }
}

enum dw_status dw_claim_share(struct dw_job *job, const char *dir)
{
    const int *part = job->settings->part;
    if (part[1] <= 1)
        return DW_OK;
    char name[40];
    struct dw_lock *own;
    snprintf(name, sizeof name, ".part-%d-of-%d", part[0], part[1]);
    char *path = dw_join_path(dir, name);
    if (!path)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory for the name of a lock");
    enum dw_status status = dw_lock_folder(path, &own, &job->error);
    if (status < 0) {
        free(path);
        return status;
    }
    dw_unlock_folder(job->lock);
    job->lock = own;
    job->share_folder = path;
    return status;
}

static int by_name(const void *a, const void *b)
{
    const struct dw_shot *const *x = a, *const *y = b;
    return strcmp((*x)->name, (*y)->name);
}

static int compare_name(const void *name, const void *item)
{
    return strcmp(name, (*(const struct dw_shot *const *)item)->name);
}

/* A row is of this shoot when a shot has its name and, as far as both are known, its time: cameras
 * use the same names again after 10,000 frames. */
static bool knows_row(const struct dw_shot *const *sorted, size_t n, const char *name, double utc)
{
    size_t at = dw_lower_bound(name, sorted, n, sizeof *sorted, compare_name);
    for (; at < n && strcmp(sorted[at]->name, name) == 0; at++) {
        const struct dw_shot *s = sorted[at];
        if (isnan(utc) || !s->has_clock || fabs(s->clock_s - utc) <= SAME_TIME_S)
            return true;
    }
    return false;
}

static enum dw_status compare_ledger(const char *path, const char *dir, const struct dw_csv *ledger,
                                     const struct dw_shots *shots, struct dw_error *err)
{
    int file = dw_csv_column(ledger, "file"), utc = dw_csv_column(ledger, "utc");
    if (file < 0)
        return dw_fail(err, DW_ERR_FORMAT,
                       "%s: has no column `file`, so it cannot be told whether this folder belongs "
                       "to the same shoot; choose another output folder, or move that file away",
                       path);
    const struct dw_shot **sorted = calloc(shots->n ? shots->n : 1, sizeof *sorted);
    if (!sorted)
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory to compare it", path);
    for (size_t i = 0; i < shots->n; i++)
        sorted[i] = &shots->shot[i];
    qsort(sorted, shots->n, sizeof *sorted, by_name);
    bool common = ledger->rows == 0;
    for (size_t row = 0; row < ledger->rows && !common; row++) {
        double utc_s;
        if (utc < 0 || !dw_when_parse(dw_csv_field(ledger, row, utc), &utc_s))
            utc_s = (double)NAN;
        common = knows_row(sorted, shots->n, dw_csv_field(ledger, row, file), utc_s);
    }
    free(sorted);
    if (common)
        return DW_OK;
    return dw_fail(err, DW_ERR_MIXED,
                   "%s holds another shoot: its ledger names %zu shots (%s, ...; %.10s), none of "
                   "which is among these %zu (%s, ...); choose another folder with -o, or remove "
                   "that one if it is no longer wanted",
                   dir, ledger->rows, dw_csv_field(ledger, 0, file),
                   utc < 0 ? "" : dw_csv_field(ledger, 0, utc), shots->n, shots->shot[0].name);
}

/* Pictures in a folder of our name, but nothing that says that they are ours. */
static enum dw_status refuse_strange_frames(const char *dir, const char *folder,
                                            struct dw_error *err)
{
    enum dw_status status = DW_OK;
    char *path = dw_join_path(dir, folder);
    DIR *d = path ? opendir(path) : NULL;
    for (struct dirent *e; d && status >= 0 && (e = readdir(d)) != NULL;)
        if (e->d_name[0] != '.')
            status = dw_fail(err, DW_ERR_MIXED,
                             "%s: holds %s, but there is no ledger beside it that says what it "
                             "belongs to; choose another folder with -o, or move `%s` away",
                             path, e->d_name, folder);
    if (d)
        closedir(d);
    free(path);
    return status;
}

enum dw_status dw_claim_same_shoot(const char *dir, const struct dw_shots *shots,
                                   struct dw_error *err)
{
    char *path = dw_join_path(dir, "ledger.csv"), *text = NULL;
    size_t n = 0;
    struct dw_csv ledger;
    if (!path)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the name of the ledger");
    enum dw_status status = DW_OK;
    if (access(path, F_OK) != 0) {
        for (int r = 0; r < DW_RENDERINGS && status >= 0; r++)
            status = refuse_strange_frames(dir, dw_frames_folder((enum dw_rendering)r), err);
    } else {
        status = dw_read_whole(path, LEDGER_MOST, &text, &n, err);
        if (status >= 0)
            status = dw_csv_parse(path, text, n, &ledger, err);
        free(text);
        if (status >= 0) {
            status = compare_ledger(path, dir, &ledger, shots, err);
            dw_csv_free(&ledger);
        }
    }
    free(path);
    return status;
}
