/* test_tiff.c: TIFF frames, read back by libtiff, its own programs and an Exif reader. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/encode.h"
#include "output/formats/icc.h"

#include <tiffio.h>

static const struct dw_tags tags = {.description = "INV_0001.DNG",
                                    .make = "Invented",
                                    .model = "Pinwheel 1",
                                    .utc_s = 1750464000.9996,
                                    .offset_s = 20700,
                                    .unique_id = "00112233445566778899aabbccddeeff",
                                    .shutter_s = 1.0 / 60,
                                    .f_number = (double)NAN,
                                    .iso = 102400,
                                    .width = 421,
                                    .height = 1123,
                                    .srgb = false};

static struct dw_profile icc;
static char path[] = "/tmp/dw-tiff-XXXXXX";

static void setup(void)
{
    strcpy(path + strlen(path) - 6, "XXXXXX");
    close(mkstemp(path));
    ck_assert_int_eq(dw_icc_profile(DW_SPACE_P3, &icc.data, &icc.n, NULL), DW_OK);
}

static void teardown(void)
{
    unlink(path);
    free(icc.data);
}

static size_t write_picture(const struct dw_image *m, enum dw_compression compression)
{
    unsigned char *data;
    size_t n;
    ck_assert_int_eq(dw_encode_tiff(m, compression, &tags, &icc, &data, &n, NULL), DW_OK);
    ck_assert_int_eq(dw_write_whole(path, data, n, false, NULL), DW_OK);
    free(data);
    return n;
}

/* Tags after TIFF 6.0 (baseline RGB) and ICC.1 annex B.4 (tag 34675: count = profile's size). */
static void read_back(const struct dw_image *m, int scheme)
{
    TIFF *t = TIFFOpen(path, "r");
    ck_assert_ptr_nonnull(t);
    uint32_t w, h, icc_n;
    uint16_t bits, samples, photometric, compression, planar;
    void *profile;
    char *text;
    ck_assert(TIFFGetField(t, TIFFTAG_IMAGEWIDTH, &w) && w == (uint32_t)m->width);
    ck_assert(TIFFGetField(t, TIFFTAG_IMAGELENGTH, &h) && h == (uint32_t)m->height);
    ck_assert(TIFFGetField(t, TIFFTAG_BITSPERSAMPLE, &bits) && bits == m->bits);
    ck_assert(TIFFGetField(t, TIFFTAG_SAMPLESPERPIXEL, &samples) && samples == 3);
    ck_assert(TIFFGetField(t, TIFFTAG_PHOTOMETRIC, &photometric) && photometric == 2);
    ck_assert(TIFFGetField(t, TIFFTAG_COMPRESSION, &compression) && compression == scheme);
    ck_assert(TIFFGetField(t, TIFFTAG_PLANARCONFIG, &planar) && planar == 1);
    ck_assert(TIFFGetField(t, TIFFTAG_ICCPROFILE, &icc_n, &profile) && icc_n == icc.n);
    ck_assert_mem_eq(profile, icc.data, icc.n);
    ck_assert(TIFFGetField(t, TIFFTAG_IMAGEDESCRIPTION, &text));
    ck_assert_str_eq(text, "INV_0001.DNG");
    size_t row = (size_t)m->width * 3 * (size_t)(m->bits / 8);
    unsigned char *line = malloc(row);
    const unsigned char *px = m->bits == 8 ? m->px8 : (const unsigned char *)m->px16;
    for (uint32_t y = 0; y < h; y++) {
        ck_assert_int_eq(TIFFReadScanline(t, line, y, 0), 1);
        ck_assert_mem_eq(line, px + y * row, row);
    }
    free(line);
    ck_assert_int_eq(TIFFLastDirectory(t), 1); /* one picture, not two */
    TIFFClose(t);
}

