/* raw_libraw.c: opening and unpacking; see raw_libraw.h. Structures are those of LibRaw 0.20. */
#include "shot/raw_libraw.h"

#include "base/text.h"
#include "shot/raw_private.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum dw_status dw_raw_check_version(struct dw_error *err)
{
    /* the last number is the patch level, within which the layout stays */
    if (libraw_versionNumber() >> 8 != LIBRAW_VERSION >> 8)
        return dw_fail(err, DW_ERR_FORMAT,
                       "built for LibRaw %d.%d but running with %s: install the matching library "
                       "or build again",
                       LIBRAW_MAJOR_VERSION, LIBRAW_MINOR_VERSION, libraw_version());
    return DW_OK;
}

const char *dw_raw_version(void)
{
    return libraw_version();
}

/* LibRaw's default handlers print to standard error; ours count. A negative offset or -1 only
 * tells how far it was. */
static void on_data_error(void *ctx, const char *file, int offset)
{
    (void)file;
    (void)offset;
    struct dw_raw *r = ctx;
    r->data_errors++;
}

static void on_memory_error(void *ctx, const char *file, const char *where)
{
    (void)file;
    (void)where;
    struct dw_raw *r = ctx;
    r->memory_failed = true;
}

/* LibRaw calls mktime(), which reads the zone of the machine when it is first called or has
 * changed. Done once here, so that workers only compare: glibc's lock around it is invisible to the
 * thread sanitizer. (Without TZ in the environment glibc reads anew each time: set it there.) */
static void read_time_zone(void)
{
    tzset();
}

struct dw_raw *dw_raw_new(void)
{
    static pthread_once_t zone_is_read = PTHREAD_ONCE_INIT;
    pthread_once(&zone_is_read, read_time_zone);
    struct dw_raw *r = calloc(1, sizeof *r);
    if (!r)
        return NULL;
    r->lr = libraw_init(LIBRAW_OPTIONS_NONE);
    if (!r->lr) {
        free(r);
        return NULL;
    }
    libraw_set_dataerror_handler(r->lr, on_data_error, r);
    libraw_set_memerror_handler(r->lr, on_memory_error, r);
    return r;
}

void dw_raw_free(struct dw_raw *r)
{
    if (!r)
        return;
    libraw_close(r->lr);
    free(r);
}

void dw_raw_recycle(struct dw_raw *r)
{
    libraw_recycle(r->lr);
}

void dw_raw_forget_input(struct dw_raw *r)
{
    libraw_recycle_datastream(r->lr);
}

static enum dw_raw_refusal refusal_of(const struct dw_raw *r, int code)
{
    if (code == LIBRAW_SUCCESS)
        return DW_RAW_OPENED;
    if (r->memory_failed || code == LIBRAW_UNSUFFICIENT_MEMORY || code == LIBRAW_TOO_BIG)
        return DW_RAW_MEMORY;
    if (code == LIBRAW_FILE_UNSUPPORTED || code == LIBRAW_NOT_IMPLEMENTED)
        return DW_RAW_UNKNOWN;
    return DW_RAW_DAMAGED;
}

/* LibRaw's clock went through mktime() in the zone of this process. Going back with localtime()
 * gives the camera's own reading again in any zone, but for the hour that a change to summer
 * time leaves out. CIFF files (CRW) store seconds, which never went through it. */
static bool clock_of_libraw(const libraw_data_t *lr, bool ciff, double *clock_s)
{
    time_t t = lr->other.timestamp;
    struct tm tm;
    if (t <= 31536000) /* 1970 is what a lost date looks like */
        return false;
    if (ciff) {
        *clock_s = (double)t;
        return true;
    }
    if (!localtime_r(&t, &tm))
        return false;
    *clock_s = (double)timegm(&tm);
    return true;
}

/* A file whose length alone made LibRaw name a camera holds neither tags nor numbers. */
static bool recognised_by_length_alone(const struct dw_raw_record *rec, const libraw_data_t *lr)
{
    return !rec->exif.seen && lr->other.timestamp == 0 && !(lr->other.shutter > 0) &&
           !(lr->other.iso_speed > 0) && !(lr->other.aperture > 0);
}

