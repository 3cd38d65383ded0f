/* test_resize.c: reducing pictures in linear light. The expectations are properties of the filter
 * (a raised cosine, whose shifted copies add up to one); no table is needed. */
#include "check_main.h"
#include "mosaics.h"

#include "render/planes/resize.h"

START_TEST(weights_are_never_negative_and_sum_to_one)
{
    const int sizes[][2] = {{100, 100}, {100, 99}, {3000, 1920}, {3000, 240},
                            {7, 1},     {3, 2},    {1, 1},       {4000, 3999}};
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        struct dw_reduction r;
        ck_assert_int_eq(dw_reduction_make(sizes[i][0], sizes[i][1], &r, NULL), DW_OK);
        for (int k = 0; k < r.out; k++) {
            double sum = 0, centre = 0;
            for (int t = 0; t < r.taps; t++) {
                float w = r.weight[k * r.taps + t];
                ck_assert(w >= 0);
                sum += (double)w;
                centre += (double)w * (r.start[k] + t);
            }
            ck_assert(fabs(sum - 1) < 1e-5);
            ck_assert(r.start[k] >= 0 && r.start[k] + r.taps <= r.in);
            double want = (k + 0.5) * r.in / r.out - 0.5, reach = (double)r.in / r.out;
            if (want > reach && want < r.in - 1 - reach)
                ck_assert_msg(fabs(centre - want) < 0.13, "%d to %d at %d: %g, expected %g", r.in,
                              r.out, k, centre, want);
        }
        dw_reduction_free(&r);
    }
}
END_TEST

/* A star's light, summed over the picture, does not depend on where it stands: no twinkling. */
START_TEST(a_star_keeps_its_light_as_it_moves)
{
    struct dw_reduction r;
    ck_assert_int_eq(dw_reduction_make(300, 120, &r, NULL), DW_OK);
    double least = 1e9, most = 0;
    for (int x = 100; x < 200; x++) {
        float in[300] = {0}, out[120];
        in[x] = 0.5f;
        in[x + 1] = 1.0f;
        in[x + 2] = 0.5f;
        dw_reduce_row(&r, in, out);
        double sum = 0;
        for (int k = 0; k < 120; k++)
            sum += (double)out[k];
        least = fmin(least, sum);
        most = fmax(most, sum);
    }
    ck_assert_msg(most / least < 1.03, "%g to %g", least, most);
    ck_assert_msg(fabs(most * 2.5 / 2 - 1) < 0.03, "%g", most);
    dw_reduction_free(&r);
}
END_TEST

/* A grating finer than the output can show becomes grey, not a coarser grating. The raised cosine
 * passes a half at the output's limit (period 6 here), 17 % at 1.5 and nothing at 2 times it. */
START_TEST(fine_gratings_do_not_alias)
{
    struct dw_reduction r;
    ck_assert_int_eq(dw_reduction_make(600, 200, &r, NULL), DW_OK);
    for (int period = 2; period <= 4; period++) { /* output Nyquist: 6 input pixels */
        float in[600], out[200];
        for (int x = 0; x < 600; x++)
            in[x] = 0.5f + 0.5f * cosf(6.2831853f * (float)x / (float)period + 0.3f);
        dw_reduce_row(&r, in, out);
        for (int k = 2; k < 198; k++)
            ck_assert_msg(fabsf(out[k] - 0.5f) < (period == 4 ? 0.09f : 0.02f), "period %d: %g",
                          period, (double)out[k]);
    }
    dw_reduction_free(&r);
}
END_TEST

static double disc(double x, double y, int colour)
{
    return hypot(x - 60.5, y - 40.5) < 18 ? 0.4 - 0.1 * colour : 0.02;
}

/* The whole way: the mean light stays, from half, full and both between, and turned. */
START_TEST(a_picture_keeps_its_light)
{
    const int width[] = {9, 31, 50, 59, 61, 90, 119};
    for (size_t i = 0; i < sizeof width / sizeof *width; i++)
        for (int turn = 0; turn <= 90; turn += 90) {
            struct dw_mosaic m = new_mosaic(120, 80, "GBRG");
            struct dw_facts f = plain_facts(120, 80);
            f.turn_deg = turn;
            expose(&m, disc);
            struct dw_size size = {DW_SIZE_FIT, width[i], width[i]};
            struct dw_linear l = {0};
            ck_assert_int_eq(
                dw_linear_from_mosaic(&m, &plain_levels, &f, &plain_source, &size, false, &l, NULL),
                DW_OK);
            ck_assert_int_eq(turn ? l.height : l.width, width[i]);
            double want[3] = {0}, got[3] = {0};
            for (int c = 0; c < 3; c++) {
                for (int k = 0; k < 120 * 80; k++)
                    want[c] += disc(k % 120, (double)(k / 120), c) / (120 * 80);
                for (int k = 0; k < l.width * l.height; k++)
                    got[c] += (double)l.plane[c][k] / (l.width * l.height);
                ck_assert_msg(fabs(got[c] / want[c] - 1) < 0.03, "%d wide, colour %d: %g for %g",
                              width[i], c, got[c], want[c]);
            }
            dw_linear_free(&l);
            dw_mosaic_free(&m);
        }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("resize");
    TCase *c = tcase_create("resize");
    tcase_add_test(c, weights_are_never_negative_and_sum_to_one);
    tcase_add_test(c, a_star_keeps_its_light_as_it_moves);
    tcase_add_test(c, fine_gratings_do_not_alias);
    tcase_add_test(c, a_picture_keeps_its_light);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
