/* test_line.c: the crossover, the brightness line and the frame list's weights. */
#include "check_main.h"
#include "fake_shoot.h"

#include "decide/steps.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Arithmetic of 6x^5-15x^4+10x^3 between -12 and 0 degrees. */
START_TEST(crossover_is_the_fifth_order_step)
{
    const double h[7] = {-20, -12, -9, -6, -3, 0, 30};
    const double want[7] = {0, 0, 0.103515625, 0.5, 0.896484375, 1, 1};
    for (int i = 0; i < 7; i++)
        ck_assert_double_eq_tol(dw_crossover(h[i], -12, 0), want[i], 1e-12);
    /* no corner at either end: two derivatives vanish */
    for (int end = 0; end < 2; end++) {
        double at = end ? 0 : -12, d = 1e-3;
        double second = dw_crossover(at - d, -12, 0) - 2 * dw_crossover(at, -12, 0) +
                        dw_crossover(at + d, -12, 0);
        ck_assert_double_lt(fabs(second) / (d * d), 1e-3);
    }
    for (double x = -12; x < 0; x += 0.1)
        ck_assert_double_le(dw_crossover(x, -12, 0), dw_crossover(x + 0.1, -12, 0));
    ck_assert_double_eq(dw_crossover((double)NAN, -12, 0), 0);
}
END_TEST

/* The law by hand: at the reference the key is near key_day, 25 stops below near key_night, and
 * between them one stop of light is log2(0.235/0.0140)/25 = 0.1628 stop of output. */
START_TEST(key_follows_the_light_softly)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_work w = {.params = &params, .reference = 11};
    ck_assert_double_eq_tol(log2(dw_line_key(&w, 1) / dw_line_key(&w, 0)), 0.16277, 6e-4);
    ck_assert_double_eq_tol(dw_line_key(&w, 11) / 0.235, 1, 0.15);
    ck_assert_double_eq_tol(dw_line_key(&w, -60) / 0.0140, 1, 1e-3);
    ck_assert_double_eq_tol(log2(dw_line_key(&w, 90) / 0.235), 0.8 * 0.16277, 1e-3);
    double last = 0, slope = 0;
    for (double light = -40; light < 40; light += 0.25) {
        double key = log2(dw_line_key(&w, light));
        if (light > -40) {
            ck_assert_double_ge(key, last);                      /* never darker in more light */
            ck_assert_double_lt(fabs(key - last - slope), 0.01); /* nor does the slope jump */
            slope = key - last;
        }
        last = key;
    }
    ck_assert(isfinite(dw_line_key(&w, -1e6)) && isfinite(dw_line_key(&w, 1e6)));
}
END_TEST

/* 0.06 stop, between -12 and -24 degrees; half of it half way. */
START_TEST(key_gives_way_to_stars)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_work w = {.params = &params, .reference = 11};
    const double alt[] = {40, -12, -18, -24, -80}, sunk[] = {0, 0, 0.03, 0.06, 0.06};
    for (int i = 0; i < 5; i++)
        ck_assert_double_eq_tol(log2(dw_line_key(&w, -10) / dw_key_at(&w, -10, alt[i])), sunk[i],
                                1e-9);
}
END_TEST

/* CIE 1976 lightness of a linear level. */
static double lightness(double y)
{
    return y > 216.0 / 24389 ? 116 * cbrt(y) - 16 : 24389.0 / 27 * y;
}

/* Nothing in the key may jump, nor its slope: second difference below 0.3 L* (a project aim; the
 * eye sees about 0.5). Also under fog of cloud, a moon, in white and polar nights. */
static const struct {
    double lat, days, cloud, moon;
} skies[] = {{47.6, 0, 0, 0}, {47.6, 0, 0.5, 0}, {47.6, 0, 0, 9},
             {66, 86, 0, 0},  {69, -97, 0, 0},   {-33, 0, 0, 0}};