START_TEST(every_compression_comes_back_bit_for_bit)
{
    struct dw_image m = shoot_picture(421, 1123, 16);
    m.px16[0] = 65535, m.px16[1] = 32768, m.px16[2] = 1;
    size_t n = 421 * 1123 * 6;
    uint16_t *before = malloc(n);
    memcpy(before, m.px16, n);
    ck_assert_uint_ge(write_picture(&m, DW_COMPRESS_NONE), n);
    read_back(&m, COMPRESSION_NONE);
    ck_assert_uint_lt(write_picture(&m, DW_COMPRESS_DEFAULT), n);
    read_back(&m, COMPRESSION_ADOBE_DEFLATE);
    write_picture(&m, DW_COMPRESS_DEFLATE);
    read_back(&m, COMPRESSION_ADOBE_DEFLATE);
    if (TIFFIsCODECConfigured(COMPRESSION_ZSTD)) {
        ck_assert_uint_lt(write_picture(&m, DW_COMPRESS_ZSTD), n);
        read_back(&m, COMPRESSION_ZSTD);
    } else {
        unsigned char *data;
        struct dw_error err = {0};
        fprintf(stderr, "# this libtiff has no zstd: its refusal was checked instead\n");
        ck_assert_int_eq(dw_encode_tiff(&m, DW_COMPRESS_ZSTD, &tags, &icc, &data, &n, &err),
                         DW_ERR_USAGE);
    }
    ck_assert_mem_eq(before, m.px16, 421 * 1123 * 6); /* the predictor must not work in place */
    free(before);
    shoot_picture_free(&m);
    m = shoot_picture(33, 5, 8);
    write_picture(&m, DW_COMPRESS_DEFAULT);
    read_back(&m, COMPRESSION_ADOBE_DEFLATE);
    shoot_picture_free(&m);
    m = shoot_picture(1, 1, 16);
    write_picture(&m, DW_COMPRESS_DEFAULT);
    read_back(&m, COMPRESSION_ADOBE_DEFLATE);
    shoot_picture_free(&m);
}
END_TEST

/* libtiff's own reader of Exif directories. */
START_TEST(exif_directory_is_read_by_libtiff)
{
    struct dw_image m = shoot_picture(421, 1123, 16);
    write_picture(&m, DW_COMPRESS_DEFAULT);
    TIFF *t = TIFFOpen(path, "r");
    toff_t at = 0;
    ck_assert(TIFFGetField(t, TIFFTAG_EXIFIFD, &at));
    ck_assert_int_eq(TIFFReadEXIFDirectory(t, at), 1);
    char *text;
    ck_assert(TIFFGetField(t, EXIFTAG_IMAGEUNIQUEID, &text));
    ck_assert_str_eq(text, "00112233445566778899aabbccddeeff");
    ck_assert(TIFFGetField(t, EXIFTAG_DATETIMEORIGINAL, &text));
    ck_assert_str_eq(text, "2025:06:21 05:45:01"); /* .9996 rounds into the next second */
    float f;
    ck_assert(!TIFFGetField(t, EXIFTAG_FNUMBER, &f)); /* unknown: left out */
    TIFFClose(t);
    shoot_picture_free(&m);
}
END_TEST

