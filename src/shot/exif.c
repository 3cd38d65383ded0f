/* exif.c: collecting tags; see exif.h. Tag numbers: Exif 2.31 (CIPA DC-008), TIFF 6.0. */
#include "shot/exif.h"

#include <math.h>
#include <string.h>

enum { IFD_SHIFT = 20, GPS_SPACE = 0x5, MOST_STRIPS = 65536 };

/* A tag's value as it lies in the file. */
struct raw_tag {
    int type;
    size_t n; /* values */
    bool little;
    void *stream;
};

void dw_exif_clear(struct dw_exif *x)
{
    memset(x, 0, sizeof *x);
    x->exposure_s = x->f_number = x->tv = x->iso = NAN;
    for (int i = 0; i < 3; i++)
        x->map[i].degree = -1;
    for (int i = 0; i < 3; i++)
        x->sensitivity[i] = x->gps_lat[i] = x->gps_lon[i] = x->gps_time[i] = NAN;
}

/* Bytes of one value of a TIFF type, 0 for unknown types. */
static size_t type_size(int type)
{
    static const unsigned char size[14] = {0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4};
    return type >= 0 && type < 14 ? size[type] : 0;
}

static uint32_t get_u32(const unsigned char *b, bool little)
{
    return little ? (uint32_t)b[3] << 24 | (uint32_t)b[2] << 16 | (uint32_t)b[1] << 8 | b[0]
                  : (uint32_t)b[0] << 24 | (uint32_t)b[1] << 16 | (uint32_t)b[2] << 8 | b[3];
}

static uint32_t get_u16(const unsigned char *b, bool little)
{
    return little ? (uint32_t)b[1] << 8 | b[0] : (uint32_t)b[0] << 8 | b[1];
}

/* One value as a number; NAN for n/0 and for types that are none. */
static double get_number(const unsigned char *b, int type, bool little)
{
    switch (type) {
    case 1:
    case 7:
        return b[0];
    case 3:
        return get_u16(b, little);
    case 4:
    case 13:
        return get_u32(b, little);
    case 8:
        return (int16_t)get_u16(b, little);
    case 9:
        return (int32_t)get_u32(b, little);
    case 5:
    case 10: {
        uint32_t top = get_u32(b, little), bottom = get_u32(b + 4, little);
        if (bottom == 0)
            return NAN;
        return type == 5 ? (double)top / (double)bottom
                         : (double)(int32_t)top / (double)(int32_t)bottom;
    }
    default:
        return NAN;
    }
}

/* Up to `most` numbers; those that are not there stay as they are. */
static void read_numbers(const struct raw_tag *t, double *v, size_t most)
{
    unsigned char b[8 * 3];
    size_t size = type_size(t->type), n = t->n < most ? t->n : most;
    if (size == 0 || n * size > sizeof b || dw_exif_read(t->stream, b, n * size) != n * size)
        return;
    for (size_t i = 0; i < n; i++)
        v[i] = get_number(b + i * size, t->type, t->little);
}

static void read_text(const struct raw_tag *t, char out[DW_EXIF_TEXT])
{
    if (t->type != 2 && t->type != 7)
        return;
    size_t n = t->n < DW_EXIF_TEXT - 1 ? t->n : DW_EXIF_TEXT - 1;
    n = dw_exif_read(t->stream, out, n);
    out[n] = '\0';
    while (n > 0 && (out[n - 1] == ' ' || out[n - 1] == '\0'))
        out[--n] = '\0';
}

static void read_u32(const struct raw_tag *t, uint32_t *v)
{
    double d = NAN;
    read_numbers(t, &d, 1);
    if (d >= 0 && d <= UINT32_MAX)
        *v = (uint32_t)d;
}

/* Goes through a strip table of any length; calls for each value are inlined on purpose. */
static void read_offsets(const struct raw_tag *t, struct dw_exif_ifd *ifd, bool counts)
{
    unsigned char b[512];
    size_t size = type_size(t->type);
    if ((size != 2 && size != 4) || t->n > MOST_STRIPS)
        return;
    for (size_t i = 0; i < t->n;) {
        size_t n = t->n - i < sizeof b / 4 ? t->n - i : sizeof b / 4;
        if (dw_exif_read(t->stream, b, n * size) != n * size)
            return;
        for (size_t k = 0; k < n; k++, i++) {
            uint64_t v = size == 2 ? get_u16(b + 2 * k, t->little) : get_u32(b + 4 * k, t->little);
            if (!counts && v >= ifd->last_offset) {
                ifd->last_offset = v;
                ifd->last_index = i;
            } else if (counts && i == ifd->last_index && ifd->last_offset > 0) {
                ifd->end = ifd->last_offset + v;
            }
        }
    }
}

static void take_directory_tag(struct dw_exif *x, struct dw_exif_ifd *ifd, int tag,
                               const struct raw_tag *t)
{
    uint32_t v = 0;
    switch (tag) {
    case 0x0100:
        read_u32(t, &ifd->width);
        break;
    case 0x0101:
        read_u32(t, &ifd->height);
        break;
    case 0x0103:
        read_u32(t, &ifd->compression);
        break;
    case 0x0106:
        read_u32(t, &ifd->photometric);
        break;
    case 0x0111: /* strips */
    case 0x0144: /* tiles */
        read_offsets(t, ifd, false);
        break;
    case 0x0117:
    case 0x0145:
        read_offsets(t, ifd, true);
        break;
    case 0x0201: /* an embedded JPEG: offset, then length */
    case 0x0202:
        read_u32(t, &v);
        ifd->preview_end = tag == 0x0201 ? v : ifd->preview_end ? ifd->preview_end + v : 0;
        break;
    case 0x010f:
        if (!x->make[0])
            read_text(t, x->make);
        break;
    case 0x0110:
        if (!x->model[0])
            read_text(t, x->model);
        break;
    case 0x0132:
        if (!x->modified[0])
            read_text(t, x->modified);
        break;
    default:
        break;
    }
}

