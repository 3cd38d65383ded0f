/* record.h: one shot's measure as bytes of the survey file: a head of fixed size, the tiles, and
 * what is read on demand only (thumbnail and spikes; patches), packed. docs/formats.md describes
 * it. */
#ifndef DW_SURVEY_RECORD_H
#define DW_SURVEY_RECORD_H

#include <daywheel/survey.h>

#include "base/buffers.h"
#include "base/hash.h"
#include "survey/measure.h"

struct dw_record_head {
    uint32_t magic, bytes; /* of the whole record, a multiple of 8 */
    uint64_t checksum;     /* of all that follows */
    uint64_t key[2];
    uint32_t usable, n_spikes, thumb_width, thumb_height, block;
    int32_t width, height;
    float black[3], white, noise_dn, photon_dn, clipped, dark;
    uint32_t tiles, packed_bytes;                /* of thumbnail and spikes */
    uint32_t n_patches, patch_bytes[DW_PATCHES]; /* packed, one after the other */
    char problem[256];
};
#define DW_RECORD_MAGIC 0x43525744u /* "DWRC" on little-endian machines */
#define DW_RECORD_MOST (64u << 20)  /* no record is larger */

/* Appends a record to b. For an unusable shot spot and thumb are not looked at.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_record_write(struct dw_buffer *b, struct dw_hash128 key,
                               const struct dw_measured *measured, size_t tiles,
                               struct dw_error *err);

/* True if n bytes (aligned to 8) are one whole undamaged record with this many tiles or none. */
bool dw_record_valid(const char *record, size_t n, size_t tiles);
struct dw_hash128 dw_record_key(const char *record);

/* A valid record's measure; m->tile must point at room for the tiles (NAN for unusable shots). */
void dw_record_measure(const char *record, size_t tiles, struct dw_measure *m);
/* Its spikes and thumbnail; either may be NULL. Errors: DW_ERR_FORMAT, DW_ERR_MEMORY. */
enum dw_status dw_record_details(const char *record, struct dw_spike **spikes,
                                 struct dw_thumb *thumb, struct dw_error *err);

/* Patches are read without the rest of the record. head: of a record of `bytes`. Says where the
 * wanted ones lie (wanted: NULL for all), as bytes from `*from` to before `*to`, *to = 0 for none.
 * Errors: DW_ERR_FORMAT: it is not the head of such a record, or the shot has no picture. */
enum dw_status dw_record_patch_range(const struct dw_record_head *head, size_t bytes,
                                     const bool *wanted, size_t *from, size_t *to,
                                     struct dw_error *err);
/* Unpacks the wanted ones; packed: those bytes. Damage is seen. Errors: DW_ERR_FORMAT,
 * DW_ERR_MEMORY. */
enum dw_status dw_record_patches(const struct dw_record_head *head, const char *packed,
                                 const bool *wanted, struct dw_patches *out, struct dw_error *err);

#endif
