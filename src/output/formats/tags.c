/* tags.c: see tags.h. Sources: TIFF 6.0 (directories), Exif 2.32 / CIPA DC-008 (tags). */
#include "output/formats/tags.h"

#include <daywheel/base.h>

#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum type { BYTE = 1, ASCII = 2, SHORT = 3, LONG = 4, RATIONAL = 5, UNDEFINED = 7 };

#define MOST_ENTRIES 24
#define LONGEST_TEXT                                                                               \
    4000 /* two such texts and the rest stay far below an APP1 segment's 64 KiB                    \
          */

struct entry {
    uint16_t tag, type;
    uint32_t count, value; /* value: inline bytes, or an offset into `data` */
    bool far;
};

/* One directory being gathered; entries must come in ascending order of their tags. */
struct directory {
    struct entry entry[MOST_ENTRIES];
    int n;
    struct dw_buffer data;
};

static void put16(struct dw_buffer *b, uint32_t v)
{
    char c[2] = {(char)(v & 255), (char)(v >> 8 & 255)};
    dw_buffer_add(b, c, 2);
}

static void put32(struct dw_buffer *b, uint32_t v)
{
    put16(b, v & 0xffff);
    put16(b, v >> 16);
}

static void add_bytes(struct directory *d, uint16_t tag, enum type type, uint32_t count,
                      const void *bytes, size_t n)
{
    struct entry *e = &d->entry[d->n++];
    *e = (struct entry){.tag = tag, .type = (uint16_t)type, .count = count, .far = n > 4};
    if (e->far) {
        e->value = (uint32_t)d->data.n;
        dw_buffer_add(&d->data, bytes, n);
        if (n & 1)
            dw_buffer_add(&d->data, "", 1); /* values begin on even bytes (TIFF 6.0) */
    } else {
        const unsigned char *p = bytes;
        for (size_t i = 0; i < n; i++)
            e->value |= (uint32_t)p[i] << 8 * i;
    }
}

static void add_text(struct directory *d, uint16_t tag, const char *text)
{
    size_t n = strlen(text);
    if (n > LONGEST_TEXT) {
        n = LONGEST_TEXT;
        while (n > 0 && ((unsigned char)text[n] & 0xc0) == 0x80)
            n--; /* not inside a UTF-8 character */
    }
    char copy[LONGEST_TEXT + 1];
    memcpy(copy, text, n);
    copy[n] = '\0';
    if (n > 0)
        add_bytes(d, tag, ASCII, (uint32_t)n + 1, copy, n + 1);
}

static void add_short(struct directory *d, uint16_t tag, uint32_t v)
{
    unsigned char c[2] = {(unsigned char)(v & 255), (unsigned char)(v >> 8 & 255)};
    add_bytes(d, tag, SHORT, 1, c, 2);
}

static void add_long(struct directory *d, uint16_t tag, uint32_t v)
{
    unsigned char c[4];
    for (int i = 0; i < 4; i++)
        c[i] = (unsigned char)(v >> 8 * i & 255);
    add_bytes(d, tag, LONG, 1, c, 4);
}

static void add_rational(struct directory *d, uint16_t tag, double x)
{
    uint32_t part[2];
    if (!(x > 0) || !dw_tags_rational(x, &part[0], &part[1]))
        return; /* unknown: Exif leaves such a tag out */
    unsigned char c[8];
    for (int i = 0; i < 8; i++)
        c[i] = (unsigned char)(part[i / 4] >> 8 * (i % 4) & 255);
    add_bytes(d, tag, RATIONAL, 1, c, 8);
}

/* Writes the directory as it stands at byte `base` of its file, values behind it. */
static void write_directory(struct directory *d, uint32_t base, struct dw_buffer *out)
{
    uint32_t data_at = base + 2 + 12 * (uint32_t)d->n + 4;
    put16(out, (uint32_t)d->n);
    for (int i = 0; i < d->n; i++) {
        const struct entry *e = &d->entry[i];
        put16(out, e->tag);
        put16(out, e->type);
        put32(out, e->count);
        put32(out, e->far ? data_at + e->value : e->value);
    }
    put32(out, 0); /* no further directory */
    dw_buffer_add(out, d->data.data, d->data.n);
    if (d->data.failed)
        out->failed = true;
    dw_buffer_free(&d->data);
}

bool dw_tags_rational(double x, uint32_t *num, uint32_t *den)
{
    const double most = 2147483647.0;
    if (!(x >= 0) || x > most)
        return false;
    /* Convergents p/q of the continued fraction of x. */
    double p0 = 0, q0 = 1, p1 = 1, q1 = 0, rest = x;
    for (int i = 0; i < 40; i++) {
        double whole = floor(rest);
        double p2 = whole * p1 + p0, q2 = whole * q1 + q0;
        if (p2 > most || q2 > most)
            break;
        p0 = p1, q0 = q1, p1 = p2, q1 = q2;
        if (fabs(p1 / q1 - x) <= 2e-7 * x)
            break;
        rest = 1 / (rest - whole);
        if (!isfinite(rest))
            break;
    }
    if (q1 == 0 || (p1 == 0 && x > 0))
        return false;
    *num = (uint32_t)p1;
    *den = (uint32_t)q1;
    return true;
}

