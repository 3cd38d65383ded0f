/* test_unrest.c: when the picture's contrasts are taken to say that light itself bent. The grids
 * are invented. */
#include "check_main.h"

#include "base/robust.h"
#include "decide/compare/compare.h"
#include "decide/compare/pairs.h"

#include <math.h>

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* Unrest of two hours is weather and no event, four bends are one, and stand as they are where all
 * about is rest. By hand: sqrt(2^2 - 1^2). */
START_TEST(only_unusual_unrest_counts)
{
    double own[100], unrest[100];
    for (int usual = 0; usual <= 1; usual++) {
        for (int i = 0; i < 100; i++)
            own[i] = i >= 50 && i < 54 ? 2 : usual;
        dw_unusual_unrest(own, 100, unrest);
        for (int i = 0; i < 100; i++)
            ck_assert_double_eq_tol(unrest[i], i >= 50 && i < 54 ? sqrt(usual ? 3 : 4) : 0, 1e-12);
    }
    dw_unusual_unrest(own, 1, unrest);
    ck_assert_double_eq(unrest[0], 0); /* one alone is usual */
}
END_TEST

enum { SHOTS = 80, COLS = 30, ROWS = 20, TILES = COLS * ROWS };

/* Unrest of grids whose tile k of shot i shows light(i, k), stops, under errors of the exposure,
 * with such noise, whose variance is told; and what bends all regions show together. */
static void compare_noisy(double (*light)(int shot, int tile),
                          double (*noisy)(int tile, unsigned *seed, double *var),
                          double unrest[SHOTS], double along[SHOTS])
{
    static float grid[SHOTS * TILES], noise[SHOTS * TILES], lever[SHOTS * TILES];
    static float shift[SHOTS][2];
    static double time[SHOTS], black[SHOTS], black_var[SHOTS];
    static bool loose[SHOTS];
    unsigned seed = 1;
    for (int i = 0; i < SHOTS; i++) {
        double error = 0.06 * random_value(&seed);
        time[i] = 120.0 * i;
        for (int k = 0; k < TILES; k++) {
            double var, own = noisy(k, &seed, &var);
            grid[i * TILES + k] = (float)(light(i, k) + error + own);
            noise[i * TILES + k] = (float)var;
            lever[i * TILES + k] = 1e-3f;
        }
    }
    struct dw_grids grids = {
        SHOTS, COLS, ROWS, grid, noise, lever, time, loose, (const float(*)[2])shift};
    struct dw_pair_params params = DW_PAIR_DEFAULTS;
    struct dw_arena arena = {0};
    struct dw_beside beside = {
        .unit_s = 120, .unrest = unrest, .along = along, .black = black, .black_var = black_var};
    struct dw_pair *pair;
    struct dw_error err = {0};
    size_t n;
    ck_assert_int_eq(dw_pairs_compare(&grids, &params, &arena, &pair, &n, &beside, &err), DW_OK);
    dw_arena_free_to(&arena, 0);
}

static double by_day(int tile, unsigned *seed, double *var)
{
    (void)tile;
    *var = 0.002 * 0.002 / 12;
    return 0.002 * random_value(seed);
}

static void compare_grids(double (*light)(int shot, int tile), double unrest[SHOTS])
{
    static double along[SHOTS];
    compare_noisy(light, by_day, unrest, along);
    for (int i = 0; i < SHOTS; i++) /* each region tells by itself */
        ck_assert_double_eq(along[i], 0);
}

/* Twilight falls by up to a stop a frame, as at a low latitude between frames that lie far apart,
 * into a town's glow: which lights the sky near the town more than the ground. */
static double town(int shot, int tile)
{
    double away = (tile % COLS - 10) / 6.0, up = (tile / COLS) / 8.0;
    double glow = tile / COLS < ROWS / 2 ? 0.03 * exp(-away * away + up) : 0.002;
    double twilight = exp2(12 / (1 + exp2(0.5 * (shot - 30))) - 12);
    return log2(twilight + glow);
}

/* The left of the picture fades and its right grows brighter, by up to four stops in half an hour
 * and by a quarter of a stop a shot. By hand: the third derivative of a logistic curve of width 4
 * is a sixteenth of its slope at most. */