/* The exact bytes of 1/60 s: tag 829A, type 5 (rational), count 1, then 1 and 60 at its place. */
START_TEST(rationals_are_exact_in_the_file)
{
    struct dw_image m = shoot_picture(16, 16, 16);
    size_t n = write_picture(&m, DW_COMPRESS_NONE);
    char *data;
    size_t got;
    ck_assert_int_eq(dw_read_whole(path, 1 << 20, &data, &got, NULL), DW_OK);
    ck_assert_uint_eq(got, n);
    const char *entry = memmem(data, n, "\x9a\x82\5\0\1\0\0\0", 8);
    ck_assert_ptr_nonnull(entry);
    uint32_t at;
    memcpy(&at, entry + 8, 4);
    ck_assert_uint_eq(at % 2, 0);
    ck_assert_uint_le(at + 8, n);
    ck_assert_mem_eq(data + at, "\1\0\0\0\x3c\0\0\0", 8);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

START_TEST(tiffinfo_and_exiftool_agree)
{
    char command[512], out[8000];
    struct dw_image m = shoot_picture(421, 1123, 16);
    write_picture(&m, DW_COMPRESS_DEFAULT);
    if (shoot_has_program("tiffinfo")) {
        snprintf(command, sizeof command, "tiffinfo %s 2>&1", path);
        ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
        ck_assert_ptr_nonnull(strstr(out, "Image Width: 421 Image Length: 1123"));
        ck_assert_ptr_nonnull(strstr(out, "Bits/Sample: 16"));
        ck_assert_ptr_nonnull(strstr(out, "AdobeDeflate"));
        ck_assert_ptr_null(strstr(out, "Warning"));
        ck_assert_ptr_null(strstr(out, "Error"));
        snprintf(command, sizeof command, "tiffinfo -d %s 2>&1 >/dev/null", path); /* strips too */
        ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
        ck_assert_str_eq(out, "");
    } else {
        fprintf(stderr, "# tiffinfo is not installed: not asked\n");
    }
    if (shoot_has_program("exiftool")) {
        snprintf(command, sizeof command,
                 "exiftool -s3 -ImageDescription -Software -ExposureTime -ISO "
                 "-RecommendedExposureIndex -DateTimeOriginal "
                 "-SubSecTimeOriginal -OffsetTimeOriginal -ImageUniqueID -ProfileDescription %s",
                 path);
        ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
        ck_assert_str_eq(out, "INV_0001.DNG\ndaywheel " DW_VERSION "\n1/60\n65535\n102400\n"
                              "2025:06:21 05:45:01\n000\n+05:45\n00112233445566778899aabbccddeeff\n"
                              "Display P3\n");
        /* It knows no deflate in TIFF and would call the number of it invalid. */
        write_picture(&m, DW_COMPRESS_NONE);
        snprintf(command, sizeof command, "exiftool -validate -warning -error -a -s3 %s", path);
        ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
        ck_assert_str_eq(out, "OK\n");
    } else {
        fprintf(stderr, "# exiftool is not installed: not asked\n");
    }
    shoot_picture_free(&m);
}
END_TEST

START_TEST(bytes_are_the_same_in_every_run)
{
    struct dw_image m = shoot_picture(421, 113, 16);
    unsigned char *a, *b;
    size_t n, k;
    ck_assert_int_eq(dw_encode_tiff(&m, DW_COMPRESS_DEFAULT, &tags, &icc, &a, &n, NULL), DW_OK);
    sleep(1);
    ck_assert_int_eq(dw_encode_tiff(&m, DW_COMPRESS_DEFAULT, &tags, &icc, &b, &k, NULL), DW_OK);
    ck_assert_uint_eq(n, k);
    ck_assert_mem_eq(a, b, n);
    free(a);
    free(b);
    shoot_picture_free(&m);
}
END_TEST

START_TEST(impossible_pictures_are_refused)
{
    unsigned char *data;
    size_t n;
    struct dw_error err = {0};
    struct dw_image m = shoot_picture(16, 16, 16);
    uint16_t *px = m.px16;
    m.px16 = NULL;
    ck_assert_int_eq(dw_encode_tiff(&m, DW_COMPRESS_NONE, NULL, NULL, &data, &n, &err),
                     DW_ERR_USAGE);
    m.px16 = px;
    m.width = m.height = 60000;
    ck_assert_int_eq(dw_encode_tiff(&m, DW_COMPRESS_NONE, NULL, NULL, &data, &n, &err),
                     DW_ERR_FORMAT);
    ck_assert_ptr_nonnull(strstr(err.text, "60000"));
    shoot_picture_free(&m);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("tiff");
    TCase *c = tcase_create("tiff");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, every_compression_comes_back_bit_for_bit);
    tcase_add_test(c, exif_directory_is_read_by_libtiff);
    tcase_add_test(c, rationals_are_exact_in_the_file);
    tcase_add_test(c, tiffinfo_and_exiftool_agree);
    tcase_add_test(c, bytes_are_the_same_in_every_run);
    tcase_add_test(c, impossible_pictures_are_refused);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
