/* test_decode.c: decoding, levels, and the refusal of pixels that cannot be. Pictures are invented
 * (tiny_dng.h) or real where DAYWHEEL_REAL_DATA names a folder of them. */
#include "check_main.h"

#include <daywheel/shot.h>

#include "ljpeg.h"
#include "tiny_dng.h"

#include <math.h>
#include <pthread.h>
#include <unistd.h>

enum { W = 320, H = 256 };

static char *dir, path[256];
static struct dw_decoder *decoder;
static struct dw_mosaic mosaic;
static struct dw_error error;
static uint16_t *picture; /* W x H of noise on a slope, black 512, white 15000 */

static void set_up(void)
{
    dir = tiny_folder();
    snprintf(path, sizeof path, "%s/I_0001.DNG", dir);
    decoder = dw_decoder_new();
    ck_assert_ptr_nonnull(decoder);
    memset(&mosaic, 0, sizeof mosaic);
    picture = malloc(W * H * sizeof *picture);
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
}
static void tear_down(void)
{
    dw_mosaic_free(&mosaic);
    dw_decoder_free(decoder);
    free(picture);
    tiny_remove(dir);
}

static enum dw_status decode_path(const char *file)
{
    struct dw_shot shot = {0};
    char name[512];
    snprintf(name, sizeof name, "%s", file);
    shot.path = name;
    error.text[0] = '\0';
    return dw_decode(decoder, &shot, &mosaic, &error);
}
static void must_decode(const struct tiny_dng *t)
{
    tiny_write(path, t);
    enum dw_status s = decode_path(path);
    ck_assert_msg(s == DW_OK, "%d %s", s, error.text);
}
static void must_refuse(const char *file, const char *saying)
{
    ck_assert_int_eq(decode_path(file), DW_ERR_FORMAT);
    ck_assert_msg(strstr(error.text, saying) != NULL, "'%s' in: %s", saying, error.text);
    ck_assert_msg(strstr(error.text, file) != NULL, "file in: %s", error.text);
}
static struct tiny_dng own(void)
{
    struct tiny_dng t = TINY_DNG;
    t.width = W;
    t.height = H;
    t.px = picture;
    return t;
}

START_TEST(every_sample_comes_as_written)
{
    struct tiny_dng t = own();
    must_decode(&t);
    ck_assert_int_eq(mosaic.width, W);
    ck_assert_int_eq(mosaic.height, H);
    ck_assert_uint_eq(mosaic.samples, W * H);
    ck_assert_int_eq(memcmp(mosaic.px, picture, W * H * sizeof *picture), 0);
    for (int c = 0; c < 3; c++)
        ck_assert_double_eq((double)mosaic.black[c], 512);
    ck_assert_double_eq((double)mosaic.white, 15000);
}
END_TEST

START_TEST(lossless_compression_changes_nothing)
{
    struct tiny_dng t = own();
    uint8_t *packed = malloc(dwi_ljpeg_bound(W, H));
    t.packed = packed;
    t.packed_n = dwi_ljpeg_encode(picture, W, H, 14, packed);
    must_decode(&t);
    ck_assert_int_eq(memcmp(mosaic.px, picture, W * H * sizeof *picture), 0);
    free(packed);
}
END_TEST

/* CFAPattern, TIFF/EP: 0 red, 1 green, 2 blue. */
START_TEST(all_bayer_orders)
{
    static const uint8_t order[4][4] = {{0, 1, 1, 2}, {2, 1, 1, 0}, {1, 0, 2, 1}, {1, 2, 0, 1}};
    for (int k = 0; k < 4; k++) {
        struct tiny_dng t = own();
        t.cfa = order[k];
        must_decode(&t);
        ck_assert_int_eq(mosaic.cfa, DW_CFA_BAYER);
        ck_assert_int_eq(mosaic.period, 2);
        ck_assert_int_eq(memcmp(mosaic.pattern, order[k], 4), 0);
    }
}
END_TEST

