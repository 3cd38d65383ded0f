/* test_strip.c: the preview's sheet. What is right is set by daywheel itself; the file is read
 * back with libjpeg. */
#include "check_main.h"
#include "output_shoot.h"

#include <jpeglib.h>

static struct shoot *s;

static void setup(void)
{
    s = shoot_new(2);
}

static void teardown(void)
{
    shoot_free(s);
}

/* The sheet's pixels, interleaved; to be freed. */
static unsigned char *read_page(const char *name, int *w, int *h)
{
    FILE *f = fopen(shoot_path(s, name), "rb");
    ck_assert_ptr_nonnull(f);
    struct jpeg_decompress_struct d;
    struct jpeg_error_mgr e;
    d.err = jpeg_std_error(&e);
    jpeg_create_decompress(&d);
    jpeg_stdio_src(&d, f);
    jpeg_read_header(&d, TRUE);
    jpeg_start_decompress(&d);
    *w = (int)d.output_width;
    *h = (int)d.output_height;
    unsigned char *px = malloc((size_t)*w * (size_t)*h * 3);
    while (d.output_scanline < d.output_height) {
        unsigned char *row = px + (size_t)d.output_scanline * (size_t)*w * 3;
        jpeg_read_scanlines(&d, &row, 1);
    }
    jpeg_finish_decompress(&d);
    jpeg_destroy_decompress(&d);
    fclose(f);
    return px;
}

/* Even pictures: night blue, day red, mix green, so that the rows can be told apart. */
static struct dw_strip_column column(int width, int height)
{
    static const uint8_t ink[DW_RENDERINGS][3] = {
        [DW_MIX] = {40, 200, 40}, [DW_NIGHT] = {40, 40, 200}, [DW_DAY] = {200, 40, 40}};
    struct dw_strip_column c = {.altitude = "sun \xe2\x88\x92"
                                            "6.0\xc2\xb0",
                                .when = "2025-03-29  05:40",
                                .name = "INV_0001.DNG",
                                .weight = "71 % day"};
    for (int r = 0; r < DW_RENDERINGS; r++) {
        c.image[r] = (struct dw_image){.width = width, .height = height, .bits = 8};
        c.image[r].px8 = malloc((size_t)(width * height) * 3);
        for (int i = 0; i < width * height * 3; i++)
            c.image[r].px8[i] = ink[r][i % 3];
    }
    return c;
}

static void column_free(struct dw_strip_column *c)
{
    for (int r = 0; r < DW_RENDERINGS; r++)
        shoot_picture_free(&c->image[r]);
}

/* Which channel leads at a place by far: 0, 1, 2; -1 for grey. */
static int hue(const unsigned char *px, int w, int x, int y)
{
    const unsigned char *p = px + ((size_t)y * (size_t)w + (size_t)x) * 3;
    for (int c = 0; c < 3; c++)
        if (p[c] > p[(c + 1) % 3] + 80 && p[c] > p[(c + 2) % 3] + 80)
            return c;
    return -1;
}

/* Distinct hues met down one column of pixels, in order, as digits. */
static void hues_down(const unsigned char *px, int w, int h, int x, char out[40])
{
    int n = 0, last = -1;
    for (int y = 0; y < h && n < 39; y++) {
        int now = hue(px, w, x, y);
        if (now >= 0 && now != last)
            out[n++] = (char)('0' + now);
        last = now >= 0 ? now : last;
    }
    out[n] = '\0';
}

/* Night above day above mix, once a band; every column stands in one of the bands. */
START_TEST(columns_hold_night_day_and_mix_from_above)
{
    static const struct {
        size_t n;
        int bands, in_last;
    } cases[] = {{1, 1, 1}, {2, 1, 2}, {7, 1, 7}, {8, 2, 4}, {12, 2, 6}, {13, 2, 6}, {22, 4, 4}};
    struct dw_strip_column c[22];
    for (int i = 0; i < 22; i++)
        c[i] = column(i == 3 ? 160 : 240, i == 3 ? 240 : 160);
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        int w, h;
        char down[40], wanted[40] = "";
        ck_assert_int_ge(
            dw_write_strip(shoot_path(s, "p.jpg"), "Title", "note", c, cases[k].n, NULL), DW_OK);
        unsigned char *px = read_page("p.jpg", &w, &h);
        ck_assert_int_eq(w, 2000);
        for (int b = 0; b < cases[k].bands; b++)
            strcat(wanted, "201");
        hues_down(px, w, h, 200, down); /* through the first column's pictures */
        ck_assert_str_eq(down, wanted);
        int y = h - 1, columns = 0, last = -1;
        while (y > 0 && hue(px, w, 200, y) != 1)
            y--;
        for (int x = 0; x < w; x++) {
            int now = hue(px, w, x, y - 20);
            columns += now == 1 && last != 1;
            last = now;
        }
        ck_assert_int_eq(columns, cases[k].in_last);
        ck_assert_int_lt(px[0], 60); /* the ground is dark and grey */
        ck_assert_int_eq(hue(px, w, 4, 4), -1);
        free(px);
    }
    for (int i = 0; i < 22; i++)
        column_free(&c[i]);
}
END_TEST

START_TEST(what_cannot_be_shown_is_refused)
{
    struct dw_error err = {0};
    struct dw_strip_column c[2] = {column(24, 16), column(24, 16)};
    ck_assert_int_eq(dw_write_strip(shoot_path(s, "none.jpg"), "T", "n", c, 0, &err), DW_ERR_EMPTY);
    uint8_t *keep = c[1].image[DW_DAY].px8;
    c[1].image[DW_DAY].px8 = NULL;
    ck_assert_int_eq(dw_write_strip(shoot_path(s, "none.jpg"), "T", "n", c, 2, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "column 2 of 2"));
    ck_assert_int_ne(access(shoot_path(s, "none.jpg"), F_OK), 0);
    c[1].image[DW_DAY].px8 = keep;
    column_free(&c[0]);
    column_free(&c[1]);
}
END_TEST

/* fontconfig reads its settings once in a process; Check runs every test in a child. */
START_TEST(without_fonts_the_page_is_still_lettered_and_it_is_said)
{
    FILE *f = fopen(shoot_path(s, "none.conf"), "w");
    fprintf(f,
            "<?xml version=\"1.0\"?><!DOCTYPE fontconfig SYSTEM \"fonts.dtd\"><fontconfig><dir>"
            "%s/none</dir><cachedir>%s/cache</cachedir></fontconfig>\n",
            s->dir, s->dir);
    fclose(f);
    setenv("FONTCONFIG_FILE", shoot_path(s, "none.conf"), 1);
    struct dw_strip_column c = column(240, 160);
    struct dw_error err = {0};
    ck_assert_int_eq(dw_write_strip(shoot_path(s, "p.jpg"), "PREVIEW", "caf\xc3\xa9", &c, 1, &err),
                     DW_WARN);
    ck_assert_ptr_nonnull(strstr(err.text, "fonts"));
    int w, h, light = 0;
    unsigned char *px = read_page("p.jpg", &w, &h);
    for (int y = 30; y < 90; y++)
        for (int x = 48; x < 400; x++)
            light += px[((size_t)y * (size_t)w + (size_t)x) * 3] > 128;
    ck_assert_int_gt(light, 300);
    free(px);
    column_free(&c);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("strip");
    TCase *c = tcase_create("strip");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, columns_hold_night_day_and_mix_from_above);
    tcase_add_test(c, what_cannot_be_shown_is_refused);
    tcase_add_test(c, without_fonts_the_page_is_still_lettered_and_it_is_said);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