static double turn_over(int shot, int tile)
{
    double most = 4 * (tile % COLS - 0.5 * (COLS - 1)) / (0.5 * COLS);
    return most / (1 + exp((40 - shot) / 4.0));
}

/* Fog that lies thick and differently on all places is gone within two shots. */
static double fog(int shot, int tile)
{
    double thick = shot < 40 ? 1 : shot == 40 ? 0.4 : 0;
    return -0.02 * shot - thick * (0.6 + 0.3 * sin(0.7 * (tile % COLS)) * cos(0.5 * (tile / COLS)));
}

START_TEST(contrasts_that_go_smoothly_are_no_event)
{
    static const struct {
        double (*light)(int shot, int tile);
        double most;
    } smooth[] = {{town, 0.002}, {turn_over, 0.001}};
    double unrest[SHOTS];
    compare_grids(smooth[_i].light, unrest);
    for (int i = 0; i < SHOTS; i++)
        ck_assert_msg(unrest[i] < smooth[_i].most, "shot %d: %.5f", i, unrest[i]);
}
END_TEST

START_TEST(fog_that_goes_is_an_event)
{
    double unrest[SHOTS], least = INFINITY;
    compare_grids(fog, unrest);
    for (int i = 37; i <= 39; i++) /* bends over shots i .. i+3, fog's edge in the middle */
        least = fmin(least, unrest[i]);
    ck_assert_double_gt(least, 0.005);
    for (int i = 0; i < SHOTS; i++)
        if (i < 36 || i > 41)
            ck_assert_msg(unrest[i] < 0.002, "shot %d: %.5f", i, unrest[i]);
}
END_TEST

/* The sky above is noisy, and the ground so dark that it says nothing. */
static double by_night(int tile, unsigned *seed, double *var)
{
    double sigma = tile / COLS < 15 ? 0.012 : 0.06, sum = 0;
    *var = sigma * sigma;
    for (int i = 0; i < 12; i++) /* nearly normal */
        sum += random_value(seed);
    return sigma * sum;
}

/* A bank of cloud moves in from shot 34 to 44 and darkens some places of the sky and brightens
 * others by up to 0.65 stop; another does it to other places from shot 50 to 60. All the while the
 * glow of the evening fades on one side, evenly. A lamp on the ground goes out at shot 70. */
static double cloud_bank(int shot, int tile)
{
    double in = fmin(fmax((shot - 34) / 10.0, 0), 1), then = fmin(fmax((shot - 50) / 10.0, 0), 1);
    double x = tile % COLS, place = sin(0.35 * x), other = cos(0.35 * x);
    bool lamp = tile % COLS < 5 && tile / COLS >= 15;
    if (tile / COLS >= 15)
        return lamp && shot < 70 ? 0.5 : 0;
    return 0.5 * in * (0.3 + place * cos(0.2 * (tile / COLS))) + 0.5 * then * other -
           0.03 * shot * (x - COLS / 2.0) / COLS;
}

/* The edges of the bank bend the light of most regions by less than 0.03 stop, and a region's own
 * noise bends it by root 20 times 0.012 / 5, which is 0.011: no region is seen to bend, all
 * together are. The calm sky and the lamp are not. */
START_TEST(cloud_by_night_shows_in_all_regions_together)
{
    enum { EDGES = 4 };
    static const int edge[EDGES] = {34, 44, 50, 60};
    double unrest[SHOTS], along[SHOTS], most[EDGES] = {0};
    compare_noisy(cloud_bank, by_night, unrest, along);
    for (int i = 0; i < SHOTS; i++) {
        ck_assert_msg(unrest[i] < 5e-4, "shot %d: %.5f", i, unrest[i]);
        bool at_edge = false;
        for (int k = 0; k < EDGES; k++) {
            if (i >= edge[k] || i < edge[k] - 3) /* bends over shots i .. i+3 */
                continue;
            at_edge = true;
            most[k] = fmax(most[k], along[i]);
        }
        if (!at_edge)
            ck_assert_msg(along[i] < 5e-4, "shot %d: %.5f along", i, along[i]);
    }
    for (int k = 0; k < EDGES; k++)
        ck_assert_msg(most[k] > 0.002, "edge %d: %.5f", k, most[k]);
}
END_TEST

