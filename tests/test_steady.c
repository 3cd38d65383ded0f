/* test_steady.c: the joint estimator against a slow dense one, its invariances, and how well it
 * finds known errors of invented shoots (fake_shoot.h). */
#include "check_main.h"
#include "fake_shoot.h"

#include "decide/compare/compare.h"
#include "decide/compare/pairs.h"
#include "decide/share/share.h"
#include "decide/solve/third.h"
#include "decide/steady/steady.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double random_value(unsigned *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* A small problem with everything in it: uneven times, offsets of three kinds, a loose shot, light
 * that follows two other quantities for a while, and a law. */
enum { SHOTS = 60, PAIRS = 2 * SHOTS - 3, CLASSES = 7, FOLLOWS = 2, FOLLOWED = 25, LAWS = 29 };
enum { KNOWN = 2 * SHOTS + FOLLOWS, UNKNOWNS = 2 * SHOTS + CLASSES + FOLLOWS + LAWS };
static const struct dw_share_params sharing = DW_SHARE_DEFAULTS;
struct small {
    double time[SHOTS], weight[PAIRS], stiff[SHOTS], tie[SHOTS];
    struct dw_pair pair[PAIRS];
    int setting[SHOTS][DW_MAX_CLASSES];
    double x[FOLLOWS][FOLLOWED];
    struct dw_follow follow[FOLLOWS];
    struct dw_joint joint;
    struct dw_law_params law_params;
    struct dw_light_law law;
};

static void make_small(struct small *m, unsigned seed)
{
    memset(m, 0, sizeof *m);
    double t = 1000;
    for (int i = 0; i < SHOTS; i++) {
        m->time[i] = t;
        t += i == 20 ? 500 : i == 40 ? 30 : 120;
        m->stiff[i] = 1 / pow(0.001 * (1.5 + random_value(&seed)), 2);
        m->tie[i] = i == 33 ? 0.04 : 1000 * (1.2 + random_value(&seed));
        m->setting[i][0] = i / 20;
        m->setting[i][1] = 3 + i % 2;
        m->setting[i][2] = i == 33 ? -1 : 5 + (i > 30);
    }
    for (int k = 0; k < PAIRS; k++) {
        int a = k < SHOTS - 1 ? k : k - SHOTS + 1;
        m->pair[k].a = (uint32_t)a;
        m->pair[k].b = (uint32_t)(k < SHOTS - 1 ? a + 1 : a + 2);
        m->pair[k].v = 0.1 * random_value(&seed);
        m->weight[k] = 1e5 * (0.6 + random_value(&seed));
    }
    for (int q = 0; q < FOLLOWS; q++) {
        for (int i = 0; i < FOLLOWED; i++)
            m->x[q][i] = random_value(&seed);
        m->follow[q] = (struct dw_follow){(size_t)(12 + 20 * q), FOLLOWED, m->x[q], 0.25};
    }
    m->joint = (struct dw_joint){.n = SHOTS,
                                 .time = m->time,
                                 .n_pairs = PAIRS,
                                 .pair = m->pair,
                                 .weight = m->weight,
                                 .stiff = m->stiff,
                                 .unit_s = 120,
                                 .tie = m->tie,
                                 .classes = CLASSES,
                                 .setting = (const int(*)[DW_MAX_CLASSES])m->setting,
                                 .offset_weight = 1 / (0.03 * 0.03),
                                 .follows = FOLLOWS,
                                 .follow = m->follow};
}

/* The sun goes down and up again, and light with it. settled: the prior is weighed anew until
 * nothing moves; else it is that of a law of which nothing is known. */
static void give_law(struct small *m, bool settled, struct dw_arena *arena)
{
    double alt[SHOTS];
    for (int i = 0; i < SHOTS; i++)
        alt[i] = -9 + 5.1 * cos(0.11 * i);
    for (int k = 0; k < PAIRS; k++)
        m->pair[k].v += 0.2 * (alt[m->pair[k].b] - alt[m->pair[k].a]);
    m->law_params = sharing.law; /* but looser, as else rounding is more than what is asked for */
    m->law_params.change = 0.3;
    m->law_params.least = 0.1;
    m->law_params.uniform = 3;
    m->law_params.rounds = settled ? 10000 : 1;
    m->law_params.settled = 1e-12;
    ck_assert(dw_law_lay_out(&m->law, &m->law_params, SHOTS, m->time, alt, 120, arena));
    ck_assert_int_eq(m->law.spline.n, LAWS);
    m->law.doubted = true;
    m->joint.law = &m->law;
}

/* What is believed of difference i of the law's coefficients, of this order, as a weight: the cost
 * of derivative y where the law slopes by x is y^2 / rms^2, the third, and 2 (root (least^2 + y^2)
 * - least) / change, changes of it, each width in its share of what it is at 0.3 stops/degree or
 * more. coef: NULL if nothing is known. */
static double law_weight(const struct small *m, const double *coef, int i, int order)
{
    const struct dw_law_params *p = &m->law_params;
    double h = m->law.spline.step, cube = h * h * h, y = 0, share = 1;
    if (coef) {
        double rise = order == 4 ? (coef[i + 3] - coef[i + 1]) / 2 : coef[i + 2] - coef[i + 1];
        share = fmin(fmax(fabs(rise) / h / 0.3, 0.05), 1);
        y = order == 4 ? coef[i] - 4 * coef[i + 1] + 6 * coef[i + 2] - 4 * coef[i + 3] + coef[i + 4]
                       : 0;
    }
    if (order == 3)
        return 1 / pow(p->uniform * cube * share * share, 2);
    return 1 / (p->change * cube * share * hypot(p->least * cube * share, y));
}

/* Rows of the law: bends of light beside it, its level, what is believed of it. known: what the
 * weights are for. */
static int law_rows(const struct small *m, const double *known, double *a, int row)
{
    const struct dw_light_law *l = &m->law;
    const struct dw_law_params *p = &m->law_params;
    const double d[2][5] = {{1, -4, 6, -4, 1}, {-1, 3, -3, 1}};
    double *bends = a + (PAIRS)*UNKNOWNS;
    for (int i = 0; i + 3 < SHOTS; i++) /* light's own are there */
        for (int q = 0; q < 4; q++)
            for (int k = 0; k < 4; k++)
                bends[i * UNKNOWNS + UNKNOWNS - LAWS + l->first[i + q] + k] -=
                    bends[i * UNKNOWNS + i + q] * l->level[i + q][k];
    for (int i = 0; i < SHOTS; i++, row++) {
        a[row * UNKNOWNS + i] = 1 / p->level;
        for (int k = 0; k < 4; k++)
            a[row * UNKNOWNS + UNKNOWNS - LAWS + l->first[i] + k] = -l->level[i][k] / p->level;
    }
    for (int order = 4; order >= 3; order--)
        for (int i = 0; i + order < LAWS; i++, row++)
            for (int k = 0; k <= order; k++)
                a[row * UNKNOWNS + UNKNOWNS - LAWS + i + k] =
                    d[4 - order][k] * sqrt(law_weight(m, known, i, order));
    for (int i = 0; i < LAWS; i++, row++)
        a[row * UNKNOWNS + UNKNOWNS - LAWS + i] = sqrt(1e-5) / p->level;
    return row;
}

/* What quantity q is at a shot, as joint.h has it: its ends go on for ever. */
static double followed_at(const struct small *m, int q, int shot)
{
    int i = shot - (int)m->follow[q].first;
    return m->x[q][i < 0 ? 0 : i < FOLLOWED ? i : FOLLOWED - 1];
}

/* What not knowing the law adds to the variance of an error beside its neighbours: the covariance
 * of all unknowns against that of all but the law's. a: the rows of solve_dense. */
static void doubt_dense(const double *a, int rows, double *doubt)
{
    double *cov[2];
    for (int k = 0; k < 2; k++) {
        int n = k ? UNKNOWNS - LAWS : UNKNOWNS;
        cov[k] = calloc((size_t)n * (size_t)n, sizeof **cov);
        for (int p = 0; p < n; p++)
            for (int q = p; q < n; q++)
                for (int r = 0; r < rows; r++)
                    cov[k][p * n + q] += a[r * UNKNOWNS + p] * a[r * UNKNOWNS + q];
        ck_assert_int_eq(LAPACKE_dpotrf(LAPACK_ROW_MAJOR, 'U', n, cov[k], n), 0);
        ck_assert_int_eq(LAPACKE_dpotri(LAPACK_ROW_MAJOR, 'U', n, cov[k], n), 0);
    }
    for (int i = 1; i + 1 < SHOTS; i++) {
        double var[2] = {0, 0};
        const double w[3] = {-0.5, 1, -0.5};
        for (int k = 0; k < 2; k++)
            for (int p = 0; p < 3; p++)
                for (int q = 0; q < 3; q++) {
                    int n = k ? UNKNOWNS - LAWS : UNKNOWNS, x = SHOTS + i - 1 + (p < q ? p : q),
                        y = SHOTS + i - 1 + (p < q ? q : p);
                    var[k] += w[p] * w[q] * cov[k][x * n + y];
                }
        doubt[i] = (var[0] - var[1]) / 1.5;
    }
    free(cov[0]);
    free(cov[1]);
}

