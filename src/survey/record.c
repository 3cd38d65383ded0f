/* record.c: see record.h. */
#include "survey/record.h"

#include "survey/checksum.h"
#include "survey/pack_kernels.h"
#include "survey/patches.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zstd.h>

/* A thumbnail value is kept as 255 times the root of its DN: a step is then 2*sqrt(DN)/255 DN,
 * a hundredth of a pixel's photon noise at a few electrons a DN, the same at every level. */
static const double code_scale = 255.0;
enum { LEVEL = 1, SPIKE_BYTES = 10 };

static uint16_t to_code(float dn)
{
    return (uint16_t)lrint(code_scale * sqrt(fmin(fmax((double)dn, 0), 65535)));
}

static float from_code(uint16_t code)
{
    double root = code / code_scale;
    return (float)(root * root);
}

/* ---- details: codes of the thumbnail, then the spikes field by field, bytes split ---- */

static size_t detail_bytes(size_t thumb, size_t spikes)
{
    return 2 * thumb + SPIKE_BYTES * spikes;
}

static void put_split(const uint16_t *v, size_t n, uint8_t **at)
{
    for (size_t i = 0; i < n; i++) {
        (*at)[i] = (uint8_t)v[i];
        (*at)[n + i] = (uint8_t)(v[i] >> 8);
    }
    *at += 2 * n;
}

static void get_split(const uint8_t **at, size_t n, uint16_t *v)
{
    for (size_t i = 0; i < n; i++)
        v[i] = (uint16_t)((*at)[i] | (*at)[n + i] << 8);
    *at += 2 * n;
}

/* A sensor without red and blue repeats its green. */
static void to_codes(const float *thumb, size_t n, uint16_t *code)
{
    for (size_t i = 0; i < n; i++)
        code[i] = to_code(isfinite(thumb[i]) ? thumb[i] : thumb[i - i % 3 + 1]);
}

static bool pack_details(struct dw_buffer *b, const struct dw_measured *measured, size_t *packed)
{
    const struct dw_measure *m = &measured->m;
    size_t thumb = (size_t)m->thumb_width * m->thumb_height * 3, n = m->n_spikes;
    size_t raw = detail_bytes(thumb, n), bound = ZSTD_compressBound(raw);
    uint8_t *plain = malloc(raw + 1), *out = malloc(bound + 1);
    uint16_t *work = malloc((thumb + n + 1) * sizeof *work);
    bool done = false;
    *packed = 0;
    if (plain && out && work) {
        static const uint16_t nothing[3] = {0};
        uint8_t *at = plain;
        size_t first = thumb < 3 ? thumb : 3;
        to_codes(measured->thumb, thumb, work);
        dw_pack_split(work, nothing, first, at, at + thumb);
        dw_pack_split(work + first, work, thumb - first, at + first, at + thumb + first);
        at += 2 * thumb;
        for (size_t i = 0; i < n; i++)
            work[i] = measured->spot[i].x;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++) /* sorted by y: small differences */
            work[i] = (uint16_t)(measured->spot[i].y - (i > 0 ? measured->spot[i - 1].y : 0));
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = measured->spot[i].value;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = (uint16_t)measured->spot[i].median2;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = (uint16_t)(measured->spot[i].median2 >> 16);
        put_split(work, n, &at);
        *packed = ZSTD_compress(out, bound, plain, raw, LEVEL);
        done = !ZSTD_isError(*packed);
        if (done)
            dw_buffer_add(b, (const char *)out, *packed);
    }
    free(work);
    free(out);
    free(plain);
    return done;
}

/* Each patch is packed by itself and guarded by a checksum of its own: whoever wants to see some
 * need neither read nor unpack the rest. A cell less the one above it, so that a row is unpacked at
 * once; only in the first row each waits for the one to its left. */
static void split_patch(const uint16_t *code, uint8_t *plain)
{
    static const uint16_t nothing[1] = {0};
    const size_t n = DW_PATCH_CELLS, row = DW_PATCH_SIDE;
    dw_pack_split(code, nothing, 1, plain, plain + n);
    dw_pack_split(code + 1, code, row - 1, plain + 1, plain + n + 1);
    dw_pack_split(code + row, code, n - row, plain + row, plain + n + row);
}