/* The 6x6 arrangement with 20 greens, 8 reds and 8 blues; its order here is invented. */
START_TEST(six_by_six_patterns)
{
    static const uint8_t cfa[36] = {1, 0, 2, 1, 2, 0, 2, 1, 1, 0, 1, 1, 0, 1, 1, 2, 1, 1,
                                    1, 2, 0, 1, 0, 2, 0, 1, 1, 2, 1, 1, 2, 1, 1, 0, 1, 1};
    struct tiny_dng t = own();
    t.cfa_period = 6;
    t.cfa = cfa;
    must_decode(&t);
    ck_assert_int_eq(mosaic.cfa, DW_CFA_XTRANS);
    ck_assert_int_eq(mosaic.period, 6);
    ck_assert_int_eq(memcmp(mosaic.pattern, cfa, 36), 0);
    ck_assert_double_eq((double)mosaic.black[1], 512);
}
END_TEST

START_TEST(the_masked_border_is_left_out_and_the_pattern_follows)
{
    struct tiny_dng t = own();
    /* DNG 1.4: the pattern begins at the active area's corner, here row 5; LibRaw rounds margins
     * up to even, so that our first row is the second of the pattern: GBRG */
    memcpy(t.active, (int[]){5, 8, 245, 308}, sizeof t.active);
    must_decode(&t);
    ck_assert_int_eq(mosaic.width, 300);
    ck_assert_int_eq(mosaic.height, 239);
    for (int y = 0; y < 239; y++)
        ck_assert_int_eq(memcmp(mosaic.px + y * 300, picture + (y + 6) * W + 8, 600), 0);
    static const uint8_t gbrg[4] = {1, 2, 0, 1};
    ck_assert_int_eq(memcmp(mosaic.pattern, gbrg, 4), 0);
}
END_TEST

/* LibRaw cuts 256.7 down to 256 (measured); DNG 1.4 states BlackLevel as rationals. */
START_TEST(black_levels_keep_their_fractions)
{
    struct tiny_dng t = own();
    t.black_num = 2567;
    t.black_den = 10;
    must_decode(&t);
    for (int c = 0; c < 3; c++)
        ck_assert_double_eq_tol((double)mosaic.black[c], 256.7, 1e-4);
    memcpy(t.black4, (uint32_t[]){510, 512, 512, 515}, sizeof t.black4);
    must_decode(&t);
    ck_assert_double_eq((double)mosaic.black[0], 510);
    ck_assert_double_eq((double)mosaic.black[1], 512);
    ck_assert_double_eq((double)mosaic.black[2], 515);
    ck_assert_int_eq(memcmp(mosaic.px, picture, W * H * sizeof *picture), 0);
}
END_TEST

START_TEST(two_greens_with_two_blacks_are_made_one)
{
    struct tiny_dng t = own();
    memcpy(t.black4, (uint32_t[]){512, 510, 514, 512}, sizeof t.black4);
    must_decode(&t);
    ck_assert_double_eq((double)mosaic.black[1], 512);
    for (int y = 0; y < H; y++)
        for (int x = 0; x < W; x++) {
            int shift = y % 2 == 0 && x % 2 == 1 ? 2 : y % 2 == 1 && x % 2 == 0 ? -2 : 0;
            ck_assert_int_eq(mosaic.px[y * W + x], picture[y * W + x] + shift);
        }
}
END_TEST

START_TEST(pictures_without_a_mosaic)
{
    struct tiny_dng t = own();
    t.cfa_period = 0;
    t.samples = 3;
    t.width = 100;
    t.height = 80;
    must_decode(&t);
    ck_assert_int_eq(mosaic.cfa, DW_CFA_RGB);
    ck_assert_uint_eq(mosaic.samples, 24000);
    ck_assert_int_eq(memcmp(mosaic.px, picture, 24000 * sizeof *picture), 0);
    t = own();
    t.cfa_period = 0;
    must_decode(&t);
    ck_assert_int_eq(mosaic.cfa, DW_CFA_MONO);
    ck_assert_int_eq(mosaic.period, 1);
    ck_assert_int_eq(memcmp(mosaic.px, picture, W * H * sizeof *picture), 0);
}
END_TEST

