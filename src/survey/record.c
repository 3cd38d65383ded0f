/* record.c: see record.h. */
#include "survey/record.h"

#include "survey/checksum.h"
#include "survey/pack_kernels.h"
#include "survey/patch_pack.h"
#include "survey/patches.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zstd.h>

/* A thumbnail value is kept as 255 times the root of its DN: a step is then 2*sqrt(DN)/255 DN,
 * a hundredth of a pixel's photon noise at a few electrons a DN, the same at every level. */
static const double code_scale = 255.0;
enum { LEVEL = 1, SPIKE_BYTES = 16 };
/* Light of a spot in steps of so many DN about the middle of 16 bits; 0: none was measured. */
enum { LIGHT_STEP = 4, LIGHT_MIDDLE = 32768 };

static uint16_t to_code(float dn)
{
    return (uint16_t)lrint(code_scale * sqrt(fmin(fmax((double)dn, 0), 65535)));
}

static float from_code(uint16_t code)
{
    double root = code / code_scale;
    return (float)(root * root);
}

/* ---- parts: bytes split, spikes field by field ---- */

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

static uint16_t light_code(const int32_t light[3], int c)
{
    if (light[0] == 0 && light[1] == 0 && light[2] == 0)
        return 0;
    double steps = LIGHT_MIDDLE + (double)light[c] / LIGHT_STEP;
    return (uint16_t)lrint(fmin(fmax(steps, 1), 65535));
}

static const char zeros[8] = {0};

static size_t aligned(size_t bytes)
{
    return bytes + (8 - bytes % 8) % 8;
}

/* Adds what zstd makes of n bytes, with a checksum; *packed: how many bytes. All parts begin at
 * multiples of 8. */
static bool add_packed(struct dw_buffer *b, const uint8_t *plain, size_t n, uint32_t *packed)
{
    size_t bound = ZSTD_compressBound(n), bytes = 0;
    char *out = malloc(bound);
    ZSTD_CCtx *z = ZSTD_createCCtx();
    bool done = out && z &&
                !ZSTD_isError(ZSTD_CCtx_setParameter(z, ZSTD_c_compressionLevel, LEVEL)) &&
                !ZSTD_isError(ZSTD_CCtx_setParameter(z, ZSTD_c_checksumFlag, 1)) &&
                !ZSTD_isError(bytes = ZSTD_compress2(z, out, bound, plain, n));
    if (done)
        dw_buffer_add(b, out, bytes);
    *packed = (uint32_t)bytes;
    dw_buffer_add(b, zeros, aligned(bytes) - bytes);
    ZSTD_freeCCtx(z);
    free(out);
    return done;
}

static bool pack_spikes(struct dw_buffer *b, const struct dw_measured *measured, uint32_t *packed)
{
    size_t n = measured->m.n_spikes;
    const struct dw_spot *spot = measured->spot;
    uint8_t *plain = malloc(SPIKE_BYTES * n + 1), *at = plain;
    uint16_t *work = malloc((n + 1) * sizeof *work);
    bool done = plain && work;
    if (done) {
        for (size_t i = 0; i < n; i++)
            work[i] = spot[i].x;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++) /* sorted by y: small differences */
            work[i] = (uint16_t)(spot[i].y - (i > 0 ? spot[i - 1].y : 0));
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = spot[i].value;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = (uint16_t)spot[i].median2;
        put_split(work, n, &at);
        for (size_t i = 0; i < n; i++)
            work[i] = (uint16_t)(spot[i].median2 >> 16);
        put_split(work, n, &at);
        for (int c = 0; c < 3; c++) {
            for (size_t i = 0; i < n; i++)
                work[i] = light_code(spot[i].light, c);
            put_split(work, n, &at);
        }
        done = add_packed(b, plain, SPIKE_BYTES * n, packed);
    }
    free(work);
    free(plain);
    return done;
}

static bool pack_thumb(struct dw_buffer *b, const struct dw_measured *measured, uint32_t *packed)
{
    static const uint16_t nothing[3] = {0};
    size_t n = (size_t)measured->m.thumb_width * measured->m.thumb_height * 3;
    size_t first = n < 3 ? n : 3;
    uint8_t *plain = malloc(2 * n + 1);
    uint16_t *work = malloc((n + 1) * sizeof *work);
    bool done = plain && work;
    if (done) {
        to_codes(measured->thumb, n, work);
        dw_pack_split(work, nothing, first, plain, plain + n);
        dw_pack_split(work + first, work, n - first, plain + first, plain + n + first);
        done = add_packed(b, plain, 2 * n, packed);
    }
    free(work);
    free(plain);
    return done;
}

static void pack_patches(struct dw_buffer *b, const struct dw_measured *measured,
                         uint32_t packed[DW_PATCHES])
{
    unsigned char out[DW_PATCH_PACKED_MOST];
    for (int i = 0; i < measured->n_patches; i++) {
        packed[i] = (uint32_t)dw_patch_pack(measured->patch + (size_t)i * DW_PATCH_CELLS, out);
        dw_buffer_add(b, (const char *)out, packed[i]);
    }
}