static void join_patch(const uint8_t *plain, uint16_t *code)
{
    static const uint16_t nothing[1] = {0};
    const size_t n = DW_PATCH_CELLS, row = DW_PATCH_SIDE;
    dw_pack_join(plain, plain + n, nothing, 1, code);
    dw_pack_join(plain + 1, plain + n + 1, code, row - 1, code + 1);
    for (size_t i = row; i < n; i += row) /* apart, so that no row overlaps the one it needs */
        dw_pack_join(plain + i, plain + n + i, code + i - row, row, code + i);
}

static bool pack_patches(struct dw_buffer *b, const struct dw_measured *measured,
                         uint32_t packed[DW_PATCHES])
{
    const size_t raw = 2 * DW_PATCH_CELLS, bound = ZSTD_compressBound(raw);
    if (measured->n_patches == 0)
        return true;
    uint8_t *plain = malloc(raw), *out = malloc(bound);
    ZSTD_CCtx *z = ZSTD_createCCtx();
    bool done = plain && out && z &&
                !ZSTD_isError(ZSTD_CCtx_setParameter(z, ZSTD_c_compressionLevel, LEVEL)) &&
                !ZSTD_isError(ZSTD_CCtx_setParameter(z, ZSTD_c_checksumFlag, 1));
    for (int i = 0; i < measured->n_patches && done; i++) {
        split_patch(measured->patch + (size_t)i * DW_PATCH_CELLS, plain);
        size_t bytes = ZSTD_compress2(z, out, bound, plain, raw);
        done = !ZSTD_isError(bytes);
        if (done)
            dw_buffer_add(b, (const char *)out, bytes);
        packed[i] = (uint32_t)bytes;
    }
    ZSTD_freeCCtx(z);
    free(out);
    free(plain);
    return done;
}

enum dw_status dw_record_write(struct dw_buffer *b, struct dw_hash128 key,
                               const struct dw_measured *measured, size_t tiles,
                               struct dw_error *err)
{
    const struct dw_measure *m = &measured->m;
    size_t start = b->n, packed = 0;
    uint32_t patches[DW_PATCHES] = {0};
    struct dw_record_head h;
    memset(&h, 0, sizeof h);
    dw_buffer_add(b, (const char *)&h, sizeof h);
    bool packing = true;
    if (m->usable) {
        dw_buffer_add(b, (const char *)m->tile, tiles * sizeof *m->tile);
        packing = pack_details(b, measured, &packed) && pack_patches(b, measured, patches);
    }
    static const char zeros[8] = {0};
    dw_buffer_add(b, zeros, (8 - (b->n - start) % 8) % 8);
    if (!packing || b->failed)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a record");

    h.magic = DW_RECORD_MAGIC;
    h.bytes = (uint32_t)(b->n - start);
    h.key[0] = key.a;
    h.key[1] = key.b;
    h.usable = m->usable;
    if (m->usable) {
        h.n_spikes = m->n_spikes;
        h.thumb_width = m->thumb_width;
        h.thumb_height = m->thumb_height;
        h.block = (uint32_t)measured->block;
        h.width = m->width;
        h.height = m->height;
        memcpy(h.black, m->black, sizeof h.black);
        h.white = m->white;
        h.noise_dn = m->noise_dn;
        h.photon_dn = m->photon_dn;
        h.clipped = m->clipped;
        h.dark = m->dark;
        h.tiles = (uint32_t)tiles;
        h.packed_bytes = (uint32_t)packed;
        h.n_patches = (uint32_t)measured->n_patches;
        memcpy(h.patch_bytes, patches, sizeof h.patch_bytes);
    }
    memcpy(h.problem, m->problem, sizeof h.problem);
    h.problem[sizeof h.problem - 1] = '\0';
    memcpy(b->data + start, &h, sizeof h);
    const size_t guarded = offsetof(struct dw_record_head, checksum) + sizeof h.checksum;
    h.checksum = dw_checksum(b->data + start + guarded, h.bytes - guarded);
    memcpy(b->data + start, &h, sizeof h);
    return DW_OK;
}

