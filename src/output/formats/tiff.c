/* tiff.c: see encode.h. Written into memory through libtiff's client callbacks: TIFFClose tells
 * nobody that the disk was full, and a file must not appear in halves. */
#include "output/formats/encode.h"

#include "output/formats/memory_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <tiffio.h>

/* Strips of about this many bytes before packing: long enough to pack well, short enough that
 * a reader which wants a few rows need not unpack the picture. */
#define STRIP_BYTES (1u << 19)

/* What libtiff writes to: a file in memory, where it stands, its first complaint. */
struct target {
    struct dw_memory_file file;
    size_t at;
    char text[300];
};

static tmsize_t target_read(thandle_t h, void *to, tmsize_t n)
{
    struct target *m = h;
    if (n < 0 || m->at > m->file.n)
        return -1;
    size_t k = dw_memory_read(&m->file, m->at, to, (size_t)n);
    m->at += k;
    return (tmsize_t)k;
}

static tmsize_t target_write(thandle_t h, void *from, tmsize_t n)
{
    struct target *m = h;
    if (n < 0 || !dw_memory_write(&m->file, m->at, from, (size_t)n))
        return -1;
    m->at += (size_t)n;
    return n;
}

static toff_t target_seek(thandle_t h, toff_t offset, int whence)
{
    struct target *m = h;
    size_t from = whence == SEEK_CUR ? m->at : whence == SEEK_END ? m->file.n : 0;
    m->at = from + (size_t)offset;
    return m->at;
}

static int target_close(thandle_t h)
{
    (void)h;
    return 0;
}

static toff_t target_size(thandle_t h)
{
    return ((struct target *)h)->file.n;
}

static int note_error(TIFF *t, void *user, const char *module, const char *fmt, va_list ap)
{
    (void)t, (void)module;
    struct target *m = user;
    if (m->text[0] == '\0')
        vsnprintf(m->text, sizeof m->text, fmt, ap);
    return 1;
}

static int ignore_warning(TIFF *t, void *user, const char *module, const char *fmt, va_list ap)
{
    (void)t, (void)user, (void)module, (void)fmt, (void)ap;
    return 1;
}

static bool set_tags(TIFF *t, const struct dw_image *image, uint16_t scheme,
                     const struct dw_tags *tags, const struct dw_profile *profile)
{
    uint32_t row_bytes = (uint32_t)image->width * 3 * (uint32_t)(image->bits / 8);
    uint32_t rows = STRIP_BYTES / row_bytes;
    rows = rows < 1 ? 1 : rows > (uint32_t)image->height ? (uint32_t)image->height : rows;
    bool ok = TIFFSetField(t, TIFFTAG_IMAGEWIDTH, (uint32_t)image->width) &&
              TIFFSetField(t, TIFFTAG_IMAGELENGTH, (uint32_t)image->height) &&
              TIFFSetField(t, TIFFTAG_BITSPERSAMPLE, image->bits) &&
              TIFFSetField(t, TIFFTAG_SAMPLESPERPIXEL, 3) &&
              TIFFSetField(t, TIFFTAG_COMPRESSION, scheme) &&
              TIFFSetField(t, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_RGB) &&
              TIFFSetField(t, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) &&
              TIFFSetField(t, TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT) &&
              TIFFSetField(t, TIFFTAG_ROWSPERSTRIP, rows) &&
              TIFFSetField(t, TIFFTAG_XRESOLUTION, 72.0) &&
              TIFFSetField(t, TIFFTAG_YRESOLUTION, 72.0) &&
              TIFFSetField(t, TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH) &&
              TIFFSetField(t, TIFFTAG_SOFTWARE, DW_TAGS_SOFTWARE_PREFIX DW_VERSION);
    /* Level 1 of either: measured on noisy 6 MP frames, level 6 of deflate takes twice the time and
     * packs 2 % worse, level 3 of zstd gains nothing. The horizontal differences of the predictor
     * are what makes 16-bit pictures pack at all. */
    if (ok && scheme != COMPRESSION_NONE)
        ok = TIFFSetField(t, TIFFTAG_PREDICTOR, PREDICTOR_HORIZONTAL);
    if (ok && scheme == COMPRESSION_ADOBE_DEFLATE)
        ok = TIFFSetField(t, TIFFTAG_ZIPQUALITY, 1);
    if (ok && scheme == COMPRESSION_ZSTD)
        ok = TIFFSetField(t, TIFFTAG_ZSTD_LEVEL, 1);
    if (ok && profile && profile->n > 0)
        ok = TIFFSetField(t, TIFFTAG_ICCPROFILE, (uint32_t)profile->n, profile->data);
    if (ok && tags && tags->description[0])
        ok = TIFFSetField(t, TIFFTAG_IMAGEDESCRIPTION, tags->description);
    if (ok && tags && tags->make[0])
        ok = TIFFSetField(t, TIFFTAG_MAKE, tags->make);
    if (ok && tags && tags->model[0])
        ok = TIFFSetField(t, TIFFTAG_MODEL, tags->model);
    return ok;
}

