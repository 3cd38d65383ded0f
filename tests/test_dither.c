/* test_dither.c: no bands in a night sky. A smooth gradient without any noise of its own, the
 * hardest case, goes through the night look to 8 bits, and is held against the same at 16 bits.
 * What is wanted of a dither: the mean of many pixels is the value itself, and errors of neighbours
 * in place and time have nothing in common (Lipshitz, Wannamaker & Vanderkooy 1992, J. Audio Eng.
 * Soc. 40, 355). */
#include "check_main.h"
#include "mosaics.h"

#define W 1500
#define H 400

static const struct dw_look_params look = DW_LOOK_DEFAULTS;
static uint8_t *first, *next; /* two frames that follow each other, 8 bit */
static uint16_t *fine;        /* the first at 16 bit */

static struct dw_image sky(uint32_t number, int bits)
{
    struct dw_facts facts = plain_facts(2 * W, 2 * H);
    struct dw_frame frame = {.number = number, .n_sources = 1, .key = 0.019, .stars = 1};
    struct dw_linear light = {.width = W, .height = H};
    struct dw_image out = {.bits = bits};
    light.plane[0] = malloc(3 * sizeof(float) * W * H);
    for (int c = 0; c < 3; c++) {
        light.plane[c] = light.plane[0] + (size_t)c * W * H;
        for (int y = 0; y < H; y++)
            for (int x = 0; x < W; x++) /* glow at the horizon, a little colour */
                light.plane[c][y * W + x] =
                    (1.0f + 0.1f * (float)c) *
                    (0.5f + 0.6f * (float)x / W + 0.8f * (float)(y * y) / (H * H));
    }
    ck_assert_int_eq(dw_look(&light, &frame, &facts, &look, &out, NULL), DW_OK);
    dw_linear_free(&light);
    return out;
}

static void setup(void)
{
    first = sky(411, 8).px8;
    next = sky(412, 8).px8;
    fine = sky(411, 16).px16;
}

static void teardown(void)
{
    free(first);
    free(next);
    free(fine);
}

static double value(size_t i)
{
    return fine[i] / 257.0;
}

START_TEST(every_code_has_its_mean)
{
    double sum[256] = {0};
    int count[256] = {0}, codes = 0;
    for (size_t i = 0; i < 3 * W * H; i++) {
        int code = (int)value(i);
        ck_assert(fabs(first[i] - value(i)) < 1.01); /* one of the two codes about it */
        sum[code] += first[i] - value(i);
        count[code]++;
    }
    for (int code = 0; code < 256; code++) {
        if (count[code] < 20000) /* 0.5 / sqrt(20000) is 0.0035 */
            continue;
        codes++;
        ck_assert_msg(fabs(sum[code] / count[code]) < 0.015, "code %d: mean error %.4f of %d", code,
                      sum[code] / count[code], count[code]);
    }
    ck_assert_int_ge(codes, 15); /* the gradient spans that many whole codes */
}
END_TEST

/* A finer look: the mean is right in every eighth of a code, so that no step is left between. */
START_TEST(every_eighth_of_a_code_has_its_mean)
{
    double sum[8] = {0};
    int count[8] = {0};
    for (size_t i = 0; i < 3 * W * H; i++) {
        int part = (int)(8 * (value(i) - floor(value(i))));
        sum[part] += first[i] - value(i);
        count[part]++;
    }
    for (int k = 0; k < 8; k++)
        ck_assert_msg(fabs(sum[k] / count[k]) < 0.008, "eighth %d: %.4f", k, sum[k] / count[k]);
}
END_TEST

/* Where a value lies well between two codes, equal codes never stand in long runs. Chance of 40
 * in a row at three quarters: 1e-5 a start, and 1.8 million starts, so allow 72 (1e-9). */
START_TEST(no_long_runs_of_one_code)
{
    int longest = 0;
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < H; y++)
            for (int x = 1, run = 1; x < W; x++) {
                size_t i = 3 * ((size_t)y * W + (size_t)x) + (size_t)c;
                double part = value(i) - floor(value(i));
                run = part > 0.25 && part < 0.75 && first[i] == first[i - 3] ? run + 1 : 1;
                longest = run > longest ? run : longest;
            }
    ck_assert_msg(longest < 72, "%d", longest);
    ck_assert_int_gt(longest, 4);
}
END_TEST

/* Correlation of the errors with those `step` samples further, or of another frame. */
static double together(size_t step, const uint8_t *other)
{
    double ab = 0, aa = 0, bb = 0;
    for (size_t i = 0; i + step < 3 * W * H; i++) {
        double a = first[i] - value(i), b = other[i + step] - value(i + step);
        ab += a * b;
        aa += a * a;
        bb += b * b;
    }
    return ab / sqrt(aa * bb);
}

START_TEST(errors_of_neighbours_have_nothing_in_common)
{
    static const size_t step[] = {1, 2, 3, 6, 9, 3 * W, 3 * W + 3, 3 * W - 3, 6 * W};
    for (size_t k = 0; k < sizeof step / sizeof *step; k++)
        ck_assert_msg(fabs(together(step[k], first)) < 0.005, "step %zu: %.4f", step[k],
                      together(step[k], first)); /* 1 / sqrt(1.8 million) is 0.0007 */
    ck_assert_msg(fabs(together(0, next)) < 0.005, "next frame: %.4f", together(0, next));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("dither");
    TCase *c = tcase_create("dither");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, every_code_has_its_mean);
    tcase_add_test(c, every_eighth_of_a_code_has_its_mean);
    tcase_add_test(c, no_long_runs_of_one_code);
    tcase_add_test(c, errors_of_neighbours_have_nothing_in_common);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