START_TEST(memory_is_reused_from_frame_to_frame)
{
    struct tiny_dng t = own();
    must_decode(&t);
    const uint16_t *kept = mosaic.px;
    t.height = H / 2;
    must_decode(&t);
    ck_assert_ptr_eq(mosaic.px, kept);
    ck_assert_uint_eq(mosaic.samples, W * H / 2);
    t.height = H;
    must_decode(&t);
    ck_assert_ptr_eq(mosaic.px, kept);
    ck_assert_int_eq(memcmp(mosaic.px, picture, W * H * sizeof *picture), 0);
}
END_TEST

/* Damage to a whole file: how it is written, and what the refusal must say. */
static void damage(uint8_t *file, size_t n, int how)
{
    switch (how) {
    case 0: /* wrong magic */
        memcpy(file, "XXXX", 4);
        break;
    case 1: /* second half zeroed */
        memset(file + n / 2, 0, n - n / 2);
        break;
    case 2: /* a tenth in the middle zeroed */
        memset(file + n / 2, 0, n / 10);
        break;
    default: /* a quarter overwritten with the beginning of itself */
        memcpy(file + n / 2, file + n / 4, n / 4);
        break;
    }
}
static uint8_t *load(const char *file, size_t *n)
{
    FILE *f = fopen(file, "rb");
    ck_assert_ptr_nonnull(f);
    fseek(f, 0, SEEK_END);
    *n = (size_t)ftell(f);
    rewind(f);
    uint8_t *b = malloc(*n);
    ck_assert_uint_eq(fread(b, 1, *n, f), *n);
    fclose(f);
    return b;
}
static void store(const char *file, const uint8_t *b, size_t n)
{
    FILE *f = fopen(file, "wb");
    ck_assert_ptr_nonnull(f);
    ck_assert_uint_eq(fwrite(b, 1, n, f), n);
    ck_assert_int_eq(fclose(f), 0);
}

START_TEST(damaged_files_are_refused)
{
    uint8_t *packed = malloc(dwi_ljpeg_bound(W, H));
    for (int form = 0; form < 2; form++) {
        struct tiny_dng t = own();
        if (form == 1) {
            t.packed = packed;
            t.packed_n = dwi_ljpeg_encode(picture, W, H, 14, packed);
        }
        size_t n;
        must_decode(&t);
        uint8_t *whole = load(path, &n), *b = malloc(n);
        for (int how = 0; how < 3; how++) {
            memcpy(b, whole, n);
            damage(b, n, how);
            store(path, b, n);
            ck_assert_msg(decode_path(path) == DW_ERR_FORMAT, "form %d damage %d: %s", form, how,
                          error.text);
        }
        static const size_t cut[] = {0, 20, 600, 5000, 9000};
        for (size_t i = 0; i < 5; i++) {
            store(path, whole, cut[i]);
            ck_assert_int_eq(decode_path(path), DW_ERR_FORMAT);
            store(path, whole, n - 1 - cut[i]);
            must_refuse(path, "cut short");
        }
        free(b);
        free(whole);
    }
    free(packed);
}
END_TEST

/* In a lossless stream 64 flipped bits lead later samples astray, which some rule sees in most
 * files (measured: 16 of 20 here, 36 of 40 at 900x600, 40 of 40 invented landscapes); in plain
 * 16-bit samples a flip of the highest bit gives what no 14-bit sensor can, and 64 flips miss
 * that bit once in 60. Anything less leaves no trace that a true frame could not have. */
