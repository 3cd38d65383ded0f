/* test_moonlight.c: a moon beside the sun's law. Light and errors are invented. */
#include "check_main.h"

#include "base/robust.h"
#include "decide/share/moonlight.h"

#include <daywheel/sky.h>
#include <math.h>
#include <string.h>

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* A day from noon to noon, exposed wrong by up to 0.05 stop. In dusk, when the sun is 11 degrees
 * down, a full moon rises; it stands in the sky all night and goes down after dawn. The camera sees
 * more of low light than a level plain does, of the moon's a fifth less than of the sun's, and a
 * night's own light. */
enum { DAY = 720, PAIRS = 2 * DAY - 3 };
#define MOONRISE 240
struct moonlit {
    double time[DAY], alt[DAY], moon_deg[DAY], moon_beside[DAY], light[DAY], error[DAY];
    double unrest[DAY], rest[DAY], s[DAY], e[DAY], e_var[DAY], e_fast[DAY], offset[1];
    bool loose[DAY];
    int setting[DAY][DW_MAX_CLASSES];
    struct dw_pair pair[PAIRS];
    struct dw_share_params p;
    struct dw_share share;
};

/* Of a sun at this altitude. */
static double seen(double alt)
{
    return exp2(16.8 - 10 * log1p(exp((2 - alt) / 8)) + 1.5 * exp(-0.5 * pow(alt / 12, 2)));
}

static void make_moonlit(struct moonlit *m, double beside, unsigned seed)
{
    memset(m, 0, sizeof *m);
    m->p = (struct dw_share_params)DW_SHARE_DEFAULTS;
    for (int i = 0; i < DAY; i++) {
        m->time[i] = 120.0 * i;
        m->alt[i] = 5 + 48 * cos(2 * M_PI * i / DAY);
        m->moon_deg[i] = 50 * sin(2 * M_PI * (i - MOONRISE) / DAY);
        m->moon_beside[i] = beside;
        m->light[i] = log2(seen(m->alt[i]) + 0.002 + 0.8 * beside * seen(m->moon_deg[i]));
        m->error[i] = 0.1 * random_value(&seed);
        for (int c = 0; c < DW_MAX_CLASSES; c++)
            m->setting[i][c] = -1;
    }
    size_t pairs = 0;
    for (size_t step = 1; step <= 2; step++)
        for (size_t i = 0; i + step < DAY; i++)
            m->pair[pairs++] = (struct dw_pair){
                (uint32_t)i, (uint32_t)(i + step),
                m->light[i + step] + m->error[i + step] - m->light[i] - m->error[i], 1e-7, true};
    m->share = (struct dw_share){.p = &m->p,
                                 .n = DAY,
                                 .unit_s = 120,
                                 .time = m->time,
                                 .alt = m->alt,
                                 .moon_deg = m->moon_deg,
                                 .moon_beside = m->moon_beside,
                                 .loose = m->loose,
                                 .unrest = m->unrest,
                                 .n_pairs = pairs,
                                 .pair = m->pair,
                                 .setting = (const int(*)[DW_MAX_CLASSES])m->setting,
                                 .rest = m->rest,
                                 .s = m->s,
                                 .e = m->e,
                                 .e_var = m->e_var,
                                 .e_fast = m->e_fast,
                                 .offset = m->offset,
                                 .sigma = m->p.error_stops};
}

/* rms of what is left of errors about the moon's rise, less a cubic through seven neighbours
 * (Savitzky & Golay 1964). */
static double left(const struct moonlit *m)
{
    static const double cubic[7] = {-2, 3, 6, 7, 6, 3, -2};
    double sum = 0;
    for (int i = MOONRISE - 30; i < MOONRISE + 30; i++) {
        double off = m->e[i] - m->error[i];
        for (int k = 0; k < 7; k++)
            off -= cubic[k] / 21 * (m->e[i - 3 + k] - m->error[i - 3 + k]);
        sum += off * off / 60;
    }
    return sqrt(sum);
}

/* A moon that rises in dusk bends light as no law of the sun can. What it gives is taken off the
 * pairs to learn it, and they get it back. */
