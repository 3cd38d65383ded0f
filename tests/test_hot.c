/* test_hot.c: the map of hot pixels against the invented sensor's own list. */
#include "check_main.h"
#include "invented.h"

static bool listed(const struct dw_facts *f, int x, int y)
{
    for (size_t i = 0; i < f->n_hot; i++)
        if (f->hot[i].x == x && f->hot[i].y == y)
            return true;
    return false;
}

/* How many of a table's pixels, of those from `least` electrons a second on where it tells that,
 * are in the facts. */
static size_t found_of(const struct invented *v, const char *table, double least, size_t *all)
{
    struct dw_csv t = invented_table(v, table);
    int x = dw_csv_column(&t, "x"), y = dw_csv_column(&t, "y"),
        glow = dw_csv_column(&t, "electrons_per_s");
    size_t found = 0;
    *all = 0;
    for (size_t i = 0; i < t.rows; i++) {
        if (glow >= 0 && strtod(dw_csv_field(&t, i, glow), NULL) < least)
            continue;
        (*all)++;
        found +=
            listed(&v->decision.facts, atoi(dw_csv_field(&t, i, x)), atoi(dw_csv_field(&t, i, y)));
    }
    dw_csv_free(&t);
    return found;
}

/* With a pole in the picture, a house with lamps, a catalogue of stars: all of these stand or
 * shine as well, and must not be taken for hot pixels; nor dark windows and gaps for dead ones. */
START_TEST(hot_and_dead_pixels_are_found_and_stars_are_not)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 2 --interval 1200 --frames 78 --dead 0.0001");
    size_t any, bright, dead;
    size_t found_any = found_of(&v, "truth/hot.csv", 0, &any);
    size_t found = found_of(&v, "truth/hot.csv", 6, &bright);
    size_t found_dead = found_of(&v, "truth/dead.csv", 0, &dead);
    size_t others = v.decision.facts.n_hot - found_any - found_dead;
    printf("# %zu of %zu bright hot pixels found (%zu of all %zu), %zu of %zu dead ones, %zu "
           "others\n",
           found, bright, found_any, any, found_dead, dead, others);
    ck_assert_uint_gt(bright, 50);
    ck_assert_uint_gt(dead, 50);
    ck_assert_uint_ge(found * 100, bright * 97);
    ck_assert_uint_ge(found_dead * 100, dead * 95);
    ck_assert_uint_le(others * 50, bright + dead);
    for (size_t i = 1; i < v.decision.facts.n_hot; i++) { /* sorted by y, then x, none twice */
        const struct dw_hot *a = &v.decision.facts.hot[i - 1], *b = a + 1;
        ck_assert(a->y < b->y || (a->y == b->y && a->x < b->x));
    }
    invented_free(&v);
}
END_TEST

/* Where a room about a window is lit and burnt out for half of the night its hot pixels cannot be
 * seen, but all the better in the dark wall once the lamp is off. Two lie side by side. */
START_TEST(hot_pixels_in_a_room_that_goes_dark_are_found)
{
    struct invented v;
    invented_make(&v, "--scene window --seed 3 --interval 900 --frames 104");
    size_t bright, found = found_of(&v, "truth/hot.csv", 6, &bright);
    printf("# %zu of %zu bright hot pixels found about a window\n", found, bright);
    ck_assert_uint_gt(bright, 50);
    ck_assert_uint_ge(found * 100, bright * 97);
    ck_assert_uint_le(v.decision.facts.n_hot, 150);
    ck_assert(listed(&v.decision.facts, 677, 213) && listed(&v.decision.facts, 678, 212));
    invented_free(&v);
}
END_TEST

START_TEST(a_shoot_by_day_alone_teaches_no_hot_pixel)
{
    struct invented v;
    invented_make(&v, "--scene clear --seed 2 --interval 300 --frames 24");
    ck_assert_uint_eq(v.decision.facts.n_hot, 0);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("hot");
    TCase *t = tcase_create("hot");
    tcase_add_test(t, hot_and_dead_pixels_are_found_and_stars_are_not);
    tcase_add_test(t, hot_pixels_in_a_room_that_goes_dark_are_found);
    tcase_add_test(t, a_shoot_by_day_alone_teaches_no_hot_pixel);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
