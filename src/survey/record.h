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
    uint32_t tiles, spike_bytes, thumb_bytes, n_patches;
    uint32_t patch_bytes[DW_PATCHES];
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

/* What follows the tiles is packed in parts, each with a checksum of its own, and can be read
 * without the rest of the record. Where they begin, bytes from the record's start, multiples of 8;
 * each ends before the next one begins, so does each patch. */
struct dw_record_parts {
    size_t spikes, thumb, patch[DW_PATCHES + 1];
};
/* head: of a record of `bytes`. Errors: DW_ERR_FORMAT: it is not the head of such a record, or the
 * shot has no picture. */
enum dw_status dw_record_parts(const struct dw_record_head *head, size_t bytes,
                               struct dw_record_parts *out, struct dw_error *err);
/* These unpack a part; packed: aligned to 8; spikes: room for head->n_spikes. Errors: DW_ERR_FORMAT
 * (it is damaged), DW_ERR_MEMORY.
 */
enum dw_status dw_record_spikes(const struct dw_record_head *head, const char *packed,
                                struct dw_spike *out, struct dw_error *err);
enum dw_status dw_record_thumb(const struct dw_record_head *head, const char *packed,
                               struct dw_thumb *out, struct dw_error *err);
/* Wanted: as of dw_survey_patches. packed: from the first wanted one on. */
enum dw_status dw_record_patches(const struct dw_record_head *head, const char *packed,
                                 const bool *wanted, struct dw_patches *out, struct dw_error *err);

#endif