/* Independent and slow: one row per term of the sum in joint.h, by dense QR. Unknowns s, e, o, f,
 * c. cov: covariance of s, e and f (KNOWN squared) with o held, the inverse of their normal
 * equations. doubt: as doubt_dense has it, if there is a law. known: coefficients for which the
 * law's prior is weighed, or NULL.
 */
static void solve_dense(const struct small *m, const double *known, double *x, double *cov,
                        double *doubt)
{
    enum { COLS = UNKNOWNS, ROWS = PAIRS + 4 * SHOTS + CLASSES + FOLLOWS + 1 + 3 * LAWS };
    double *a = calloc(ROWS * COLS, sizeof *a), *b = calloc(ROWS, sizeof *b);
    int row = 0;
    for (int k = 0; k < PAIRS; k++, row++) {
        double w = sqrt(m->weight[k]);
        int from = (int)m->pair[k].a, to = (int)m->pair[k].b;
        a[row * COLS + to] = a[row * COLS + SHOTS + to] = w;
        a[row * COLS + from] = a[row * COLS + SHOTS + from] = -w;
        b[row] = w * m->pair[k].v;
        for (int q = 0; q < FOLLOWS; q++)
            a[row * COLS + 2 * SHOTS + CLASSES + q] =
                w * (followed_at(m, q, to) - followed_at(m, q, from));
    }
    for (int i = 0; i + 3 < SHOTS; i++, row++) {
        /* third divided difference by Newton's recursion, times 3! */
        double d[4][4] = {{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}};
        for (int order = 1; order < 4; order++)
            for (int p = 0; p + order < 4; p++)
                for (int q = 0; q < 4; q++)
                    d[p][q] =
                        (d[p + 1][q] - d[p][q]) / ((m->time[i + p + order] - m->time[i + p]) / 120);
        double w = sqrt(m->stiff[i]);
        for (int q = 0; q < 4; q++)
            a[row * COLS + i + q] = 6 * w * d[0][q];
    }
    for (int i = 0; i < SHOTS; i++, row++) {
        double w = sqrt(m->tie[i]);
        a[row * COLS + SHOTS + i] = w;
        for (int p = 0; p < DW_MAX_CLASSES; p++)
            if (m->setting[i][p] >= 0)
                a[row * COLS + 2 * SHOTS + m->setting[i][p]] = -w;
    }
    for (int c = 0; c < CLASSES; c++, row++)
        a[row * COLS + 2 * SHOTS + c] = 1 / 0.03;
    for (int q = 0; q < FOLLOWS; q++, row++)
        a[row * COLS + 2 * SHOTS + CLASSES + q] = 0.5;
    a[row++ * COLS + SHOTS / 2] = 100;
    for (int i = 0; i < SHOTS; i++, row++)
        a[row * COLS + i] = 1e-3; /* the faint pull */
    int cols = m->joint.law ? COLS : COLS - LAWS;
    row = m->joint.law ? law_rows(m, known, a, row) : row;
    for (int p = 0; p < KNOWN; p++)
        for (int q = 0; q < KNOWN; q++) {
            int from = p < 2 * SHOTS ? p : p + CLASSES, to = q < 2 * SHOTS ? q : q + CLASSES;
            double sum = 0;
            for (int k = 0; k < row; k++)
                sum += a[k * COLS + from] * a[k * COLS + to];
            cov[p * KNOWN + q] = sum;
        }
    ck_assert_int_eq(LAPACKE_dpotrf(LAPACK_ROW_MAJOR, 'U', KNOWN, cov, KNOWN), 0);
    ck_assert_int_eq(LAPACKE_dpotri(LAPACK_ROW_MAJOR, 'U', KNOWN, cov, KNOWN), 0);
    if (m->joint.law)
        doubt_dense(a, row, doubt);
    ck_assert_int_eq(LAPACKE_dgels(LAPACK_ROW_MAJOR, 'N', row, cols, 1, a, COLS, b, 1), 0);
    memcpy(x, b, COLS * sizeof *x);
    free(a);
    free(b);
}

static double cov_e(const double *cov, int a, int b)
{
    return cov[(SHOTS + a) * KNOWN + SHOTS + b]; /* its upper triangle: a <= b */
}

