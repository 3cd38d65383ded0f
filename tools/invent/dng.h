/*
 * dng.h - writes one mosaic as a DNG file.
 */
#ifndef DWI_DNG_H
#define DWI_DNG_H

#include "params.h"
#include "shot.h"

#include <stdint.h>

/**
 * Writes raw[height * width] with what the camera recorded, damaged as the shot asks.
 * Status: 0; -1 with errno set. No file is left under its name on failure.
 */
int dwi_dng_write(const char *path, const struct dwi_params *p, const struct dwi_shot *shot,
                  const uint8_t cfa[4], const uint16_t *raw);

#endif
