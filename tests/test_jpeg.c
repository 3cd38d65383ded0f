/* test_jpeg.c: JPEG frames, read back by libjpeg's decoder and an Exif reader. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/encode.h"
#include "output/formats/icc.h"

#include <jpeglib.h>

static const struct dw_tags tags = {.description = "INV_0001.DNG + INV_0002.DNG",
                                    .make = "Invented",
                                    .model = "Pinwheel 1",
                                    .utc_s = 1750464000.0625,
                                    .offset_s = -12600,
                                    .unique_id = "00112233445566778899aabbccddeeff",
                                    .shutter_s = 1.0 / 60,
                                    .f_number = 2.8,
                                    .iso = 640,
                                    .width = 321,
                                    .height = 123,
                                    .srgb = true};

static unsigned char *encode(const struct dw_image *m, int quality, const struct dw_profile *icc,
                             size_t *n)
{
    unsigned char *data;
    ck_assert_int_eq(dw_encode_jpeg(m, quality, &tags, icc, &data, n, NULL), DW_OK);
    return data;
}

/* Decodes; *quant gets the first eight entries of the luminance table in zigzag order undone. */
static unsigned char *decode(const unsigned char *data, size_t n, struct jpeg_decompress_struct *d,
                             struct jpeg_error_mgr *e, unsigned char **icc, unsigned *icc_n)
{
    d->err = jpeg_std_error(e);
    jpeg_create_decompress(d);
    jpeg_mem_src(d, data, n);
    jpeg_save_markers(d, JPEG_APP0 + 1, 0xffff);
    jpeg_save_markers(d, JPEG_APP0 + 2, 0xffff);
    ck_assert_int_eq(jpeg_read_header(d, TRUE), JPEG_HEADER_OK);
    if (!jpeg_read_icc_profile(d, icc, icc_n))
        *icc = NULL;
    d->out_color_space = JCS_RGB;
    jpeg_start_decompress(d);
    unsigned char *px = malloc((size_t)d->output_width * d->output_height * 3);
    while (d->output_scanline < d->output_height) {
        JSAMPROW row = px + (size_t)d->output_scanline * d->output_width * 3;
        jpeg_read_scanlines(d, &row, 1);
    }
    return px;
}

START_TEST(picture_profile_and_sampling_come_back)
{
    struct dw_image m = shoot_picture(321, 123, 8);
    struct dw_profile icc = {0};
    ck_assert_int_eq(dw_icc_profile(DW_SPACE_REC2020, &icc.data, &icc.n, NULL), DW_OK);
    size_t n;
    unsigned char *data = encode(&m, 92, &icc, &n), *back_icc;
    unsigned back_n;
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    unsigned char *px = decode(data, n, &d, &e, &back_icc, &back_n);
    ck_assert_uint_eq(d.image_width, 321);
    ck_assert_uint_eq(d.image_height, 123);
    for (int i = 0; i < 3; i++) {
        ck_assert_int_eq(d.comp_info[i].h_samp_factor, 1);
        ck_assert_int_eq(d.comp_info[i].v_samp_factor, 1);
    }
    ck_assert_ptr_nonnull(back_icc);
    ck_assert_uint_eq(back_n, icc.n);
    ck_assert_mem_eq(back_icc, icc.data, icc.n);
    /* Exif stands right behind the start of the file (Exif 2.32, 4.5.4). */
    ck_assert_mem_eq(data, "\xff\xd8\xff\xe1", 4);
    ck_assert_mem_eq(data + 6, "Exif\0\0", 6);
    double sum = 0;
    size_t samples = 321 * 123 * 3;
    for (size_t i = 0; i < samples; i++)
        sum += (px[i] - m.px8[i]) * (px[i] - m.px8[i]);
    double psnr = 10 * log10(255.0 * 255.0 / (sum / (double)samples));
    ck_assert_double_ge(psnr, 33); /* coloured points at full contrast are hard for any JPEG */
    jpeg_destroy_decompress(&d);
    free(back_icc);
    free(px);
    free(data);
    free(icc.data);
    shoot_picture_free(&m);
}
END_TEST

/* First row of the luminance table at quality 90 (IJG scaling of ITU-T T.81 table K.1, and what
 * the Pillow library writes): 3 2 2 3 5 8 10 12; at 100 all ones. Of light nothing
 * is beyond 4, of colour beyond 8, where faint stars are kept or lost. */
