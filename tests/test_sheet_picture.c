/* test_sheet_picture.c: how a shot looks on a contact sheet, on an invented shoot. */
#include "check_main.h"
#include "invented.h"

#include "output/paper/picture.h"

/* Mean of the picture, 0 to 255, of shot i developed like another. */
static double brightness(const struct invented *v, size_t i, size_t like)
{
    struct dw_image picture;
    char why[80];
    bool made =
        dw_sheet_picture(&v->shots, &v->survey, &v->decision, i, like, NULL, 64, &picture, why);
    ck_assert_msg(made, "%s", why);
    double sum = 0, n = 3.0 * picture.width * picture.height;
    for (size_t k = 0; k < (size_t)n; k++)
        sum += picture.px8[k];
    dw_image_free(&picture);
    return sum / n;
}

/* Shot 20 (from 1) is exposed a stop too short and says so. Brought into line it looks about
 * like its neighbour; with the neighbour's exposure the eye sees what was wrong. */
START_TEST(too_dark_is_seen_beside_a_neighbour)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 3 --frames 40 --jobs 2 --faults 'dark@20'");
    double neighbour = brightness(&v, 18, 18);
    ck_assert_double_eq_tol(brightness(&v, 19, 19), neighbour, 6);
    ck_assert_double_lt(brightness(&v, 19, 18), neighbour - 15);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("sheet_picture");
    TCase *t = tcase_create("exposure");
    tcase_set_timeout(t, 120);
    tcase_add_test(t, too_dark_is_seen_beside_a_neighbour);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