START_TEST(joint_solution_equals_dense_least_squares)
{
    struct small m;
    double x[UNKNOWNS], s[SHOTS], e[SHOTS], var[SHOTS], fast[SHOTS];
    double offset[CLASSES + FOLLOWS], doubt[SHOTS];
    static double cov[KNOWN * KNOWN];
    struct dw_arena arena = {0};
    make_small(&m, (unsigned)(11 + _i));
    if (_i >= 3)
        give_law(&m, _i >= 6, &arena);
    if (_i >= 9) { /* a moon takes its part of the light */
        double share[SHOTS];
        for (int i = 0; i < SHOTS; i++)
            share[i] = i < 15 ? 0 : 0.9 * pow(sin(0.05 * (i - 15)), 2);
        dw_law_give_way(&m.law, share);
    }
    ck_assert_int_eq(dw_joint_solve(&m.joint, &arena, s, e, var, fast, offset), DW_OK);
    solve_dense(&m, _i >= 6 ? m.law.coef : NULL, x, cov, doubt);
    for (int i = 0; i < SHOTS; i++) {
        ck_assert_double_eq_tol(s[i], x[i], 1e-9);
        ck_assert_double_eq_tol(e[i], x[SHOTS + i], 1e-9);
        ck_assert_double_eq_tol(var[i] / cov_e(cov, i, i), 1, 1e-6);
        int a = i - 1, b = i + 1; /* beside its neighbours; the ends have one only */
        if (a < 0 || b >= SHOTS)
            continue;
        double d = cov_e(cov, i, i) + 0.25 * (cov_e(cov, a, a) + cov_e(cov, b, b)) -
                   cov_e(cov, a, i) - cov_e(cov, i, b) + 0.5 * cov_e(cov, a, b);
        ck_assert_double_eq_tol(fast[i] / (d / 1.5), 1, 1e-6);
        if (m.joint.law)
            ck_assert_double_eq_tol(m.law.doubt[i] / doubt[i], 1, 1e-4);
    }
    ck_assert(fast[0] == fast[1] && fast[SHOTS - 1] == fast[SHOTS - 2]);
    for (int c = 0; c < CLASSES + FOLLOWS; c++)
        ck_assert_double_eq_tol(offset[c], x[2 * SHOTS + c], 1e-9);
    for (int c = 0; c < LAWS && m.joint.law; c++)
        ck_assert_double_eq_tol(m.law.coef[c], x[UNKNOWNS - LAWS + c], 1e-8);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* 1 -3 3 -1 for even steps; exact for cubics at any spacing (Newton's divided differences). */
START_TEST(third_difference_of_a_cubic_is_constant)
{
    double t[4] = {0, 120, 240, 360}, w[4];
    dw_third_difference(t, 120, w);
    const double even[4] = {-1, 3, -3, 1};
    for (int i = 0; i < 4; i++)
        ck_assert_double_eq_tol(w[i], even[i], 1e-12);
    double u[4] = {0, 50, 290, 300}, sum = 0;
    dw_third_difference(u, 120, w);
    for (int i = 0; i < 4; i++)
        sum += w[i] * pow(u[i] / 120, 3);
    ck_assert_double_eq_tol(sum, 6, 1e-9);
    double same[4] = {5, 5, 5, 5}; /* a clock that stood still: finite all the same */
    dw_third_difference(same, 120, w);
    for (int i = 0; i < 4; i++)
        ck_assert(isfinite(w[i]));
}
END_TEST

/* The estimator on a whole invented shoot. */
struct result {
    struct fake_shoot shoot;
    struct dw_decision decision;
    double *error;
};

static struct result decide(const struct fake_params *p)
{
    struct result r = {.shoot = fake_make(p)};
    r.decision = fake_decide(&r.shoot);
    r.error = calloc(r.shoot.shots.n, sizeof *r.error);
    for (size_t i = 0; i < r.shoot.shots.n; i++)
        r.error[i] = r.decision.ledger[i].flicker_stops;
    return r;
}

static void done(struct result *r)
{
    dw_decision_free(&r->decision);
    fake_free(&r->shoot);
    free(r->error);
}

/* Bounds are those that the project set itself for its invented shoots (all, day, night), loosened
 * where a fake's night is darker than the generator's. The record alone leaves 0.025. */
static const struct {
    const char *name;
    double foliage, cloud, headlights, black, all, day, night, r;
    bool contacts, moon;
} cases[] = {
    {"clear", 0, 0, 0, 0, 0.0004, 0.0001, 0.0006, 0.999, true, false},
    {"manual lens", 0, 0, 0, 0, 0.0004, 0.0001, 0.0006, 0.995, false, false},
    {"foliage and a moon", 0.1, 0, 0, 0, 0.0005, 0.0007, 0.0025, 0.999, true, true},
    {"black level wanders", 0, 0, 0, 2, 0.0006, 0.0002, 0.0010, 0.999, true, false},
    {"broken cloud", 0, 0.5, 0, 0, 0.0120, 0.0120, 0.0006, 0.9, true, false},
    {"headlights", 0, 0, 0.08, 0, 0.0010, 0.0001, 0.0010, 0.999, true, false},
};

START_TEST(known_errors_are_found)
{
    int c = _i / 3;
    struct fake_params p = fake_defaults((unsigned)(1 + _i % 3));
    p.foliage = cases[c].foliage;
    p.cloud = cases[c].cloud;
    p.headlights = cases[c].headlights;
    p.black_drift = cases[c].black;
    p.contacts = cases[c].contacts;
    if (cases[c].moon)
        p.moonrise_utc = p.start_utc + 9 * 3600;
    struct result r = decide(&p);
    double all = fake_steadying_error(&r.shoot, r.error, -90, 90);
    double day = fake_steadying_error(&r.shoot, r.error, -3, 90);
    double night = fake_steadying_error(&r.shoot, r.error, -90, -12);
    double like = fake_correlation(&r.shoot, r.error, -90, 90);
    ck_assert_msg(all <= cases[c].all && day <= cases[c].day && night <= cases[c].night &&
                      like >= cases[c].r,
                  "%s, seed %u: all %.5f, day %.5f, night %.5f, r %.4f", cases[c].name, p.seed, all,
                  day, night, like);
    /* what it says about itself is true to within a factor of two or so in clear weather */
    if (p.cloud == 0) {
        double hf = fake_hf(&r.shoot, r.error, -90, 90) / sqrt(1.5); /* as a standard deviation */
        ck_assert_double_lt(r.decision.after.all, 2.5 * hf);
        ck_assert_double_gt(r.decision.after.all, hf / 2.5);
        /* and of every shot, beside its neighbours: a cubic through 7 leaves two thirds of the
         * variance of independent errors */
        double sum = 0, n = 0;
        for (size_t i = 0; i < r.shoot.shots.n; i++)
            if (r.shoot.alt[i] < -12 && !r.shoot.spoiled[i]) {
                sum += r.decision.ledger[i].flicker_sigma * r.decision.ledger[i].flicker_sigma;
                n++;
            }
        double sure = night / sqrt(sum / n * 2 / 3);
        ck_assert_msg(sure > 0.5 && sure < 1.5, "%s, seed %u: error over sigma by night %.2f",
                      cases[c].name, p.seed, sure);
    }
    done(&r);
}
END_TEST

/* Under broken cloud which of several readings of a few shots is taken hangs on next to nothing: a
 * black moved by 0.005 DN, or the sun by 1e-8 degrees, and one seed has 0.0036 or 0.0104. So what
 * half of many seeds stay below is what tells. */
START_TEST(broken_cloud_leaves_little_on_the_whole)
{
    enum { SEEDS = 30 };
    double left[SEEDS];
    for (unsigned seed = 1; seed <= SEEDS; seed++) {
        struct fake_params p = fake_defaults(seed);
        p.cloud = 0.5;
        p.frames = 200; /* of the day */
        struct result r = decide(&p);
        left[seed - 1] = fake_steadying_error(&r.shoot, r.error, -90, 90);
        done(&r);
    }
    double middle = dw_median(left, SEEDS);
    printf("# broken cloud by day: %.5f left, the middle one of %d seeds\n", middle, SEEDS);
    ck_assert_msg(middle < 0.0080, "%.5f", middle);
}
END_TEST

/* A black that the camera measures anew for every shot, and tells nobody, is found beside its
 * neighbours from dark tiles, and stands with the frames' sources; where it stands still, nothing
 * is put right. */
START_TEST(a_black_that_jumps_is_found)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i / 2));
    p.black_jitter = _i % 2 ? 1 : 0;
    struct result r = decide(&p);
    double left = 0, was = 0;
    for (size_t i = 1; i + 1 < r.decision.n_frames && i + 1 < r.shoot.shots.n; i++) {
        double b[3], found[3];
        for (size_t k = 0; k < 3; k++) {
            ck_assert_uint_eq(r.decision.frame[i - 1 + k].source[0].shot, i - 1 + k);
            found[k] = r.decision.frame[i - 1 + k].source[0].black_dn;
            b[k] = r.shoot.black[i - 1 + k];
            ck_assert(_i % 2 || found[k] == 0);
        }
        if (r.shoot.alt[i] > -15) /* by day a count is nothing beside the light */
            continue;
        was += pow(b[1] - 0.5 * (b[0] + b[2]), 2);
        left += pow(b[1] - found[1] - 0.5 * (b[0] + b[2] - found[0] - found[2]), 2);
    }
    ck_assert_msg(left <= 0.2 * was, "seed %u: %.4f of %.4f left", p.seed, left, was);
    done(&r);
}
END_TEST

/* Steps between invented blacks, each known to 0.03 counts; one step of 20 counts, which no black
 * makes, tells nothing. What is left has no jumps (a second difference loses the common level). */
START_TEST(blacks_are_told_from_their_steps)
{
    enum { N = 60 };
    double time[N], b[N], step[N], var[N], found[N], was = 0, left = 0;
    for (int i = 0; i < N; i++) {
        time[i] = 120.0 * i;
        b[i] = 0.5 * sin(7.0 * i * i);
    }
    for (int i = 0; i < N; i++) {
        step[i] = i + 1 < N ? b[i + 1] - b[i] : 0;
        var[i] = 0.03 * 0.03;
    }
    if (_i)
        step[30] = 20;
    struct dw_arena arena = {0};
    const struct dw_beside beside = {
        .unit_s = 120, .black = step, .black_var = var, .wander = 0.25};
    ck_assert_int_eq(dw_black_wander(&beside, time, N, &arena, found), DW_OK);
    for (int i = 1; i + 1 < N; i++) {
        double e[3];
        for (int k = 0; k < 3; k++)
            e[k] = b[i - 1 + k] - found[i - 1 + k];
        was += pow(b[i] - 0.5 * (b[i - 1] + b[i + 1]), 2);
        left += pow(e[1] - 0.5 * (e[0] + e[2]), 2);
    }
    ck_assert_msg(left < 0.05 * was, "%.4f of %.4f left", left, was);
    dw_arena_free_to(&arena, 0);
}
END_TEST

/* Fog ends within a shot: light bends at once, and what it bends by is not taken for exposure.
 * Single days are good or bad by chance (0.0013 or 0.0033), so the middle one of many is asked for.
 */