/* The frame's time as Exif's three texts: local date, fraction in milliseconds, offset. */
static void time_texts(const struct dw_tags *e, char date[20], char fraction[8], char offset[8])
{
    double ms = floor(e->utc_s * 1000 + 0.5);
    if (!dw_when_exif(floor(ms / 1000), e->offset_s, date))
        strcpy(date, "    :  :     :  :  "); /* Exif's way to say unknown */
    snprintf(fraction, 8, "%03u", (unsigned)(ms - 1000 * floor(ms / 1000)) % 1000);
    int minutes = (e->offset_s < 0 ? -e->offset_s : e->offset_s) / 60;
    snprintf(offset, 8, "%c%02d:%02d", e->offset_s < 0 ? '-' : '+', minutes / 60 % 100,
             minutes % 60);
}

static void exif_directory(const struct dw_tags *e, bool jpeg, uint32_t base, struct dw_buffer *out)
{
    char date[20], fraction[8], offset[8];
    bool timed = fabs(e->utc_s) < 1e11; /* false for NAN too */
    if (timed)
        time_texts(e, date, fraction, offset);
    struct directory d = {0};
    add_rational(&d, 0x829a, e->shutter_s); /* ExposureTime */
    add_rational(&d, 0x829d, e->f_number);  /* FNumber */
    bool has_iso = e->iso >= 1 && e->iso < 4e9;
    uint32_t iso = has_iso ? (uint32_t)floor(e->iso + 0.5) : 0;
    if (has_iso)
        add_short(&d, 0x8827, iso > 65535 ? 65535 : iso); /* PhotographicSensitivity */
    if (iso > 65535) {
        add_short(&d, 0x8830, 2);  /* SensitivityType: recommended exposure index */
        add_long(&d, 0x8832, iso); /* RecommendedExposureIndex, which has room for it */
    }
    add_bytes(&d, 0x9000, UNDEFINED, 4, "0232", 4); /* ExifVersion */
    if (timed) {
        add_text(&d, 0x9003, date);   /* DateTimeOriginal */
        add_text(&d, 0x9011, offset); /* OffsetTimeOriginal */
    }
    if (jpeg)
        add_bytes(&d, 0x9101, UNDEFINED, 4, "\1\2\3", 4); /* ComponentsConfiguration: Y Cb Cr */
    if (timed)
        add_text(&d, 0x9291, fraction);             /* SubSecTimeOriginal */
    add_bytes(&d, 0xa000, UNDEFINED, 4, "0100", 4); /* FlashpixVersion */
    add_short(&d, 0xa001, e->srgb ? 1 : 0xffff);    /* ColorSpace */
    if (jpeg) {
        add_long(&d, 0xa002, (uint32_t)e->width);  /* PixelXDimension */
        add_long(&d, 0xa003, (uint32_t)e->height); /* PixelYDimension */
    }
    add_text(&d, DW_TAG_UNIQUE_ID, e->unique_id);
    write_directory(&d, base, out);
}

void dw_tags_directory(const struct dw_tags *e, uint32_t base, struct dw_buffer *out)
{
    exif_directory(e, false, base, out);
}

void dw_tags_app1(const struct dw_tags *e, struct dw_buffer *out)
{
    struct directory d = {0};
    add_text(&d, DW_TAG_DESCRIPTION, e->description);
    add_text(&d, 0x010f, e->make);
    add_text(&d, 0x0110, e->model);
    add_short(&d, 0x0112, 1); /* Orientation: upright */
    add_rational(&d, 0x011a, 72);
    add_rational(&d, 0x011b, 72);
    add_short(&d, 0x0128, 2); /* ResolutionUnit: inch */
    add_text(&d, DW_TAG_SOFTWARE, DW_TAGS_SOFTWARE_PREFIX DW_VERSION);
    add_short(&d, 0x0213, 1); /* YCbCrPositioning: centred; required, meaningless at 4:4:4 */
    int pointer = d.n;
    add_long(&d, DW_TAG_EXIF_IFD, 0);
    d.entry[pointer].value = 8 + 2 + 12 * (uint32_t)d.n + 4 + (uint32_t)d.data.n;
    uint32_t exif_at = d.entry[pointer].value;
    dw_buffer_add(out, "Exif\0", 6);
    dw_buffer_add(out, "II*\0\10\0\0\0", 8);
    write_directory(&d, 8, out);
    exif_directory(e, true, exif_at, out);
}