START_TEST(quality_means_what_it_means_elsewhere)
{
    static const int q90[8] = {3, 2, 2, 3, 5, 8, 10, 12};
    struct dw_image m = shoot_picture(64, 48, 8);
    for (int quality = 90; quality <= 100; quality += 10) {
        size_t n;
        unsigned char *data = encode(&m, quality, NULL, &n), *icc;
        unsigned icc_n;
        struct jpeg_decompress_struct d;
        struct jpeg_error_mgr e;
        unsigned char *px = decode(data, n, &d, &e, &icc, &icc_n);
        for (int i = 0; i < 8; i++)
            ck_assert_int_eq(d.quant_tbl_ptrs[0]->quantval[i], quality == 100 ? 1
                                                               : q90[i] < 4   ? q90[i]
                                                                              : 4);
        for (int i = 0; i < DCTSIZE2; i++)
            ck_assert(d.quant_tbl_ptrs[0]->quantval[i] <= 4 &&
                      d.quant_tbl_ptrs[1]->quantval[i] <= 8);
        jpeg_destroy_decompress(&d);
        free(px);
        free(data);
    }
    shoot_picture_free(&m);
}
END_TEST

/* Small pictures of a page keep the steps of their quality: the table above at 90. */
START_TEST(small_pictures_stay_small)
{
    struct dw_image m = shoot_picture(64, 48, 8);
    unsigned char *data, *icc;
    size_t n;
    unsigned icc_n;
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    ck_assert_int_eq(dw_encode_small_jpeg(&m, 90, &data, &n, NULL), DW_OK);
    unsigned char *px = decode(data, n, &d, &e, &icc, &icc_n);
    ck_assert_int_eq(d.quant_tbl_ptrs[0]->quantval[7], 12);
    ck_assert_int_eq(d.comp_info[0].h_samp_factor, 2);
    jpeg_destroy_decompress(&d);
    free(px);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

/* A star is a point of colour: with colour kept at full resolution an isolated orange pixel
 * keeps most of its difference between red and blue; halved, it would keep about a quarter. */
START_TEST(a_coloured_point_keeps_its_colour)
{
    struct dw_image m = {.width = 64, .height = 64, .bits = 8, .px8 = malloc(64 * 64 * 3)};
    memset(m.px8, 20, 64 * 64 * 3);
    uint8_t *star = m.px8 + (33 * 64 + 31) * 3;
    star[0] = 250, star[1] = 180, star[2] = 90;
    size_t n;
    unsigned char *data = encode(&m, 92, NULL, &n), *icc;
    unsigned icc_n;
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    unsigned char *px = decode(data, n, &d, &e, &icc, &icc_n);
    const unsigned char *p = px + (33 * 64 + 31) * 3;
    ck_assert_int_ge(p[0] - p[2], 120); /* 160 were written */
    jpeg_destroy_decompress(&d);
    free(px);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

START_TEST(bytes_are_the_same_in_every_run)
{
    struct dw_image m = shoot_picture(321, 123, 8);
    size_t n, k;
    unsigned char *a = encode(&m, 92, NULL, &n);
    sleep(1);
    unsigned char *b = encode(&m, 92, NULL, &k);
    ck_assert_uint_eq(n, k);
    ck_assert_mem_eq(a, b, n);
    free(a);
    free(b);
    shoot_picture_free(&m);
}
END_TEST

/* Noise at quality 100 packs to more than its own size: the buffer must grow. */
START_TEST(noise_fits_too)
{
    struct dw_image m = {.width = 500, .height = 400, .bits = 8, .px8 = malloc(500 * 400 * 3)};
    uint32_t state = 1;
    for (size_t i = 0; i < 500 * 400 * 3; i++) {
        state = state * 1664525 + 1013904223;
        m.px8[i] = (uint8_t)(state >> 24);
    }
    size_t n;
    unsigned char *data = encode(&m, 100, NULL, &n), *icc;
    ck_assert_uint_gt(n, 500 * 400 * 3 / 4 + 65536);
    unsigned icc_n;
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    unsigned char *px = decode(data, n, &d, &e, &icc, &icc_n);
    ck_assert_int_eq(e.num_warnings, 0);
    jpeg_destroy_decompress(&d);
    free(px);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

/* An independent Exif reader. Fractions must be exact: its -n output gives the decimals, the
 * tag's own bytes are checked in test_tags_are_exact. */
START_TEST(an_exif_reader_agrees)
{
    if (!shoot_has_program("exiftool")) {
        fprintf(stderr, "# exiftool is not installed: not asked\n");
        return;
    }
    struct dw_image m = shoot_picture(321, 123, 8);
    size_t n;
    unsigned char *data = encode(&m, 92, NULL, &n);
    char path[] = "/tmp/dw-jpeg-XXXXXX", command[512], out[4000];
    close(mkstemp(path));
    ck_assert_int_eq(dw_write_whole(path, data, n, false, NULL), DW_OK);
    snprintf(command, sizeof command,
             "exiftool -s3 -ImageDescription -Make -Model -Software -ExposureTime -FNumber -ISO "
             "-DateTimeOriginal -SubSecTimeOriginal -OffsetTimeOriginal -ImageUniqueID -ColorSpace "
             "-ExifImageWidth -ExifImageHeight -Orientation %s",
             path);
    ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
    ck_assert_str_eq(out, "INV_0001.DNG + INV_0002.DNG\nInvented\nPinwheel 1\n"
                          "daywheel " DW_VERSION "\n1/60\n2.8\n640\n2025:06:20 20:30:00\n063\n"
                          "-03:30\n00112233445566778899aabbccddeeff\nsRGB\n321\n123\n"
                          "Horizontal (normal)\n");
    snprintf(command, sizeof command, "exiftool -validate -warning -error -a -s3 %s", path);
    ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
    ck_assert_str_eq(out, "OK\n");
    snprintf(command, sizeof command, "exiftool -GPS:all -s3 %s", path);
    ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
    ck_assert_str_eq(out, "");
    unlink(path);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

/* Fractions by hand. */
START_TEST(recorded_values_become_exact_fractions)
{
    static const struct {
        double x;
        uint32_t num, den;
    } cases[] = {{1.0 / 60, 1, 60},
                 {1.0 / 4000, 1, 4000},
                 {30, 30, 1},
                 {2.8, 14, 5},
                 {0.3, 3, 10},
                 {1.3, 13, 10},
                 {5.6, 28, 5},
                 {0.76923, 10, 13},
                 {1.0 / 3, 1, 3},
                 {0, 0, 1},
                 {1e9, 1000000000, 1},
                 {(double)(float)(1.0 / 60), 1, 60}}; /* a reader that passed it as a float */
    uint32_t num, den;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        ck_assert(dw_tags_rational(cases[i].x, &num, &den));
        if (cases[i].x == 0.76923) { /* not a fraction of small parts: close is what counts */
            ck_assert_double_eq_tol((double)num / den, 0.76923, 2e-7);
            continue;
        }
        ck_assert_uint_eq(num, cases[i].num);
        ck_assert_uint_eq(den, cases[i].den);
    }
    ck_assert(!dw_tags_rational((double)NAN, &num, &den));
    ck_assert(!dw_tags_rational(-1, &num, &den));
    ck_assert(!dw_tags_rational(1e10, &num, &den));
    ck_assert(!dw_tags_rational((double)INFINITY, &num, &den));
}
END_TEST

START_TEST(impossible_pictures_are_refused)
{
    unsigned char *data;
    size_t n;
    struct dw_error err = {0};
    struct dw_image m = shoot_picture(16, 16, 16);
    ck_assert_int_eq(dw_encode_jpeg(&m, 92, NULL, NULL, &data, &n, &err), DW_ERR_USAGE);
    shoot_picture_free(&m);
    m = shoot_picture(16, 16, 8);
    m.width = 70000;
    ck_assert_int_eq(dw_encode_jpeg(&m, 92, NULL, NULL, &data, &n, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "70000"));
    m.width = 0;
    ck_assert_int_eq(dw_encode_jpeg(&m, 92, NULL, NULL, &data, &n, &err), DW_ERR_USAGE);
    shoot_picture_free(&m);
}
END_TEST

/* A segment of JPEG holds 65533 bytes; a long list of sources must not burst it. */
START_TEST(long_names_are_cut_not_fatal)
{
    struct dw_image m = shoot_picture(16, 16, 8);
    struct dw_tags long_tags = tags;
    char *text = malloc(100001);
    for (int i = 0; i < 100000; i += 2)
        memcpy(text + i, "\xc3\xa9", 2);
    text[100000] = '\0';
    long_tags.description = text;
    unsigned char *data;
    size_t n;
    ck_assert_int_eq(dw_encode_jpeg(&m, 92, &long_tags, NULL, &data, &n, NULL), DW_OK);
    ck_assert_mem_eq(data + n - 2, "\xff\xd9", 2);
    free(data);
    free(text);
    shoot_picture_free(&m);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("jpeg");
    TCase *c = tcase_create("jpeg");
    tcase_add_test(c, picture_profile_and_sampling_come_back);
    tcase_add_test(c, quality_means_what_it_means_elsewhere);
    tcase_add_test(c, small_pictures_stay_small);
    tcase_add_test(c, a_coloured_point_keeps_its_colour);
    tcase_add_test(c, bytes_are_the_same_in_every_run);
    tcase_add_test(c, noise_fits_too);
    tcase_add_test(c, an_exif_reader_agrees);
    tcase_add_test(c, recorded_values_become_exact_fractions);
    tcase_add_test(c, impossible_pictures_are_refused);
    tcase_add_test(c, long_names_are_cut_not_fatal);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