START_TEST(fog_that_ends_is_light)
{
    enum { SEEDS = 24 };
    double slow[SEEDS], left[SEEDS];
    for (unsigned seed = 1; seed <= SEEDS; seed++) {
        struct fake_params p = fake_defaults(seed);
        p.frames = 200;
        p.fog_end_utc = p.start_utc + 70.5 * p.interval_s; /* in the afternoon */
        struct result r = decide(&p);
        double later = 0; /* errors of the clear shots after it, beside those long after */
        for (size_t i = 90; i < 130; i++)
            later += (r.error[i] - r.shoot.error[i]) / 40;
        slow[seed - 1] = 0;
        for (size_t i = 71; i < 90; i++)
            slow[seed - 1] = fmax(slow[seed - 1], fabs(r.error[i] - r.shoot.error[i] - later));
        double fast = 0; /* and from frame to frame, about its end */
        for (size_t i = 50; i < 90; i++) {
            double e[7];
            for (size_t k = 0; k < 7; k++)
                e[k] = r.error[i - 3 + k] - r.shoot.error[i - 3 + k];
            fast += pow(fake_rest_of_seven(e), 2) / 40;
        }
        left[seed - 1] = sqrt(fast);
        done(&r);
    }
    double worst_slow = 0, worst_left = 0;
    for (int i = 0; i < SEEDS; i++) {
        worst_slow = fmax(worst_slow, slow[i]);
        worst_left = fmax(worst_left, left[i]);
    }
    ck_assert_msg(worst_slow < 0.2, "%.4f", worst_slow);
    ck_assert_msg(worst_left < 0.005, "%.5f", worst_left);
    double most = dw_median(slow, SEEDS), rms = dw_median(left, SEEDS);
    printf("# fog that ends: %.4f, and %.5f from frame to frame, the middle ones of %d seeds\n",
           most, rms, SEEDS);
    ck_assert_msg(most < 0.05, "%.4f", most);
    ck_assert_msg(rms < 0.002, "%.5f", rms);
}
END_TEST

/* A bank of cloud comes in by day, stays and goes out: what it does to light is not taken for
 * exposure, though it dims the ground by two stops and the ground is most of what tells. */
START_TEST(a_bank_by_day_is_light)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i));
    p.frames = 200;
    p.bank_utc = p.start_utc + 60 * p.interval_s; /* in the afternoon */
    struct result r = decide(&p);
    double worst = 0, sum = 0;
    for (size_t i = 50; i < 106; i++) {
        double e[7];
        for (size_t k = 0; k < 7; k++)
            e[k] = r.error[i - 3 + k] - r.shoot.error[i - 3 + k];
        double fast = fake_rest_of_seven(e);
        worst = fmax(worst, fabs(fast));
        sum += fast * fast / 56;
    }
    ck_assert_msg(worst < 0.004 && sqrt(sum) < 0.001, "seed %u: worst %.5f, rms %.5f", p.seed,
                  worst, sqrt(sum));
    done(&r);
}
END_TEST

/* A moon that rises in dusk bends light as no law of the sun's altitude does: what it gives is told
 * from the law, and not taken for exposure. Places and dates are invented, the moon is real. The
 * last shoot ends before dawn, and nothing else tells of its night: there a moon had led the law
 * astray, to 0.002 and more, while the others left 0.0007, 0.0032 and 0.0019 at least where no moon
 * was looked for. */
static const struct {
    struct dw_site site;
    double start_utc, interval_s, night_lux;
    int frames;
    double left;
} moons[] = {
    {{10, -65, 500}, 1752148800, 120, 0.002, 720, 0.0005},
    {{40, -110, 500}, 1759773600, 240, 0.006, 360, 0.002},
    {{28, -16, 500}, 1759924800, 120, 0.002, 720, 0.001},
    {{28, -16, 500}, 1759924800, 120, 0.006, 520, 0.001},
};

START_TEST(a_moon_in_dusk_is_light)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i % 3));
    p.site = moons[_i / 3].site;
    p.start_utc = moons[_i / 3].start_utc;
    p.interval_s = moons[_i / 3].interval_s;
    p.frames = moons[_i / 3].frames;
    p.night_lux = moons[_i / 3].night_lux;
    p.moonlight = 0.8;
    struct result r = decide(&p);
    double left = fake_steadying_error(&r.shoot, r.error, -16, -5);
    ck_assert_msg(left < moons[_i / 3].left, "moon %d, seed %u: %.5f", _i / 3, p.seed, left);
    done(&r);
}
END_TEST

/* Headlights that lift the whole sky evenly are light all the same: the frames that they light are
 * not taken for exposed too long, and leave their neighbours alone. */
START_TEST(headlights_on_all_the_sky_are_no_exposure_error)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i));
    p.headlights = 0.08;
    p.veil = 1;
    struct result r = decide(&p);
    double worst = 0;
    for (size_t i = 0; i < r.shoot.shots.n; i++)
        if (r.shoot.spoiled[i])
            worst = fmax(worst, fabs(r.error[i] - r.shoot.error[i]));
    double others = fake_steadying_error(&r.shoot, r.error, -90, 90);
    ck_assert_msg(worst < 0.3 && others < 0.001, "seed %u: worst %.3f, others %.5f", p.seed, worst,
                  others);
    done(&r);
}
END_TEST

/* Dark current that the stated black leaves in is found from how little dark tiles answer exposure
 * errors, at night; and not where there is none. */
START_TEST(dark_current_is_found_from_dark_tiles)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i / 2));
    p.dark_dn = _i % 2 ? 0.5 : 0;
    struct result r = decide(&p);
    for (size_t l = 0; l < r.decision.facts.n_levels; l++) {
        const struct dw_levels *level = &r.decision.facts.levels[l];
        double truth = p.dark_dn * level->shutter_s * level->iso / 100 / 256;
        ck_assert_double_eq_tol((double)level->black[1] - 512, truth, 0.2);
    }
    done(&r);
}
END_TEST

/* Ground illumination by twilight, stops: the two branches about -12 degrees of the Explanatory
 * Supplement to the Astronomical Almanac (Seidelmann 1992), whose third derivatives are -0.052 and
 * 0.077 stops/degree^3; joined there (they are 0.005 in log10 apart), straight on beyond. */
static double twilight(double alt_deg)
{
    const double c[2][4] = {{13.84, 262.72, 1447.42, 2797.93}, {2.70, 12.17, -431.69, -1899.83}};
    double at = fmin(fmax(alt_deg, -18), -5), x = at / 90, edge = -12.0 / 90;
    const double *k = c[at > -12];
    double value = k[0] + x * (k[1] + x * (k[2] + x * k[3]));
    double slope = k[1] + x * (2 * k[2] + x * 3 * k[3]);
    if (at <= -12) /* up to the other's value */
        value +=
            c[1][0] - c[0][0] +
            edge * (c[1][1] - c[0][1] + edge * (c[1][2] - c[0][2] + edge * (c[1][3] - c[0][3])));
    return (value + slope * (alt_deg - at) / 90) / log10(2);
}

enum { DAY = 200 }; /* shots: up from -20 degrees by 0.4 a shot, and down again */

static double day_alt(int i)
{
    return fmin(i, DAY - 1 - i) * 0.4 - 20;
}

/* A day and its light, all of it known. */
struct day {
    double time[DAY], alt[DAY], stiff[DAY], tie[DAY], weight[2 * DAY], s[DAY], e[DAY];
    double e_var[DAY], e_fast[DAY], offset[1], unrest[DAY], rest[DAY];
    int setting[DAY][DW_MAX_CLASSES];
    bool loose[DAY];
    struct dw_pair pair[2 * DAY];
    size_t pairs;
};

static void make_day(struct day *d, const double *light)
{
    memset(d, 0, sizeof *d);
    for (int i = 0; i < DAY; i++) {
        d->time[i] = 120.0 * i;
        d->alt[i] = day_alt(i);
        for (int c = 0; c < DW_MAX_CLASSES; c++)
            d->setting[i][c] = -1;
    }
    for (int lag = 1; lag <= 2; lag++)
        for (int i = 0; i + lag < DAY; i++)
            d->pair[d->pairs++] = (struct dw_pair){(uint32_t)i, (uint32_t)(i + lag),
                                                   light[i + lag] - light[i], 1e-8, true};
}

/* The largest third difference, between two altitudes, of the law of this light beside the truth.
 * sigma: what the light's own third differences are believed to be, stops. */
static double law_beside(const double *light, const double *truth, double sigma, double from,
                         double to)
{
    static struct day d;
    double worst = 0;
    struct dw_light_law law;
    struct dw_arena arena = {0};
    make_day(&d, light);
    for (int i = 0; i < DAY; i++) {
        d.stiff[i] = 1 / (sigma * sigma);
        d.tie[i] = 1e12; /* no errors */
    }
    for (size_t k = 0; k < d.pairs; k++)
        d.weight[k] = 1e10;
    ck_assert(dw_law_lay_out(&law, &sharing.law, DAY, d.time, d.alt, 120, &arena));
    const struct dw_joint joint = {.n = DAY,
                                   .time = d.time,
                                   .n_pairs = d.pairs,
                                   .pair = d.pair,
                                   .weight = d.weight,
                                   .stiff = d.stiff,
                                   .unit_s = 120,
                                   .tie = d.tie,
                                   .setting = (const int(*)[DW_MAX_CLASSES])d.setting,
                                   .law = &law};
    ck_assert_int_eq(dw_joint_solve(&joint, &arena, d.s, d.e, NULL, NULL, NULL), DW_OK);
    for (size_t i = 0; i + 3 < DAY; i++) {
        const double third[4] = {-1, 3, -3, 1};
        double bend = 0;
        for (size_t k = 0; k < 4; k++)
            bend += third[k] * (dw_law_at(&law, i + k) - truth[i + k]);
        if (d.alt[i] > from && d.alt[i] < to)
            worst = fmax(worst, fabs(bend));
    }
    dw_arena_free_to(&arena, 0);
    return worst;
}

