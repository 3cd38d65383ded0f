/* survey.h: stage two. Every RAW is decoded once and measured; what is measured goes to the
 * survey file, the mosaics themselves, losslessly packed, to the scratch if there is one. */
#ifndef DAYWHEEL_SURVEY_H
#define DAYWHEEL_SURVEY_H

#include <daywheel/base.h>
#include <daywheel/shot.h>

#ifdef __cplusplus
extern "C" {
#endif

/* One tile of the light grid. Levels are raw sensor counts (DN), black NOT subtracted, so that
 * a better black level can be put in later. Colours: 0 R, 1 G, 2 B. */
struct dw_tile {
    float mean[3]; /* mean level, stars and hot pixels clipped out; NAN without samples */
    float var[3];  /* variance of that mean from photon and read noise, DN^2 */
    float clipped; /* share of samples at saturation */
    float dark;    /* share of samples no brighter than black plus one sigma of read noise */
    float fine;    /* green detail energy at 1 px of the 2x2-binned picture, noise removed, DN^2:
                      mean square of a pixel less the mean of its four neighbours; may come out
                      negative where there is none */
    float middle;  /* the same at 3 px: of the picture binned 3x3 once more */
    float fine_sd, middle_sd; /* their standard deviations from noise */
};

/* A small bright spot: a star, a hot pixel, a lamp; or, where value is below median, a dark one: a
 * dead pixel. Positions in mosaic pixels. */
struct dw_spike {
    uint16_t x, y;
    float value;  /* DN */
    float median; /* of the same-coloured neighbours, DN */
    /* Of a bright one: light of red, green and blue pixels within two of it, above the median of
     * those four away, DN summed; all 0 where something is saturated or the rim is near. */
    float light[3];
};

/* What was measured on one shot. */
struct dw_measure {
    bool usable;           /* decoded to a believable picture */
    char problem[256];     /* why not */
    int width, height;     /* of the mosaic */
    float black[3], white; /* as the file stated after decoding */
    float noise_dn;        /* read noise near black, rms DN, where the line of noise against light
                              meets the stated black; rough where no tile is dark */
    float photon_dn;       /* slope of that line: variance of a sample per DN of light, DN */
    float clipped, dark;   /* share of the whole frame */
    struct dw_tile *tile;  /* rows*cols, row-major, sensor orientation */
    uint32_t n_spikes;     /* read them with dw_survey_spikes */
    uint32_t thumb_width, thumb_height; /* read it with dw_survey_thumb */
    uint32_t n_patches;                 /* read them with dw_survey_patches */
};

/* A small linear picture: interleaved RGB, camera colours, (DN - stated black)/(white - black),
 * sensor orientation; means over blocks of the mosaic. */
struct dw_thumb {
    int width, height;
    int block;  /* side of a block in mosaic pixels: thumbnail pixel i spans i*block.. */
    float *rgb; /* a colour that the sensor lacks (monochrome) repeats green */
};

/* Small pictures of a few fixed places, the same in every shot, for telling displacements: cells of
 * 2x2 mosaic pixels, DW_PATCH_SIDE squared each. */
#define DW_PATCH_SIDE 64
#define DW_PATCH_CELLS (DW_PATCH_SIDE * DW_PATCH_SIDE)
#define DW_PATCHES 16       /* at most */
#define DW_PATCH_LIFT 64.0f /* DN */
#define DW_PATCH_SCALE 16.0f
#define DW_PATCH_MOST 4095 /* no code is larger: sixteen of them fit 16 bits */
struct dw_patch_place {
    uint16_t x, y; /* mosaic pixel of its upper left cell, sensor orientation */
};
/* Zero it before the first use; it may be read into again, and is freed by dw_patches_free. A code
 * is DW_PATCH_SCALE times the square root of (green DN - stated black + DW_PATCH_LIFT). */
struct dw_patches {
    int n; /* 0 for mosaics too small to hold one */
    struct dw_patch_place at[DW_PATCHES];
    uint16_t *code; /* n * DW_PATCH_CELLS */
    char *packed;   /* for reading */
    size_t packed_room;
};

/* Where the patches of a mosaic of this size lie: up to 4 x 4 of them, spread evenly, never
 * overlapping; the same in every shot. at: room for DW_PATCHES. Returns how many; 0 when not one
 * fits. */
int dw_patch_places(int width, int height, struct dw_patch_place *at);

#define DW_SPIKE_PIXELS 6000000
struct dw_survey_params {
    int cols, rows; /* of the light grid */
    int thumb_long; /* longest side of the thumbnail, pixels */
    int max_spikes; /* bright ones for each 6 million pixels or part of them, and a quarter as many
                       dark ones; the strongest are kept */
};
#define DW_SURVEY_DEFAULTS                                                                         \
    {                                                                                              \
        30, 20, 240, 6000                                                                          \
    }

/* The survey of a shoot, one measure per shot of the table it was made for. */
struct dw_survey {
    int cols, rows;
    size_t n;
    struct dw_measure *measure;
    char id[33]; /* hash over all identities and parameters, hexadecimal: which survey this is */
    struct dw_survey_file *file; /* opaque */
};

struct dw_scratch; /* see below */

/* Measures every shot that the survey file at `path` does not know yet (same identity, same
 * parameters) and leaves the file complete. Killed at any moment, a rerun goes on where it was.
 * packs: where mosaics go too, or NULL. Unreadable shots are measures with usable = false.
 * Errors: DW_ERR_IO, DW_ERR_FULL, DW_ERR_BUSY, DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_survey_run(const struct dw_shots *shots, const char *path,
                             const struct dw_survey_params *params, struct dw_scratch *packs,
                             const struct dw_run *run, struct dw_survey *out, struct dw_error *err);
/* Only reads a survey that another run left behind, and touches nothing: DW_OK if it knows every
 * shot. Errors: DW_ERR_EMPTY (it does not, or is not there, or is being written), DW_ERR_IO,
 * DW_ERR_MEMORY, DW_ERR_USAGE. */
enum dw_status dw_survey_look(const struct dw_shots *shots, const char *path,
                              const struct dw_survey_params *params, struct dw_survey *out,
                              struct dw_error *err);
/* Reads the spikes of shot i, measure[i].n_spikes, into the caller's room. Thread-safe. */
enum dw_status dw_survey_read_spikes(const struct dw_survey *s, size_t i, struct dw_spike *spikes,
                                     struct dw_error *err);
/* The same; *spikes is malloc'd. */
enum dw_status dw_survey_spikes(const struct dw_survey *s, size_t i, struct dw_spike **spikes,
                                struct dw_error *err);
/* Reads the thumbnail of shot i; free out->rgb. Thread-safe. */
enum dw_status dw_survey_thumb(const struct dw_survey *s, size_t i, struct dw_thumb *out,
                               struct dw_error *err);
/* Reads the patches of shot i, of which only those are unpacked that are wanted (DW_PATCHES of
 * them; NULL: all); the codes of the others are unknown. Thread-safe.
 * Errors: DW_ERR_FORMAT, DW_ERR_IO, DW_ERR_MEMORY, DW_ERR_EMPTY. */
enum dw_status dw_survey_patches(const struct dw_survey *s, size_t i, const bool *wanted,
                                 struct dw_patches *out, struct dw_error *err);
void dw_patches_free(struct dw_patches *p);
void dw_survey_free(struct dw_survey *s);

/* The scratch: a folder of losslessly packed mosaics, one file a shot, named after the shot's
 * identity, so that no RAW is decoded twice. Never needed for correctness. */
/* dir is created. Room is checked: expected_bytes (shots * mosaic bytes * 0.6) must leave a
 * tenth of the disk or 2 GB free, and `others` bytes for what else will be written to it; otherwise
 * only what fits is kept, and said once. */
enum dw_status dw_scratch_open(const char *dir, const struct dw_shots *shots, double others,
                               const struct dw_run *run, struct dw_scratch **out,
                               struct dw_error *err);
/* Packs m for this shot unless there already or no room is left. Thread-safe. */
enum dw_status dw_scratch_put(struct dw_scratch *s, const struct dw_shot *shot,
                              const struct dw_mosaic *m, struct dw_error *err);
/* Unpacks; DW_WARN when it is not there (or damaged: then it is removed). Thread-safe. */
enum dw_status dw_scratch_get(struct dw_scratch *s, const struct dw_shot *shot,
                              struct dw_mosaic *out, struct dw_error *err);
/* The mosaic of a shot: from the scratch (may be NULL) or else decoded. */
enum dw_status dw_fetch_mosaic(struct dw_scratch *s, struct dw_decoder *d,
                               const struct dw_shot *shot, struct dw_mosaic *out,
                               struct dw_error *err);
/* keep = false removes the packed files and the folder if it is then empty. s may be NULL. */
void dw_scratch_close(struct dw_scratch *s, bool keep);

#ifdef __cplusplus
}
#endif
#endif