static void take_names(struct dw_raw_record *rec, const libraw_data_t *lr)
{
    const char *make = lr->idata.make, *model = lr->idata.model;
    dw_text_clean(rec->make, sizeof rec->make, make[0] ? make : rec->exif.make,
                  sizeof lr->idata.make);
    dw_text_clean(rec->model, sizeof rec->model, model[0] ? model : rec->exif.model,
                  sizeof lr->idata.model);
    const char *serial = rec->exif.serial[0] ? rec->exif.serial : lr->shootinginfo.BodySerial;
    dw_text_clean(rec->serial, sizeof rec->serial, serial, DW_EXIF_TEXT);
}

static void take_record(struct dw_raw *r, int code, bool ciff, struct dw_raw_record *rec)
{
    const libraw_data_t *lr = r->lr;
    rec->refusal = refusal_of(r, code);
    take_names(rec, lr);
    rec->shutter_s = lr->other.shutter > 0 ? (double)lr->other.shutter : (double)NAN;
    rec->f_number = lr->other.aperture > 0 ? (double)lr->other.aperture : (double)NAN;
    rec->iso = lr->other.iso_speed > 0 ? (double)lr->other.iso_speed : (double)NAN;
    rec->has_clock = clock_of_libraw(lr, ciff, &rec->clock_s);
    rec->width = lr->sizes.width;
    rec->height = lr->sizes.height;
    memcpy(r->map, rec->exif.map, sizeof r->map);
    rec->compression = dw_exif_compression(&rec->exif);
    rec->promised_end = dw_exif_promised_end(&rec->exif, lr->sizes.raw_width, lr->sizes.raw_height);
    if (rec->refusal != DW_RAW_OPENED) {
        snprintf(rec->why, sizeof rec->why, "is refused by LibRaw: %s", libraw_strerror(code));
        return;
    }
    if (recognised_by_length_alone(rec, lr)) {
        rec->refusal = DW_RAW_UNKNOWN;
        snprintf(rec->why, sizeof rec->why, "has no header: only its length resembles a %s %s",
                 rec->make, rec->model);
        return;
    }
    rec->turn_deg = lr->sizes.flip == 6   ? 90
                    : lr->sizes.flip == 3 ? 180
                    : lr->sizes.flip == 5 ? 270
                                          : 0;
    rec->white = lr->color.maximum;
    dw_raw_take_colour(r, rec);
    if (!dw_raw_take_pattern(r, &rec->cfa, &rec->period, rec->pattern, rec->why, sizeof rec->why))
        rec->refusal = DW_RAW_UNSUITED;
}

static void begin(struct dw_raw *r, struct dw_raw_record *rec)
{
    memset(rec, 0, sizeof *rec);
    dw_exif_clear(&rec->exif);
    libraw_recycle(r->lr);
    r->data_errors = 0;
    r->memory_failed = false;
    libraw_set_exifparser_handler(r->lr, dw_exif_tag, &rec->exif);
}

void dw_raw_open_path(struct dw_raw *r, const char *path, struct dw_raw_record *out)
{
    begin(r, out);
    char head[16] = "";
    FILE *f = fopen(path, "rb");
    if (f) {
        if (fread(head, 1, sizeof head, f) < sizeof head)
            head[0] = '\0';
        fclose(f);
    }
    int code = libraw_open_file(r->lr, path);
    take_record(r, code, memcmp(head + 6, "HEAPCCDR", 8) == 0, out);
    libraw_set_exifparser_handler(r->lr, NULL, NULL);
}

void dw_raw_open_bytes(struct dw_raw *r, void *data, size_t n, struct dw_raw_record *out)
{
    begin(r, out);
    bool ciff = n >= 16 && memcmp((const char *)data + 6, "HEAPCCDR", 8) == 0;
    int code = libraw_open_buffer(r->lr, data, n);
    take_record(r, code, ciff, out);
    libraw_set_exifparser_handler(r->lr, NULL, NULL);
}

enum dw_raw_refusal dw_raw_unpack(struct dw_raw *r, char *why, size_t why_size, int *data_errors)
{
    r->data_errors = 0;
    r->memory_failed = false;
    int code = libraw_unpack(r->lr);
    *data_errors = r->data_errors;
    enum dw_raw_refusal refusal = refusal_of(r, code);
    if (refusal == DW_RAW_DAMAGED && (code == LIBRAW_IO_ERROR || code == LIBRAW_DATA_ERROR))
        snprintf(why, why_size,
                 "is damaged or cut short: its pixel data break off or make no sense");
    else if (refusal != DW_RAW_OPENED)
        snprintf(why, why_size, "is refused by LibRaw: %s", libraw_strerror(code));
    return refusal;
}