/* The law must follow twilight's bends within a shot or two, or all dusks and dawns are taken for
 * exposure errors there. Of a third difference of 0.005 stops two fifths may be missed: a law that
 * bent more freely would follow the errors themselves. */
START_TEST(the_law_follows_a_twilight)
{
    double truth[DAY];
    for (int i = 0; i < DAY; i++)
        truth[i] = twilight(day_alt(i));
    double worst = law_beside(truth, truth, 1.8e-3, -15, -9);
    ck_assert_msg(worst < 2.5e-3, "bends otherwise by %.5f", worst);
}
END_TEST

/* Normal to a good approximation (Irwin-Hall, twelve), rms 1. */
static double chance(unsigned *seed)
{
    double sum = 0;
    for (int k = 0; k < 12; k++)
        sum += random_value(seed);
    return sum;
}

/* What is left of errors of 0.03 stop where twilight bends, stops rms beside a parabola through
 * seven shots (Savitzky & Golay 1964). */
static double left_by_twilight(const struct dw_share_params *p, unsigned seed)
{
    static struct day d;
    double all[DAY], error[DAY], sum = 0, n = 0;
    for (int i = 0; i < DAY; i++) {
        error[i] = 0.03 * chance(&seed);
        all[i] = twilight(day_alt(i)) + error[i];
    }
    make_day(&d, all);
    struct dw_share share = {.p = p,
                             .n = DAY,
                             .unit_s = 120,
                             .time = d.time,
                             .alt = d.alt,
                             .loose = d.loose,
                             .unrest = d.unrest,
                             .n_pairs = d.pairs,
                             .pair = d.pair,
                             .setting = (const int(*)[DW_MAX_CLASSES])d.setting,
                             .rest = d.rest,
                             .s = d.s,
                             .e = d.e,
                             .e_var = d.e_var,
                             .e_fast = d.e_fast,
                             .offset = d.offset,
                             .sigma = p->error_stops};
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_share_out(&share, &arena, NULL), DW_OK);
    dw_arena_free_to(&arena, 0);
    for (int i = 3; i + 3 < DAY; i++) {
        const double w[7] = {-2, 3, 6, 7, 6, 3, -2};
        double left = d.e[i] - error[i];
        for (int k = 0; k < 7; k++)
            left -= w[k] / 21 * (d.e[i + k - 3] - error[i + k - 3]);
        if (!(d.alt[i] > -15 && d.alt[i] < -9))
            continue;
        sum += left * left;
        n++;
    }
    return sqrt(sum / n);
}

/* The bend lies within a shot or two; that bends are few and some are large tells it from errors
 * that are a hundred times what is left. */
START_TEST(a_bend_of_twilight_is_told_from_errors)
{
    struct dw_share_params even = sharing;
    even.law.least = 1e3; /* normal at any size, with the same rms near 0 */
    even.law.change = sharing.law.change * sharing.law.least / even.law.least;
    double few = 0, alike = 0;
    for (unsigned seed = 1; seed <= 8; seed++) {
        few += pow(left_by_twilight(&sharing, seed), 2) / 8;
        alike += pow(left_by_twilight(&even, seed), 2) / 8;
    }
    ck_assert_msg(sqrt(few) < 0.00035 && few < 0.5 * alike, "left %.5f, with bends alike %.5f",
                  sqrt(few), sqrt(alike));
}
END_TEST

/* Where the fit ends it would stay: neither stopping nor going on is part of what is believed. */
START_TEST(more_rounds_make_nothing_worse)
{
    struct dw_share_params endless = sharing;
    endless.rounds = 150;
    endless.settled = 0;
    endless.law.rounds = 100;
    endless.law.settled = 0;
    for (unsigned seed = 1; seed <= 4; seed++)
        ck_assert_double_eq_tol(left_by_twilight(&endless, seed), left_by_twilight(&sharing, seed),
                                1e-5);
}
END_TEST

enum { FAR_CLASSES = DAY };

/* Shots 300 s apart, by twilight 1.2 degrees of sun altitude each: from midnight over one dawn to
 * the next dusk. By twilight a camera that follows the light uses each setting once. */
static double far_alt(int i)
{
    return -55 * cos(2 * M_PI * i / 288);
}

/* What own errors are worth (0.03 stop are invented) is not learnt from settings used once, whose
 * offsets hide the shots' own errors: less and less would be left of these. And the law, which so
 * few shots tell, is in what the errors by twilight are said to be uncertain by. */
START_TEST(far_shots_know_how_uncertain_they_are)
{
    static struct day d;
    double all[DAY], error[DAY], offset[FAR_CLASSES], sum = 0, said = 0;
    unsigned seed = (unsigned)(1 + _i);
    for (int i = 0; i < DAY; i++) {
        error[i] = 0.03 * chance(&seed);
        all[i] = twilight(far_alt(i)) + error[i];
    }
    make_day(&d, all);
    int classes = 1;
    for (int i = 0; i < DAY; i++) {
        d.time[i] = 300.0 * i;
        d.alt[i] = far_alt(i);
        d.setting[i][0] = d.alt[i] > 8 || d.alt[i] < -18 ? 0 : classes++;
    }
    struct dw_share share = {.p = &sharing,
                             .n = DAY,
                             .unit_s = 300,
                             .time = d.time,
                             .alt = d.alt,
                             .loose = d.loose,
                             .unrest = d.unrest,
                             .n_pairs = d.pairs,
                             .pair = d.pair,
                             .classes = classes,
                             .setting = (const int(*)[DW_MAX_CLASSES])d.setting,
                             .rest = d.rest,
                             .s = d.s,
                             .e = d.e,
                             .e_var = d.e_var,
                             .e_fast = d.e_fast,
                             .offset = offset,
                             .sigma = sharing.error_stops};
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_share_out(&share, &arena, NULL), DW_OK);
    for (int i = 3; i + 3 < DAY; i++) {
        double v[7];
        for (int k = 0; k < 7; k++)
            v[k] = d.e[i + k - 3] - error[i + k - 3];
        if (d.alt[i] > 0 || d.alt[i] < -15)
            continue;
        sum += pow(fake_rest_of_seven(v), 2);
        said += 2.0 / 3 * (d.e_fast[i] + share.law_doubt[i]);
    }
    dw_arena_free_to(&arena, 0);
    ck_assert_msg(share.sigma > 0.01, "own errors are thought to be %.4f", share.sigma);
    ck_assert_msg(sqrt(sum / said) < 3, "errors left over their sigma %.2f", sqrt(sum / said));
}
END_TEST

/* Nor may it bend, where light hardly changes, with weather that comes on one side of noon. */
START_TEST(the_law_does_not_follow_weather)
{
    double truth[DAY], light[DAY];
    for (int i = 0; i < DAY; i++) {
        truth[i] = 0.01 * day_alt(i);
        light[i] = truth[i] + (i < DAY / 2 ? 0.01 * sin(i * 0.5) : 0);
    }
    double worst = law_beside(light, truth, 2e-4, 6, 18);
    ck_assert_msg(worst < 2e-4, "bends by %.5f", worst);
}
END_TEST