START_TEST(flipped_bits_are_found)
{
    uint8_t *packed = malloc(dwi_ljpeg_bound(W, H));
    int found[2] = {0};
    for (int form = 0; form < 2; form++) {
        struct tiny_dng t = own();
        if (form == 1) {
            t.packed = packed;
            t.packed_n = dwi_ljpeg_encode(picture, W, H, 14, packed);
        }
        size_t n;
        must_decode(&t);
        uint8_t *whole = load(path, &n), *b = malloc(n);
        unsigned seed = 11;
        for (int round = 0; round < 20; round++) {
            memcpy(b, whole, n);
            for (int i = 0; i < 64; i++)
                b[8192 + (size_t)rand_r(&seed) % (n - 8192)] ^= (uint8_t)(1 << rand_r(&seed) % 8);
            store(path, b, n);
            found[form] += decode_path(path) == DW_ERR_FORMAT;
        }
        free(b);
        free(whole);
    }
    free(packed);
    ck_assert_msg(found[0] >= 19 && found[1] >= 16, "%d and %d of 20", found[0], found[1]);
}
END_TEST

START_TEST(files_that_cannot_be_read)
{
    ck_assert_int_eq(decode_path("/tmp/no-such-frame.dng"), DW_ERR_IO);
    ck_assert_ptr_nonnull(strstr(error.text, "/tmp/no-such-frame.dng"));
    ck_assert_int_eq(decode_path("/tmp"), DW_ERR_FORMAT);
    store(path, (const uint8_t *)"", 0);
    must_refuse(path, "is empty (0 bytes)");
    /* and the decoder works on afterwards */
    struct tiny_dng t = own();
    must_decode(&t);
}
END_TEST

/* Many threads, each with a decoder of its own: for the thread sanitizer, and equal results. */
static void *decode_often(void *arg)
{
    uint64_t *sum = arg;
    struct dw_decoder *d = dw_decoder_new();
    struct dw_mosaic m = {0};
    struct dw_shot shot = {.path = path};
    for (int i = 0; d && i < 10; i++)
        if (dw_decode(d, &shot, &m, NULL) == DW_OK)
            for (size_t k = 0; k < m.samples; k++)
                *sum = *sum * 31 + m.px[k];
    dw_mosaic_free(&m);
    dw_decoder_free(d);
    return NULL;
}
START_TEST(decoders_of_several_threads_do_not_meet)
{
    struct tiny_dng t = own();
    uint8_t *packed = malloc(dwi_ljpeg_bound(W, H));
    t.packed = packed;
    t.packed_n = dwi_ljpeg_encode(picture, W, H, 14, packed);
    tiny_write(path, &t);
    free(packed);
    pthread_t thread[4];
    uint64_t sum[4] = {0};
    for (int i = 0; i < 4; i++)
        ck_assert_int_eq(pthread_create(&thread[i], NULL, decode_often, &sum[i]), 0);
    for (int i = 0; i < 4; i++)
        pthread_join(thread[i], NULL);
    for (int i = 0; i < 4; i++)
        ck_assert(sum[i] != 0 && sum[i] == sum[0]);
}
END_TEST

