/* frame_file.c: see frame_file.h. Sources: TIFF 6.0, Exif 2.32 4.5.4 (APP1), ITU-T T.81 B.1.1. */
#include "output/formats/frame_file.h"

#include "output/formats/exr_file.h"
#include "output/formats/tags.h"

#include <fcntl.h>
#include <stdint.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A little-endian TIFF structure (all that we write) that begins at byte `base` of a file. */
struct tiff {
    int fd;
    uint64_t base, size; /* size: of the whole file */
};

struct field {
    uint16_t type;
    uint32_t count;
    uint64_t at; /* of the value, in the file */
};

static bool read_at(const struct tiff *t, uint64_t at, void *to, size_t n)
{
    return at <= t->size && n <= t->size - at && pread(t->fd, to, n, (off_t)at) == (ssize_t)n;
}

static uint32_t little(const unsigned char *p, int n)
{
    uint32_t v = 0;
    for (int i = n - 1; i >= 0; i--)
        v = v << 8 | p[i];
    return v;
}

/* Entry i of the directory at `offset` (from the structure's base); false beyond its last, and for
 * one whose value does not lie within the file. */
static bool entry(const struct tiff *t, uint32_t offset, uint32_t i, uint16_t *tag, struct field *f)
{
    static const uint8_t size[] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4};
    unsigned char head[2], e[12];
    uint64_t at = t->base + offset + 2 + 12 * (uint64_t)i;
    if (offset < 8 || !read_at(t, t->base + offset, head, 2) || i >= little(head, 2) ||
        !read_at(t, at, e, 12))
        return false;
    *tag = (uint16_t)little(e, 2);
    f->type = (uint16_t)little(e + 2, 2);
    f->count = little(e + 4, 4);
    if (f->type == 0 || f->type >= sizeof size)
        return false;
    uint64_t bytes = (uint64_t)f->count * size[f->type];
    f->at = bytes <= 4 ? at + 8 : t->base + little(e + 8, 4);
    return f->at <= t->size && bytes <= t->size - f->at;
}

static bool find(const struct tiff *t, uint32_t offset, uint16_t tag, struct field *f)
{
    uint16_t found;
    for (uint32_t i = 0; entry(t, offset, i, &found, f); i++)
        if (found == tag)
            return true;
    return false;
}

/* True if every value of the directory lies within the file (they stand behind it, at the end). */
static bool whole(const struct tiff *t, uint32_t offset)
{
    unsigned char head[2];
    uint16_t tag;
    struct field f;
    if (!read_at(t, t->base + offset, head, 2))
        return false;
    uint32_t n = little(head, 2), i = 0;
    while (i < n && entry(t, offset, i, &tag, &f))
        i++;
    return i == n && n > 0;
}

static bool first_directory(const struct tiff *t, uint32_t *offset)
{
    unsigned char head[8];
    if (!read_at(t, t->base, head, 8) || memcmp(head, "II*\0", 4) != 0)
        return false;
    *offset = little(head + 4, 4);
    return true;
}

/* One number of a SHORT, LONG or IFD (13) field. */
static bool number(const struct tiff *t, const struct field *f, uint32_t i, uint32_t *v)
{
    unsigned char c[4];
    int size = f->type == 3 ? 2 : f->type == 4 || f->type == 13 ? 4 : 0;
    if (size == 0 || i >= f->count || !read_at(t, f->at + (uint64_t)size * i, c, (size_t)size))
        return false;
    *v = little(c, size);
    return true;
}

/* Our name in Software and a recipe in ImageUniqueID. */
static bool signed_by_us(const struct tiff *t, uint32_t ifd0, char recipe[33])
{
    const size_t n = sizeof DW_TAGS_SOFTWARE_PREFIX - 1;
    char software[sizeof DW_TAGS_SOFTWARE_PREFIX];
    struct field f;
    uint32_t exif;
    if (!find(t, ifd0, DW_TAG_SOFTWARE, &f) || f.type != 2 || f.count <= n ||
        !read_at(t, f.at, software, n) || memcmp(software, DW_TAGS_SOFTWARE_PREFIX, n) != 0)
        return false;
    if (!find(t, ifd0, DW_TAG_EXIF_IFD, &f) || !number(t, &f, 0, &exif) ||
        !find(t, exif, DW_TAG_UNIQUE_ID, &f) || f.type != 2 || f.count != 33 ||
        !read_at(t, f.at, recipe, 33))
        return false;
    return recipe[32] == '\0' && strspn(recipe, "0123456789abcdef") == 32;
}

static bool strips_within(const struct tiff *t, uint32_t ifd0)
{
    struct field offsets, counts;
    if (!find(t, ifd0, 273, &offsets) || !find(t, ifd0, 279, &counts) ||
        offsets.count != counts.count || offsets.count == 0 || offsets.count > 65536)
        return false;
    for (uint32_t i = 0; i < offsets.count; i++) {
        uint32_t at, n;
        if (!number(t, &offsets, i, &at) || !number(t, &counts, i, &n) || n == 0 ||
            (uint64_t)at + n > t->size)
            return false;
    }
    return true;
}

/* Exif stands in the segment right behind the start: FFD8 FFE1 length "Exif" 0 0. */
static bool jpeg_recipe(struct tiff *t, char recipe[33])
{
    unsigned char head[12], end[2];
    uint32_t ifd0;
    if (t->size < 64 || !read_at(t, 0, head, 12) || !read_at(t, t->size - 2, end, 2) ||
        memcmp(head, "\xff\xd8\xff\xe1", 4) != 0 || memcmp(head + 6, "Exif\0\0", 6) != 0 ||
        memcmp(end, "\xff\xd9", 2) != 0)
        return false;
    t->base = 12;
    return first_directory(t, &ifd0) && signed_by_us(t, ifd0, recipe);
}

bool dw_frame_file_recipe(const char *path, enum dw_format format, char recipe[33])
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return false;
    struct stat st;
    bool ok = false;
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode)) {
        struct tiff t = {.fd = fd, .size = (uint64_t)st.st_size};
        uint32_t ifd0;
        if (format == DW_JPEG)
            ok = jpeg_recipe(&t, recipe);
        else if (format == DW_EXR)
            ok = dw_exr_file_recipe(fd, t.size, recipe);
        else
            ok = first_directory(&t, &ifd0) && whole(&t, ifd0) && signed_by_us(&t, ifd0, recipe) &&
                 strips_within(&t, ifd0);
    }
    close(fd);
    return ok;
}