START_TEST(key_is_smooth_and_no_limits_are_missed)
{
    struct fake_params p = fake_defaults(1);
    p.site.lat_deg = skies[_i].lat;
    p.start_utc += 86400 * skies[_i].days;
    p.cloud = skies[_i].cloud;
    p.moonrise_utc = skies[_i].moon > 0 ? p.start_utc + 3600 * skies[_i].moon : 0;
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double worst = 0, bright = 0, dark = 1;
    for (size_t i = 0; i < d.n_frames; i++) {
        ck_assert(d.frame[i].key > 0.01 && d.frame[i].key < 0.3);
        bright = fmax(bright, d.frame[i].key);
        dark = fmin(dark, d.frame[i].key);
        if (i > 1)
            worst = fmax(worst, fabs(lightness(d.frame[i].key) - 2 * lightness(d.frame[i - 1].key) +
                                     lightness(d.frame[i - 2].key)));
    }
    ck_assert_double_lt(worst, 0.3);
    if (skies[_i].lat == 47.6 && skies[_i].moon == 0) {
        ck_assert_double_gt(bright, 0.2);
        ck_assert_double_lt(dark, 0.03);
    }
    if (skies[_i].lat == 66) /* a white night gets only as dark as it is */
        ck_assert_double_gt(dark, 0.1);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

static int rising(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The scene's key after gain lies at 1 on the smooth line: the mean of tiles' light, each within
 * 0.8 stops of the middle one, errors taken off. */
START_TEST(gain_brings_the_key_to_one)
{
    struct fake_params p = fake_defaults(2);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double worst = 0;
    for (size_t i = 0; i < d.n_frames; i++) {
        const struct dw_source *s = &d.frame[i].source[0];
        const struct dw_levels *l = dw_facts_levels(&d.facts, &f.shots.shot[s->shot]);
        double light[600], order[600], sum = 0;
        for (int k = 0; k < 600; k++)
            order[k] = light[k] =
                log2(((double)f.survey.measure[s->shot].tile[k].mean[1] - (double)l->black[1]) /
                     (double)(l->white - l->black[1]));
        qsort(order, 600, sizeof *order, rising);
        double middle = (order[299] + order[300]) / 2;
        for (int k = 0; k < 600; k++)
            sum += fmin(fmax(light[k], middle - 0.8), middle + 0.8);
        worst = fmax(worst, fabs(sum / 600 + s->gain_stops));
    }
    ck_assert_double_lt(worst, 0.15);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Three fades, each in its own window (docs/method/look.md): day tone -12..-3, balance -17..-6,
 * stars -17..-12. */
START_TEST(three_fades_have_their_own_windows)
{
    struct fake_params p = fake_defaults(3);
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    for (size_t i = 0; i < d.n_frames; i++) {
        const struct dw_frame *r = &d.frame[i];
        double h = r->sun_alt_deg;
        ck_assert_double_eq_tol(r->day, dw_crossover(h, -12, -3), 1e-12);
        ck_assert_double_eq_tol(r->balance, dw_crossover(h, -17, -6), 1e-12);
        ck_assert_double_eq_tol(r->stars, 1 - dw_crossover(h, -17, -12), 1e-12);
        ck_assert(r->day == 0 || r->stars == 0); /* no star lift in a day-toned sky */
    }
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Invented light of a clear day and night, stops, smooth in the sun's altitude: nearly even by day,
 * a stop a degree by twilight, 13 stops lower by night. */
static double clear_light(double alt)
{
    double fall = 2 * log1p(exp((2 - alt) / 2));
    return 10 + 0.03 * alt - fall + log1p(exp(fall - 13));
}

/* 0 before, 1 after, half an hour of cloud's edge between. */
static double come(double hours)
{
    return dw_crossover(hours, 0, 0.5);
}

enum { CURVE_SHOTS = 721 }; /* from noon to noon, 120 s apart */

/* The line through a light curve; NULL: clear all the time. departs: stops, at hours after noon. */
struct curve {
    double light[CURVE_SHOTS], line[CURVE_SHOTS], hours[CURVE_SHOTS], alt[CURVE_SHOTS];
    double reference;
};

static void follow(struct curve *c, double (*departs)(double hours))
{
    static bool usable[CURVE_SHOTS];
    double utc[CURVE_SHOTS], error[CURVE_SHOTS];
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_facts facts;
    struct dw_error err;
    memset(&facts, 0, sizeof facts);
    for (int i = 0; i < CURVE_SHOTS; i++) {
        utc[i] = 1.7e9 + 120.0 * i;
        usable[i] = true;
        error[i] = 0;
        c->hours[i] = i / 30.0;
        c->alt[i] = 5 + 40 * cos(2 * 3.14159265358979323846 * c->hours[i] / 24);
        c->light[i] = clear_light(c->alt[i]) + (departs ? departs(c->hours[i]) : 0);
    }
    struct dw_work w = {.params = &params,
                        .n = CURVE_SHOTS,
                        .utc = utc,
                        .alt = c->alt,
                        .interval = 120,
                        .usable = usable,
                        .key = c->light,
                        .error = error};
    ck_assert_int_ge(dw_line(&w, &facts, &err), 0);
    memcpy(c->line, w.line, sizeof c->line);
    c->reference = w.reference;
    dw_arena_free_to(&w.arena, 0);
    dw_facts_free(&facts);
}

/* Banks of cloud, darker and brighter than the sky they hide; twice in the last two, at altitudes
 * that overlap, so that the law of light knows others at few of them. */
static double dark_bank(double h)
{
    return -2 * (come(h - 2) - come(h - 3));
}
static double bright_bank(double h)
{
    return 1.6 * (come(h - 4) - come(h - 5));
}
static double dark_banks(double h)
{
    return dark_bank(h) + dark_bank(24.8 - h);
}
static double bright_banks(double h)
{
    return bright_bank(h) + bright_bank(23.5 - h);
}
static double (*const banks[])(double) = {dark_bank, bright_bank, dark_banks, bright_banks};

/* Clear frames are as bright as on a clear day, before a bank as after it; under it the line gives
 * way, partly, and without a lurch (second difference of the key's L* below 0.3, as elsewhere). */
START_TEST(banks_of_cloud_are_not_foreseen)
{
    static struct curve clear, cloudy;
    follow(&clear, NULL);
    follow(&cloudy, banks[_i]);
    double worst = 0, gives = 0, lurch = 0;
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    struct dw_work w = {.params = &params, .reference = cloudy.reference};
    for (int i = 2; i + 2 < CURVE_SHOTS; i++) {
        double off = cloudy.line[i] - clear.line[i], l[3];
        if (banks[_i](cloudy.hours[i - 2]) == 0 && banks[_i](cloudy.hours[i + 2]) == 0)
            worst = fmax(worst, fabs(off));
        double deep = banks[_i](cloudy.hours[i]);
        if (fabs(deep) > 1)
            gives = fmax(gives, off / deep);
        for (int k = 0; k < 3; k++)
            l[k] = lightness(dw_line_key(&w, cloudy.line[i - k]));
        lurch = fmax(lurch, fabs(l[0] - 2 * l[1] + l[2]));
    }
    ck_assert_double_lt(worst, 0.05);
    ck_assert_double_lt(fabs(cloudy.reference - clear.reference), 0.1);
    ck_assert_double_gt(gives, 0.1);
    ck_assert_double_lt(gives, 0.7);
    ck_assert_double_lt(lurch, 0.3);
}
END_TEST

/* Cloud that comes and stays, and a night. */
static double overcast_morning(double h)
{
    return -2 * come(h - 19);
}
static double overcast_from_afternoon(double h)
{
    return -2 * come(h - 2);
}
static double nearly_always_overcast(double h)
{
    return -2 * (1 - come(h - 2) + come(h - 3));
}
/* Two dark hours after dusk, then a moon rises, and shines until after dawn. */
static double moonlit_night(double h)
{
    return 2.5 * (dw_crossover(h, 9.5, 11) - dw_crossover(h, 15.5, 17.5));
}
static const struct {
    double (*departs)(double);
    double from, to, followed; /* hours between which the line is at the light, stops */
} long_cloud[] = {{overcast_morning, 20.5, 24, 0.1},
                  {overcast_from_afternoon, 3.5, 24, 0.1},
                  {nearly_always_overcast, 4.5, 24, 0.1},
                  {moonlit_night, 0, 24, 0.85}};

START_TEST(light_that_stays_is_followed)
{
    static struct curve c;
    follow(&c, long_cloud[_i].departs);
    for (int i = 0; i < CURVE_SHOTS; i++)
        if (c.hours[i] >= long_cloud[_i].from && c.hours[i] <= long_cloud[_i].to)
            ck_assert_double_le(fabs(c.line[i] - c.light[i]), long_cloud[_i].followed);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("line");
    TCase *t = tcase_create("all");
    tcase_add_test(t, crossover_is_the_fifth_order_step);
    tcase_add_test(t, key_follows_the_light_softly);
    tcase_add_test(t, key_gives_way_to_stars);
    tcase_add_loop_test(t, key_is_smooth_and_no_limits_are_missed, 0,
                        (int)(sizeof skies / sizeof skies[0]));
    tcase_add_loop_test(t, banks_of_cloud_are_not_foreseen, 0, (int)(sizeof banks / sizeof *banks));
    tcase_add_loop_test(t, light_that_stays_is_followed, 0,
                        (int)(sizeof long_cloud / sizeof *long_cloud));
    tcase_add_test(t, gain_brings_the_key_to_one);
    tcase_add_test(t, three_fades_have_their_own_windows);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