/* ---- reading ---- */

static struct dw_record_head head_of(const char *record)
{
    struct dw_record_head h;
    memcpy(&h, record, sizeof h);
    h.problem[sizeof h.problem - 1] = '\0';
    return h;
}

/* Where its patches begin and end, bytes; false when its sizes do not fit a record of n bytes. */
static bool patches_lie(const struct dw_record_head *h, size_t n, size_t *from, size_t *to)
{
    if (h->magic != DW_RECORD_MAGIC || h->bytes != n || n < sizeof *h || h->n_patches > DW_PATCHES)
        return false;
    *from = sizeof *h + (size_t)h->tiles * sizeof(struct dw_tile) + h->packed_bytes;
    *to = *from;
    for (uint32_t i = 0; i < h->n_patches; i++)
        *to += h->patch_bytes[i];
    return *to <= n;
}

bool dw_record_valid(const char *record, size_t n, size_t tiles)
{
    if (n < sizeof(struct dw_record_head))
        return false;
    struct dw_record_head h = head_of(record);
    const size_t guarded = offsetof(struct dw_record_head, checksum) + sizeof h.checksum;
    if (h.magic != DW_RECORD_MAGIC || h.bytes != n ||
        h.checksum != dw_checksum(record + guarded, n - guarded))
        return false;
    /* Undamaged; and made by this program, as far as sizes can tell. */
    size_t from, to;
    return h.tiles == (h.usable ? tiles : 0) && h.thumb_width <= 65535 && h.thumb_height <= 65535 &&
           h.n_spikes <= 1000000 && patches_lie(&h, n, &from, &to);
}

struct dw_hash128 dw_record_key(const char *record)
{
    struct dw_record_head h = head_of(record);
    return (struct dw_hash128){h.key[0], h.key[1]};
}

void dw_record_measure(const char *record, size_t tiles, struct dw_measure *m)
{
    struct dw_record_head h = head_of(record);
    struct dw_tile *tile = m->tile;
    *m = (struct dw_measure){.usable = h.usable,
                             .width = h.width,
                             .height = h.height,
                             .black = {h.black[0], h.black[1], h.black[2]},
                             .white = h.white,
                             .noise_dn = h.noise_dn,
                             .photon_dn = h.photon_dn,
                             .clipped = h.clipped,
                             .dark = h.dark,
                             .tile = tile,
                             .n_spikes = h.n_spikes,
                             .thumb_width = h.thumb_width,
                             .thumb_height = h.thumb_height,
                             .n_patches = h.n_patches};
    memcpy(m->problem, h.problem, sizeof m->problem);
    if (h.usable)
        memcpy(tile, record + sizeof h, tiles * sizeof *tile);
}

static void take_spikes(const uint8_t *at, size_t n, uint16_t *work, struct dw_spike *out)
{
    get_split(&at, n, work);
    for (size_t i = 0; i < n; i++)
        out[i].x = work[i];
    get_split(&at, n, work);
    for (size_t i = 0; i < n; i++)
        out[i].y = (uint16_t)(work[i] + (i > 0 ? out[i - 1].y : 0));
    get_split(&at, n, work);
    for (size_t i = 0; i < n; i++)
        out[i].value = work[i];
    get_split(&at, n, work);
    for (size_t i = 0; i < n; i++)
        out[i].median = 0.5f * (float)work[i];
    get_split(&at, n, work);
    for (size_t i = 0; i < n; i++)
        out[i].median += 32768.0f * (float)work[i];
}

static void take_thumb(const uint8_t *plain, size_t n, const struct dw_record_head *h,
                       uint16_t *work, float *rgb)
{
    static const uint16_t nothing[3] = {0};
    size_t first = n < 3 ? n : 3;
    dw_pack_join(plain, plain + n, nothing, first, work);
    dw_pack_join(plain + first, plain + n + first, work, n - first, work + first);
    for (size_t i = 0; i < n; i++) {
        float black = h->black[i % 3], range = h->white - black;
        rgb[i] = range > 0 ? (from_code(work[i]) - black) / range : 0;
    }
}