/* Real files. Sizes, levels and patterns as LibRaw's own tools and exiftool show them. */
static const struct real {
    const char *file;
    int width, height;
    enum dw_cfa cfa;
    const char *pattern;
    double black, white;
} real[] = {
    {"real-chart-14bit.dng", 1734, 1156, DW_CFA_BAYER, "RGGB", 2056, 15000},
    {"real/nikon-d1.nef", 2012, 1324, DW_CFA_BAYER, "BGGR", 0, 4095},
    {"real/canon-d30-5s.crw", 2176, 1448, DW_CFA_BAYER, "RGGB", 127, 4095}, /* after unpacking */
    {"real/kodak-dc50.kdc", 768, 512, DW_CFA_BAYER, "GRBG", 0, 16383},      /* after unpacking */
    {"real/nikon-d500-linear-lossy.dng", 600, 400, DW_CFA_RGB, "R", 9.28, 65535},
    {"real/lg-g4-linear-lossy-gps.dng", 600, 337, DW_CFA_RGB, "R", 0, 65535},
};
static const char *const refused[][2] = {
    {"odd/cut-sony-a55-silent.arw", "cut short"}, /* LibRaw: success, all zero */
    {"stubs/apple-iphone12pro-proraw.dng", "cut short"},
    {"stubs/canon-350d.dng", "holds no picture"}, /* LibRaw: success, all zero */
    {"stubs/panasonic-lx3.rw2", "lx3.rw2: "},     /* LibRaw: success with 99.8 % zeros, or a data
                                                   * error: it reads memory that it never set */
    {"stubs/canon-m50.cr3", "is damaged"},        /* only the callback tells */
    {"stubs/nikon-d70.nef", "is damaged"},
    {"stubs/contax-n-digital.raw", "is damaged"},
    {"stubs/leaf-credo40.iiq", "is damaged"},
    {"stubs/minolta-a2.mrw", "is damaged"},
    {"odd/cut-sony-a330.arw", "cut short"},
    {"odd/cut-canon-sd450.dng", "cut short"},
    {"odd/fuzz-1530.crw", "is damaged"},
    {"odd/fuzz-1827.crw", "is damaged"},
    {"odd/fuzz-1838.crw", "refused by LibRaw"},
    {"odd/fuzz-839.rw2", "refused by LibRaw"},
    {"odd/gopro-fusion-front.gpr", "refused by LibRaw"},
    {"odd/headerless-768x512-rggb.raw", "has no header"},
    {"real/kodak-c330-yrgb.raw", "has no header"},
    {"stubs/fuji-s5pro.raf", "45 degrees"},
    {"stubs/nikon-z9-30s-jxl.dng", "refused by LibRaw"},
};
static const char *real_path(const char *file)
{
    static char full[512];
    const char *root = getenv("DAYWHEEL_REAL_DATA");
    if (!root) {
        fprintf(stderr, "# skipped: DAYWHEEL_REAL_DATA names no folder of real frames\n");
        return NULL;
    }
    snprintf(full, sizeof full, "%s/%s", root, file);
    return full;
}

START_TEST(real_frames_decode)
{
    const struct real *r = &real[_i];
    const char *file = real_path(r->file);
    if (!file)
        return;
    ck_assert_msg(decode_path(file) == DW_OK, "%s", error.text);
    ck_assert_int_eq(mosaic.width, r->width);
    ck_assert_int_eq(mosaic.height, r->height);
    ck_assert_int_eq(mosaic.cfa, r->cfa);
    for (size_t i = 0; i < strlen(r->pattern); i++)
        ck_assert_int_eq("RGB"[mosaic.pattern[i]], r -> pattern[i]);
    ck_assert_double_eq_tol((double)mosaic.black[0], r->black, 0.01);
    ck_assert_double_eq((double)mosaic.white, r->white);
}
END_TEST

START_TEST(real_files_without_pixels_are_refused)
{
    const char *file = real_path(refused[_i][0]);
    if (!file)
        return;
    ck_assert_msg(decode_path(file) == DW_ERR_FORMAT, "%s: %s", file, error.text);
    ck_assert_msg(strstr(error.text, refused[_i][1]) != NULL, "%s", error.text);
}
END_TEST

