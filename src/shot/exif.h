/* exif.h: what we read of the Exif record ourselves. The decoder's own reading loses fractions of
 * seconds and offsets, and runs clocks through the time zone of the machine. */
#ifndef DW_SHOT_EXIF_H
#define DW_SHOT_EXIF_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { DW_EXIF_TEXT = 40, DW_EXIF_IFDS = 16 };

/* One image file directory: enough to know how far into the file its pixels reach. */
struct dw_exif_ifd {
    uint32_t width, height, photometric, compression;
    uint64_t last_offset; /* of the strip or tile that begins last */
    size_t last_index;
    uint64_t end;         /* first byte behind that strip; 0 if unknown */
    uint64_t preview_end; /* first byte behind an embedded JPEG, likewise */
};

/* DNG's MapPolynomial (specification 1.4, opcode 8): how a lossy file's codes become light, both
 * from 0 to 1. degree is -1 where there is none. */
struct dw_exif_map {
    int degree;
    double c[9];
};

/* Numbers are NAN and texts empty where the file holds nothing usable. */
struct dw_exif {
    bool seen; /* any tag came at all */
    char original[DW_EXIF_TEXT], digitized[DW_EXIF_TEXT], modified[DW_EXIF_TEXT];
    char offset_original[DW_EXIF_TEXT], offset_digitized[DW_EXIF_TEXT];
    char offset_modified[DW_EXIF_TEXT];
    char subsec_original[DW_EXIF_TEXT], subsec_digitized[DW_EXIF_TEXT];
    char subsec_modified[DW_EXIF_TEXT];
    char make[DW_EXIF_TEXT], model[DW_EXIF_TEXT], serial[DW_EXIF_TEXT];
    bool has_exposure_tag, has_f_tag; /* the tag is there, even if it says nothing */
    double exposure_s, f_number, tv;
    double iso, sensitivity[3]; /* the three wide tags: 8831, 8832, 8833 */
    double gps_lat[3], gps_lon[3], gps_time[3];
    char gps_lat_ref, gps_lon_ref;
    char gps_date[DW_EXIF_TEXT];
    struct dw_exif_ifd ifd[DW_EXIF_IFDS];
    struct dw_exif_map map[3]; /* of each colour */
};

void dw_exif_clear(struct dw_exif *x);

/* Takes one tag in the numbering of LibRaw's callback (its signature too): main directories carry
 * their number + 1 from bit 20 on, Exif tags come plain, GPS tags with 0x50000.
 * ctx: struct dw_exif; stream: for dw_exif_read; order: 0x4949 or 0x4d4d. */
void dw_exif_tag(void *ctx, int tag, int type, int len, unsigned order, void *stream,
                 long long base);

/* Bytes from the C++ stream behind the callback (exif_shim.cc). */
size_t dw_exif_read(void *stream, void *dst, size_t n);

/* "YYYY:MM:DD HH:MM:SS" as if it were UTC, Unix seconds. False for blanks, zeros and dates that do
 * not exist. Years 1971..2199: a camera whose clock was never set counts from its maker's epoch,
 * and 1970 is what a lost date looks like. */
bool dw_exif_time(const char *text, double *unix_s);
/* "+HH:MM", "-HH:MM" or "Z"; at most 15 hours. */
bool dw_exif_offset(const char *text, int *seconds);
/* "05" is 0.05 s (decimal digits of a fraction); 0 for anything else. */
double dw_exif_fraction(const char *text);

/* Capture time with its fraction, local; false without one. */
bool dw_exif_clock(const struct dw_exif *x, double *clock_s);
/* Local minus UTC of that clock: OffsetTimeOriginal, or another offset when it belongs to the
 * same instant. */
bool dw_exif_clock_offset(const struct dw_exif *x, int *seconds);
/* Degrees, north and east positive; false for a GPS block without a position. */
bool dw_exif_position(const struct dw_exif *x, double *lat, double *lon);
/* UTC of the position fix, Unix seconds; false without date or time. */
bool dw_exif_gps_clock(const struct dw_exif *x, double *utc_s);
/* ISO speed: the 16-bit tag, or a wide tag where it is missing or stuck at 65535; NAN without. */
double dw_exif_iso(const struct dw_exif *x);
/* First byte behind the pixels that the directories promise, looking at directories that hold
 * sensor data (CFA, linear RAW) or are as large as width x height; 0 if unknown. */
uint64_t dw_exif_promised_end(const struct dw_exif *x, int width, int height);
/* First byte behind everything that any directory promises. For files already refused: previews
 * and makers' oddities are no reason to refuse one. */
uint64_t dw_exif_any_end(const struct dw_exif *x);
/* The compression code of such a directory, 0 if unknown. */
unsigned dw_exif_compression(const struct dw_exif *x);

#endif