static bool write_strips(TIFF *t, const struct dw_image *image)
{
    uint32_t rows = 0;
    if (!TIFFGetField(t, TIFFTAG_ROWSPERSTRIP, &rows))
        return false;
    size_t row_bytes = (size_t)image->width * 3 * (size_t)(image->bits / 8);
    unsigned char *px =
        image->bits == 16 ? (unsigned char *)image->px16 : (unsigned char *)image->px8;
    uint32_t strip = 0;
    for (uint32_t y = 0; y < (uint32_t)image->height; y += rows, strip++) {
        uint32_t k = (uint32_t)image->height - y < rows ? (uint32_t)image->height - y : rows;
        tmsize_t n = (tmsize_t)(k * row_bytes);
        if (TIFFWriteEncodedStrip(t, strip, px + y * row_bytes, n) != n)
            return false;
    }
    return true;
}

/* Puts our own Exif directory behind the strips and points at it: libtiff's would hold rounded
 * rationals. It appends the main directory behind whatever is there. */
static bool append_exif(TIFF *t, struct target *m, const struct dw_tags *tags)
{
    if (!TIFFFlushData(t))
        return false;
    m->at = m->file.n;
    if ((m->at & 1) && target_write(m, (char[]){0}, 1) != 1)
        return false;
    if (m->at > UINT32_MAX)
        return false;
    uint32_t at = (uint32_t)m->at;
    struct dw_buffer b = {0};
    dw_tags_directory(tags, at, &b);
    bool ok = !b.failed && target_write(m, b.data, (tmsize_t)b.n) == (tmsize_t)b.n &&
              TIFFSetField(t, TIFFTAG_EXIFIFD, (toff_t)at);
    dw_buffer_free(&b);
    return ok;
}

static uint16_t scheme_of(enum dw_compression compression)
{
    switch (compression) {
    case DW_COMPRESS_NONE:
        return COMPRESSION_NONE;
    case DW_COMPRESS_ZSTD:
        return COMPRESSION_ZSTD;
    case DW_COMPRESS_DEFAULT:
    case DW_COMPRESS_DEFLATE:
        break;
    }
    return COMPRESSION_ADOBE_DEFLATE;
}

enum dw_status dw_encode_tiff(const struct dw_image *image, enum dw_compression compression,
                              const struct dw_tags *tags, const struct dw_profile *profile,
                              unsigned char **data, size_t *n, struct dw_error *err)
{
    *data = NULL;
    *n = 0;
    bool has = image->bits == 16 ? image->px16 != NULL : image->bits == 8 && image->px8 != NULL;
    if (!has || image->width < 1 || image->height < 1)
        return dw_fail(err, DW_ERR_USAGE, "there is no picture of %d x %d at %d bits to write",
                       image->width, image->height, image->bits);
    double bytes = (double)image->width * image->height * 3 * (image->bits / 8);
    if (bytes > 4.0e9)
        return dw_fail(err, DW_ERR_FORMAT,
                       "a picture of %d x %d does not fit a TIFF file (4 GiB at most); choose a "
                       "smaller size",
                       image->width, image->height);
    uint16_t scheme = scheme_of(compression);
    if (!TIFFIsCODECConfigured(scheme))
        return dw_fail(err, DW_ERR_USAGE,
                       "this build of libtiff cannot pack with the chosen compression; choose "
                       "deflate or none");
    struct target m = {0};
    enum dw_status status = DW_OK;
    TIFF *t = NULL;
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();
    if (options) {
        TIFFOpenOptionsSetErrorHandlerExtR(options, note_error, &m);
        TIFFOpenOptionsSetWarningHandlerExtR(options, ignore_warning, &m);
        t = TIFFClientOpenExt("frame", "wlm", &m, target_read, target_write, target_seek,
                              target_close, target_size, NULL, NULL, options);
        TIFFOpenOptionsFree(options);
    }
    bool ok = t && set_tags(t, image, scheme, tags, profile) && write_strips(t, image) &&
              (!tags || append_exif(t, &m, tags)) && TIFFWriteDirectory(t) && TIFFFlush(t);
    if (t)
        TIFFClose(t);
    if (!ok || m.text[0]) {
        free(m.file.data);
        status = dw_fail(err, DW_ERR_MEMORY, "the TIFF file could not be encoded: %s",
                         m.text[0] ? m.text : "no memory");
    } else {
        *data = m.file.data;
        *n = m.file.n;
    }
    return status;
}