/* A foggy morning must not leave a dent in the law of light that the next, clear one pays for. */
START_TEST(one_mornings_weather_is_not_the_next_ones)
{
    struct fake_params p = fake_defaults(1);
    p.frames = 1100; /* from noon over the second morning */
    struct fake_shoot clear = fake_make(&p), foggy = fake_make(&p);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p.site;
    /* the first morning's light waves by two stops, everywhere alike */
    for (size_t i = 0; i < foggy.shots.n; i++) {
        double wave = i > 510 && i < 590 ? -2 * pow(sin(M_PI * ((double)i - 510) / 80), 2) *
                                               (1 + 0.3 * sin((double)i * 0.9))
                                         : 0;
        for (int k = 0; k < 600; k++)
            for (int c = 0; c < 3; c++) {
                float *mean = &foggy.survey.measure[i].tile[k].mean[c];
                *mean = (float)(512 + ((double)*mean - 512) * exp2(wave));
            }
    }
    struct dw_decision a, b;
    ck_assert_int_eq(dw_decide(&clear.shots, &clear.survey, &params, NULL, &a, NULL), DW_OK);
    ck_assert_int_eq(dw_decide(&foggy.shots, &foggy.survey, &params, NULL, &b, NULL), DW_OK);
    double sum = 0;
    size_t n = 0;
    for (size_t i = 1010; i < 1090; i++) { /* the second day's */
        double d[3];
        for (size_t k = 0; k < 3; k++) /* what is slower than some ten shots cancels elsewhere */
            d[k] = b.ledger[i + 4 * k - 4].flicker_stops - a.ledger[i + 4 * k - 4].flicker_stops;
        sum += pow(d[1] - 0.5 * (d[0] + d[2]), 2);
        n++;
    }
    ck_assert_msg(sqrt(sum / (double)n) < 0.002, "%.5f", sqrt(sum / (double)n));
    dw_decision_free(&a);
    dw_decision_free(&b);
    fake_free(&clear);
    fake_free(&foggy);
}
END_TEST

START_TEST(shots_without_a_record_are_as_steady_as_their_neighbours)
{
    struct fake_params p = fake_defaults(2);
    p.no_record_every = 40;
    p.drop_first = 200;
    p.drop_last = 203;
    struct result r = decide(&p);
    /* the truth of such a shot is not known against a record, so its output light is compared:
     * gain + light of the picture must be as smooth there as beside it */
    double worst = 0;
    for (size_t i = 4; i + 4 < r.shoot.shots.n; i++) {
        double v[7];
        for (size_t j = 0; j < 7; j++) {
            size_t k = i - 3 + j;
            const struct dw_tile *t = r.shoot.survey.measure[k].tile;
            double sum = 0; /* key-like level of the picture: sky tiles, never dark */
            for (int x = 0; x < 300; x++)
                sum += log2((double)t[x].mean[1] - 512);
            v[j] = sum / 300 + r.decision.ledger[k].gain_stops;
        }
        if (r.shoot.shots.shot[i + 3].file_number - r.shoot.shots.shot[i - 3].file_number != 6 ||
            fabs(r.shoot.alt[i]) < 14)
            continue;
        worst = fmax(worst, fabs(fake_rest_of_seven(v)));
    }
    ck_assert_double_lt(worst, 0.004);
    ck_assert(r.decision.ledger[47].faults & DW_NO_EXPOSURE);
    ck_assert(r.decision.ledger[47].use);
    done(&r);
}
END_TEST

START_TEST(a_stretch_with_a_wrong_iso_is_put_right)
{
    struct fake_params p = fake_defaults(3);
    p.wrong_iso_first = 380;
    p.wrong_iso_last = 400;
    struct result r = decide(&p);
    ck_assert_double_lt(fake_steadying_error(&r.shoot, r.error, -90, 90), 0.0005);
    for (size_t i = 381; i < 400; i++) /* the whole third, not its edges alone */
        ck_assert_double_lt(r.error[i], -0.2);
    /* a third too much recorded: the picture is a third darker than its record says */
    ck_assert_ptr_nonnull(strstr(r.decision.ledger[390].reason, "wrong by +0.3"));
    ck_assert_int_eq(r.decision.ledger[376].reason[0], 0);
    ck_assert_double_gt(r.error[376], -0.2);
    ck_assert_double_gt(r.error[404], -0.2);
    done(&r);
}
END_TEST

/* Real light stays: sun over a ridge, lamps. The line and the errors take nothing of it. */
START_TEST(real_light_is_not_taken_for_exposure)
{
    struct fake_params p = fake_defaults(1);
    p.ridge_utc = p.start_utc + 18.5 * 3600;
    p.lamps_utc = p.start_utc + 7 * 3600;
    struct result r = decide(&p);
    ck_assert_double_lt(fake_steadying_error(&r.shoot, r.error, -90, 90), 0.0005);
    /* Half an hour about each event: errors found minus true ones bend by no more than elsewhere.
     * A camera that follows the light uses each setting in its own light, so a smooth function of
     * light may be moved between light and settings' errors (0.02 stop each here); only what is
     * faster is known. The ridge alone moves the ground by three stops. */
    double worst = 0;
    for (size_t i = 12; i + 12 < r.shoot.shots.n; i++) {
        const double event[2] = {p.ridge_utc, p.lamps_utc};
        double d[3] = {0, 0, 0};
        for (size_t j = 0; j < 3; j++)
            for (size_t k = i + 8 * j - 10; k < i + 8 * j - 6; k++)
                d[j] += (r.error[k] - r.shoot.error[k]) / 4;
        for (int k = 0; k < 2; k++)
            if (fabs(r.decision.ledger[i].utc_s - event[k]) < 1800)
                worst = fmax(worst, fabs(d[1] - 0.5 * (d[0] + d[2])));
    }
    ck_assert_msg(worst < 0.07, "bent by %.4f", worst);
    done(&r);
}
END_TEST

/* The same shoot told backwards has the same errors. */
START_TEST(reversed_order_gives_the_reversed_answer)
{
    /* the joint problem alone; the sun's path does not reverse, so whole shoots are compared under
     * flat light in the next test */
    struct small m, n;
    make_small(&m, 5);
    n = m;
    n.joint.time = n.time;
    n.joint.pair = n.pair;
    n.joint.weight = n.weight;
    n.joint.stiff = n.stiff;
    n.joint.tie = n.tie;
    n.joint.setting = (const int(*)[DW_MAX_CLASSES])n.setting;
    for (int i = 0; i < SHOTS; i++) {
        int j = SHOTS - 1 - i;
        n.time[i] = m.time[SHOTS - 1] + m.time[0] - m.time[j];
        n.stiff[i] = j >= 3 ? m.stiff[j - 3] : 0; /* of the row that ends at shot j */
        n.tie[i] = m.tie[j];
        memcpy(n.setting[i], m.setting[j], sizeof n.setting[i]);
    }
    n.joint.follow = n.follow;
    for (int q = 0; q < FOLLOWS; q++) {
        n.follow[q].first = SHOTS - m.follow[q].first - FOLLOWED;
        n.follow[q].x = n.x[q];
        for (int i = 0; i < FOLLOWED; i++)
            n.x[q][i] = m.x[q][FOLLOWED - 1 - i];
    }
    for (int k = 0; k < PAIRS; k++) {
        n.pair[k].a = (uint32_t)(SHOTS - 1) - m.pair[k].b;
        n.pair[k].b = (uint32_t)(SHOTS - 1) - m.pair[k].a;
        n.pair[k].v = -m.pair[k].v;
    }
    double s[SHOTS], e[SHOTS], rs[SHOTS], re[SHOTS], o[CLASSES + FOLLOWS];
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_joint_solve(&m.joint, &arena, s, e, NULL, NULL, o), DW_OK);
    ck_assert_int_eq(dw_joint_solve(&n.joint, &arena, rs, re, NULL, NULL, o), DW_OK);
    for (int i = 0; i < SHOTS; i++)
        ck_assert_double_eq_tol(e[i], re[SHOTS - 1 - i], 1e-7);
    dw_arena_free_to(&arena, 0);
}
END_TEST

static void compare_backwards(const struct fake_params *p, double tolerance)
{
    struct result r = decide(p);
    struct fake_shoot back = fake_reversed(&r.shoot);
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p->site;
    struct dw_decision d;
    struct dw_error err = {0};
    ck_assert_msg(dw_decide(&back.shots, &back.survey, &params, NULL, &d, &err) == DW_OK, "%s",
                  err.text);
    size_t n = r.shoot.shots.n;
    double worst = 0;
    for (size_t i = 0; i < n; i++)
        worst = fmax(worst, fabs(r.error[i] - d.ledger[n - 1 - i].flicker_stops));
    ck_assert_msg(worst < tolerance, "differs by %g", worst);
    dw_decision_free(&d);
    fake_free(&back);
    done(&r);
}

START_TEST(flat_light_reversed_gives_the_reversed_errors)
{
    struct fake_params p = fake_defaults(4);
    p.frames = 201;
    p.flat = true;
    /* not exact: tiles are judged in blocks that begin at the first shot */
    compare_backwards(&p, 0.002);
}
END_TEST