enum dw_status dw_record_details(const char *record, struct dw_spike **spikes,
                                 struct dw_thumb *thumb, struct dw_error *err)
{
    struct dw_record_head h = head_of(record);
    size_t pixels = (size_t)h.thumb_width * h.thumb_height * 3, n = h.n_spikes;
    size_t raw = h.usable ? detail_bytes(pixels, n) : 0;
    if (spikes)
        *spikes = NULL;
    if (thumb)
        *thumb = (struct dw_thumb){0};
    if (!h.usable)
        return dw_fail(err, DW_ERR_FORMAT, "survey: this shot has no picture: %s", h.problem);
    uint8_t *plain = malloc(raw + 1);
    uint16_t *work = malloc((pixels + n + 1) * sizeof *work);
    struct dw_spike *s = spikes ? malloc((n + 1) * sizeof *s) : NULL;
    float *rgb = thumb ? malloc((pixels + 1) * sizeof *rgb) : NULL;
    enum dw_status status = DW_OK;
    const char *packed = record + sizeof h + h.tiles * sizeof(struct dw_tile);
    if (!plain || !work || (spikes && !s) || (thumb && !rgb))
        status = dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's details");
    else if (ZSTD_decompress(plain, raw, packed, h.packed_bytes) != raw)
        status = dw_fail(err, DW_ERR_FORMAT, "survey: a shot's details are damaged");
    if (status >= 0 && spikes) {
        take_spikes(plain + 2 * pixels, n, work, s);
        *spikes = s;
        s = NULL;
    }
    if (status >= 0 && thumb) {
        take_thumb(plain, pixels, &h, work, rgb);
        *thumb = (struct dw_thumb){(int)h.thumb_width, (int)h.thumb_height, (int)h.block, rgb};
        rgb = NULL;
    }
    free(rgb);
    free(s);
    free(work);
    free(plain);
    return status;
}

enum dw_status dw_record_patch_range(const struct dw_record_head *head, size_t bytes,
                                     const bool *wanted, size_t *from, size_t *to,
                                     struct dw_error *err)
{
    size_t at, end;
    *from = *to = 0;
    if (!patches_lie(head, bytes, &at, &end))
        return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's record was changed while in use");
    if (!head->usable)
        return dw_fail(err, DW_ERR_FORMAT, "survey: this shot has no picture: %.*s",
                       (int)sizeof head->problem, head->problem);
    for (uint32_t i = 0; i < head->n_patches; i++) {
        if (!wanted || wanted[i]) {
            *from = *to ? *from : at;
            *to = at + head->patch_bytes[i];
        }
        at += head->patch_bytes[i];
    }
    return DW_OK;
}

static bool make_patch_room(struct dw_patches *p)
{
    if (!p->code)
        p->code = malloc((size_t)DW_PATCHES * DW_PATCH_CELLS * sizeof *p->code);
    if (!p->expand)
        p->expand = ZSTD_createDCtx();
    return p->code && p->expand;
}

enum dw_status dw_record_patches(const struct dw_record_head *head, const char *packed,
                                 const bool *wanted, struct dw_patches *out, struct dw_error *err)
{
    uint8_t plain[2 * DW_PATCH_CELLS];
    out->n = 0;
    if (!make_patch_room(out))
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's patches");
    if (dw_patch_places(head->width, head->height, out->at) != (int)head->n_patches)
        return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's patches are damaged");
    bool begun = false;
    for (uint32_t i = 0; i < head->n_patches; i++) {
        bool want = !wanted || wanted[i];
        begun |= want;
        if (want && ZSTD_decompressDCtx(out->expand, plain, sizeof plain, packed,
                                        head->patch_bytes[i]) != sizeof plain)
            return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's patches are damaged");
        if (want)
            join_patch(plain, out->code + (size_t)i * DW_PATCH_CELLS);
        packed += begun ? head->patch_bytes[i] : 0;
    }
    out->n = (int)head->n_patches;
    return DW_OK;
}

void dw_patches_free(struct dw_patches *p)
{
    ZSTD_freeDCtx(p->expand);
    free(p->packed);
    free(p->code);
    *p = (struct dw_patches){0};
}
