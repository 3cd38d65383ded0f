/* test_kernels.c: the sums. Every fast compilation of each kernel gives the bits of the plain one,
 * at every length and alignment and with every kind of value; and the plain one gives what the
 * mathematics says. */
#include "check_main.h"

#include "render/facts/colour.h"
#include "render/look/curves.h"
#include "render/kernels/fastmath.h"
#include "render/kernels/kernels.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define LONGEST 67
#define ROOM (LONGEST + 32)
#define GUARD 12345.678f

static uint32_t next_random(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

/* Levels as they come: below black, in the dark, ordinary, near saturation, far above. */
static void fill(float *v, size_t n, uint32_t seed)
{
    static const float edge[] = {0.0f,   -0.0f, -0.001f, 1e-7f, 0.02f, 0.18f, 0.9599f, 0.96f,
                                 0.995f, 1.0f,  1.0001f, 40.0f, 1e5f,  3e6f,  -3e6f,   1e-30f};
    uint32_t state = seed;
    for (size_t i = 0; i < n; i++) {
        uint32_t r = next_random(&state);
        v[i] = r % 3 == 0 ? edge[(r / 3) % 16] : (float)(r % 100000u) / 30000.0f - 0.2f;
    }
}

static void fill_unit(float *v, size_t n, uint32_t seed)
{
    uint32_t state = seed;
    for (size_t i = 0; i < n; i++)
        v[i] = i % 11 == 0 ? (float)(i % 2) : (float)(next_random(&state) % 65536u) / 65535.0f;
}

/* Rows for one comparison: the same input twice, guarded on either side. */
struct rows {
    float a[4][ROOM], b[4][ROOM];
};

static void prepare_rows(struct rows *r, uint32_t seed, void (*make)(float *, size_t, uint32_t))
{
    for (int i = 0; i < 4; i++) {
        make(r->a[i], ROOM, seed + (uint32_t)i);
        r->a[i][0] = r->a[i][ROOM - 1] = GUARD;
        memcpy(r->b[i], r->a[i], sizeof r->a[i]);
    }
}

/* But for the sign of zero, for which kernels do not ask and which no output shows. */
static void same_rows(const struct rows *r, const char *what, size_t n, int off)
{
    if (memcmp(r->a, r->b, sizeof r->a) == 0)
        return;
    for (int i = 0; i < 4; i++)
        for (size_t k = 0; k < ROOM; k++)
            ck_assert_msg(memcmp(&r->a[i][k], &r->b[i][k], sizeof(float)) == 0 ||
                              (r->a[i][k] == 0 && r->b[i][k] == 0),
                          "%s: n=%zu off=%d row %d at %zu: %.9g and %.9g", what, n, off, i, k,
                          (double)r->a[i][k], (double)r->b[i][k]);
}

#define EACH_LENGTH(n, off)                                                                        \
    for (size_t n = 0; n <= LONGEST; n++)                                                          \
        for (int off = 1; off <= 8; off++)

static const struct dw_develop develop = {
    .mul = {2.1f, 1.0f, 1.4f},
    .clip_start = {0.93f * 2.1f, 0.96f, 0.93f * 1.4f},
    .clip_scale = {1 / 0.06f / 2.1f, 1 / 0.035f, 1 / 0.06f / 1.4f},
    .far = 1.4f,
    .lamps = 0.7f,
    .white = {1, 0.8f, 0.4f},
    .pale = {1, 0.75f, 0.35f},
    .matrix = {0.9f, 0.05f, 0.05f, 0.1f, 1.0f, -0.1f, -0.02f, -0.2f, 1.22f}};
static const struct dw_prepare balance = {
    .matrix = {1.1f, -0.05f, -0.05f, 0.0f, 1.0f, 0.0f, -0.1f, 0.0f, 1.1f},
    .luma = {0.2627f, 0.678f, 0.0593f},
    .norm_max = 0.35f,
    .own = {0.28f, 0.66f, 0.05f}};
/* ITU-R BT.2087: BT.2020 to sRGB */
static const struct dw_gamut gamut = {.matrix = {1.66049100f, -0.58764114f, -0.07284986f,
                                                 -0.12455047f, 1.13289990f, -0.00834942f,
                                                 -0.01815076f, -0.10057890f, 1.11872966f},
                                      .luma = {0.26270021f, 0.67799807f, 0.05930172f},
                                      .knee = 0.9f};
static const struct dw_gamut no_matrix = {
    .matrix = {1, 0, 0, 0, 1, 0, 0, 0, 1}, .luma = {0.2126f, 0.7152f, 0.0722f}, .knee = 0.9f};

START_TEST(held_light_is_bit_equal)
{
    const struct dw_hold_kernels *p = dw_kernels_plain()->hold, *q = dw_kernels_number(_i)->hold;
    static struct rows r;
    static float inverse[ROOM], depth[ROOM];
    fill_unit(inverse, ROOM, 3);
    fill_unit(depth, ROOM, 4);
    EACH_LENGTH(n, off)
    {
        prepare_rows(&r, (uint32_t)n, fill);
        p->hold(balance.luma, 1.4f, inverse + off, depth + off, n, r.a[0] + off, r.a[1] + off,
                r.a[2] + off);
        q->hold(balance.luma, 1.4f, inverse + off, depth + off, n, r.b[0] + off, r.b[1] + off,
                r.b[2] + off);
        same_rows(&r, "hold", n, off);
    }
}
END_TEST

START_TEST(mosaic_kernels_are_bit_equal)
{
    const struct dw_mosaic_kernels *p = dw_kernels_plain()->mosaic,
                                   *q = dw_kernels_number(_i)->mosaic;
    const struct dw_develop_kernels *pd = dw_kernels_plain()->develop,
                                    *qd = dw_kernels_number(_i)->develop;
    static struct rows r;
    static uint16_t raw[2 * ROOM + 16];
    uint32_t state = 7;
    for (size_t i = 0; i < sizeof raw / sizeof *raw; i++)
        raw[i] = (uint16_t)(i % 9 == 0 ? (i % 2 ? 65535 : 0) : next_random(&state));
    const float black[2] = {512.0f, 511.7f}, scale[2] = {1.0f / 15000, 1.0f / 15001};
    EACH_LENGTH(n, off)
    {
        prepare_rows(&r, (uint32_t)n, fill);
        p->split(raw + off, n, black, scale, r.a[0] + off, r.a[1] + off);
        q->split(raw + off, n, black, scale, r.b[0] + off, r.b[1] + off);
        p->larger(r.a[0] + off, r.a[1] + off, n, r.a[2] + off);
        q->larger(r.b[0] + off, r.b[1] + off, n, r.b[2] + off);
        same_rows(&r, "split", n, off);

        uint16_t most = 0;
        for (size_t i = 0; i < n; i++)
            most = raw[off + i] > most ? raw[off + i] : most;
        if (n > 0) {
            ck_assert_uint_eq(p->highest(raw + off, n), most);
            ck_assert_uint_eq(q->highest(raw + off, n), most);
        }

        static float in[10][ROOM], colour[5][ROOM];
        const float *around[5];
        for (int i = 0; i < 5; i++) {
            fill_unit(colour[i], ROOM, (uint32_t)(i + 77));
            for (size_t k = 0; k < ROOM; k++)
                colour[i][k] = i == 4 ? (float)(k / 7 % 3) / 2 : 0.1f + 0.9f * colour[i][k];
            around[i] = colour[i] + off;
        }
        struct dw_cell_rows cells;
        for (int i = 0; i < 10; i++) {
            fill(in[i], ROOM, (uint32_t)(i + off));
            if (i < 4)
                cells.red[i] = in[i] + off;
            else if (i < 8)
                cells.blue[i - 4] = in[i] + off;
            else
                cells.green[i - 8] = in[i] + off;
        }
        p->cell(&cells, n, r.a[0] + off, r.a[1] + off, r.a[2] + off, r.a[3] + off);
        q->cell(&cells, n, r.b[0] + off, r.b[1] + off, r.b[2] + off, r.b[3] + off);
        same_rows(&r, "cell", n, off);
        pd->develop(&develop, r.a[3] + off, around, n, r.a[0] + off, r.a[1] + off, r.a[2] + off);
        qd->develop(&develop, r.b[3] + off, around, n, r.b[0] + off, r.b[1] + off, r.b[2] + off);
        same_rows(&r, "develop", n, off);
        pd->develop(&develop, r.a[3] + off, NULL, n, r.a[0] + off, r.a[1] + off, r.a[2] + off);
        qd->develop(&develop, r.b[3] + off, NULL, n, r.b[0] + off, r.b[1] + off, r.b[2] + off);
        same_rows(&r, "develop in neutral light", n, off);
        p->scale(r.a[0] + off, n, 0.3f, r.a[1] + off);
        q->scale(r.b[0] + off, n, 0.3f, r.b[1] + off);
        p->accumulate(r.a[0] + off, n, 0.7f, r.a[1] + off);
        q->accumulate(r.b[0] + off, n, 0.7f, r.b[1] + off);
        same_rows(&r, "accumulate", n, off);

        p->largest(r.a[0] + off, r.a[1] + off, r.a[3] + off, n, r.a[2] + off);
        q->largest(r.b[0] + off, r.b[1] + off, r.b[3] + off, n, r.b[2] + off);
        same_rows(&r, "largest", n, off);
        const float weight[6] = {0.01f, -0.1f, 0.7f, 0.5f, -0.12f, 0.01f}, *tap[6];
        for (int i = 0; i < 6; i++)
            tap[i] = in[i] + off + i % 3;
        p->between(tap, n, weight, r.a[2] + off);
        q->between(tap, n, weight, r.b[2] + off);
        same_rows(&r, "between", n, off);
        if (n * 3 <= LONGEST) {
            pd->rims(in[0] + off, in[1] + off, n, n, r.a[0] + off, r.a[1] + off, r.a[2] + off);
            qd->rims(in[0] + off, in[1] + off, n, n, r.b[0] + off, r.b[1] + off, r.b[2] + off);
            same_rows(&r, "rims", n, off);
        }
    }
}
END_TEST

/* One saturated green makes a cell's green false: the larger of the two tells, whichever it is. */
START_TEST(the_larger_green_of_a_cell_is_its_peak)
{
    const float level[4] = {0.2f, 0.9f, 0.4f, 0.4f}, other[4] = {0.6f, 0.1f, 0.4f, 0.8f};
    const float want[4] = {0.6f, 0.9f, 0.4f, 0.8f};
    const struct dw_cell_rows rows = {
        {level, level, level, level}, {level, level, level, level}, {level, other}};
    float out[3][4], peak[4];
    dw_kernels_plain()->mosaic->cell(&rows, 4, out[0], out[1], out[2], peak);
    ck_assert_mem_eq(peak, want, sizeof want);
}
END_TEST

static int rising(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

/* Columns of numbers side by side, each ranked by itself. */
START_TEST(rank_is_that_of_sorted_values)
{
    enum { COLUMNS = 32 };
    const struct dw_sky_kernels *k = dw_kernels_number(_i)->sky;
    static float v[LONGEST * COLUMNS], sorted[COLUMNS][LONGEST];
    for (size_t n = 1; n <= LONGEST; n++) {
        fill(v, n * COLUMNS, (uint32_t)n);
        for (size_t i = 0; i < n * COLUMNS; i++)
            v[i] = v[i] > 0 ? v[i] : 0;                        /* many are equal */
        for (size_t i = 0; i < n * COLUMNS && n % 3 == 0; i++) /* all of one octave, of few bits */
            v[i] = 1 + 0.125f * (float)(i * 5 % 7) + (n % 2 ? 0x1p-20f : 0);
        for (size_t c = 0; c < COLUMNS; c++) {
            for (size_t i = 0; i < n; i++)
                sorted[c][i] = v[i * COLUMNS + c];
            qsort(sorted[c], n, sizeof *sorted[c], rising);
        }
        for (size_t i = 0; i < n; i++) {
            int32_t rank[COLUMNS];
            float out[COLUMNS];
            for (size_t c = 0; c < COLUMNS; c++)
                rank[c] = (int32_t)((i + c) % n);
            k->rank(v, COLUMNS, n, rank, out);
            for (size_t c = 0; c < COLUMNS; c++)
                ck_assert(out[c] == sorted[c][rank[c]]);
        }
    }
}
END_TEST

START_TEST(sums_are_of_what_lies_within)
{
    enum { COLUMNS = 16, N = 50 };
    const struct dw_sky_kernels *k = dw_kernels_number(_i)->sky;
    static float v[4][N * COLUMNS], middle[COLUMNS], most[COLUMNS], sum[4][COLUMNS];
    for (uint32_t p = 0; p < 4; p++)
        fill_unit(v[p], N * COLUMNS, p);
    for (size_t c = 0; c < COLUMNS; c++) {
        middle[c] = 0.03f * (float)c;
        most[c] = 0.05f * (float)(c % 5);
        v[0][17 * COLUMNS + c] = 0x1p127f; /* above all, as where there is no sample */
    }
    k->within((const float *const[4]){v[0], v[1], v[2], v[3]}, COLUMNS, N, middle, most,
              (float *const[4]){sum[0], sum[1], sum[2], sum[3]});
    for (size_t c = 0; c < COLUMNS; c++)
        for (size_t p = 0; p < 4; p++) {
            float want = 0;
            for (size_t i = 0; i < N; i++)
                if (fabsf(v[0][i * COLUMNS + c] - middle[c]) <= most[c])
                    want += v[p][i * COLUMNS + c];
            ck_assert(sum[p][c] == want);
        }
}
END_TEST

static const struct dw_shadows half_toe = {0.5, 1.5, 0.1};

START_TEST(tone_kernels_are_bit_equal)
{
    const struct dw_kernels *plain = dw_kernels_plain(), *fast = dw_kernels_number(_i);
    const struct dw_tone_kernels *p = plain->tone, *q = fast->tone;
    static struct rows r, kept;
    struct dw_tone day = dw_tone_make(1.7, &half_toe, 0.2, 0.6),
                   night = dw_tone_make(1.35, &half_toe, 0.2, 1.0);
    struct dw_tone night_shared = dw_tone_make(1.35, &half_toe, 0.2, 0.8);
    const struct dw_lift lift = {.floor = 0.5f,
                                 .most_side = 1.3f,
                                 .start = 2.5f,
                                 .half = 2,
                                 .known_start = -1.7f,
                                 .known_half = -1,
                                 .pale = 16,
                                 .known_pale = 84,
                                 .map_pale = 3500,
                                 .wide = 0.5f,
                                 .vivid = 1.2f,
                                 .faint_vivid = 2.8f,
                                 .stand = 2,
                                 .air = 0.8f,
                                 .raise_luma = 2.5f,
                                 .together = 2.2f,
                                 .raise = {2.9f, 2.4f, 0.9f},
                                 .luma = {0.2627f, 0.678f, 0.0593f},
                                 .norm_y = 0.65f,
                                 .red_of = {1.1f, -0.1f, 0.2f},
                                 .blue_of = {0.1f, 0.2f, 1.4f},
                                 .to_red = {1.5f, -0.2f, 0.1f},
                                 .to_blue = {0.1f, -0.4f, 1.3f}};
    static float sky[8][ROOM], known[ROOM], nothing[ROOM];
    for (size_t i = 0; i < ROOM; i++) {
        known[i] = i / 40 % 2 ? 0.0f : 0.25f * (float)(i % 5); /* runs without a star, too */
        for (size_t k = 0; k < 8; k++)
            sky[k][i] = 0.01f + (i % 5 == 0 ? 0.0f : 0.1f * (float)(i % (3 + k)));
    }
    EACH_LENGTH(n, off)
    {
        prepare_rows(&r, (uint32_t)n + 100u, fill);
        r.a[0][off + 1] = r.b[0][off + 1] = NAN; /* may come in, must not go out */
        r.a[1][off + 2] = r.b[1][off + 2] = INFINITY;
        for (int c = 0; c < 3; c++) {
            p->tame(n, r.a[c] + off);
            q->tame(n, r.b[c] + off);
        }
        same_rows(&r, "tame", n, off);
        p->level(&balance, n, r.a[0] + off, r.a[1] + off, r.a[2] + off, r.a[3] + off);
        q->level(&balance, n, r.b[0] + off, r.b[1] + off, r.b[2] + off, r.b[3] + off);
        same_rows(&r, "level", n, off);
        kept = r;
        const float *const light[3] = {kept.a[0] + off, kept.a[1] + off, kept.a[2] + off};
        p->prepare(&balance, light, n, r.a[0] + off, r.a[1] + off, r.a[2] + off, r.a[3] + off);
        q->prepare(&balance, light, n, r.b[0] + off, r.b[1] + off, r.b[2] + off, r.b[3] + off);
        same_rows(&r, "prepare", n, off);
        struct rows parts = r;
        p->split(&balance, light, n, parts.a[0] + off, parts.a[1] + off, parts.a[2] + off);
        q->split(&balance, light, n, parts.b[0] + off, parts.b[1] + off, parts.b[2] + off);
        same_rows(&parts, "split", n, off);
        for (int c = 0; c < 3; c++) /* the same without the norm */
            ck_assert_mem_eq(parts.a[c], r.a[c], sizeof r.a[c]);
        const float *around[3] = {kept.a[0] + 7, kept.a[1] + 9, kept.a[2] + 8}, *mid[3], *other[3];
        for (int c = 0; c < 3; c++) {
            mid[c] = kept.a[c] + off + 1;
            other[c] = kept.a[(c + 1) % 3] + 5;
        }
        static float spot_a[3][ROOM + 2 * DW_SPOT_FAR], spot_b[3][ROOM + 2 * DW_SPOT_FAR];
        size_t m = n > 2 ? n - 2 : 0;
        for (int k = 0; k < 2; k++) { /* the pixel alone, and with its neighbours */
            const float smooth = k ? 0.8f : 0;
            plain->lift->near(smooth, around, mid, other, m, r.a[0] + off, spot_a[0] + 5 + off,
                              r.a[2] + off);
            fast->lift->near(smooth, around, mid, other, m, r.b[0] + off, spot_b[0] + 5 + off,
                             r.b[2] + off);
            same_rows(&r, "near", n, off);
            ck_assert_mem_eq(spot_a[0] + 5 + off, spot_b[0] + 5 + off, m * sizeof(float));
        }
        for (int k = 0; k < 3; k++)
            fill(spot_a[k], ROOM + 2 * DW_SPOT_FAR, (uint32_t)k + 9);
        struct dw_lift_rows by = {
            kept.a[3] + off,
            sky[0] + off,
            sky[1] + off,
            sky[2] + off,
            {sky[3] + off, sky[4] + off, sky[5] + off},
            known + off,
            known + off,
            sky[3] + off,
            {sky[4] + off, sky[5] + off, sky[1] + off},
            {sky[6] + off, sky[7] + off},
            {spot_a[0] + DW_SPOT_FAR + off, spot_a[1] + off, spot_a[2] + off}};
        static struct rows means;
        means = r;
        const float *const mean[2] = {means.a[0] + off, means.a[2] + off};
        for (int map = 0; map < 2; map++) { /* without any star of a map, then with some */
            by.known = by.tinted = map ? known + off : nothing + off;
            by.brighter = map ? sky[3] + off : nothing + off;
            plain->lift->lift(&lift, &by, mean, n, r.a[0] + off, r.a[1] + off, r.a[2] + off,
                              r.a[3] + off);
            fast->lift->lift(&lift, &by, mean, n, r.b[0] + off, r.b[1] + off, r.b[2] + off,
                             r.b[3] + off);
            same_rows(&r, map ? "lift with a map" : "lift", n, off);
        }
        kept = r;
        static float add_a[4][ROOM], add_b[4][ROOM];
        const struct dw_tone *others[2] = {&night, &night_shared};
        for (int i = 0; i < 4; i++) { /* two curves, two mixes */
            r = kept;
            if (i < 2) {
                p->curve(i ? &night : &day, n, r.a[3] + off, add_a[i] + off);
                q->curve(i ? &night : &day, n, r.b[3] + off, add_b[i] + off);
            } else {
                p->mix(&day, others[i - 2], 0.3f, n, r.a[3] + off, add_a[i] + off);
                q->mix(&day, others[i - 2], 0.3f, n, r.b[3] + off, add_b[i] + off);
            }
            same_rows(&r, i < 2 ? "curve" : "mix", n, off);
            ck_assert_mem_eq(add_a, add_b, sizeof add_a);
            struct dw_gamut into = gamut;
            into.hue = 0.25f * (float)i; /* none, then more */
            dw_space_to_cones(DW_SPACE_SRGB, into.to_cones, into.from_cones);
            memcpy(into.own_luma, no_matrix.luma, sizeof into.own_luma);
            plain->gamut->finish(&into, r.a[3] + off, add_a[i] + off, n, r.a[0] + off, r.a[1] + off,
                                 r.a[2] + off);
            fast->gamut->finish(&into, r.b[3] + off, add_b[i] + off, n, r.b[0] + off, r.b[1] + off,
                                r.b[2] + off);
            same_rows(&r, "finish", n, off);
            for (size_t k = (size_t)off; k < n + (size_t)off; k++)
                for (int c = 0; c < 3; c++)
                    ck_assert_msg(r.a[c][k] >= 0 && r.a[c][k] <= 1, "%g", (double)r.a[c][k]);
        }
    }
}
END_TEST

START_TEST(encode_kernels_are_bit_equal)
{
    const struct dw_encode_kernels *p = dw_kernels_plain()->encode,
                                   *q = dw_kernels_number(_i)->encode;
    static struct rows r;
    static uint8_t a8[3 * ROOM], b8[3 * ROOM];
    static uint16_t a16[3 * ROOM], b16[3 * ROOM];
    EACH_LENGTH(n, off)
    {
        prepare_rows(&r, (uint32_t)n + 300u, fill_unit);
        for (int c = 0; c < 3; c++) {
            p->srgb(n, r.a[c] + off);
            q->srgb(n, r.b[c] + off);
        }
        same_rows(&r, "srgb", n, off);
        memset(a8, 99, sizeof a8);
        memset(b8, 99, sizeof b8);
        memset(a16, 99, sizeof a16);
        memset(b16, 99, sizeof b16);
        p->pack8(r.a[0] + off, r.a[1] + off, r.a[2] + off, n, 4242u, a8 + off);
        q->pack8(r.b[0] + off, r.b[1] + off, r.b[2] + off, n, 4242u, b8 + off);
        for (size_t part = 0; part < 2;
             part++) { /* the dither goes on in the next piece of a row */
            size_t x = part * (n / 2), m = part ? n - n / 2 : n / 2;
            q->pack8(r.b[0] + off + x, r.b[1] + off + x, r.b[2] + off + x, m, 4242u + (uint32_t)x,
                     b8 + off + 3 * x);
        }
        p->ramp(1.25f, 0.3f, n, r.a[3] + off);
        q->ramp(1.25f, 0.3f, n, r.b[3] + off);
        same_rows(&r, "ramp", n, off);
        p->pack16(r.a[0] + off, r.a[1] + off, r.a[2] + off, n, a16 + off);
        q->pack16(r.b[0] + off, r.b[1] + off, r.b[2] + off, n, b16 + off);
        ck_assert_mem_eq(a8, b8, sizeof a8);
        ck_assert_mem_eq(a16, b16, sizeof a16);
        prepare_rows(&r, (uint32_t)n + 200u, fill);
        p->pack_half(r.a[0] + off, r.a[1] + off, r.a[2] + off, n, 0.18f, a16 + off);
        q->pack_half(r.b[0] + off, r.b[1] + off, r.b[2] + off, n, 0.18f, b16 + off);
        ck_assert_mem_eq(a16, b16, sizeof a16);
        ck_assert_uint_eq(a8[off + 3 * (int)n], 99);
    }
}
END_TEST

/* Against the C library in double precision. The bounds are what was reached, rounded up. */
START_TEST(powers_and_logarithms_are_accurate)
{
    double worst_log = 0, worst_exp = 0, near_log = 0, near_exp = 0;
    for (int i = 0; i < 2000000; i++) {
        float x = ldexpf(1.0f + (float)(i % 1000) / 1000.0f, i / 1000 % 200 - 100);
        x *= 1.0f + 1e-4f * (float)(i / 200000);
        double exact = log2((double)x);
        double e = fabs((double)dwk_log2(x) - exact) / fmax(1.0, fabs(exact));
        worst_log = fmax(worst_log, e);
        near_log = fmax(near_log, fabs((double)dwk_near_log2(x) - exact));
        float t = (float)(i - 1000000) * 1e-4f;
        near_exp = fmax(near_exp, fabs((double)dwk_near_exp2(t) / exp2((double)t) - 1.0));
        worst_exp = fmax(worst_exp, fabs((double)dwk_exp2(t) / exp2((double)t) - 1.0));
    }
    ck_assert_msg(worst_log < 2.5e-7, "log2: %g", worst_log);
    ck_assert_msg(worst_exp < 4e-7, "exp2: %g", worst_exp);
    ck_assert_msg(near_log < 2.5e-5, "near log2: %g", near_log);
    ck_assert_msg(near_exp < 4e-6, "near exp2: %g", near_exp);
    ck_assert(dwk_near_log2(1.0f) == 0.0f && dwk_near_exp2(0.0f) == 1.0f);
    ck_assert(dwk_log2(1.0f) == 0.0f);
    ck_assert(dwk_exp2(0.0f) == 1.0f);
    ck_assert(dwk_exp2(-3.0f) == 0.125f);
}
END_TEST

/* IEC 61966-2-1; the values for these levels are also those of the colour-science package's
 * tests (0.18 to 0.461356129500442). */
START_TEST(srgb_curve_gives_the_standards_values)
{
    float v[] = {0.0f, 0.001f, 0.01f, 0.18f, 0.5f, 0.9f, 1.0f};
    const double want[] = {0.0,         0.012920000, 0.099852823, 0.461356130,
                           0.735356983, 0.954687172, 1.0};
    dw_kernels_plain()->encode->srgb(7, v);
    for (int i = 0; i < 7; i++)
        ck_assert_msg(fabs((double)v[i] - want[i]) < 1.6e-6, "%d: %.9g, expected %.9g", i,
                      (double)v[i], want[i]);
}
END_TEST

/* Reinhard, Stark, Shirley & Ferwerda 2002, equation 3, L / (1 + L): our family with contrast 1
 * pinned at one half is that curve. */
START_TEST(a_curve_without_contrast_is_the_published_one)
{
    const float x[] = {0.01f, 0.18f, 0.5f, 1.0f, 2.0f, 4.0f, 10.0f};
    const double want[] = {0.009901, 0.152542, 0.333333, 0.5, 0.666667, 0.8, 0.909091};
    struct dw_tone t = dw_tone_make(1.0, &(struct dw_shadows){0.2, 0, 0.1}, 0.5, 1.0);
    for (int i = 0; i < 7; i++) {
        float mul = x[i], add;
        dw_kernels_plain()->tone->curve(&t, 1, &mul, &add);
        ck_assert(fabs((double)(add + mul * x[i]) - want[i]) < 1e-6);
        ck_assert(fabs(dw_tone_value(&t, (double)x[i]) - want[i]) < 1e-6);
    }
}
END_TEST

/* What a curve makes of grey of level x. */
static float shown(const struct dw_tone *t, float x)
{
    float mul = x, add;
    dw_kernels_plain()->tone->curve(t, 1, &mul, &add);
    return add + mul * x;
}

/* Properties that need no table: through zero, pinned at the key, rising, below one, and equal to
 * the double-precision curve to 2.5e-5 of it: as a code of 8 bit rises by at most 255 * 1.055 / 2.4
 * for each part of light, that is 1/350 of a code at most. */
START_TEST(curves_are_pinned_and_monotone)
{
    const double key[] = {0.005, 0.019, 0.1, 0.235, 0.5}, contrast[] = {1.0, 1.35, 1.7, 2.5};
    for (int i = 0; i < 5; i++)
        for (int j = 0; j < 4; j++)
            for (int share = 0; share < 3; share++) {
                const struct dw_shadows s = {0.2 + 0.15 * i, i == 4 ? 0 : 3.0 / (1 + i), 0.1};
                struct dw_tone t = dw_tone_make(contrast[j], &s, key[i], 0.5 * share);
                double last = -1;
                for (int step = 0; step <= 4000; step++) {
                    float x = step == 0 ? 0.0f : exp2f((float)step / 100.0f - 25.0f);
                    double got = (double)shown(&t, x), want = dw_tone_value(&t, (double)x);
                    ck_assert_msg(fabs(got - want) <= 2.5e-5 * want, "%g: %.9g, expected %.9g",
                                  (double)x, got, want);
                    /* a few roundings: where the curve is flat it may fall by as much */
                    ck_assert(got >= last * (1 - 5e-7) && got <= 1.0000003);
                    last = got;
                }
                double pin = (double)shown(&t, 1);
                ck_assert_msg(fabs(pin - key[i]) < 2e-7, "pinned at %.9g, key %g", pin, key[i]);
            }
}
END_TEST

/* Opened shadows: the darkest are shown by so much more than by the same curve without, beside the
 * key; half of that at `below`; and no shadow loses more than a third of its contrast. */
START_TEST(shadows_are_opened_by_what_is_said)
{
    const struct dw_shadows shut = {3, 0, 0.1}, open = {3, 3, 0.1};
    struct dw_tone a = dw_tone_make(1.35, &shut, 0.02, 1), b = dw_tone_make(1.35, &open, 0.02, 1);
    const double at_key = (1 + 4 * 0.1) / (1 + 0.1);
    double dark = (double)shown(&b, 1e-4f) / (double)shown(&a, 1e-4f);
    ck_assert_double_eq_tol(dark * at_key, 4, 0.01);
    double half = (double)shown(&b, 0.1f) / (double)shown(&a, 0.1f);
    ck_assert_double_eq_tol(half * at_key, 2.5, 0.01);
    for (int s = 0; s < 1000; s++) {
        float x = exp2f((float)s / 100.0f - 10.0f);
        double slope = log2((double)shown(&b, 1.01f * x) / (double)shown(&b, x)) / log2(1.01);
        ck_assert_msg(x > 1 || slope > 0.66, "%g: %g", (double)x, slope);
    }
}
END_TEST

START_TEST(a_mix_lies_between_its_curves)
{
    const struct dw_tone_kernels *k = dw_kernels_plain()->tone;
    struct dw_tone day = dw_tone_make(1.7, &half_toe, 0.1, 0.6),
                   night = dw_tone_make(1.35, &half_toe, 0.1, 1.0);
    for (int s = 0; s < 2000; s++) {
        float x = exp2f((float)s / 100.0f - 12.0f), mul[3] = {x, x, x}, add[3];
        k->curve(&day, 1, &mul[0], &add[0]);
        k->curve(&night, 1, &mul[1], &add[1]);
        k->mix(&day, &night, 0.25f, 1, &mul[2], &add[2]);
        for (int i = 0; i < 3; i++) {
            float channel = (1.2f - 0.5f * (float)i) * x;
            double v[3];
            for (int c = 0; c < 3; c++)
                v[c] = (double)(add[c] + mul[c] * channel);
            double want = 0.25 * v[0] + 0.75 * v[1];
            ck_assert_msg(fabs(v[2] - want) < 1e-6 * fmax(want, 1e-3), "%g", (double)x);
        }
    }
}
END_TEST

/* Of red, green and blue: red's difference from luminance, that, and blue's. */
static void split_light(const float luma[3], float *r, float *g, float *b)
{
    float l = luma[0] * *r + luma[1] * *g + luma[2] * *b;
    *r -= l;
    *g = l;
    *b -= l;
}

/* No curve and no matrix: the gamut alone. */
static void into_gamut(float *r, float *g, float *b)
{
    const float mul = 1;
    float add = 0;
    split_light(no_matrix.luma, r, g, b);
    dw_kernels_plain()->gamut->finish(&no_matrix, &mul, &add, 1, r, g, b);
}

START_TEST(gamut_keeps_grey_and_what_lies_inside)
{
    for (int i = 0; i <= 100; i++) {
        float v = (float)i / 100.0f, r = v, g = v, b = v;
        into_gamut(&r, &g, &b);
        ck_assert(fabsf(r - v) < 2e-7f && fabsf(g - v) < 2e-7f && fabsf(b - v) < 2e-7f);
    }
    float r = 0.5f, g = 0.3f, b = 0.2f;
    into_gamut(&r, &g, &b);
    ck_assert(fabsf(r - 0.5f) < 1e-6f && fabsf(g - 0.3f) < 1e-6f && fabsf(b - 0.2f) < 1e-6f);
    /* Rising saturation never turns back, and never leaves 0..1. */
    float last = 1;
    for (int i = 0; i < 400; i++) {
        float s = (float)i / 100.0f;
        r = 0.3f + s * 0.3f;
        g = 0.3f - s * 0.08f;
        b = 0.3f - s * 0.09f;
        into_gamut(&r, &g, &b);
        ck_assert(r >= 0 && r <= 1 && g >= 0 && b >= 0 && b <= last + 1e-6f);
        last = b;
    }
}
END_TEST

/* The kernel folds curve, matrix and gamut into few operations; here they are one after the other,
 * in double precision, by the words of docs/method/look.md. */
START_TEST(finish_is_curve_then_matrix_then_gamut)
{
    const double knee = 0.9, room = 1 - knee;
    uint32_t state = 5;
    int drawn_in = 0;
    for (int i = 0; i < 50000; i++) {
        float mul = (float)(next_random(&state) % 1000u) / 1000.0f;
        float add = (float)(next_random(&state) % 100u) / 500.0f, in[3];
        double v[3], out[3], luma = 0;
        for (int c = 0; c < 3; c++) {
            in[c] = (float)(next_random(&state) % 1000u) / 900.0f - 0.05f;
            v[c] = (double)add + (double)mul * (double)in[c];
            luma += (double)gamut.luma[c] * v[c];
        }
        if (luma < 1e-3 || luma > 1 - 1e-3)
            continue;
        double d = 0;
        for (int c = 0; c < 3; c++) {
            out[c] = (double)gamut.matrix[3 * c] * v[0] + (double)gamut.matrix[3 * c + 1] * v[1] +
                     (double)gamut.matrix[3 * c + 2] * v[2] - luma;
            d = fmax(d, out[c] < 0 ? -out[c] / luma : out[c] / (1 - luma));
        }
        double o = d - knee, to = d > knee ? knee + room * o / (room + o) : d;
        drawn_in += d > knee;
        split_light(gamut.luma, &in[0], &in[1], &in[2]);
        dw_kernels_plain()->gamut->finish(&gamut, &mul, &add, 1, &in[0], &in[1], &in[2]);
        for (int c = 0; c < 3; c++) {
            double want = d > 0 ? luma + out[c] * to / d : luma;
            ck_assert_msg(fabs((double)in[c] - want) < 3e-6, "%.7f, expected %.7f", (double)in[c],
                          want);
        }
    }
    ck_assert_msg(drawn_in > 5000, "%d", drawn_in);
}
END_TEST

/* Oklab (B. Ottosson 2020) of linear light of these primaries; its second matrix from memory. */
static void to_oklab(const struct dw_gamut *p, const double v[3], double lab[3])
{
    static const double of_roots[9] = {0.2104542683, 0.7936177747,  -0.0040720430,
                                       1.9779985324, -2.4285922420, 0.4505937096,
                                       0.0259040424, 0.7827717124,  -0.8086757549};
    double root[3];
    for (int k = 0; k < 3; k++)
        root[k] = cbrt((double)p->to_cones[3 * k] * v[0] + (double)p->to_cones[3 * k + 1] * v[1] +
                       (double)p->to_cones[3 * k + 2] * v[2]);
    for (int k = 0; k < 3; k++)
        lab[k] = of_roots[3 * k] * root[0] + of_roots[3 * k + 1] * root[1] +
                 of_roots[3 * k + 2] * root[2];
}

static const struct dw_gamut *gamut_of_srgb(float hue)
{
    static struct dw_gamut p;
    p = no_matrix;
    p.hue = hue;
    dw_space_to_cones(DW_SPACE_SRGB, p.to_cones, p.from_cones);
    memcpy(p.own_luma, p.luma, sizeof p.own_luma);
    return &p;
}

/* Oklab of sRGB's red, green and blue as the package colorjs.io 0.7.1 (npm) gives them. */
START_TEST(cones_are_those_of_oklab)
{
    static const double want[3][3] = {{0.627955, 0.224863, 0.125846},
                                      {0.866440, -0.233888, 0.179498},
                                      {0.452014, -0.032457, -0.311528}};
    for (int c = 0; c < 3; c++) {
        const double v[3] = {c == 0, c == 1, c == 2};
        double lab[3];
        to_oklab(gamut_of_srgb(1), v, lab);
        for (int k = 0; k < 3; k++)
            ck_assert_double_eq_tol(lab[k], want[c][k], 2e-5);
    }
}
END_TEST

static double reach(const double v[3], double grey)
{
    double d = 0;
    for (int c = 0; c < 3; c++)
        d = fmax(d, v[c] < grey ? (grey - v[c]) / grey : (v[c] - grey) / (1 - grey));
    return d;
}

/* A colour beyond the gamut comes to lie as near its edge as the straight way takes it, but in its
 * own hue: the angle in Oklab. Half of the way between is half of the share. */
START_TEST(colours_drawn_in_keep_their_hue)
{
    uint32_t state = 9;
    int bent = 0, far_off = 0;
    double squares = 0, others = 0;
    for (int i = 0; i < 100000; i++) {
        const float mul = 1;
        float in[3], straight[3], half[3];
        double v[3], out[3], lab[3], to[3], from[3], luma = 0;
        for (int c = 0; c < 3; c++) {
            in[c] = (float)(next_random(&state) % 1000u) / 700.0f - 0.15f;
            v[c] = (double)in[c];
            luma += (double)no_matrix.luma[c] * v[c];
        }
        const struct dw_gamut *p = gamut_of_srgb(1);
        bool seen = luma > 0.03 && luma < 0.95; /* all cones see some of it */
        for (int k = 0; k < 3; k++)
            seen = seen && (double)p->to_cones[3 * k] * v[0] +
                                   (double)p->to_cones[3 * k + 1] * v[1] +
                                   (double)p->to_cones[3 * k + 2] * v[2] >
                               0.001;
        if (!seen || reach(v, luma) < 0.95 || reach(v, luma) > 4)
            continue;
        const struct dw_gamut_kernels *k = dw_kernels_plain()->gamut;
        float add[3] = {0, 0, 0};
        split_light(no_matrix.luma, &in[0], &in[1], &in[2]);
        memcpy(straight, in, sizeof in);
        memcpy(half, in, sizeof in);
        k->finish(&no_matrix, &mul, &add[0], 1, &straight[0], &straight[1], &straight[2]);
        k->finish(gamut_of_srgb(0.5f), &mul, &add[1], 1, &half[0], &half[1], &half[2]);
        k->finish(gamut_of_srgb(1), &mul, &add[2], 1, &in[0], &in[1], &in[2]);
        double by[3];
        for (int c = 0; c < 3; c++) {
            out[c] = (double)in[c];
            by[c] = (double)straight[c];
            if (in[c] > 0 && in[c] < 1)
                ck_assert_double_eq_tol((double)half[c], (out[c] + by[c]) / 2, 1e-6);
        }
        to_oklab(p, v, lab);
        to_oklab(p, out, to);
        to_oklab(p, by, from);
        /* across the hue that it should have; 0.02 is just seen */
        double chroma = hypot(lab[1], lab[2]);
        double off = (to[1] * lab[2] - to[2] * lab[1]) / chroma;
        double other = (from[1] * lab[2] - from[2] * lab[1]) / chroma;
        squares += off * off;
        others += other * other;
        far_off += fabs(off) > 0.01;
        ck_assert_msg(fabs(off) < 0.04, "%g %g %g: %g", v[0], v[1], v[2], off);
        ck_assert_double_gt(to[1] * lab[1] + to[2] * lab[2], 0);
        ck_assert_double_eq_tol(reach(out, luma), reach(by, luma), 1e-5);
        bent++;
    }
    ck_assert_int_gt(bent, 10000);
    ck_assert_int_lt(far_off, bent / 500); /* deep blues along an edge of the gamut */
    ck_assert_double_lt(sqrt(squares / bent), 1e-3);
    ck_assert_double_gt(sqrt(others / bent), 5e-3); /* the straight way */
}
END_TEST

static double coded(double x) /* IEC 61966-2-1 */
{
    return 255 * (x <= 0.0031308 ? 12.92 * x : 1.055 * pow(x, 1 / 2.4) - 0.055);
}

/* Dither of half a code: the codes on either side alone, and means are kept. */
START_TEST(dither_keeps_the_mean)
{
    const struct dw_encode_kernels *k = dw_kernels_plain()->encode;
    enum { N = 20000 };
    static float v[N];
    static uint8_t out[3 * N];
    for (int f = 1; f < 8; f++) {
        double code = 40 + f / 8.0, light = pow((code / 255 + 0.055) / 1.055, 2.4);
        for (int i = 0; i < N; i++)
            v[i] = (float)light;
        k->pack8(v, v, v, N, 1u + (uint32_t)f, out);
        double sum = 0;
        for (int i = 0; i < 3 * N; i++) {
            ck_assert(out[i] == 40 || out[i] == 41);
            sum += out[i];
        }
        double mean = sum / (3 * N) - 40; /* 3.5 sigma of so many coins is 0.007 */
        ck_assert_msg(fabs(mean - f / 8.0) < 0.008, "at %g: mean %g", f / 8.0, mean);
    }
    for (int i = 0; i < N; i++)
        v[i] = i % 2 ? 1.0f : 0.0f;
    k->pack8(v, v, v, N, 99u, out);
    for (int i = 0; i < 3 * N; i++)
        ck_assert_uint_eq(out[i], i / 3 % 2 ? 255 : 0);
}
END_TEST

/* The light at which pixel i (of n of that light) gets more than code k, by halving. */
static float rises_at(int k, int i)
{
    static float v[4096];
    static uint8_t out[3 * 4096];
    float low = 0, high = 1;
    for (int step = 0; step < 30; step++) {
        float x = 0.5f * (low + high);
        for (int j = 0; j <= i; j++)
            v[j] = x;
        dw_kernels_plain()->encode->pack8(v, v, v, (size_t)i + 1, 3u, out);
        if (out[3 * i] > k)
            high = x;
        else
            low = x;
    }
    return high;
}

/* A pixel without any noise gets code k + 1 from just where the curve reaches it: so the curve is
 * the standard's to 1/200 of a code, of which the dither's 1024 steps are a part. */
START_TEST(eight_bit_codes_are_the_standards)
{
    int last = 0; /* of these pixels the one that rises last: its noise is the least, 0 */
    for (int i = 1; i < 1500; i++)
        if (rises_at(99, i) > rises_at(99, last))
            last = i;
    for (int k = 0; k < 255; k++) {
        double x = (double)rises_at(k, last), code = coded(x);
        ck_assert_msg(fabs(code - (k + 1)) < 1.0 / 200, "code %d from %.6f on", k + 1, code);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("kernels");
    TCase *c = tcase_create("kernels");
    tcase_add_loop_test(c, mosaic_kernels_are_bit_equal, 0, dw_kernels_count());
    tcase_add_loop_test(c, held_light_is_bit_equal, 0, dw_kernels_count());
    tcase_add_test(c, the_larger_green_of_a_cell_is_its_peak);
    tcase_add_loop_test(c, rank_is_that_of_sorted_values, 0, dw_kernels_count());
    tcase_add_loop_test(c, sums_are_of_what_lies_within, 0, dw_kernels_count());
    tcase_add_loop_test(c, tone_kernels_are_bit_equal, 0, dw_kernels_count());
    tcase_add_loop_test(c, encode_kernels_are_bit_equal, 0, dw_kernels_count());
    tcase_add_test(c, powers_and_logarithms_are_accurate);
    tcase_add_test(c, srgb_curve_gives_the_standards_values);
    tcase_add_test(c, a_curve_without_contrast_is_the_published_one);
    tcase_add_test(c, curves_are_pinned_and_monotone);
    tcase_add_test(c, shadows_are_opened_by_what_is_said);
    tcase_add_test(c, a_mix_lies_between_its_curves);
    tcase_add_test(c, gamut_keeps_grey_and_what_lies_inside);
    tcase_add_test(c, finish_is_curve_then_matrix_then_gamut);
    tcase_add_test(c, cones_are_those_of_oklab);
    tcase_add_test(c, colours_drawn_in_keep_their_hue);
    tcase_add_test(c, dither_keeps_the_mean);
    tcase_add_test(c, eight_bit_codes_are_the_standards);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