/* One stop more of light everywhere: the errors and the look stay, only the light grows. */
START_TEST(a_stop_of_light_changes_only_the_light)
{
    struct fake_params p = fake_defaults(5);
    p.frames = 150;
    struct result r = decide(&p);
    struct fake_shoot more = fake_make(&p);
    for (size_t i = 0; i < more.shots.n; i++)
        more.shots.shot[i].ev100 += 1; /* the same pictures, half the exposure */
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = p.site;
    struct dw_decision d;
    ck_assert_int_eq(dw_decide(&more.shots, &more.survey, &params, NULL, &d, NULL), DW_OK);
    for (size_t i = 0; i < more.shots.n; i++) {
        ck_assert_double_eq_tol(d.ledger[i].flicker_stops, r.error[i], 1e-6);
        ck_assert_double_eq_tol(d.ledger[i].luminance_stops,
                                r.decision.ledger[i].luminance_stops + 1, 1e-5);
    }
    for (size_t k = 0; k < d.n_frames; k++) {
        ck_assert_double_eq_tol(d.frame[k].source[0].gain_stops,
                                r.decision.frame[k].source[0].gain_stops, 1e-5);
        ck_assert_double_eq_tol(d.frame[k].key, r.decision.frame[k].key, 1e-6);
    }
    dw_decision_free(&d);
    fake_free(&more);
    done(&r);
}
END_TEST

/* A constant scene: constant output light, whatever the camera did. */
START_TEST(a_constant_scene_gives_a_constant_sequence)
{
    struct fake_params p = fake_defaults(6);
    p.frames = 120;
    p.flat = true;
    struct result r = decide(&p);
    double low = INFINITY, high = -INFINITY, last = 0, step = 0;
    for (size_t i = 0; i < r.shoot.shots.n; i++) {
        double level = 0;
        for (int k = 0; k < 600; k++)
            level += log2((double)r.shoot.survey.measure[i].tile[k].mean[1] - 512);
        level = level / 600 + r.decision.frame[i].source[0].gain_stops;
        low = fmin(low, level);
        high = fmax(high, level);
        step = fmax(step, i ? fabs(level - last) : 0);
        last = level;
    }
    /* single errors are 0.04 stop and go; waves of hours may pass for light, a hundredth deep */
    ck_assert_msg(high - low < 0.003 && step < 0.001, "spread %.5f, step %.5f", high - low, step);
    done(&r);
}
END_TEST

/* A wrong record of a few shots and of one; a lamp that stays on is no wrong record. */
START_TEST(jumps_need_a_way_back)
{
    enum { N = 60 };
    struct dw_pair pair[N - 1] = {{0, 0, 0, 0, false}};
    double time[N], jump[N];
    bool loose[N] = {false};
    for (int i = 0; i < N; i++)
        time[i] = 120.0 * i;
    for (int i = 0; i < N - 1; i++)
        pair[i] = (struct dw_pair){(uint32_t)i, (uint32_t)i + 1, 0.01, 1e-8, true};
    pair[9].v += 0.33;
    pair[19].v -= 0.32;
    pair[30].v -= 2;
    pair[31].v += 2;
    pair[45].v += 0.5; /* stays */
    dw_find_jumps(pair, N, time, 120, loose, jump);
    for (int i = 0; i < N; i++)
        ck_assert_double_eq_tol(jump[i], i >= 10 && i < 20 ? 0.325 : i == 31 ? -2 : 0, 1e-9);
    pair[9].agree = false; /* half of the picture did not follow: a cloud */
    dw_find_jumps(pair, N, time, 120, loose, jump);
    ck_assert_double_eq(jump[15], 0);
}
END_TEST

/* Dusk and dawn, shots 300 s apart: light falls by 1.8 stops from one to the next at the most, and
 * by far less an hour before and after. That is no leap there and back of a wrong record, as which
 * the middle of dusk, beside a median over hours, would be taken (and the whole night with it). A
 * leap by night is one all the same. */
START_TEST(a_fast_dusk_is_no_wrong_record)
{
    enum { N = 120, DUSK = 30, DAWN = 90, LEAP = 58, BACK = 62 };
    struct dw_pair pair[N - 1];
    double time[N], jump[N];
    bool loose[N] = {false};
    for (int i = 0; i < N; i++)
        time[i] = 300.0 * i;
    for (int i = 0; i < N - 1; i++) {
        double falls = 1.8 * exp(-pow((i - DUSK) / 6.0, 2)), rises = pow((i - DAWN) / 6.0, 2);
        pair[i] =
            (struct dw_pair){(uint32_t)i, (uint32_t)i + 1, 1.8 * exp(-rises) - falls, 1e-8, true};
    }
    dw_find_jumps(pair, N, time, 300, loose, jump);
    for (int i = 0; i < N; i++)
        ck_assert_double_eq(jump[i], 0);
    pair[LEAP].v += 0.33;
    pair[BACK].v -= 0.33;
    dw_find_jumps(pair, N, time, 300, loose, jump);
    for (int i = 0; i < N; i++)
        ck_assert_double_eq_tol(jump[i], i > LEAP && i <= BACK ? 0.33 : 0, 0.01);
}
END_TEST

/* Fog that clears over half an hour is light; single errors and chance are not. */
START_TEST(slow_light_is_told_from_errors)
{
    enum { N = 200 };
    double own[N], tie[N], slow[N];
    unsigned seed = 3;
    for (int i = 0; i < N; i++) {
        own[i] = 0.03 * sqrt(12) * random_value(&seed);
        tie[i] = 1;
    }
    own[50] = 2;
    struct dw_arena arena = {0};
    ck_assert_int_eq(dw_slow_light(own, tie, N, 0.03, &arena, slow), DW_OK);
    for (int i = 0; i < N; i++)
        ck_assert_double_lt(fabs(slow[i]), 0.02);
    for (int i = 100; i < 160; i++)
        own[i] -= 0.4 * pow(sin(M_PI * (i - 100) / 60), 2);
    ck_assert_int_eq(dw_slow_light(own, tie, N, 0.03, &arena, slow), DW_OK);
    ck_assert_double_eq_tol(slow[130], -0.4, 0.06);
    ck_assert_double_lt(fabs(slow[60]), 0.02);
    dw_arena_free_to(&arena, 0);
}
END_TEST

START_TEST(few_shots_still_get_an_answer)
{
    const int counts[] = {1, 2, 3, 4, 10};
    struct fake_params p = fake_defaults(7);
    p.frames = counts[_i];
    struct result r = decide(&p);
    ck_assert_uint_eq(r.decision.n_frames, (size_t)counts[_i]);
    for (size_t i = 0; i < r.shoot.shots.n; i++) {
        ck_assert(isfinite(r.error[i]) && fabs(r.error[i]) < 0.3);
        ck_assert(isfinite(r.decision.ledger[i].gain_stops));
    }
    if (counts[_i] == 10)
        ck_assert_double_lt(fake_hf(&r.shoot, r.error, -90, 90), 0.004);
    done(&r);
}
END_TEST

/* Shots so far apart that a dusk is ten of them. Where it is fastest light falls by half a stop
 * more from one to the next than in the middle of the hours about, which must not make of it a
 * rival to what the tiles show. */
START_TEST(far_shots_of_a_dusk_are_compared)
{
    struct fake_params p = fake_defaults((unsigned)(1 + _i));
    p.interval_s = 300;
    p.frames = 150;
    p.site = (struct dw_site){30, 31, 100};
    struct result r = decide(&p);
    double worst = 0, sum = 0, said = 0;
    for (size_t i = 3; i + 3 < r.shoot.shots.n; i++) {
        double v[7];
        for (size_t k = 0; k < 7; k++)
            v[k] = r.error[i + k - 3] - r.shoot.error[i + k - 3];
        double left = fake_rest_of_seven(v);
        worst = fmax(worst, fabs(left));
        if (r.shoot.alt[i] > 0 || r.shoot.alt[i] < -15)
            continue;
        sum += left * left;
        said += 2.0 / 3 * pow(r.decision.ledger[i].flicker_sigma, 2);
    }
    ck_assert_msg(worst < 0.012, "seed %u: one error left of %.4f", p.seed, worst);
    /* by the ledger's word: what not knowing the law adds is in it, else 3.0 for the second seed */
    ck_assert_msg(sqrt(sum / said) < 2.6, "seed %u: errors left over their sigma %.2f", p.seed,
                  sqrt(sum / said));
    done(&r);
}
END_TEST

START_TEST(uneven_intervals_are_followed)
{
    struct fake_params p = fake_defaults(8);
    p.interval_change = 0.5;
    struct result r = decide(&p);
    ck_assert_double_lt(fake_steadying_error(&r.shoot, r.error, -90, 90), 0.0006);
    done(&r);
}
END_TEST