enum dw_status dw_record_write(struct dw_buffer *b, struct dw_hash128 key,
                               const struct dw_measured *measured, size_t tiles,
                               struct dw_error *err)
{
    const struct dw_measure *m = &measured->m;
    size_t start = b->n;
    struct dw_record_head h;
    memset(&h, 0, sizeof h);
    dw_buffer_add(b, (const char *)&h, sizeof h);
    bool packing = true;
    if (m->usable) {
        dw_buffer_add(b, (const char *)m->tile, tiles * sizeof *m->tile);
        packing =
            pack_spikes(b, measured, &h.spike_bytes) && pack_thumb(b, measured, &h.thumb_bytes);
        pack_patches(b, measured, h.patch_bytes);
    }
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
        h.n_patches = (uint32_t)measured->n_patches;
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

/* False when its sizes do not fit a record of n bytes. */
static bool find_parts(const struct dw_record_head *h, size_t n, struct dw_record_parts *out)
{
    if (h->magic != DW_RECORD_MAGIC || h->bytes != n || n < sizeof *h || h->n_patches > DW_PATCHES)
        return false;
    out->spikes = sizeof *h + (size_t)h->tiles * sizeof(struct dw_tile);
    out->thumb = out->spikes + aligned(h->spike_bytes);
    out->patch[0] = out->thumb + aligned(h->thumb_bytes);
    for (uint32_t i = 0; i < DW_PATCHES; i++)
        out->patch[i + 1] = out->patch[i] + (i < h->n_patches ? h->patch_bytes[i] : 0);
    return out->patch[DW_PATCHES] <= n;
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
    struct dw_record_parts parts;
    return h.tiles == (h.usable ? tiles : 0) && h.thumb_width <= 65535 && h.thumb_height <= 65535 &&
           h.n_spikes <= 1000000 && find_parts(&h, n, &parts);
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
    for (int c = 0; c < 3; c++) {
        get_split(&at, n, work);
        for (size_t i = 0; i < n; i++)
            out[i].light[c] =
                work[i] > 0 ? (float)(LIGHT_STEP * ((int)work[i] - LIGHT_MIDDLE)) : 0.0f;
    }
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

enum dw_status dw_record_parts(const struct dw_record_head *head, size_t bytes,
                               struct dw_record_parts *out, struct dw_error *err)
{
    if (!find_parts(head, bytes, out))
        return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's record was changed while in use");
    if (!head->usable)
        return dw_fail(err, DW_ERR_FORMAT, "survey: this shot has no picture: %.*s",
                       (int)sizeof head->problem, head->problem);
    return DW_OK;
}

/* Unpacks n bytes and hands out room for as many numbers. */
static enum dw_status unpack(const char *packed, size_t bytes, size_t n, const char *what,
                             uint8_t **plain, uint16_t **work, struct dw_error *err)
{
    *plain = malloc(n + 1);
    *work = malloc((n + 1) * sizeof **work);
    if (!*plain || !*work)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's %s", what);
    if (ZSTD_decompress(*plain, n, packed, bytes) != n)
        return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's %s is damaged", what);
    return DW_OK;
}

enum dw_status dw_record_spikes(const struct dw_record_head *head, const char *packed,
                                struct dw_spike *out, struct dw_error *err)
{
    const size_t n = head->n_spikes;
    uint8_t *plain;
    uint16_t *work;
    enum dw_status status =
        unpack(packed, head->spike_bytes, SPIKE_BYTES * n, "list of spots", &plain, &work, err);
    if (status >= 0)
        take_spikes(plain, n, work, out);
    free(work);
    free(plain);
    return status;
}

enum dw_status dw_record_thumb(const struct dw_record_head *head, const char *packed,
                               struct dw_thumb *out, struct dw_error *err)
{
    const size_t n = (size_t)head->thumb_width * head->thumb_height * 3;
    uint8_t *plain;
    uint16_t *work;
    *out = (struct dw_thumb){0};
    enum dw_status status =
        unpack(packed, head->thumb_bytes, 2 * n, "thumbnail", &plain, &work, err);
    float *rgb = status >= 0 ? malloc((n + 1) * sizeof *rgb) : NULL;
    if (status >= 0 && !rgb)
        status = dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's thumbnail");
    if (status >= 0) {
        take_thumb(plain, n, head, work, rgb);
        *out = (struct dw_thumb){(int)head->thumb_width, (int)head->thumb_height, (int)head->block,
                                 rgb};
    }
    free(work);
    free(plain);
    return status;
}

enum dw_status dw_record_patches(const struct dw_record_head *head, const char *packed,
                                 const bool *wanted, struct dw_patches *out, struct dw_error *err)
{
    out->n = 0;
    if (!out->code)
        out->code = malloc((size_t)DW_PATCHES * DW_PATCH_CELLS * sizeof *out->code);
    if (!out->code)
        return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for a shot's patches");
    if (dw_patch_places(head->width, head->height, out->at) != (int)head->n_patches)
        return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's patches are damaged");
    bool begun = false;
    for (uint32_t i = 0; i < head->n_patches; i++) {
        bool want = !wanted || wanted[i];
        begun |= want;
        if (want &&
            !dw_patch_unpack(packed, head->patch_bytes[i], out->code + (size_t)i * DW_PATCH_CELLS))
            return dw_fail(err, DW_ERR_FORMAT, "survey: a shot's patches are damaged");
        packed += begun ? head->patch_bytes[i] : 0;
    }
    out->n = (int)head->n_patches;
    return DW_OK;
}

void dw_patches_free(struct dw_patches *p)
{
    free(p->packed);
    free(p->code);
    *p = (struct dw_patches){0};
}
