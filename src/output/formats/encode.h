/* encode.h: one finished picture as the bytes of a JPEG, TIFF or OpenEXR file, in memory. */
#ifndef DW_OUTPUT_ENCODE_H
#define DW_OUTPUT_ENCODE_H

#include <daywheel/base.h>
#include <daywheel/output.h>
#include <daywheel/render.h>

#include "base/buffers.h"
#include "output/formats/tags.h"

/* A colour profile's bytes. */
struct dw_profile {
    unsigned char *data;
    size_t n;
};

/* Baseline JPEG of an 8-bit picture, colour at full resolution (4:4:4), Exif in the first APP1,
 * profile in APP2. tags may be NULL. *data is malloc'd.
 * Errors: DW_ERR_USAGE (16-bit picture, a side of 0 or above 65500), DW_ERR_MEMORY. */
enum dw_status dw_encode_jpeg(const struct dw_image *image, int quality, const struct dw_tags *tags,
                              const struct dw_profile *profile, unsigned char **data, size_t *n,
                              struct dw_error *err);

/* The smallest sound JPEG of an 8-bit sRGB picture: no tags, no profile, colour at half resolution.
 * For pictures that a page carries by the hundred. Errors as above. */
enum dw_status dw_encode_small_jpeg(const struct dw_image *image, int quality, unsigned char **data,
                                    size_t *n, struct dw_error *err);

/* Classic little-endian TIFF of an 8- or 16-bit picture in strips, with profile and Exif
 * directory. *data is malloc'd.
 * Errors: DW_ERR_USAGE (nothing to write; zstd asked for and this libtiff has none), DW_ERR_FORMAT
 * (beyond the 4 GiB of classic TIFF), DW_ERR_MEMORY. */
enum dw_status dw_encode_tiff(const struct dw_image *image, enum dw_compression compression,
                              const struct dw_tags *tags, const struct dw_profile *profile,
                              unsigned char **data, size_t *n, struct dw_error *err);

/* OpenEXR of a picture of light: half floats in the channels R, G, B, packed by PIZ, with
 * chromaticities, exposure, time, source names and recipe as attributes (docs/formats.md). tags may
 * be NULL. *data is malloc'd. Errors: DW_ERR_USAGE (no light), DW_ERR_MEMORY. */
enum dw_status dw_encode_exr(const struct dw_image *image, const struct dw_tags *tags,
                             unsigned char **data, size_t *n, struct dw_error *err);

#endif
