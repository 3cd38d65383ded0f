/* test_size.c: how large a picture becomes. */
#include "check_main.h"

#include <daywheel/render.h>

#include <string.h>

static void expect(int mw, int mh, int turn, enum dw_cfa cfa, struct dw_size size, int w, int h)
{
    int gw = 0, gh = 0;
    struct dw_error err = {0};
    ck_assert_msg(dw_output_size(mw, mh, turn, cfa, &size, &gw, &gh, &err) == DW_OK, "%s",
                  err.text);
    ck_assert_msg(gw == w && gh == h, "%dx%d turned %d: %dx%d, expected %dx%d", mw, mh, turn, gw,
                  gh, w, h);
}

START_TEST(half_is_one_pixel_a_cell)
{
    const struct dw_size half = {DW_SIZE_HALF, 0, 0};
    expect(6000, 4000, 0, DW_CFA_BAYER, half, 3000, 2000);
    expect(6001, 4003, 0, DW_CFA_BAYER, half, 3000, 2001);
    expect(6000, 4000, 90, DW_CFA_BAYER, half, 2000, 3000);
    expect(6000, 4000, 180, DW_CFA_MONO, half, 3000, 2000);
    expect(6000, 4000, 270, DW_CFA_XTRANS, half, 1333, 2000);
    expect(6000, 4000, 0, DW_CFA_RGB, half, 3000, 2000);
}
END_TEST

START_TEST(full_is_one_pixel_a_sample)
{
    const struct dw_size full = {DW_SIZE_FULL, 0, 0};
    expect(6001, 4003, 0, DW_CFA_BAYER, full, 6001, 4003);
    expect(6000, 4000, 270, DW_CFA_BAYER, full, 4000, 6000);
}
END_TEST

START_TEST(fit_keeps_the_shape_and_never_enlarges)
{
    expect(6000, 4000, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 1920, 1080}, 1620, 1080);
    expect(6000, 4000, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 1920, 9999}, 1920, 1280);
    expect(6000, 4000, 90, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 1920, 1080}, 720, 1080);
    expect(6000, 4000, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 5000, 5000}, 5000, 3333);
    expect(6000, 4000, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 9999, 9999}, 6000, 4000);
    expect(6000, 4000, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 1, 1}, 1, 1);
    expect(6000, 20, 0, DW_CFA_BAYER, (struct dw_size){DW_SIZE_FIT, 100, 100}, 100, 1);
}
END_TEST

START_TEST(a_size_of_nothing_is_refused)
{
    struct dw_error err = {0};
    int w, h;
    struct dw_size none = {DW_SIZE_FIT, 0, 1080}, half = {DW_SIZE_HALF, 0, 0};
    ck_assert_int_eq(dw_output_size(60, 40, 0, DW_CFA_BAYER, &none, &w, &h, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "0x1080"));
    ck_assert_int_eq(dw_output_size(1, 40, 0, DW_CFA_BAYER, &half, &w, &h, &err), DW_ERR_USAGE);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("size");
    TCase *c = tcase_create("size");
    tcase_add_test(c, half_is_one_pixel_a_cell);
    tcase_add_test(c, full_is_one_pixel_a_sample);
    tcase_add_test(c, fit_keeps_the_shape_and_never_enlarges);
    tcase_add_test(c, a_size_of_nothing_is_refused);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
