/* test_spells.c: spells in which light is seen to bend. Bends are invented; the limits of spells
 * are by hand. */
#include "check_main.h"

#include "decide/veils/spells.h"

#include <string.h>

enum { N = 3000, APART = 40 };

static double unrest[N], along[N];
static bool bump[N];
static struct dw_spell spell[DW_MOST_SPELLS];

static size_t find(void)
{
    const struct dw_beside beside = {.unit_s = 120, .unrest = unrest, .along = along};
    return dw_spells_find(&beside, bump, N, spell);
}

static void make_calm(void)
{
    memset(unrest, 0, sizeof unrest);
    memset(along, 0, sizeof along);
    memset(bump, 0, sizeof bump);
}

/* A bend is one over four shots; a spell begins 24 before it and ends 24 after. */
START_TEST(a_spell_is_about_bends_that_are_strong_somewhere)
{
    make_calm();
    ck_assert_uint_eq(find(), 0);
    unrest[100] = 0.001; /* dusk */
    ck_assert_uint_eq(find(), 0);
    along[115] = 0.004; /* no more than twelve shots behind it */
    ck_assert_uint_eq(find(), 1);
    ck_assert(spell[0].first == 76 && spell[0].last == 142);
    ck_assert_double_eq(spell[0].unrest, 0.004);
}
END_TEST

/* Dusks, however many, leave room for the fog behind them. */
START_TEST(weak_bends_take_no_room)
{
    make_calm();
    for (size_t k = 1; k <= DW_MOST_SPELLS + 5; k++)
        unrest[k * APART] = 0.001;
    unrest[2900] = 0.01;
    ck_assert_uint_eq(find(), 1);
    ck_assert(spell[0].first == 2876 && spell[0].last == 2927);
    for (size_t k = 1; k <= DW_MOST_SPELLS + 5; k++)
        unrest[k * APART] = 0.01;
    ck_assert_uint_eq(find(), DW_MOST_SPELLS); /* the first ones */
    ck_assert(spell[DW_MOST_SPELLS - 1].first < DW_MOST_SPELLS * APART);
}
END_TEST

/* Neighbours meet halfway; but not over a bump, on whichever side of the middle that is. */
START_TEST(neighbours_meet_unless_the_view_moved)
{
    make_calm();
    unrest[100] = unrest[115] = 0.01; /* twelve shots between them: one spell */
    ck_assert(find() == 1 && spell[0].first == 76 && spell[0].last == 142);
    unrest[115] = 0;
    unrest[116] = 0.01;
    ck_assert_uint_eq(find(), 2);
    unrest[116] = 0;
    unrest[140] = 0.01;
    ck_assert_uint_eq(find(), 2);
    ck_assert(spell[0].last == 121 && spell[1].first == 121);
    for (size_t at = 110; at <= 130; at += 20) {
        bump[at] = true;
        ck_assert_uint_eq(find(), 2);
        ck_assert_uint_eq(spell[0].last, at == 110 ? 109 : 121);
        ck_assert_uint_eq(spell[1].first, at == 110 ? 116 : 130);
        bump[at] = false;
    }
    bump[102] = true; /* while light bent */
    ck_assert_uint_eq(find(), 2);
    ck_assert_uint_eq(spell[0].first, spell[0].last);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("spells");
    TCase *t = tcase_create("spells");
    tcase_add_test(t, a_spell_is_about_bends_that_are_strong_somewhere);
    tcase_add_test(t, weak_bends_take_no_room);
    tcase_add_test(t, neighbours_meet_unless_the_view_moved);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
