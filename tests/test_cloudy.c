/* test_cloudy.c: sharing out between light and exposure under broken cloud. The shoots are
 * invented, and so is their truth. */
#include "check_main.h"

#include "decide/cloud/cloudy.h"

#include <math.h>
#include <string.h>

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

enum { SHOTS = 120, COLS = 30, ROWS = 20, TILES = COLS * ROWS, SIDE = 3, AT = 60, EDGE = 8 };
enum { WRONG = 80, RIGHT = 90 };

/* Patches of 3 x 3 tiles, two of five covered by amounts of their own. Neighbours are compared by
 * pairs that all are wrong, by up to 0.025 stop, seven times what they say: cloud moved most tiles
 * alike. From shot 80 to 89 the record is wrong by a stop, which pairs are without. */
struct shoot {
    float light[SHOTS * TILES], noise[SHOTS * TILES], lever[SHOTS * TILES], shift[SHOTS][2];
    double time[SHOTS], alt[SHOTS], truth[SHOTS], jump[SHOTS], unrest[SHOTS], rest[SHOTS];
    double s[SHOTS], e[SHOTS], e_var[SHOTS], e_fast[SHOTS], offset[1];
    bool loose[SHOTS], bump[SHOTS];
    int setting[SHOTS][DW_MAX_CLASSES];
    struct dw_pair pair[2 * SHOTS];
    size_t pairs;
};
static struct shoot shoot;

static void make(unsigned seed)
{
    memset(&shoot, 0, sizeof shoot);
    for (int i = 0; i < SHOTS; i++) {
        shoot.time[i] = 120.0 * i;
        shoot.alt[i] = 40 + 0.02 * i;
        shoot.truth[i] = 0.06 * random_value(&seed);
        shoot.jump[i] = i >= WRONG && i < RIGHT ? 1 : 0;
        for (int c = 0; c < DW_MAX_CLASSES; c++)
            shoot.setting[i][c] = -1;
        double cloud[ROWS / SIDE + 1][COLS / SIDE];
        for (int y = 0; y <= ROWS / SIDE; y++)
            for (int x = 0; x < COLS / SIDE; x++) {
                bool covered = random_value(&seed) < -0.1;
                double by = 0.3 + fabs(random_value(&seed));
                cloud[y][x] = covered ? by : 0;
            }
        for (int k = 0; k < TILES; k++) {
            /* no cloud is alike all over */
            double over = cloud[k / COLS / SIDE][k % COLS / SIDE] * (1 + random_value(&seed));
            shoot.light[i * TILES + k] = (float)(0.01 * k + shoot.truth[i] + shoot.jump[i] - over +
                                                 0.004 * random_value(&seed));
            shoot.noise[i * TILES + k] = (float)(0.004 * 0.004 / 12);
        }
    }
    for (size_t step = 1; step <= 2; step++)
        for (size_t i = 0; i + step < SHOTS; i++) {
            double v = shoot.truth[i + step] - shoot.truth[i] + 0.05 * random_value(&seed);
            shoot.pair[shoot.pairs++] =
                (struct dw_pair){(uint32_t)i, (uint32_t)(i + step), v, 4e-6, false};
        }
}

static void share_out(void)
{
    static const struct dw_share_params p = DW_SHARE_DEFAULTS;
    const struct dw_grids grids = {SHOTS,       COLS,        ROWS,
                                   shoot.light, shoot.noise, shoot.lever,
                                   shoot.time,  shoot.loose, (const float(*)[2])shoot.shift};
    const struct dw_cloudy cloud = {&grids, shoot.bump, shoot.jump, {shoot.alt, NULL, NULL}};
    struct dw_share share = {.p = &p,
                             .n = SHOTS,
                             .unit_s = 120,
                             .time = shoot.time,
                             .alt = shoot.alt,
                             .loose = shoot.loose,
                             .unrest = shoot.unrest,
                             .n_pairs = shoot.pairs,
                             .pair = shoot.pair,
                             .setting = (const int(*)[DW_MAX_CLASSES])shoot.setting,
                             .rest = shoot.rest,
                             .s = shoot.s,
                             .e = shoot.e,
                             .e_var = shoot.e_var,
                             .e_fast = shoot.e_fast,
                             .offset = shoot.offset,
                             .sigma = p.error_stops};
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_cloudy_share_out(&cloud, &share, &arena, NULL), DW_OK);
    dw_arena_free_to(&arena, 0);
}

/* What is off in shot i beside the two about it. */
static double off(int i)
{
    double d[3];
    for (int p = 0; p < 3; p++)
        d[p] = shoot.e[i + p - 1] - shoot.truth[i + p - 1];
    return d[1] - 0.5 * (d[0] + d[2]);
}

