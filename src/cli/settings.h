/* settings.h: everything that a person can choose, as the option table fills it in. */
#ifndef DW_CLI_SETTINGS_H
#define DW_CLI_SETTINGS_H

#include <daywheel/output.h>
#include <daywheel/render.h>

#include "base/buffers.h"

/* Texts are malloc'd. Enumerations are held as int because the table writes them. */
struct dw_settings {
    char *output, *settings;

    /* place and time */
    bool has_site;
    double site[2]; /* latitude, longitude in degrees, north and east positive */
    bool has_utc_offset;
    int utc_offset_s; /* of the camera's clock: local minus UTC */
    char *only;       /* camera model; NULL: all frames must agree */
    bool exact_marks;
    struct dw_strings drop, keep; /* what a person says of shots, by name or time */

    /* the picture */
    double twilight[2]; /* sun altitudes, degrees: night, day */
    double steady;      /* 0..1 */
    unsigned also;      /* bits 1 << enum dw_rendering */
    double fps;         /* of the sequence when it is shown */
    double stars;       /* stops that stars are lifted above the sky */
    double noise;       /* share of the noise that is taken out */
    bool has_white;
    double white[2]; /* the light that is white: kelvin, thousandths of Duv */
    struct dw_size size;
    int format;      /* enum dw_format */
    int compression; /* enum dw_compression; TIFF only */
    int space;       /* enum dw_space; other than sRGB with TIFF only */

    /* the run */
    char *scratch; /* NULL: OUT/scratch; "off": none */
    bool keep_scratch;
    int jobs;    /* 0: one for each core */
    int part[2]; /* K of N */
    int preview; /* 0: no preview */

    /* messages */
    bool quiet, verbose, help, version;
};

/* The defaults of the option table. */
void dw_settings_default(struct dw_settings *s);
void dw_settings_free(struct dw_settings *s);

#endif