static void take_gps_tag(struct dw_exif *x, int tag, const struct raw_tag *t)
{
    char text[DW_EXIF_TEXT] = "";
    switch (tag) {
    case 1:
        read_text(t, text);
        x->gps_lat_ref = text[0];
        break;
    case 2:
        read_numbers(t, x->gps_lat, 3);
        break;
    case 3:
        read_text(t, text);
        x->gps_lon_ref = text[0];
        break;
    case 4:
        read_numbers(t, x->gps_lon, 3);
        break;
    case 7:
        read_numbers(t, x->gps_time, 3);
        break;
    case 0x1d:
        read_text(t, x->gps_date);
        break;
    default:
        break;
    }
}

static uint32_t be32(const unsigned char *b)
{
    return get_u32(b, false);
}

static double be_double(const unsigned char *b)
{
    uint64_t bits = (uint64_t)be32(b) << 32 | be32(b + 4);
    double v;
    memcpy(&v, &bits, sizeof v);
    return v;
}

/* OpcodeList2, always big-endian: a count, then id, version, flags, length and parameters each.
 * A polynomial's parameters are 8 words of area and planes, its degree, its coefficients. */
static void read_maps(struct dw_exif *x, const struct raw_tag *t)
{
    enum { ID_MAP = 8, HEADER = 16, AREA = 32, MOST = 2048 };
    unsigned char b[MOST];
    if (t->n < 4 || t->n > MOST || dw_exif_read(t->stream, b, t->n) != t->n)
        return;
    uint32_t count = be32(b);
    size_t at = 4;
    for (uint32_t i = 0; i < count && at + HEADER <= t->n; i++) {
        uint32_t id = be32(b + at), length = be32(b + at + 12);
        const unsigned char *p = b + at + HEADER;
        at += HEADER + (size_t)length;
        if (at > t->n || id != ID_MAP || length < AREA + 4)
            continue;
        uint32_t plane = be32(p + 16), planes = be32(p + 20), degree = be32(p + AREA);
        if (degree > 8 || length < AREA + 4 + 8 * (degree + 1))
            continue;
        for (uint32_t k = plane; k < 3 && k - plane < planes; k++) {
            x->map[k].degree = (int)degree;
            for (uint32_t n = 0; n <= degree; n++)
                x->map[k].c[n] = be_double(p + AREA + 4 + 8 * n);
        }
    }
}

static void take_exposure_tag(struct dw_exif *x, int tag, const struct raw_tag *t)
{
    switch (tag) {
    case 0x829a:
        x->has_exposure_tag = true;
        read_numbers(t, &x->exposure_s, 1);
        break;
    case 0x829d:
        x->has_f_tag = true;
        read_numbers(t, &x->f_number, 1);
        break;
    case 0x9201:
        read_numbers(t, &x->tv, 1);
        break;
    case 0x8827:
        read_numbers(t, &x->iso, 1);
        break;
    case 0xc741:
        if (x->map[0].degree < 0)
            read_maps(x, t);
        break;
    case 0x8831:
    case 0x8832:
    case 0x8833:
        read_numbers(t, &x->sensitivity[tag - 0x8831], 1);
        break;
    default:
        break;
    }
}

/* The texts of the Exif directory, by tag. */
static char *text_of_tag(struct dw_exif *x, int tag)
{
    switch (tag) {
    case 0x9003:
        return x->original;
    case 0x9004:
        return x->digitized;
    case 0x9010:
        return x->offset_modified;
    case 0x9011:
        return x->offset_original;
    case 0x9012:
        return x->offset_digitized;
    case 0x9290:
        return x->subsec_modified;
    case 0x9291:
        return x->subsec_original;
    case 0x9292:
        return x->subsec_digitized;
    case 0xa431:
        return x->serial;
    default:
        return NULL;
    }
}

void dw_exif_tag(void *ctx, int tag, int type, int len, unsigned order, void *stream,
                 long long base)
{
    (void)base;
    struct dw_exif *x = ctx;
    x->seen = true;
    if (len <= 0 || type_size(type) == 0 || !stream)
        return;
    struct raw_tag t = {type, (size_t)len, order == 0x4949, stream};
    int directory = tag >> IFD_SHIFT, space = tag >> 16 & 0xf, number = tag & 0xffff;
    if (directory == 0 && space == GPS_SPACE) {
        take_gps_tag(x, number, &t);
        return;
    }
    if (space != 0) /* maker notes and others reuse small numbers with other meanings */
        return;
    char *text = text_of_tag(x, number);
    if (text) {
        if (!text[0])
            read_text(&t, text);
    } else if (number >= 0x8000) {
        take_exposure_tag(x, number, &t); /* TIFF/EP puts them into the main directory */
    } else if (directory > 0 && directory <= DW_EXIF_IFDS) {
        take_directory_tag(x, &x->ifd[directory - 1], number, &t);
    }
}
