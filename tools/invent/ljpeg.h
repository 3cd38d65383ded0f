/*
 * ljpeg.h - lossless JPEG (ITU-T T.81 process 14, predictor 1) of a Bayer mosaic.
 */
#ifndef DWI_LJPEG_H
#define DWI_LJPEG_H

#include <stddef.h>
#include <stdint.h>

/**
 * Packs raw[height * width] (width even) as two interleaved components of half the width, the
 * usual form in DNG.
 * Given: precision bits of the samples, 8..16; out with room for dwi_ljpeg_bound() bytes.
 * Returned: bytes written.
 */
size_t dwi_ljpeg_encode(const uint16_t *raw, int width, int height, int precision, uint8_t *out);
size_t dwi_ljpeg_bound(int width, int height);

#endif
