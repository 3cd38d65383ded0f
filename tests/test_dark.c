/* test_dark.c: what black levels are wrong by (dark.c, dark_fit.c, part.c), on invented shoots
 * whose truth is known. */
#include "check_main.h"
#include "fake_shoot.h"
#include "invented.h"

#include "decide/sensor/dark_fit.h"

#include <math.h>
#include <stdio.h>

enum { SPELLS = 250 };

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

static double random_normal(unsigned *seed)
{
    double sum = 0; /* of twelve uniform values: normal to far beyond what matters here */
    for (int i = 0; i < 12; i++)
        sum += random_value(seed);
    return sum;
}

/* A night's spells, all of one setting: exposure errors of 0.02 stop, what is off from spell to
 * spell (DN rms) and how precisely they say it. */
static void make_night(struct dw_dark_told *told, unsigned seed, double offset, double wander,
                       double noise, double lever)
{
    for (int i = 0; i < SPELLS; i++) {
        double change = wander * random_normal(&seed), x = -0.0139 * random_normal(&seed);
        double seen = x - 0.693 * lever * change; /* a rise of black lifts what is called common */
        told[i] = (struct dw_dark_told){.black = offset * x + change + noise * random_normal(&seed),
                                        .var = noise * noise,
                                        .per_dn = {seen, seen},
                                        .less = {-0.693 * lever, -0.693 * lever}};
    }
}

/* Both parts together: all spells are of one setting, in which they are the same. */
static double found_in(const struct dw_dark_told *told)
{
    double work[SPELLS], found[2];
    dw_dark_fit(told, SPELLS, work, found);
    return found[0] + found[1];
}

/* Tens of counts are found where dark tiles tell, whatever most cameras have; least squares without
 * a prior would be off by 0.5 and 0.05 DN rms. */
START_TEST(large_offsets_are_found)
{
    static const struct {
        double offset, noise, tolerance;
    } c[] = {{0.3, 0.01, 0.2}, {3, 0.02, 0.5}, {30, 0.08, 1.5}, {150, 0.08, 1.5}};
    struct dw_dark_told told[SPELLS];
    make_night(told, 1 + (unsigned)_i / 4, c[_i % 4].offset, 0, c[_i % 4].noise, 0);
    ck_assert_double_eq_tol(found_in(told), c[_i % 4].offset, c[_i % 4].tolerance);
}
END_TEST

/* Tens of counts that only shots of one setting tell of are dark current for the most part: the
 * shortest shots must not be taken to have them. */
START_TEST(one_setting_tells_of_dark_current)
{
    struct dw_dark_told told[SPELLS];
    double work[SPELLS], found[2];
    make_night(told, 1 + (unsigned)_i, 30, 0, 0.08, 0);
    dw_dark_fit(told, SPELLS, work, found);
    ck_assert_double_lt(fabs(found[0]), 3);
    ck_assert_double_eq_tol(found[1], 30, 3);
}
END_TEST

/* Where next to nothing is told, chance is not believed: alone it would make 4.5 DN rms. */
START_TEST(chance_is_no_offset)
{
    struct dw_dark_told told[SPELLS];
    double squares = 0;
    for (unsigned seed = 1; seed <= 40; seed++) {
        make_night(told, seed, 0, 0, 1, 0);
        squares += pow(found_in(told), 2) / 40;
    }
    ck_assert_double_lt(sqrt(squares), 0.4);
}
END_TEST

/* A black measured anew for every shot lifts all tiles a little, and with them the change that is
 * taken for the exposure's: that goes along with what dark tiles show, and is no offset. */
START_TEST(a_black_that_jumps_is_no_offset)
{
    struct dw_dark_told told[SPELLS];
    make_night(told, 1 + (unsigned)_i, 0.3, 1, 0.03, 0.004);
    ck_assert_double_eq_tol(found_in(told), 0.3, 1);
}
END_TEST

/* A shoot with a dark current of so many DN in half a minute at ISO 800: every shot's black is
 * found, also while the shutter goes from a second to half a minute at one ISO, and errors by night
 * are found as without it, but for its photons. */
START_TEST(every_shot_has_its_own_dark_current)
{
    static const double dark_dn[] = {0, 3, 30};
    struct fake_params p = fake_defaults(1 + (unsigned)_i / 3);
    p.frames = 500;
    p.dark_dn = dark_dn[_i % 3];
    struct fake_shoot f = fake_make(&p);
    struct dw_decision d = fake_decide(&f);
    double *error = malloc(f.shots.n * sizeof *error);
    ck_assert_ptr_nonnull(error);
    for (size_t i = 0; i < f.shots.n; i++) {
        const struct dw_shot *s = &f.shots.shot[i];
        double truth = p.dark_dn * s->shutter_s * s->iso / 100 / 256;
        double found = (double)dw_facts_levels(&d.facts, s)->black[1] - 512;
        ck_assert_msg(fabs(found - truth) < 0.4 + 0.02 * truth,
                      "dark %g, %g s at ISO %g: %.3f, true %.3f", p.dark_dn, s->shutter_s, s->iso,
                      found, truth);
        error[i] = d.ledger[i].flicker_stops;
    }
    double night = fake_steadying_error(&f, error, -90, -12);
    ck_assert_msg(night < 0.0006, "dark %g, seed %u: %.5f by night", p.dark_dn, p.seed, night);
    free(error);
    dw_decision_free(&d);
    fake_free(&f);
}
END_TEST

/* Broken cloud that a half moon lights brightens the sky and not the dark ground, which a black
 * that is off would do as well; but then most tiles would go one way. */
START_TEST(moonlit_cloud_is_no_black)
{
    static const int seed[] = {62, 64, 65};
    struct invented v;
    char options[200];
    snprintf(options, sizeof options,
             "--scene broken-cloud --seed %d --moon on --frames 300 --size 360x240 "
             "--start 2025-10-11T18:30:00Z",
             seed[_i]);
    invented_make(&v, options);
    double worst = 0;
    ck_assert_uint_gt(v.decision.facts.n_levels, 0);
    for (size_t l = 0; l < v.decision.facts.n_levels; l++)
        worst = fmax(worst, fabs((double)v.decision.facts.levels[l].black[1] - 512));
    printf("# black off by %.2f DN at most\n", worst);
    ck_assert_double_lt(worst, 1);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("dark");
    TCase *t = tcase_create("fit");
    tcase_add_loop_test(t, large_offsets_are_found, 0, 12);
    tcase_add_loop_test(t, one_setting_tells_of_dark_current, 0, 3);
    tcase_add_test(t, chance_is_no_offset);
    tcase_add_loop_test(t, a_black_that_jumps_is_no_offset, 0, 5);
    suite_add_tcase(s, t);
    t = tcase_create("shoots");
    tcase_set_timeout(t, 120);
    tcase_add_loop_test(t, every_shot_has_its_own_dark_current, 0, 6);
    tcase_add_loop_test(t, moonlit_cloud_is_no_black, 0, 3);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
