/* exr_file.c: see exr_file.h. Source: the OpenEXR file layout (openexr.com, version 3.1): a magic
 * number, a version, attributes (name, type, length, value) up to an empty name, a table with the
 * place of each piece of the picture, the pieces. Numbers are little-endian. Only what this program
 * writes is read: one part, scan lines, PIZ. */
#include "output/formats/exr_file.h"

#include "output/formats/frame_file.h"
#include "output/formats/tags.h"

#include <string.h>
#include <unistd.h>

#define MOST_HEADER 65536 /* bytes; ours take below 1000 and the names of four sources */
#define PIZ 4
#define PIZ_LINES 32 /* a piece */

struct header {
    bool ours, has_recipe;
    char recipe[33];
    int64_t rows;
    int compression;
};

static uint32_t little(const unsigned char *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

static void note(struct header *h, const char *name, const char *type, const unsigned char *value,
                 uint32_t n)
{
    const size_t prefix = sizeof DW_TAGS_SOFTWARE_PREFIX - 1;
    bool text = strcmp(type, "string") == 0;
    if (strcmp(name, "software") == 0 && text && n > prefix)
        h->ours = memcmp(value, DW_TAGS_SOFTWARE_PREFIX, prefix) == 0;
    if (strcmp(name, DW_EXR_RECIPE) == 0 && text && n == 32) {
        memcpy(h->recipe, value, 32);
        h->recipe[32] = '\0';
        h->has_recipe = strspn(h->recipe, "0123456789abcdef") == 32;
    }
    if (strcmp(name, "dataWindow") == 0 && n == 16)
        h->rows = (int64_t)(int32_t)little(value + 12) - (int32_t)little(value + 4) + 1;
    if (strcmp(name, "compression") == 0 && n == 1)
        h->compression = *value;
}

/* The end of a string within the header, behind its NUL; 0 if there is none. */
static size_t behind_text(const unsigned char *data, size_t at, size_t n)
{
    const unsigned char *end = at < n ? memchr(data + at, 0, n - at) : NULL;
    return end ? (size_t)(end - data) + 1 : 0;
}

/* Reads the attributes; gives where the table begins, 0 for a header that is not whole. */
static size_t read_header(const unsigned char *data, size_t n, struct header *h)
{
    static const unsigned char start[8] = {0x76, 0x2f, 0x31, 0x01, 2, 0, 0, 0};
    size_t at = sizeof start;
    if (n < at || memcmp(data, start, sizeof start) != 0)
        return 0;
    while (at < n && data[at] != 0) {
        size_t type = behind_text(data, at, n), length = type ? behind_text(data, type, n) : 0;
        if (length == 0 || n - length < 4)
            return 0;
        uint32_t bytes = little(data + length);
        if (bytes > n - length - 4)
            return 0;
        note(h, (const char *)data + at, (const char *)data + type, data + length + 4, bytes);
        at = length + 4 + bytes;
    }
    return at < n ? at + 1 : 0;
}

/* Every piece lies within the file: its first row and its length stand before it. */
static bool pieces_within(int fd, uint64_t size, uint64_t table, int64_t pieces)
{
    for (int64_t i = 0; i < pieces; i++) {
        unsigned char c[8];
        uint64_t entry = table + 8 * (uint64_t)i;
        if (pread(fd, c, 8, (off_t)entry) != 8)
            return false;
        uint64_t at = little(c) | (uint64_t)little(c + 4) << 32;
        if (at < table || at > size || size - at < 8 || pread(fd, c, 8, (off_t)at) != 8)
            return false;
        uint32_t bytes = little(c + 4);
        if (bytes == 0 || bytes > size - at - 8)
            return false;
    }
    return pieces > 0;
}

bool dw_exr_file_recipe(int fd, uint64_t size, char recipe[33])
{
    unsigned char data[MOST_HEADER];
    struct header h = {.compression = -1};
    ssize_t n = pread(fd, data, sizeof data, 0);
    size_t table = n > 0 ? read_header(data, (size_t)n, &h) : 0;
    if (table == 0 || !h.ours || !h.has_recipe || h.compression != PIZ || h.rows < 1 ||
        !pieces_within(fd, size, table, (h.rows + PIZ_LINES - 1) / PIZ_LINES))
        return false;
    memcpy(recipe, h.recipe, 33);
    return true;
}
