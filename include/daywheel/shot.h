/* shot.h: stage one. Which files are frames, their true order in time, what the camera
 * recorded; and the one door through which RAW files are decoded. */
#ifndef DAYWHEEL_SHOT_H
#define DAYWHEEL_SHOT_H

#include <daywheel/base.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The colour filter array of a sensor. */
enum dw_cfa {
    DW_CFA_BAYER,  /* 2x2, any of the four orders */
    DW_CFA_XTRANS, /* 6x6 */
    DW_CFA_MONO,   /* one colour */
    DW_CFA_RGB     /* no mosaic: three samples a pixel (linear DNG) */
};

/* What is needed to know a file again without reading it whole. */
struct dw_identity {
    uint64_t size;      /* bytes */
    int64_t mtime_ns;   /* modification time, Unix nanoseconds */
    uint64_t head_hash; /* hash of the first 64 KiB */
};

/* One row of the shot table: what was shot, as the camera recorded it. */
struct dw_shot {
    char *path; /* as it can be opened */
    char *name; /* the file's own name, for people; unreadable bytes escaped */
    struct dw_identity id;
    bool readable;     /* LibRaw opened it and its record makes sense */
    char problem[256]; /* why not, if not: goes on after the name ("is cut short: ...") */

    /* camera */
    char make[64], model[64], serial[64]; /* escaped to printable text */
    int width, height;                    /* visible mosaic, sensor orientation */
    int turn_deg; /* clockwise turn that brings it upright: 0, 90, 180, 270 */
    enum dw_cfa cfa;
    float cam_xyz[9]; /* rows: camera R, G, B; columns: XYZ under D65 (DNG ColorMatrix sense) */
    bool has_cam_xyz;
    float daylight_mul[3]; /* camera's own daylight multipliers, green = 1; 0 if unknown */

    /* time */
    bool has_clock;     /* the file holds a capture time */
    double clock_s;     /* its reading as if it were UTC, Unix seconds with the fraction */
    bool clock_guessed; /* taken from neighbours because the file holds none */
    bool has_offset;    /* OffsetTimeOriginal, or agreed between clock and position fixes */
    int offset_s;       /* local minus UTC */
    bool has_gps;
    double lat_deg, lon_deg;
    long file_number; /* digits at the end of the name's stem; -1 without */

    /* exposure */
    bool has_shutter, has_iso, has_aperture;
    double shutter_marked_s, shutter_s; /* as recorded; true duration */
    double iso_marked, iso;             /* as recorded; true step */
    double f_marked, f_number;          /* as recorded; true stop; 1 where unknown */
    double ev100; /* log2(N^2/t) - log2(ISO/100) of the true values; NAN without a record */
};

/* What a scan found beside frames. */
struct dw_scan_counts {
    size_t frames, unreadable, raw_jpeg_pairs, pictures, sidecars, videos, system, other,
        duplicates;
};

/* The shot table, in the order of capture. */
struct dw_shots {
    struct dw_shot *shot;
    size_t n;
    struct dw_scan_counts counts;
};

struct dw_scan_params {
    const char *only_model; /* keep frames of this camera model alone; NULL: all must agree */
    bool exact_marks;       /* the camera times the marked values exactly (30.0 s, not 32 s) */
};
#define DW_SCAN_DEFAULTS                                                                           \
    {                                                                                              \
        NULL, false                                                                                \
    }

/* Scans folders (recursively), files and, for the name "-", a list of paths on standard input.
 * Frames come out ordered by capture time with its fraction, then by file number (a counter
 * that wraps at 9999 included), then by name; true duplicates (same content) are dropped and
 * counted. Files that carry the suffix of frames but cannot be opened stay in the table, with
 * readable = false and a time guessed from their numbers' neighbours.
 * Errors: DW_ERR_EMPTY (nothing that LibRaw reads; the text says what was found instead),
 * DW_ERR_MIXED (two cameras, sizes, orientations; the text counts them and names the odd files),
 * DW_ERR_IO, DW_ERR_MEMORY, DW_ERR_INTERRUPTED. */
enum dw_status dw_scan(const char *const *inputs, size_t n, const struct dw_scan_params *params,
                       const struct dw_run *run, struct dw_shots *out, struct dw_error *err);
void dw_shots_free(struct dw_shots *shots);

/* Which shots a person means. An entry is a file's own name as it is or as documents show it
 * (\xNN for bytes that are no text), with the end of its path where two cards hold the same name
 * (card2/IMG_0001.DNG), or a stretch of time by the camera's clock, FROM-TO, where both are
 * [YYYY-MM-DDT]HH:MM[:SS] and a TO without seconds holds its whole minute: 03:10-04:40 (over
 * midnight where TO is earlier), 2026-03-28T23:10-01:00. A shot belongs to the time of its
 * mid-exposure. how[i] says how shot i was meant, the narrower one of several.
 * Errors: DW_ERR_USAGE (an entry means no shot: the nearest name is suggested; a name or a time
 * without date means several; `option` stands in front of the text), DW_ERR_MEMORY. */
enum dw_pick { DW_PICK_NONE, DW_PICK_BY_TIME, DW_PICK_BY_NAME };
enum dw_status dw_pick_shots(const struct dw_shots *shots, const char *option,
                             const char *const *entry, size_t n, enum dw_pick *how,
                             struct dw_error *err);

/* True value behind a mark: shutter times and ISO steps run at powers of 2^(1/3), stops at powers
 * of 2^(1/6). Only a mark of the trade's third-stop series (1/60, f/5.6) or the step itself is
 * taken to be a step; any other value (1/17 s, f/7.6, a bulb time beyond 30 s) is kept as it is.
 * Source: Exif 2.31 Annex C (APEX), which names 1/60 s "Tv 6"; see docs/method.md. */
double dw_true_shutter_s(double marked_s);
double dw_true_f_number(double marked);
double dw_true_iso(double marked);

/* The decoded sensor data of one shot. */
struct dw_mosaic {
    int width, height; /* visible area, sensor orientation; samples are row-major, no padding */
    enum dw_cfa cfa;
    int period;          /* of the pattern: 1, 2 or 6 */
    uint8_t pattern[36]; /* colour of (row % period, col % period): 0 R, 1 G, 2 B */
    uint16_t *px;        /* width*height samples (x3 interleaved for DW_CFA_RGB) */
    size_t samples;
    float black[3]; /* level of no light, per colour, as the file states it after decoding */
    float white;    /* saturation, same scale */
    size_t room;    /* samples that px has room for; 0 in a zeroed struct */
};

/* Buffers that a worker keeps from frame to frame; opaque. */
struct dw_decoder;
struct dw_decoder *dw_decoder_new(void);
void dw_decoder_free(struct dw_decoder *d);

/* Decodes a file to its mosaic. The mosaic's px is owned by the caller's struct and reused
 * when large enough (start from a zeroed struct). Reads the file in large blocks.
 * Judges the pixels too: a zeroed half, repeated rows, values above what the sensor can give,
 * an all-zero frame are DW_ERR_FORMAT even where the decoder claims success.
 * Errors: DW_ERR_IO, DW_ERR_FORMAT, DW_ERR_MEMORY. Thread-safe, one decoder per thread. */
enum dw_status dw_decode(struct dw_decoder *d, const struct dw_shot *shot, struct dw_mosaic *out,
                         struct dw_error *err);
void dw_mosaic_free(struct dw_mosaic *m);

#ifdef __cplusplus
}
#endif
#endif