/* A real frame cut anywhere, and one whose second half was lost. */
START_TEST(real_frames_that_were_cut)
{
    static const char *const files[] = {"real/nikon-d1.nef", "real/canon-d30-5s.crw",
                                        "real/lg-g4-linear-lossy-gps.dng", "real-chart-14bit.dng"};
    for (size_t k = 0; k < 4; k++) {
        const char *file = real_path(files[k]);
        if (!file)
            return;
        size_t n;
        uint8_t *b = load(file, &n);
        static const double share[] = {0.0001, 0.1, 0.5, 0.9, 0.95, 0.999};
        for (size_t i = 0; i < 6; i++) {
            store(path, b, (size_t)(share[i] * (double)n));
            ck_assert_msg(decode_path(path) == DW_ERR_FORMAT, "%s cut at %g", files[k], share[i]);
        }
        memset(b + n / 2, 0, n - n / 2);
        store(path, b, n);
        ck_assert_msg(decode_path(path) == DW_ERR_FORMAT, "%s zeroed", files[k]);
        free(b);
    }
}
END_TEST

/* A headerless field of a real sensor (RGGB, black 600, white 15520) and real night fields wrapped
 * into DNG are pictures. FITS: big-endian, offset by 32768; GBRG. */
START_TEST(real_fields_wrapped_into_dng)
{
    static const struct {
        const char *file;
        size_t at;
        int width, height;
        bool fits;
    } v[] = {{"odd/headerless-768x512-rggb.raw", 0, 768, 512, false},
             {"odd/headerless-768x512-rggb-badpixels.raw", 0, 768, 512, false},
             {"night/stars-120s-a.fits", 5760, 700, 700, true},
             {"night/stars-120s-b.fits", 28800, 700, 700, true},
             {"night/pole-30s.fits", 17280, 200, 200, true}};
    static const uint8_t gbrg[4] = {1, 2, 0, 1};
    for (size_t k = 0; k < sizeof v / sizeof *v; k++) {
        const char *file = real_path(v[k].file);
        if (!file)
            return;
        size_t n, samples = (size_t)v[k].width * (size_t)v[k].height;
        uint8_t *b = load(file, &n);
        uint16_t *px = malloc(samples * sizeof *px);
        ck_assert_uint_ge(n, v[k].at + 2 * samples);
        for (size_t i = 0; i < samples; i++) {
            const uint8_t *p = b + v[k].at + 2 * i;
            px[i] = (uint16_t)(v[k].fits ? (p[0] << 8 | p[1]) ^ 0x8000 : p[1] << 8 | p[0]);
        }
        struct tiny_dng t = TINY_DNG;
        t.width = v[k].width;
        t.height = v[k].height;
        t.px = px;
        t.black_num = v[k].fits ? 2048 : 600;
        t.white = v[k].fits ? 13583 : 15520;
        t.cfa = v[k].fits ? gbrg : NULL;
        must_decode(&t);
        ck_assert_int_eq(memcmp(mosaic.px, px, samples * sizeof *px), 0);
        free(px);
        free(b);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("decode");
    TCase *t = tcase_create("decode");
    tcase_add_checked_fixture(t, set_up, tear_down);
    tcase_add_test(t, every_sample_comes_as_written);
    tcase_add_test(t, lossless_compression_changes_nothing);
    tcase_add_test(t, all_bayer_orders);
    tcase_add_test(t, six_by_six_patterns);
    tcase_add_test(t, the_masked_border_is_left_out_and_the_pattern_follows);
    tcase_add_test(t, black_levels_keep_their_fractions);
    tcase_add_test(t, two_greens_with_two_blacks_are_made_one);
    tcase_add_test(t, pictures_without_a_mosaic);
    tcase_add_test(t, memory_is_reused_from_frame_to_frame);
    tcase_add_test(t, damaged_files_are_refused);
    tcase_add_test(t, flipped_bits_are_found);
    tcase_add_test(t, files_that_cannot_be_read);
    tcase_add_test(t, decoders_of_several_threads_do_not_meet);
    tcase_add_loop_test(t, real_frames_decode, 0, (int)(sizeof real / sizeof *real));
    tcase_add_loop_test(t, real_files_without_pixels_are_refused, 0,
                        (int)(sizeof refused / sizeof *refused));
    tcase_add_test(t, real_frames_that_were_cut);
    tcase_add_test(t, real_fields_wrapped_into_dng);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
