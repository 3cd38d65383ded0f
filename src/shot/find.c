/* find.c: see find.h. */
#include "shot/find.h"

#include "base/hash.h"
#include "base/text.h"
#include "shot/refuse.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { HEAD_BYTES = 65536 }; /* of a file, hashed for its identity */

struct dw_finder *dw_finder_new(struct dw_error *err)
{
    struct dw_finder *f = calloc(1, sizeof *f);
    if (f) {
        f->raw = dw_raw_new();
        f->head = malloc(HEAD_BYTES);
        if (f->raw && f->head)
            return f;
        dw_finder_free(f);
    }
    dw_fail(err, DW_ERR_MEMORY, "no memory for reading frames");
    return NULL;
}

void dw_finder_free(struct dw_finder *f)
{
    if (!f)
        return;
    dw_raw_free(f->raw);
    free(f->head);
    free(f);
}

void dw_find_free(struct dw_find *f)
{
    free(f->shot.path);
    free(f->shot.name);
    f->shot.path = f->shot.name = NULL;
}

/* Size, time, head. False when the file cannot be read; errno tells why. */
static bool read_identity(struct dw_finder *f, struct dw_find *out)
{
    struct stat st;
    int fd = open(out->shot.path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return false;
    bool fine = fstat(fd, &st) == 0;
    f->head_n = 0;
    while (fine && f->head_n < HEAD_BYTES) {
        ssize_t n = read(fd, f->head + f->head_n, HEAD_BYTES - f->head_n);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            fine = n == 0;
            break;
        }
        f->head_n += (size_t)n;
    }
    int kept = errno;
    close(fd);
    errno = kept;
    if (!fine)
        return false;
    out->dev = st.st_dev;
    out->ino = st.st_ino;
    out->shot.id.size = (uint64_t)st.st_size;
    out->shot.id.mtime_ns = (int64_t)st.st_mtim.tv_sec * 1000000000 + st.st_mtim.tv_nsec;
    out->shot.id.head_hash = dw_hash(DW_HASH_START, f->head, f->head_n);
    return true;
}

static void take_time(const struct dw_raw_record *rec, struct dw_find *out)
{
    struct dw_shot *s = &out->shot;
    s->has_clock = dw_exif_clock(&rec->exif, &s->clock_s);
    if (s->has_clock) {
        s->has_offset = dw_exif_clock_offset(&rec->exif, &s->offset_s);
    } else if (rec->has_clock) {
        s->has_clock = true;
        s->clock_s = rec->clock_s;
    }
    s->has_gps = dw_exif_position(&rec->exif, &s->lat_deg, &s->lon_deg);
    out->has_gps_clock = dw_exif_gps_clock(&rec->exif, &out->gps_clock_s);
}

/* The decoder's own numbers count only where there is no Exif record: it computes them from
 * whatever it finds, and shows 1 s for a blank one. */
static void take_exposure(const struct dw_raw_record *rec, struct dw_find *out)
{
    const struct dw_exif *x = &rec->exif;
    bool recorded = x->has_exposure_tag || x->has_f_tag;
    out->exposure.shutter_s = x->has_exposure_tag ? x->exposure_s
                              : recorded          ? (double)NAN
                                                  : rec->shutter_s;
    out->exposure.f_number = x->has_f_tag ? x->f_number : recorded ? (double)NAN : rec->f_number;
    out->exposure.tv = x->tv;
    out->exposure.iso = dw_exif_iso(x);
    if (isnan(out->exposure.iso) && rec->iso < 65535) /* 65535: "does not fit" */
        out->exposure.iso = rec->iso;
    dw_exposure_fill(&out->shot, &out->exposure, DW_TIMING_STEPS);
}

static void take_camera(const struct dw_raw_record *rec, struct dw_find *out)
{
    struct dw_shot *s = &out->shot;
    memcpy(s->make, rec->make, sizeof s->make);
    memcpy(s->model, rec->model, sizeof s->model);
    memcpy(s->serial, rec->serial, sizeof s->serial);
    s->width = rec->width;
    s->height = rec->height;
    s->turn_deg = rec->turn_deg;
    s->cfa = rec->cfa;
    memcpy(s->cam_xyz, rec->cam_xyz, sizeof s->cam_xyz);
    s->has_cam_xyz = rec->has_cam_xyz;
    memcpy(s->daylight_mul, rec->daylight_mul, sizeof s->daylight_mul);
    memcpy(out->pattern, rec->pattern, sizeof out->pattern);
    out->white = rec->white;
}

enum dw_status dw_find_read(struct dw_finder *f, const char *path, struct dw_find *out,
                            struct dw_error *err)
{
    *out = (struct dw_find){.state = DW_FIND_OTHER};
    struct dw_shot *s = &out->shot;
    const char *base = dw_text_basename(path);
    char name[1024];
    dw_text_clean(name, sizeof name, base, strlen(base));
    s->path = strdup(path);
    s->name = strdup(name);
    if (!s->path || !s->name) {
        dw_find_free(out);
        return dw_fail(err, DW_ERR_MEMORY, "%s: no memory for its name", path);
    }
    out->kind = dw_kind_of(base);
    s->file_number = dw_kind_number(base);
    struct dw_raw_record *rec = &f->record;
    out->exposure = (struct dw_exposure_record){NAN, NAN, NAN, NAN};
    dw_exposure_fill(s, &out->exposure, DW_TIMING_STEPS);
    if (!read_identity(f, out)) {
        snprintf(s->problem, sizeof s->problem, "cannot be read: %s", strerror(errno));
        return DW_OK;
    }
    dw_raw_open_path(f->raw, path, rec);
    take_time(rec, out);
    take_exposure(rec, out);
    take_camera(rec, out);
    if (rec->refusal == DW_RAW_OPENED && rec->promised_end <= s->id.size) {
        out->state = DW_FIND_FRAME;
        s->readable = true;
    } else {
        const struct dw_refused what = {s->path, s->id.size, f->head, f->head_n, rec};
        dw_refuse(&what, s->problem, sizeof s->problem);
        if (rec->refusal == DW_RAW_OPENED)
            out->state = DW_FIND_BROKEN; /* a frame for certain, but cut short */
    }
    dw_raw_recycle(f->raw);
    return DW_OK;
}
