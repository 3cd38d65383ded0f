/* test_veil.c: light that follows the picture's contrasts. What comparing shots told is invented.
 */
#include "check_main.h"

#include "decide/share.h"
#include "decide/veil.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* What comparing 100 shots of 12 regions tells when a veil thickens from shot 40 to 60: light and
 * the contrasts of regions of all distances follow its thickness, as absorption does and as the
 * veil's own light does. causes: 1, or 2 with a cloud of its own over each region. */
enum { VEILED = 100, FARS = 12 };
struct veiled {
    double time[VEILED], unrest[VEILED], light[VEILED];
    float contrast[VEILED * FARS], var[VEILED * FARS];
    struct dw_beside beside;
};

static void make_veiled(struct veiled *v, int causes, float noise)
{
    unsigned seed = 5;
    double level[2][FARS] = {{0}};
    memset(v, 0, sizeof *v);
    for (int i = 0; i < VEILED; i++) {
        double thick = i < 40 ? 0 : i > 60 ? 1 : pow(sin(M_PI / 2 * (i - 40) / 20), 2);
        double *now = level[i % 2], *was = level[(i + 1) % 2];
        v->light[i] = 0.7 * thick + 0.3 * thick * thick;
        for (int r = 0; r < FARS; r++) {
            double far = (r - 5.5) / 12;
            now[r] = far * (thick + 0.5 * thick * thick) + 0.2 * far * far * thick * thick;
            if (causes > 1)
                now[r] += 0.2 * thick * random_value(&seed);
            if (i > 0)
                v->contrast[(i - 1) * FARS + r] = (float)(now[r] - was[r]);
            v->var[i * FARS + r] = noise;
        }
        v->time[i] = 120.0 * i;
        v->unrest[i] = i > 36 && i < 61 ? 0.003 : 0;
    }
    v->beside = (struct dw_beside){.unit_s = 120,
                                   .unrest = v->unrest,
                                   .regions = FARS,
                                   .contrast = v->contrast,
                                   .contrast_var = v->var};
}

static int find_veils(const struct veiled *v, const bool *bump, struct dw_arena *arena,
                      struct dw_follow **f, double *bends)
{
    int n;
    ck_assert_int_eq(dw_veils_find(&v->beside, v->time, bump, VEILED, arena, f, &n, bends), DW_OK);
    return n;
}

/* By least squares on what was found, light comes back wholly; nothing is found where each region
 * has a cause of its own, where contrasts are noise, where the view was displaced in the middle. */
START_TEST(light_in_a_veil_follows_contrasts)
{
    static struct veiled v;
    struct dw_arena arena = {0};
    struct dw_follow *f;
    bool bump[VEILED] = {false};
    double bends[VEILED];
    make_veiled(&v, 1, 1e-8f);
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 2);
    ck_assert(f[0].first == f[1].first && f[0].first <= 24 && f[0].first + f[0].n >= 80);
    /* unknowns: two factors, and the level and slope in which contrasts were made even */
    double a[VEILED * 5], b[VEILED];
    size_t rows = 0;
    for (size_t i = 38; i < 62; i++, rows++) {
        double t = ((double)i - 50) / 12;
        const double row[5] = {dw_follow_at(&f[0], i), dw_follow_at(&f[1], i), 1, t, t * t};
        memcpy(a + 5 * rows, row, sizeof row);
        b[rows] = v.light[i];
    }
    ck_assert_int_eq(LAPACKE_dgels(LAPACK_ROW_MAJOR, 'N', (int)rows, 5, 1, a, 5, b, 1), 0);
    double rest = 0;
    for (size_t i = 5; i < rows; i++)
        rest += b[i] * b[i];
    ck_assert_double_lt(sqrt(rest / (double)rows), 0.002); /* of one stop */
    /* what contrasts do beside the two: by hand, one region of twelve leaps by 0.005 stop, whose
     * bends are 1 -2 1 times that; a part of it goes along */
    ck_assert_double_lt(bends[48], 0.002);
    v.contrast[49 * FARS + 3] += 0.005f;
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 2);
    ck_assert_double_eq_tol(bends[48], 2 * 0.005 / sqrt(FARS), 0.0005);
    v.contrast[49 * FARS + 3] -= 0.005f;
    bump[50] = true;
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 0);
    bump[50] = false;
    bump[30] = true; /* before it: the spell begins there */
    ck_assert(find_veils(&v, bump, &arena, &f, bends) == 2 && f[0].first == 30);
    bump[30] = false;
    make_veiled(&v, 2, 1e-8f);
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 0);
    make_veiled(&v, 1, 0.1f); /* as uncertain as they are large */
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 0);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* Third differences of what is followed over shots from..to-1, rms. */
static double restless(const struct dw_follow *f, size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += pow(dw_follow_at(f, i + 3) - 3 * dw_follow_at(f, i + 2) +
                       3 * dw_follow_at(f, i + 1) - dw_follow_at(f, i),
                   2);
    return sqrt(sum / (double)(to - from));
}