/* Three of ten steps in which tiles disagree are cloud. */
START_TEST(cloud_is_where_tiles_disagree)
{
    struct dw_pair pair[100];
    for (int i = 0; i < 100; i++)
        pair[i] = (struct dw_pair){(uint32_t)i, (uint32_t)i + 1, 0, 1e-6, i % 5 != 0};
    ck_assert(!dw_cloudy(pair, 101));
    for (int i = 0; i < 100; i++)
        pair[i].agree = i % 5 > 1;
    ck_assert(dw_cloudy(pair, 101));
    ck_assert(!dw_cloudy(pair, 0));
    ck_assert(!dw_cloudy(pair, 1));
}
END_TEST

/* A blade that stuck once, 0.12 stop, while clouds bent all contrasts: tiles that came back tell
 * that it was no light. */
START_TEST(contrasts_that_cloud_bends_leave_errors_alone)
{
    for (unsigned seed = 1; seed <= 3; seed++) {
        make(seed);
        shoot.truth[AT] += 0.12;
        for (int k = 0; k < TILES; k++)
            shoot.light[AT * TILES + k] += 0.12f;
        for (int i = AT - 5; i < AT + 5; i++)
            shoot.unrest[i] = 0.05;
        share_out();
        for (int i = EDGE; i + EDGE < SHOTS; i++)
            ck_assert_msg(fabs(off(i)) < 0.003, "seed %u, shot %d: %.4f", seed, i, off(i));
    }
}
END_TEST

/* The first look at what comes back starts from pairs that are wrong, the second from what the
 * first one found: once leaves 0.0003 stop here. */
START_TEST(a_second_look_sees_better)
{
    for (unsigned seed = 1; seed <= 3; seed++) {
        double squares = 0;
        make(seed);
        share_out();
        for (int i = EDGE; i + EDGE < SHOTS; i++)
            squares += off(i) * off(i) / (SHOTS - 2 * EDGE);
        ck_assert_double_lt(sqrt(squares), 0.0002);
    }
}
END_TEST

/* A shot that cloud covers altogether is known by its pairs alone. They are sure of themselves, and
 * wrong by 0.03 stop; as much as pairs are wrong wherever more is known, so much are they doubted.
 */
START_TEST(pairs_of_a_covered_shot_are_doubted)
{
    for (unsigned seed = 1; seed <= 3; seed++) {
        unsigned other = 50 + seed;
        make(seed);
        for (int k = 0; k < TILES; k++)
            shoot.light[AT * TILES + k] -= (float)(0.3 + 0.3 * random_value(&other));
        for (size_t k = 0; k < shoot.pairs; k++) {
            struct dw_pair *p = &shoot.pair[k];
            if (p->a != AT && p->b != AT)
                continue;
            p->v = shoot.truth[p->b] - shoot.truth[p->a] + (p->b == AT ? 0.03 : -0.03);
            p->var = 1e-8;
        }
        share_out();
        ck_assert_double_lt(fabs(off(AT)), 5 * sqrt(1.5 * shoot.e_fast[AT]));
        for (int i = EDGE; i + EDGE < SHOTS; i++) {
            if (abs(i - AT) < 2)
                continue;
            ck_assert_double_lt(fabs(off(i)), 0.003);
            ck_assert_double_lt(shoot.e_fast[i], 0.001 * 0.001);
        }
    }
}
END_TEST

/* Fog fills the picture for 20 shots, in which nothing comes back, and thins at once by 0.15 stop:
 * what contrasts bend by then is light, or the shots at the edge would be off by 0.07. */
START_TEST(fog_that_covers_all_is_light)
{
    for (unsigned seed = 1; seed <= 3; seed++) {
        unsigned other = 50 + seed;
        double fog[SHOTS] = {0};
        make(seed);
        for (int i = AT - 10; i < AT + 10; i++) {
            fog[i] = i < AT ? -0.15 : 0;
            shoot.unrest[i] = i >= AT - 4 && i < AT + 2 ? 0.1 : 0;
            for (int k = 0; k < TILES; k++)
                shoot.light[i * TILES + k] -= (float)(0.3 + 0.3 * random_value(&other));
        }
        for (size_t k = 0; k < shoot.pairs; k++) {
            struct dw_pair *p = &shoot.pair[k];
            if (p->a >= AT - 10 && p->b < AT + 10)
                p->v = shoot.truth[p->b] - shoot.truth[p->a] + fog[p->b] - fog[p->a];
        }
        share_out();
        for (int i = AT - 4; i < AT + 4; i++)
            ck_assert_msg(fabs(off(i)) < 0.055, "seed %u, shot %d: %.4f", seed, i, off(i));
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("cloudy");
    TCase *t = tcase_create("sharing out");
    tcase_add_test(t, cloud_is_where_tiles_disagree);
    tcase_add_test(t, contrasts_that_cloud_bends_leave_errors_alone);
    tcase_add_test(t, a_second_look_sees_better);
    tcase_add_test(t, pairs_of_a_covered_shot_are_doubted);
    tcase_add_test(t, fog_that_covers_all_is_light);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
