/* refuse.c: see refuse.h. */
#include "shot/refuse.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static uint64_t be32(const unsigned char *b)
{
    return (uint64_t)b[0] << 24 | (uint64_t)b[1] << 16 | (uint64_t)b[2] << 8 | b[3];
}

static bool begins(const struct dw_refused *f, size_t at, const char *magic, size_t n)
{
    return f->head_n >= at + n && memcmp(f->head + at, magic, n) == 0;
}

/* Containers that camera files come in, by their first bytes. */
static bool known_container(const struct dw_refused *f)
{
    static const struct {
        unsigned char at, n;
        const char *magic;
    } known[] = {
        {0, 4, "II*\0"},    {0, 4, "MM\0*"},    {0, 3, "IIR"},      {0, 3, "MMO"},
        {0, 4, "IIU\0"},    {6, 8, "HEAPCCDR"}, {0, 8, "FUJIFILM"}, {0, 4, "\0MRM"},
        {0, 4, "FOVb"},     {4, 7, "ftypcrx"},  {0, 4, "IIII"},     {0, 4, "MMMM"},
        {25, 7, "ARECOYK"}, {0, 4, "ARRI"},     {0, 4, "qktk"},     {0, 4, "qktn"},
        {0, 4, "II+\0"},    {0, 4, "MM\0+"},
    };
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (begins(f, known[i].at, known[i].magic, known[i].n))
            return true;
    return false;
}

/* Last byte that a RAF header promises (offset and length pairs of preview, metadata and sensor
 * data); 0 for other files. */
static uint64_t end_of_raf(const struct dw_refused *f)
{
    uint64_t end = 0;
    if (!begins(f, 0, "FUJIFILM", 8) || f->head_n < 108)
        return 0;
    for (size_t at = 84; at <= 100; at += 8) {
        uint64_t e = be32(f->head + at) + be32(f->head + at + 4);
        end = e > end ? e : end;
    }
    return end;
}

/* End of the last top-level box of an ISO base media file (CR3); 0 for other files. */
static uint64_t end_of_boxes(const struct dw_refused *f)
{
    if (!begins(f, 4, "ftyp", 4))
        return 0;
    int fd = open(f->path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return 0;
    uint64_t at = 0;
    unsigned char b[16];
    for (int i = 0; i < 64 && at + 8 <= f->size; i++) {
        ssize_t n = pread(fd, b, sizeof b, (off_t)at);
        if (n < 8)
            break;
        uint64_t length = be32(b);
        if (length == 1 && n == 16)
            length = be32(b + 8) << 32 | be32(b + 12);
        else if (length == 0)
            length = f->size - at;
        if (length < 8 || length > UINT64_MAX - at)
            break;
        at += length;
    }
    close(fd);
    return at;
}

static uint64_t largest(uint64_t a, uint64_t b)
{
    return a > b ? a : b;
}

static bool only_zeros(const struct dw_refused *f)
{
    for (size_t i = 0; i < f->head_n; i++)
        if (f->head[i])
            return false;
    return f->head_n > 0;
}

/* "Make Model, compression 9" as far as known. */
static void describe(const struct dw_raw_record *rec, char *out, size_t size)
{
    if (!rec->make[0]) {
        snprintf(out, size, "its header names no camera");
        return;
    }
    const char *make = rec->make;
    if (rec->compression > 1)
        snprintf(out, size, "%.40s %.40s, compression %u", make, rec->model, rec->compression);
    else
        snprintf(out, size, "%.40s %.40s", make, rec->model);
}

void dw_refuse(const struct dw_refused *f, char *out, size_t out_size)
{
    const struct dw_raw_record *rec = f->rec;
    uint64_t end = largest(dw_exif_any_end(&rec->exif), largest(end_of_raf(f), end_of_boxes(f)));
    unsigned long long size = f->size;
    char camera[128];
    if (size == 0) {
        snprintf(out, out_size, "is empty (0 bytes)");
    } else if (only_zeros(f)) {
        snprintf(out, out_size, "begins with nothing but zeros: the copy or the card failed");
    } else if (!known_container(f) && rec->refusal != DW_RAW_OPENED) {
        if (rec->why[0] && rec->refusal == DW_RAW_UNKNOWN && strstr(rec->why, "header"))
            snprintf(out, out_size, "%s", rec->why);
        else
            snprintf(out, out_size,
                     "does not begin like a RAW file (first bytes %02x %02x %02x %02x)", f->head[0],
                     f->head_n > 1 ? f->head[1] : 0u, f->head_n > 2 ? f->head[2] : 0u,
                     f->head_n > 3 ? f->head[3] : 0u);
    } else if (end > f->size) {
        snprintf(out, out_size,
                 "is cut short: its data reach to byte %llu, but the file ends at %llu",
                 (unsigned long long)end, size);
    } else if (rec->refusal == DW_RAW_UNSUITED) {
        snprintf(out, out_size, "%s", rec->why);
    } else if (rec->refusal == DW_RAW_MEMORY) {
        snprintf(out, out_size, "needs more memory than there is or than makes sense");
    } else if (rec->refusal == DW_RAW_DAMAGED) {
        snprintf(out, out_size,
                 "is damaged or cut short: it breaks off within its header "
                 "(%llu bytes)",
                 size);
    } else if (begins(f, 6, "HEAPCCDR", 8)) {
        snprintf(out, out_size, "is damaged or cut short: the directory at its end is missing");
    } else if (strstr(rec->make, "\\x") || strstr(rec->model, "\\x")) {
        snprintf(out, out_size, "is damaged: its header makes no sense");
    } else {
        describe(rec, camera, sizeof camera);
        snprintf(out, out_size,
                 "is not supported by LibRaw %s (%s): a newer LibRaw may read it, or convert it "
                 "to DNG",
                 dw_raw_version(), camera);
    }
}