/* By night contrasts are noisy: by 0.01 stop here, in dark regions by 0.1. Light still follows
 * them, and what it follows is quiet where nothing happens: third differences of plain noise,
 * averaged over twelve regions, would be root 20 times 0.01 / root 12. */
START_TEST(light_in_a_veil_by_night_follows_no_noise)
{
    static struct veiled v;
    struct dw_arena arena = {0};
    struct dw_follow *f;
    bool bump[VEILED] = {false};
    double bends[VEILED], was[FARS] = {0};
    unsigned seed = 3;
    make_veiled(&v, 1, 0);
    for (int i = 0; i < VEILED; i++)
        for (int r = 0; r < FARS; r++) {
            double sigma = r % 3 ? 0.01 : 0.1, noise = sigma * sqrt(12) * random_value(&seed);
            if (i > 0)
                v.contrast[(i - 1) * FARS + r] += (float)(noise - was[r]);
            was[r] = noise;
            v.var[i * FARS + r] = (float)(sigma * sigma);
        }
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 2);
    double edge = fabs(dw_follow_at(&f[0], 60) - dw_follow_at(&f[0], 40));
    ck_assert_double_gt(edge, 0.2); /* its rms over the regions; by hand 0.45 less what is even */
    ck_assert_double_lt(restless(&f[0], 64, 80), 0.2 * 0.01 * sqrt(20.0 / 12));
    for (int i = 64; i < 76; i++)
        ck_assert_double_lt(bends[i], 0.02); /* noise's own bends would be 0.045 and more */
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* Nothing is followed where contrasts only drift, whatever the test for bends may have seen, nor
 * where a part of them comes and goes as passing cars do. */
START_TEST(neither_chance_nor_cars_are_followed)
{
    static struct veiled v;
    struct dw_arena arena = {0};
    struct dw_follow *f;
    bool bump[VEILED] = {false};
    double bends[VEILED];
    make_veiled(&v, 1, 1e-8f);
    for (int i = 0; i < VEILED; i++)
        for (int r = 0; r < FARS; r++)
            v.contrast[i * FARS + r] = (float)((r - 5.5) * 2e-6 * (i - 50) * (i - 50));
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 0);
    make_veiled(&v, 1, 1e-8f);
    for (int i = 45; i < 60; i += 5)
        for (int r = 0; r < FARS; r += 2) {
            v.contrast[i * FARS + r] += 0.5f;
            v.contrast[(i + 1) * FARS + r] -= 0.5f;
        }
    ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), 0);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* A veil that thickens on and on is followed to where the next spell begins; but where contrasts
 * there have as many causes as regions, nobody takes over, and it fades out softly. */
START_TEST(what_no_other_spell_goes_on_with_fades_out)
{
    static struct veiled v;
    struct dw_arena arena = {0};
    struct dw_follow *f;
    bool bump[VEILED] = {false};
    double bends[VEILED], last[2];
    for (int causes = 1; causes <= 2; causes++) {
        unsigned seed = 4;
        make_veiled(&v, 1, 1e-8f);
        for (int i = 0; i < VEILED; i++) {
            v.unrest[i] = (i > 20 && i < 40) || (i > 74 && i < 90) ? 0.003 : 0;
            for (int r = 0; r < FARS && i + 1 < VEILED; r++) {
                double far = (r - 5.5) / 12, own = 0.3 * random_value(&seed);
                double step = far * sin(0.2 * i) * 0.05;
                v.contrast[i * FARS + r] = (float)(step + (causes > 1 && i > 70 ? own : 0));
            }
        }
        ck_assert_int_eq(find_veils(&v, bump, &arena, &f, bends), causes == 1 ? 4 : 2);
        size_t end = f[0].n - 1;
        ck_assert_int_eq((int)(f[0].first + end), 58); /* between 42 and 75, by hand */
        last[causes - 1] = fabs(f[0].x[end] - f[0].x[end - 1]);
        ck_assert_double_lt(fabs(f[0].x[1] - f[0].x[0]), 0.0003); /* it comes in as softly */
        dw_arena_free_to(&arena, 0);
    }
    ck_assert_double_gt(last[0], 0.003);
    ck_assert_double_lt(last[1], 0.01 * last[0]);
}
END_TEST