START_TEST(a_moon_that_rises_in_dusk_is_light)
{
    static struct moonlit with, without;
    struct dw_arena arena = {0};
    make_moonlit(&with, 2e-6, (unsigned)_i + 1);
    make_moonlit(&without, 2e-6, (unsigned)_i + 1);
    without.share.moon_deg = NULL;
    ck_assert_int_eq(dw_share_out(&with.share, &arena, NULL), DW_OK);
    ck_assert_int_eq(dw_share_out(&without.share, &arena, NULL), DW_OK);
    ck_assert_msg(left(&with) < 0.0006 && left(&without) > 2 * left(&with), "seed %d: %.5f, %.5f",
                  _i + 1, left(&with), left(&without));
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* A moon that is said to be there and is not (it stands behind a mountain) does no harm. */
START_TEST(a_moon_that_does_not_show_does_no_harm)
{
    static struct moonlit m;
    struct dw_arena arena = {0};
    make_moonlit(&m, 0, 3);
    for (int i = 0; i < DAY; i++)
        m.moon_beside[i] = 4e-7; /* five days old */
    ck_assert_int_eq(dw_share_out(&m.share, &arena, NULL), DW_OK);
    ck_assert_double_lt(left(&m), 0.0006);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* By hand: what a moon gives is the light of its share, whatever the law is; where none shines
 * nothing is taken, and a shoot by day or under a new moon has none. */
START_TEST(light_is_that_of_sun_and_moon)
{
    static struct moonlit m;
    struct dw_arena arena = {0};
    struct dw_moonlight moon;
    struct dw_light_law law;
    double was[PAIRS];
    make_moonlit(&m, 2e-6, 1);
    ck_assert(dw_law_lay_out(&law, &m.p.law, DAY, m.time, m.alt, 120, &arena));
    ck_assert(dw_moonlight_lay_out(&moon, &m.share, &arena) && moon.n == DAY);
    for (size_t k = 0; k < PAIRS; k++)
        was[k] = m.pair[k].v;
    dw_moonlight_take(&moon, &m.share, &law);
    for (int i = 0; i < DAY; i++) {
        double w = moon.share[i], sun = moon.sun[i] + moon.above;
        double moons = m.moon_deg[i] > -18 ? dw_sun_illuminance_lx(m.moon_deg[i]) * 2e-6 : 0;
        double suns = dw_sun_illuminance_lx(m.alt[i]);
        ck_assert_double_eq_tol(w, moons / (moons + suns), 0.1);
        if (w > 0)
            ck_assert_double_eq_tol(moon.fixed[i] + (1 - w) * sun, sun - log2(1 - w), 1e-9);
        else
            ck_assert(moon.fixed[i] == 0 && moons < 1e-3 * suns);
        for (int q = 0; q < 4; q++)
            ck_assert_double_eq_tol(law.level[i][q], (1 - w) * law.basis[i][q], 1e-12);
    }
    /* what the pictures have above the published, by the brighter half */
    double above[DAY], middle = m.light[DAY / 2];
    size_t n = 0;
    for (int i = 0; i < DAY; i++)
        if (m.alt[i] > 5)
            above[n++] = m.light[i] - middle - log2(dw_sun_illuminance_lx(m.alt[i]));
    ck_assert_double_eq_tol(moon.above, dw_median(above, n), 0.1);
    for (size_t k = 0; k < PAIRS; k++)
        ck_assert_double_eq_tol(m.pair[k].v,
                                was[k] - moon.fixed[m.pair[k].b] + moon.fixed[m.pair[k].a], 1e-9);
    dw_moonlight_give_back(&moon, &m.share, 0.5);
    for (size_t k = 0; k < PAIRS; k++)
        ck_assert_double_eq_tol(m.pair[k].v, was[k], 1e-9);
    ck_assert_double_eq_tol(m.s[400], moon.fixed[400] + 0.5 * moon.share[400], 1e-12);
    /* a moon that goes where none is believed to be is let go */
    memset(moon.fixed, 0, DAY * sizeof *moon.fixed);
    memset(law.coef, 0, (size_t)law.spline.n * sizeof *law.coef);
    dw_moonlight_learn(&moon, 20);
    dw_moonlight_take(&moon, &m.share, &law);
    for (int i = 0; i < DAY; i++) {
        ck_assert(moon.share[i] == 0 && moon.fixed[i] == 0);
        ck_assert_double_eq_tol(law.level[i][0], law.basis[i][0], 1e-12);
    }
    for (size_t k = 0; k < PAIRS; k++)
        ck_assert_double_eq_tol(m.pair[k].v, was[k], 1e-9);
    for (int i = 0; i < DAY; i++)
        m.moon_beside[i] = 0;
    ck_assert(dw_moonlight_lay_out(&moon, &m.share, &arena) && moon.n == 0);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* By hand: five solutions leave the level where it is believed to be; then it is believed to lie
 * within 0.1 stop of where it was found last and within 0.3 of 0, the two together within
 * 1/sqrt(1/0.01 + 1/0.09) of nine tenths of the former. Unless it moves so, a wild solution lets go
 * a moon that shines. */
START_TEST(its_level_moves_by_steps)
{
    static struct moonlit m;
    struct dw_arena arena = {0};
    struct dw_moonlight moon;
    struct dw_light_law law;
    make_moonlit(&m, 2e-6, 1);
    ck_assert(dw_law_lay_out(&law, &m.p.law, DAY, m.time, m.alt, 120, &arena));
    ck_assert(dw_moonlight_lay_out(&moon, &m.share, &arena));
    memset(law.coef, 0, (size_t)law.spline.n * sizeof *law.coef);
    ck_assert(isinf(law.night_slope));
    for (int round = 0; round < 5; round++) {
        ck_assert(dw_moonlight_is_led(&moon));
        dw_moonlight_take(&moon, &m.share, &law);
        ck_assert(moon.by.weight > 1e5 && law.night_slope < 0.03);
        dw_moonlight_learn(&moon, 0);
    }
    ck_assert(!dw_moonlight_is_led(&moon));
    for (int round = 0; round < 2; round++) {
        dw_moonlight_take(&moon, &m.share, &law);
        ck_assert_double_eq_tol(moon.by.weight, 1 / 0.01 + 1 / 0.09, 1e-6);
        ck_assert_double_eq_tol(moon.about, round * 0.3 * 0.9, 1e-9);
        ck_assert(law.night_slope > 0.05 && law.night_slope < 0.2);
        dw_moonlight_learn(&moon, 0.3);
    }
    ck_assert_double_eq_tol(moon.level, 0.57, 1e-9);
    ck_assert(!moon.lost);
    dw_moonlight_take(&moon, &m.share, &law);
    dw_moonlight_learn(&moon, 1);
    ck_assert(moon.lost);
    dw_moonlight_take(&moon, &m.share, &law);
    ck_assert(isinf(law.night_slope));
    dw_arena_free_to(&arena, 0);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("moonlight");
    TCase *t = tcase_create("moonlight");
    tcase_add_loop_test(t, a_moon_that_rises_in_dusk_is_light, 0, 3);
    tcase_add_test(t, a_moon_that_does_not_show_does_no_harm);
    tcase_add_test(t, light_is_that_of_sun_and_moon);
    tcase_add_test(t, its_level_moves_by_steps);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