/* A tile's noise is told by the lower quartile of what it departed by in two blocks of steps about;
 * here by dw_quantile, a value at a time. */
START_TEST(noise_of_a_tile_is_the_quartile_of_its_departures)
{
    enum { MANY = 21, LONG = 75, BLOCKS = LONG / DW_COMPARE_BLOCK + 1 };
    static float rel[LONG * MANY], rate[LONG * MANY], noise[(LONG + 1) * MANY];
    float excess[BLOCKS * MANY];
    double seconds[LONG];
    unsigned seed = 5;
    for (int i = 0; i < LONG * MANY; i++) {
        rel[i] = i % 7 == 3 || i % MANY == 4 ? NAN : (float)random_value(&seed);
        rate[i] = (float)random_value(&seed);
    }
    for (int i = 0; i < (LONG + 1) * MANY; i++)
        noise[i] = 1e-4f * (float)(i % 5);
    for (int j = 0; j < LONG; j++)
        seconds[j] = 0.1 * (j % 4);
    const struct dw_grids grids = {.noise = noise};
    struct dw_compare c = {.g = &grids,
                           .tiles = MANY,
                           .steps = LONG,
                           .seconds = seconds,
                           .rel = rel,
                           .rate = rate,
                           .excess = excess};
    void *work = malloc(dw_own_noise_work(MANY));
    ck_assert_ptr_nonnull(work);
    dw_own_noise(&c, 0, MANY, work);
    free(work);
    for (int b = 0; b < BLOCKS; b++)
        for (int k = 0; k < MANY; k++) {
            int from = b * DW_COMPARE_BLOCK - DW_COMPARE_BLOCK / 2;
            from = from > 0 ? from : 0;
            double v[2 * DW_COMPARE_BLOCK], photon = 0, wanted = 1e-4;
            size_t n = 0;
            for (int j = from; j < from + 2 * DW_COMPARE_BLOCK && j < LONG; j++) {
                int at = j * MANY + k;
                if (isnan(rel[at]))
                    continue;
                photon += (double)noise[at] + (double)noise[at + MANY];
                v[n++] = fabs((double)rel[at] - (double)rate[at] * seconds[j]);
            }
            if (n >= 4) {
                double sigma = dw_quantile(v, n, 0.25) / 0.31863936396437514;
                wanted = fmax(0, sigma * sigma - photon / (double)n);
            }
            ck_assert_double_eq_tol((double)excess[b * MANY + k], wanted, 1e-6);
        }
}
END_TEST

/* All that goes with a comparison of invented shots, in which tiles leap, drift and are unknown, by
 * one build of its loops. */
enum { SIDE_TILES = 11, GRID = SIDE_TILES * SIDE_TILES, GRIDS = 70 };
struct compared {
    float rate[GRIDS * GRID], still[GRIDS * GRID], rel[GRIDS * GRID], excess[4 * GRID];
    struct dw_pair pair[2 * GRIDS];
    double seconds[GRIDS], v[GRIDS], centre[GRIDS], wander[GRIDS], wander_var[GRIDS];
    bool agreed[GRIDS];
    int region[GRID];
};