/* Invented: 100 shots, whose light follows a veil from shot 20 to 80, are exposed wrong by up to
 * 0.01 stop; and in the middle of the veil something goes up and down by 0.05 stop in ten shots.
 * Whether that was light is told by what contrasts do beside the veil (rest), not by how they bend
 * with it (unrest). Gives how far errors are off, rms of shots 35 to 65. light: the wave is light,
 * else an error of exposure; told: contrasts show it. */
static double off_in_a_veil(bool light, bool told)
{
    const struct dw_share_params p = DW_SHARE_DEFAULTS;
    static int setting[VEILED][DW_MAX_CLASSES];
    double time[VEILED], alt[VEILED], unrest[VEILED], rest[VEILED], x[VEILED], truth[VEILED];
    double all[VEILED], s[VEILED], e[VEILED], e_var[VEILED], e_fast[VEILED], offset[1];
    bool loose[VEILED] = {false};
    struct dw_pair pair[2 * VEILED];
    struct dw_follow follow = {20, 60, x};
    size_t pairs = 0;
    unsigned seed = 8;
    for (int i = 0; i < VEILED; i++) {
        double within = fmax(0, 1 - pow((i - 50) / 20.0, 2));
        double wave = 0.05 * within * sin(2 * M_PI * i / 10);
        time[i] = 120.0 * i;
        alt[i] = 40 + 0.02 * i;
        for (int c = 0; c < DW_MAX_CLASSES; c++)
            setting[i][c] = -1;
        truth[i] = 0.02 * random_value(&seed) + (light ? 0 : wave);
        all[i] = truth[i] + (light ? wave : 0) + 0.8 / (1 + exp((50 - i) / 3.0));
        if (i >= 20 && i < 80)
            x[i - 20] = 1 / (1 + exp((50 - i) / 3.0));
        unrest[i] = i >= 35 && i < 62 ? 0.01 : 0;
        /* third differences of the wave: 0.05 (2 pi / 10)^3, rms of a sine */
        rest[i] = told && i >= 30 && i < 67 ? 0.0088 : 0;
    }
    for (size_t step = 1; step <= 2; step++)
        for (size_t i = 0; i + step < VEILED; i++)
            pair[pairs++] = (struct dw_pair){(uint32_t)i, (uint32_t)(i + step),
                                             all[i + step] - all[i], 1e-6, true};
    struct dw_share share = {.p = &p,
                             .n = VEILED,
                             .unit_s = 120,
                             .time = time,
                             .alt = alt,
                             .loose = loose,
                             .unrest = unrest,
                             .n_pairs = pairs,
                             .pair = pair,
                             .setting = (const int(*)[DW_MAX_CLASSES])setting,
                             .follows = 1,
                             .follow = &follow,
                             .rest = rest,
                             .s = s,
                             .e = e,
                             .e_var = e_var,
                             .e_fast = e_fast,
                             .offset = offset,
                             .sigma = p.error_stops};
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_share_out(&share, &arena, NULL), DW_OK);
    dw_arena_free_to(&arena, 0);
    double mean = 0, squares = 0;
    for (int i = 35; i < 65; i++)
        mean += (e[i] - truth[i]) / 30;
    for (int i = 35; i < 65; i++)
        squares += pow(e[i] - truth[i] - mean, 2) / 30;
    return sqrt(squares);
}

START_TEST(light_in_a_veil_bends_by_what_contrasts_leave)
{
    ck_assert_double_lt(off_in_a_veil(true, true), 0.005);
    ck_assert_double_lt(off_in_a_veil(false, false), 0.012);
    /* taken for the other each is off by most of the wave, 0.027 and 0.030 */
}
END_TEST

int main(void)
{
    Suite *s = suite_create("veil");
    TCase *t = tcase_create("veil");
    tcase_add_test(t, light_in_a_veil_follows_contrasts);
    tcase_add_test(t, light_in_a_veil_by_night_follows_no_noise);
    tcase_add_test(t, neither_chance_nor_cars_are_followed);
    tcase_add_test(t, what_no_other_spell_goes_on_with_fades_out);
    tcase_add_test(t, light_in_a_veil_bends_by_what_contrasts_leave);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
