/* raw_libraw.h: the only place that knows LibRaw's structures. Their layout changes between its
 * versions, so everything leaves here in our own types. */
#ifndef DW_SHOT_RAW_LIBRAW_H
#define DW_SHOT_RAW_LIBRAW_H

#include <daywheel/shot.h>

#include "shot/exif.h"

struct dw_raw; /* one LibRaw handle; use it from one thread at a time */

/* Why a file gave no frame. */
enum dw_raw_refusal {
    DW_RAW_OPENED = 0,
    DW_RAW_UNKNOWN, /* not a RAW format, or a camera or compression that LibRaw lacks */
    DW_RAW_DAMAGED, /* breaks off or contradicts itself */
    DW_RAW_MEMORY,
    DW_RAW_UNSUITED /* decodes, but not to something that we can use */
};

/* What the file says about itself, after opening. */
struct dw_raw_record {
    enum dw_raw_refusal refusal;
    char why[240]; /* in words, without the file's name; empty when opened */
    struct dw_exif exif;
    char make[64], model[64], serial[64]; /* printable */
    int width, height, turn_deg;
    enum dw_cfa cfa;
    int period;
    uint8_t pattern[36];
    float cam_xyz[9], daylight_mul[3];
    bool has_cam_xyz;
    double white;
    uint64_t promised_end;
    unsigned compression; /* TIFF code of the sensor data, 0 if unknown */
    /* LibRaw's own reading, for formats without Exif; NAN or 0 where unknown */
    double shutter_s, f_number, iso;
    double clock_s; /* local reading as if UTC */
    bool has_clock;
};

/* DW_ERR_FORMAT when the library at run time is not the one we were built for. */
enum dw_status dw_raw_check_version(struct dw_error *err);
/* The version of LibRaw, for --version and messages. */
const char *dw_raw_version(void);

struct dw_raw *dw_raw_new(void);
void dw_raw_free(struct dw_raw *r);

/* Reads the record of a file (metadata only, in small reads) or of bytes in memory, which must
 * stay until dw_raw_forget_input. Exif arrives even where the decoder then refuses the file. */
void dw_raw_open_path(struct dw_raw *r, const char *path, struct dw_raw_record *out);
void dw_raw_open_bytes(struct dw_raw *r, void *data, size_t n, struct dw_raw_record *out);

/* Decodes what was opened. `why` gets the reason of a refusal. *data_errors counts the places
 * where the decoder met damaged data although it may claim success. */
enum dw_raw_refusal dw_raw_unpack(struct dw_raw *r, char *why, size_t why_size, int *data_errors);
/* Releases the input; what was unpacked stays. */
void dw_raw_forget_input(struct dw_raw *r);
/* Copies the visible area, its pattern and levels. Errors: DW_ERR_MEMORY, DW_ERR_FORMAT. */
enum dw_status dw_raw_copy(struct dw_raw *r, struct dw_mosaic *out, struct dw_error *err);
/* Frees what the handle holds of the last file. */
void dw_raw_recycle(struct dw_raw *r);

#endif
