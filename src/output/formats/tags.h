/* tags.h: what a finished frame says about itself, in Exif form. Written by hand because the
 * TIFF library stores rationals as floats (1/60 s would become 8947849/536870912), and because
 * the bytes must be the same in every run: nothing here reads a clock. Position tags are never
 * written: a picture shown to others should not tell where a camera stands unattended. */
#ifndef DW_OUTPUT_TAGS_H
#define DW_OUTPUT_TAGS_H

#include "base/buffers.h"

#include <stdbool.h>
#include <stdint.h>

/* Every program of ours that writes a frame begins its Software tag like this. */
#define DW_TAGS_SOFTWARE_PREFIX "daywheel "

enum {
    DW_TAG_DESCRIPTION = 0x010e,
    DW_TAG_SOFTWARE = 0x0131,
    DW_TAG_EXIF_IFD = 0x8769,
    DW_TAG_UNIQUE_ID = 0xa420
};

struct dw_tags {
    const char *description;  /* the names of the source files */
    const char *make, *model; /* of the camera; "" leaves the tag out */
    double utc_s;             /* the frame's time, Unix seconds; NAN leaves the time tags out */
    int offset_s;             /* local time minus UTC */
    char unique_id[33];       /* 32 hexadecimal digits: the frame's recipe */
    double shutter_s;         /* of the main source, as recorded; NAN or 0 leaves the tag out */
    double f_number;
    double iso;
    double key; /* the frame's level on the brightness line; pictures of light alone tell it */
    int width, height;
    bool srgb; /* Exif knows sRGB and "uncalibrated" */
};

/* The Exif directory alone, for a TIFF file in which it will stand at byte `base` (even); without
 * the tags that Exif keeps for JPEG. */
void dw_tags_directory(const struct dw_tags *e, uint32_t base, struct dw_buffer *out);

/* A whole APP1 payload for JPEG: "Exif", two NULs, a little-endian TIFF header, IFD0 and the Exif
 * directory. At most 65533 bytes: descriptions are cut to fit. */
void dw_tags_app1(const struct dw_tags *e, struct dw_buffer *out);

/* The simplest fraction within 2e-7 (relative) of x, both parts below 2^31; false for NAN,
 * negative and out-of-range values. Exact for every recorded value with small parts (1/60, 5.6).
 * Source: continued fractions, e.g. Knuth, The Art of Computer Programming vol. 2, 4.5.3. */
bool dw_tags_rational(double x, uint32_t *num, uint32_t *den);

#endif