static void compare_by(const struct dw_compare_kernels *kernels, const struct dw_grids *grids,
                       struct compared *out)
{
    const struct dw_pair_params params = DW_PAIR_DEFAULTS;
    struct dw_compare shared = {.g = grids,
                                .p = &params,
                                .kernels = kernels,
                                .pair = out->pair,
                                .tiles = GRID,
                                .steps = GRIDS - 1,
                                .seconds = out->seconds,
                                .rate = out->rate,
                                .still = out->still,
                                .rel = out->rel,
                                .excess = out->excess,
                                .agreed = out->agreed,
                                .v = out->v,
                                .centre = out->centre,
                                .reach = 0.1,
                                .last = true,
                                .black_var = 0.09,
                                .wander = out->wander,
                                .wander_var = out->wander_var,
                                .regions = dw_pair_regions(SIDE_TILES, SIDE_TILES),
                                .region = out->region};
    *out = (struct compared){.v = {0}};
    for (int k = 0; k < GRID; k++)
        out->region[k] = dw_pair_region(SIDE_TILES, SIDE_TILES, k);
    for (int k = 0; k < 4 * GRID; k++)
        out->excess[k] = 1e-4f;
    for (int j = 0; j < GRIDS; j++)
        out->seconds[j] = 20;
    void *room = malloc(dw_compare_work(&shared)),
         *work = malloc(dw_own_drift_work(GRID) + dw_own_noise_work(GRID));
    ck_assert(room && work);
    struct dw_compare c = dw_compare_at_work(&shared, room);
    for (size_t j = 0; j < c.steps; j++)
        kernels->look(&c, j);
    kernels->first_drift(&c, 0, GRID, work);
    for (int pass = 0; pass < 2; pass++) {
        for (size_t j = 0; j < c.steps; j++)
            c.pair[j] = kernels->compare(&c, j, j + 1);
        kernels->drift(&c, 0, GRID, work);
        kernels->noise(&c, 0, GRID, work);
    }
    for (size_t j = 0; j + 1 < c.steps; j++)
        c.pair[c.steps + j] = kernels->compare(&c, j, j + 2);
    free(room);
    free(work);
}

static void check_same(const void *a, const void *b, size_t bytes)
{
    ck_assert_mem_eq(a, b, bytes);
}

START_TEST(both_builds_of_a_comparison_agree)
{
    static float light[GRIDS * GRID], noise[GRIDS * GRID], lever[GRIDS * GRID];
    static struct compared by[2];
    float shift[GRIDS][2] = {{0}};
    double time[GRIDS];
    bool loose[GRIDS] = {false};
    unsigned seed = 11;
    for (int i = 0; i < GRIDS; i++) {
        double error = 0.02 * random_value(&seed);
        time[i] = 20 * i;
        for (int k = 0; k < GRID; k++) {
            bool leaps = i > 40 ? k % 3 : k % 9 == 5;
            double own = 0.003 * random_value(&seed) + (leaps ? 0.2 * random_value(&seed) : 0);
            light[i * GRID + k] =
                (i + k) % 31 == 7 ? NAN : (float)(error + 1e-4 * i * (k % 5) + own);
            noise[i * GRID + k] = 1e-6f * (float)(1 + k % 11);
            lever[i * GRID + k] = 1e-3f * (float)(k % 17);
        }
    }
    shift[33][0] = 0.4f;
    const struct dw_grids grids = {GRIDS, SIDE_TILES, SIDE_TILES, light, noise,
                                   lever, time,       loose,      shift};
    compare_by(dw_compare_kernels_plain(), &grids, &by[0]);
    compare_by(dw_compare_kernels_best(), &grids, &by[1]);
    check_same(by[0].rate, by[1].rate, sizeof by[0].rate);
    check_same(by[0].still, by[1].still, sizeof by[0].still);
    check_same(by[0].rel, by[1].rel, sizeof by[0].rel);
    check_same(by[0].excess, by[1].excess, sizeof by[0].excess);
    check_same(by[0].v, by[1].v, sizeof by[0].v);
    check_same(by[0].wander, by[1].wander, sizeof by[0].wander);
    check_same(by[0].wander_var, by[1].wander_var, sizeof by[0].wander_var);
    for (int j = 0; j < 2 * GRIDS - 3; j++) {
        ck_assert_double_eq(by[0].pair[j].v, by[1].pair[j].v);
        ck_assert_double_eq(by[0].pair[j].var, by[1].pair[j].var);
        ck_assert(by[0].pair[j].var > 0 && by[0].pair[j].var < 1);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("unrest");
    TCase *t = tcase_create("contrasts");
    tcase_add_test(t, only_unusual_unrest_counts);
    tcase_add_loop_test(t, contrasts_that_go_smoothly_are_no_event, 0, 2);
    tcase_add_test(t, fog_that_goes_is_an_event);
    tcase_add_test(t, cloud_by_night_shows_in_all_regions_together);
    tcase_add_test(t, noise_of_a_tile_is_the_quartile_of_its_departures);
    tcase_add_test(t, both_builds_of_a_comparison_agree);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