/* Invented: two neighbours that show no tile in common (the one has only its left half, the other
 * only its right) say nothing about each other, and that is no flicker. */
START_TEST(what_cannot_be_compared_is_no_flicker)
{
    struct fake_params p = fake_defaults(11);
    p.frames = 60;
    struct result r = decide(&p);
    double usual = r.decision.after.all;
    for (int k = 0; k < p.rows * p.cols; k++) {
        bool left = k % p.cols < p.cols / 2;
        for (int c = 0; c < 3; c++)
            r.shoot.survey.measure[left ? 31 : 30].tile[k].mean[c] = NAN;
    }
    struct dw_decision again = fake_decide(&r.shoot);
    ck_assert(again.ledger[30].use && again.ledger[31].use);
    ck_assert_double_lt(again.after.all, 2 * usual);
    dw_decision_free(&again);
    done(&r);
}
END_TEST

/* Invented grids, two minutes apart, and what their pairs say. */
enum { COMPARED = 60, COMPARED_COLS = 30, COMPARED_ROWS = 20, COMPARED_TILES = 600 };
struct compared {
    float light[COMPARED * COMPARED_TILES], noise[COMPARED * COMPARED_TILES];
    float lever[COMPARED * COMPARED_TILES], shift[COMPARED][2];
    float contrast[2][COMPARED * COMPARED_TILES];
    double step[COMPARED], var[COMPARED]; /* from each to the next */
};

static void compare_all(struct compared *c)
{
    double time[COMPARED], room[3][COMPARED];
    bool loose[COMPARED] = {false};
    struct dw_beside told = {.unit_s = 120,
                             .unrest = room[0],
                             .black = room[1],
                             .black_var = room[2],
                             .contrast = c->contrast[0],
                             .contrast_var = c->contrast[1]};
    for (int i = 0; i < COMPARED; i++)
        time[i] = 120.0 * i;
    const struct dw_grids grids = {COMPARED, COMPARED_COLS, COMPARED_ROWS,
                                   c->light, c->noise,      c->lever,
                                   time,     loose,         (const float(*)[2])c->shift};
    const struct dw_pair_params params = DW_PAIR_DEFAULTS;
    struct dw_arena arena = {0};
    struct dw_pair *pair;
    size_t n;
    ck_assert_int_eq(dw_pairs_compare(&grids, &params, &arena, &pair, &n, &told, NULL), DW_OK);
    for (size_t i = 0; i < n; i++)
        if (pair[i].b == pair[i].a + 1) {
            c->step[pair[i].a] = pair[i].v;
            c->var[pair[i].a] = pair[i].var;
        }
    dw_arena_free_to(&arena, 0);
}

/* Invented: dusk gives way to a town whose glow each tile has another share of, the sky most and
 * unevenly, the ground little; and each exposure errs. Tiles part by a tenth of a stop from one
 * shot to the next, more and then less, and still tell the errors: what the pairs say beside these
 * is smooth, which light is. */
START_TEST(tiles_that_part_in_dusk_tell_errors)
{
    static struct compared c;
    double error[COMPARED], smooth[COMPARED] = {0}, rest = 0;
    unsigned seed = 7;
    for (int i = 0; i < COMPARED; i++)
        error[i] = 0.06 * random_value(&seed);
    for (int k = 0; k < COMPARED_TILES; k++) {
        double share = k < COMPARED_TILES / 2 ? 0.3 + 0.7 * k / COMPARED_TILES : 0.1;
        for (int i = 0; i < COMPARED; i++) {
            c.light[i * COMPARED_TILES + k] = (float)(log2(exp2(-0.45 * (i - 30)) + share) +
                                                      error[i] + 0.001 * random_value(&seed));
            c.noise[i * COMPARED_TILES + k] = 3e-7f;
        }
    }
    compare_all(&c);
    for (int i = 0; i + 1 < COMPARED; i++)
        smooth[i] = c.step[i] - (error[i + 1] - error[i]);
    for (int i = 15; i < 45; i++)
        rest += pow(fake_rest_of_seven(smooth + i - 3), 2) / 30;
    printf("# tiles that part: %.5f beside a smooth course\n", sqrt(rest));
    ck_assert_msg(sqrt(rest) < 4e-4, "%.5f", sqrt(rest));
}
END_TEST

/* Invented: the view jumps by a third of a tile. Ground that is rough within a tile (the second
 * round) does not come out right between two tiles, so the step over the jump counts for less; the
 * tiles count for as much on either side as elsewhere. */
START_TEST(a_step_over_a_bump_counts_for_less_and_its_neighbours_do_not)
{
    enum { BUMP = 30 };
    static struct compared c;
    const struct dw_pair_params params = DW_PAIR_DEFAULTS;
    unsigned seed = 12;
    for (int i = 0; i < COMPARED; i++)
        c.shift[i][0] = i < BUMP ? 0 : 0.3f;
    for (int k = 0; k < COMPARED_TILES; k++) {
        double ground = _i * 2 * random_value(&seed), rough = _i * 0.2 * random_value(&seed);
        for (int i = 0; i < COMPARED; i++) {
            c.light[i * COMPARED_TILES + k] =
                (float)(ground + (i < BUMP ? 0 : rough) + 0.004 * random_value(&seed));
            c.noise[i * COMPARED_TILES + k] = 1e-6f;
        }
    }
    compare_all(&c);
    double usual = c.var[10], beside = fmax(c.var[BUMP - 2], c.var[BUMP]);
    ck_assert_double_ge(c.var[BUMP - 1], params.moved_stops * params.moved_stops);
    ck_assert_msg(beside < 2 * usual, "%g beside the bump, %g elsewhere", beside, usual);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("steady");
    TCase *t = tcase_create("joint");
    tcase_add_loop_test(t, joint_solution_equals_dense_least_squares, 0, 12);
    tcase_add_test(t, third_difference_of_a_cubic_is_constant);
    tcase_add_test(t, reversed_order_gives_the_reversed_answer);
    tcase_add_test(t, jumps_need_a_way_back);
    tcase_add_test(t, a_fast_dusk_is_no_wrong_record);
    tcase_add_test(t, slow_light_is_told_from_errors);
    suite_add_tcase(s, t);
    t = tcase_create("shoots");
    tcase_add_loop_test(t, known_errors_are_found, 0, 3 * (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(t, broken_cloud_leaves_little_on_the_whole);
    tcase_add_loop_test(t, a_black_that_jumps_is_found, 0, 6);
    tcase_add_loop_test(t, blacks_are_told_from_their_steps, 0, 2);
    tcase_add_test(t, fog_that_ends_is_light);
    tcase_add_loop_test(t, a_bank_by_day_is_light, 0, 3);
    tcase_add_loop_test(t, a_moon_in_dusk_is_light, 0, 3 * (int)(sizeof moons / sizeof moons[0]));
    tcase_add_loop_test(t, headlights_on_all_the_sky_are_no_exposure_error, 0, 3);
    tcase_add_loop_test(t, dark_current_is_found_from_dark_tiles, 0, 4);
    tcase_add_test(t, the_law_follows_a_twilight);
    tcase_add_test(t, a_bend_of_twilight_is_told_from_errors);
    tcase_add_test(t, more_rounds_make_nothing_worse);
    tcase_add_loop_test(t, far_shots_know_how_uncertain_they_are, 0, 4);
    tcase_add_test(t, the_law_does_not_follow_weather);
    tcase_add_test(t, one_mornings_weather_is_not_the_next_ones);
    tcase_add_test(t, shots_without_a_record_are_as_steady_as_their_neighbours);
    tcase_add_test(t, a_stretch_with_a_wrong_iso_is_put_right);
    tcase_add_test(t, real_light_is_not_taken_for_exposure);
    tcase_add_test(t, flat_light_reversed_gives_the_reversed_errors);
    tcase_add_test(t, a_stop_of_light_changes_only_the_light);
    tcase_add_test(t, a_constant_scene_gives_a_constant_sequence);
    tcase_add_loop_test(t, few_shots_still_get_an_answer, 0, 5);
    tcase_add_loop_test(t, far_shots_of_a_dusk_are_compared, 0, 2);
    tcase_add_test(t, uneven_intervals_are_followed);
    tcase_add_test(t, what_cannot_be_compared_is_no_flicker);
    tcase_add_test(t, tiles_that_part_in_dusk_tell_errors);
    tcase_add_loop_test(t, a_step_over_a_bump_counts_for_less_and_its_neighbours_do_not, 0, 2);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
