/* test_exr.c: pictures of light as OpenEXR files. They are written with the library's C core and
 * read back here with its older C++ reader (ImfCRgbaFile.h), which shares no code with it; half
 * floats are compared with its ImfFloatToHalf (IEEE 754-2008 binary16, ties to even). */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/encode.h"
#include "render/kernels/kernels.h"

#include <ImfCRgbaFile.h>

static struct shoot *s;

static void setup(void)
{
    s = shoot_new(2);
}

static void teardown(void)
{
    shoot_free(s);
}

static uint32_t draw(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

/* The kernel's half of one number. */
static uint16_t half(float v)
{
    uint16_t out[3];
    dw_kernels_plain()->encode->pack_half(&v, &v, &v, 1, 1.0f, out);
    ck_assert(out[0] == out[1] && out[1] == out[2]);
    return out[0];
}

START_TEST(halves_are_rounded_to_the_nearest_ties_to_even)
{
    static const struct {
        float v;
        uint16_t bits;
    } known[] = {{0.0f, 0},
                 {1.0f, 0x3c00}, /* IEEE 754-2008, binary16 */
                 {-2.0f, 0xc000},
                 {65504.0f, 0x7bff},
                 {0.00006103515625f, 0x0400},      /* least normal, 2^-14 */
                 {5.9604644775390625e-8f, 0x0001}, /* least of all, 2^-24 */
                 {0.333251953125f, 0x3555}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        ck_assert_uint_eq(half(known[i].v), known[i].bits);
    for (unsigned h = 0; h < 0x7bff;
         h++) { /* every number, and what lies between it and the next */
        float a = ImfHalfToFloat((ImfHalf)h), b = ImfHalfToFloat((ImfHalf)(h + 1));
        float middle = a + (b - a) / 2;
        ck_assert_uint_eq(half(a), h);
        ck_assert_uint_eq(half(-a), h ? h | 0x8000 : 0); /* zero has no sign */
        ck_assert_uint_eq(half(nextafterf(middle, a)), h);
        ck_assert_uint_eq(half(middle), h + (h & 1));
        ck_assert_uint_eq(half(nextafterf(middle, b)), h + 1);
    }
    uint32_t state = 7;
    for (int i = 0; i < 200000; i++) {
        float v = ldexpf((float)draw(&state) / 8388608.0f - 1.0f, (int)(draw(&state) % 46) - 30);
        ImfHalf theirs;
        ImfFloatToHalf(v, &theirs);
        if (fabsf(v) < 65504)
            ck_assert_uint_eq(half(v), theirs);
    }
    ck_assert_uint_eq(half(70000.0f), 0x7bff); /* no infinity in a picture */
    ck_assert_uint_eq(half(-1e6f), 0xfbff);
}
END_TEST

enum field { EVEN, RAMP, GRAIN, NOISE };

static struct dw_image light(int w, int h, enum field field)
{
    struct dw_image m = {.width = w, .height = h, .bits = 16, .light = true};
    size_t n = (size_t)w * (size_t)h * 3;
    m.px16 = malloc(n * sizeof *m.px16);
    uint32_t state = (uint32_t)(w * 1000 + h);
    for (size_t i = 0; i < n; i++) {
        double grain = (double)draw(&state) / (1 << 24);
        double v = field == EVEN    ? 0.18
                   : field == RAMP  ? 0.001 + 0.5 * (double)i / (double)n
                   : field == GRAIN ? 0.02 + 0.004 * grain + (grain > 0.999 ? 40 : 0)
                                    : 0;
        m.px16[i] = field == NOISE ? (uint16_t)(draw(&state) % 0x7bff | (draw(&state) & 1) << 15)
                                   : half((float)v);
    }
    return m;
}

static struct dw_tags tags_of(void)
{
    return (struct dw_tags){.description = "INV_0001.DNG + INV_0002.DNG",
                            .make = "Invented",
                            .model = "Pinwheel 1",
                            .utc_s = 1750464000.25, /* 2025-06-21T00:00:00Z */
                            .offset_s = 7200,
                            .unique_id = "0123456789abcdef0123456789abcdef",
                            .shutter_s = 1.0 / 60,
                            .f_number = 2.8,
                            .iso = 1600,
                            .key = 0.0625};
}

static void write_file(const struct dw_image *m, const struct dw_tags *tags)
{
    unsigned char *data;
    size_t n;
    struct dw_error err = {0};
    ck_assert_msg(dw_encode_exr(m, tags, &data, &n, &err) == DW_OK, "%s", err.text);
    ck_assert_int_eq(dw_write_whole(shoot_path(s, "x.exr"), data, n, false, &err), DW_OK);
    free(data);
}

/* Sizes about the pieces of 32 rows, of all sorts of pictures. */
START_TEST(another_reader_finds_every_bit)
{
    static const int size[][2] = {{1, 1}, {2, 3}, {31, 33}, {64, 32}, {257, 95}, {640, 97}};
    for (size_t k = 0; k < sizeof size / sizeof *size; k++)
        for (enum field f = EVEN; f <= NOISE; f++) {
            int w = size[k][0], h = size[k][1], x0, y0, x1, y1;
            struct dw_image m = light(w, h, f);
            struct dw_tags tags = tags_of();
            write_file(&m, &tags);
            ImfInputFile *in = ImfOpenInputFile(shoot_path(s, "x.exr"));
            ck_assert_msg(in != NULL, "%s", ImfErrorMessage());
            ImfHeaderDataWindow(ImfInputHeader(in), &x0, &y0, &x1, &y1);
            ck_assert(x0 == 0 && y0 == 0 && x1 == w - 1 && y1 == h - 1);
            ck_assert_int_eq(ImfInputChannels(in), IMF_WRITE_RGB);
            ImfRgba *px = calloc((size_t)w * (size_t)h, sizeof *px);
            ck_assert(ImfInputSetFrameBuffer(in, px, 1, (size_t)w));
            ck_assert_msg(ImfInputReadPixels(in, 0, h - 1), "%s", ImfErrorMessage());
            for (size_t i = 0; i < (size_t)w * (size_t)h; i++)
                ck_assert(px[i].r == m.px16[3 * i] && px[i].g == m.px16[3 * i + 1] &&
                          px[i].b == m.px16[3 * i + 2]);
            free(px);
            ImfCloseInputFile(in);
            shoot_picture_free(&m);
        }
}
END_TEST

static const char *text_of(const ImfHeader *h, const char *name)
{
    const char *value = "";
    return ImfHeaderStringAttribute(h, name, &value) ? value : "(none)";
}

static double number_of(const ImfHeader *h, const char *name)
{
    float value;
    return ImfHeaderFloatAttribute(h, name, &value) ? (double)value : (double)NAN;
}

/* capDate, utcOffset, expTime, aperture, isoSpeed: the OpenEXR standard attributes. */
START_TEST(attributes_tell_where_a_frame_comes_from)
{
    struct dw_image m = light(40, 30, RAMP);
    struct dw_tags tags = tags_of();
    write_file(&m, &tags);
    ImfInputFile *in = ImfOpenInputFile(shoot_path(s, "x.exr"));
    ck_assert_ptr_nonnull(in);
    const ImfHeader *h = ImfInputHeader(in);
    ck_assert_str_eq(text_of(h, "comments"), tags.description);
    ck_assert_str_eq(text_of(h, "cameraModel"), "Pinwheel 1");
    ck_assert_str_eq(text_of(h, "capDate"), "2025:06:21 02:00:00");
    ck_assert_str_eq(text_of(h, "daywheelRecipe"), tags.unique_id);
    ck_assert_int_eq(strncmp(text_of(h, "software"), "daywheel ", 9), 0);
    ck_assert_double_eq(number_of(h, "utcOffset"), -7200);
    ck_assert_double_eq_tol(number_of(h, "expTime"), 1.0 / 60, 1e-8);
    ck_assert_double_eq_tol(number_of(h, "aperture"), 2.8, 1e-6);
    ck_assert_double_eq(number_of(h, "isoSpeed"), 1600);
    ck_assert_double_eq(number_of(h, "daywheelKey"), 0.0625);
    ImfCloseInputFile(in);
    tags.shutter_s = (double)NAN; /* what is not known is left out */
    tags.f_number = 0;
    tags.utc_s = (double)NAN;
    write_file(&m, &tags);
    in = ImfOpenInputFile(shoot_path(s, "x.exr"));
    h = ImfInputHeader(in);
    ck_assert(isnan(number_of(h, "expTime")) && isnan(number_of(h, "aperture")));
    ck_assert_str_eq(text_of(h, "capDate"), "(none)");
    ImfCloseInputFile(in);
    if (shoot_has_program("exrheader")) { /* ITU-R BT.2020, table of primaries; white D65 */
        char command[320], out[8000];
        snprintf(command, sizeof command, "exrheader %s", shoot_path(s, "x.exr"));
        ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
        ck_assert_ptr_nonnull(strstr(out, "red   (0.708 0.292)"));
        ck_assert_ptr_nonnull(strstr(out, "green (0.17 0.797)"));
        ck_assert_ptr_nonnull(strstr(out, "blue  (0.131 0.046)"));
        ck_assert_ptr_nonnull(strstr(out, "white (0.3127 0.329)"));
    } else {
        printf("# skipped: exrheader is not installed (Debian package openexr)\n");
    }
    shoot_picture_free(&m);
}
END_TEST

START_TEST(only_light_is_written)
{
    unsigned char *data;
    size_t n;
    struct dw_error err = {0};
    struct dw_image m = shoot_picture(9, 6, 16);
    ck_assert_int_eq(dw_encode_exr(&m, NULL, &data, &n, &err), DW_ERR_USAGE);
    ck_assert_ptr_null(data);
    m.light = true;
    ck_assert_int_eq(dw_encode_exr(&m, NULL, &data, &n, &err), DW_OK);
    free(data);
    shoot_picture_free(&m);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("exr");
    TCase *c = tcase_create("exr");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, halves_are_rounded_to_the_nearest_ties_to_even);
    tcase_add_test(c, another_reader_finds_every_bit);
    tcase_add_test(c, attributes_tell_where_a_frame_comes_from);
    tcase_add_test(c, only_light_is_written);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
