/* test_lift.c: what stands out of the night sky: how the sky is found that is behind it, and what
 * is made of a pixel, its neighbours and that sky. All light here is invented. */
#include "check_main.h"

#include "base/matrix3.h"
#include "render/stars/background.h"
#include "render/kernels/kernels.h"

#include <math.h>
#include <string.h>

enum { N = 41, MIDDLE = 20 };

static const float luma[3] = {0.2627f, 0.678f, 0.0593f}; /* ITU-R BT.2020 */

static float luminance(const float rgb[3])
{
    return luma[0] * rgb[0] + luma[1] * rgb[1] + luma[2] * rgb[2];
}

/* Three rows of light with the place before the first and after the last. */
struct light {
    float v[3][3][N + 2];
};

static void set(struct light *l, int y, int x, const float rgb[3])
{
    for (int c = 0; c < 3; c++)
        l->v[y][c][x + 1] = rgb[c];
}

static void fill(struct light *l, const float rgb[3])
{
    for (int y = 0; y < 3; y++)
        for (int x = -1; x <= N; x++)
            set(l, y, x, rgb);
}

struct seen {
    float rgb[3][N], norm[N], own[N], spot[3][N + 2 * DW_SPOT_FAR];
};

/* Red and blue as they differ from luminance, and that, to light. */
static void join(struct seen *s, const float *y)
{
    for (int i = 0; i < N; i++) {
        float l = y[i], green = -(luma[0] * s->rgb[0][i] + luma[2] * s->rgb[2][i]) / luma[1];
        s->rgb[0][i] += l;
        s->rgb[1][i] = l + green;
        s->rgb[2][i] += l;
    }
}

/* Means, of which red and blue are differences from luminance. */
static void near(const struct dw_prepare *q, float smooth, const struct light *l, struct seen *s)
{
    const struct dw_kernels *k = dw_kernels_plain();
    float apart[3][3][N + 2];
    const float *row[3][3];
    for (int y = 0; y < 3; y++) {
        const float *const light[3] = {l->v[y][0], l->v[y][1], l->v[y][2]};
        k->tone->split(q, light, N + 2, apart[y][0], apart[y][1], apart[y][2]);
        for (int c = 0; c < 3; c++)
            row[y][c] = apart[y][c] + 1;
    }
    float *const spot = s->spot[0] + DW_SPOT_FAR;
    k->lift->near(smooth, row[0], row[1], row[2], N, s->rgb[0], spot, s->rgb[2]);
    memcpy(s->own, row[1][1], sizeof s->own);
    for (int i = 1; i <= DW_SPOT_FAR; i++) {
        spot[-i] = spot[0];
        spot[N - 1 + i] = spot[N - 1];
    }
}

static const struct dw_lift plain_lift = {.floor = 0,
                                          .most_side = 1.3f,
                                          .start = 2.5f,
                                          .half = 2,
                                          .together = 2.2f,
                                          .raise = {3.5f, 3.5f, 3.5f},
                                          .luma = {0.2627f, 0.678f, 0.0593f},
                                          .norm_y = 0.65f};
static const struct dw_prepare as_it_is = {.matrix = {1, 0, 0, 0, 1, 0, 0, 0, 1},
                                           .luma = {0.2627f, 0.678f, 0.0593f},
                                           .norm_max = 0.35f,
                                           .own = {0.2627f, 0.678f, 0.0593f}};

/* What the air asks for: nothing, unless a test sets it. */
static float air_of[2], known_of, brighter_of, tint_of[3] = {1, 1, 1};

/* Light above which is nothing but sky of this colour, lifted. above: luminance of the rows above.
 */
static void lift(const struct dw_lift *q, const struct light *l, const float sky[3], float sigma,
                 float above, struct seen *s)
{
    float level[N], grain[N], colour[3][N], air[2][N], known[N], tint[3][N], brighter[N];
    near(&as_it_is, 1, l, s);
    for (int i = 0; i < N; i++) {
        level[i] = luminance(sky);
        grain[i] = sigma;
        known[i] = known_of;
        brighter[i] = brighter_of;
        for (int c = 0; c < 3; c++)
            tint[c][i] = known_of > 0 ? tint_of[c] : 1;
        air[0][i] = air_of[0];
        air[1][i] = air_of[1];
        for (int c = 0; c < 3; c++)
            colour[c][i] = sky[c];
        s->spot[1][i] = s->spot[2][i] = above;
    }
    const struct dw_lift_rows rows = {s->own,
                                      level,
                                      level,
                                      grain,
                                      {colour[0], colour[1], colour[2]},
                                      known,
                                      known,
                                      brighter,
                                      {tint[0], tint[1], tint[2]},
                                      {air[0], air[1]},
                                      {s->spot[0] + DW_SPOT_FAR, s->spot[1], s->spot[2]}};
    float shown[N], red[N], blue[N];
    const float *const mean[2] = {s->rgb[0], s->rgb[2]};
    dw_kernels_plain()->lift->lift(q, &rows, mean, N, red, shown, blue, s->norm);
    memcpy(s->rgb[0], red, sizeof red);
    memcpy(s->rgb[2], blue, sizeof blue);
    join(s, shown);
}

START_TEST(means_are_of_the_nine_and_luminance_is_its_own)
{
    struct dw_prepare q = as_it_is;
    const float m[9] = {1.2f, -0.1f, -0.1f, 0.05f, 0.9f, 0.05f, -0.2f, 0.1f, 1.4f};
    memcpy(q.matrix, m, sizeof m);
    for (int c = 0; c < 3; c++)
        q.own[c] = luma[0] * m[c] + luma[1] * m[3 + c] + luma[2] * m[6 + c];
    struct light l;
    uint32_t h = 5;
    for (int y = 0; y < 3; y++)
        for (int x = -1; x <= N; x++)
            for (int c = 0; c < 3; c++) {
                h = h * 1664525u + 1013904223u;
                l.v[y][c][x + 1] = (float)(h >> 8) * 0x1p-22f;
            }
    for (int k = 0; k <= 2; k++) {
        double smooth = 0.5 * k;
        struct seen s;
        near(&q, (float)smooth, &l, &s);
        join(&s, s.spot[0] + DW_SPOT_FAR);
        for (int x = 0; x < N; x++) {
            double mean[3] = {0}, own[3], spot = 0, of_own = 0;
            for (int v = -1; v <= 1; v++)
                for (int u = -1; u <= 1; u++)
                    for (int c = 0; c < 3; c++)
                        mean[c] += (u ? 0.25 * smooth : 1 - 0.5 * smooth) *
                                   (v ? 0.25 * smooth : 1 - 0.5 * smooth) *
                                   (double)l.v[v + 1][c][x + u + 1];
            for (int c = 0; c < 3; c++) {
                double want = 0;
                own[c] = 0;
                for (int i = 0; i < 3; i++) {
                    want += (double)m[3 * c + i] * mean[i];
                    own[c] += (double)m[3 * c + i] * (double)l.v[1][i][x + 1];
                }
                ck_assert_double_eq_tol((double)s.rgb[c][x], want, 1e-5);
                spot += (double)luma[c] * want;
                of_own += (double)luma[c] * own[c];
            }
            ck_assert_double_eq_tol((double)s.spot[0][x + DW_SPOT_FAR], spot, 1e-5);
            ck_assert_double_eq_tol((double)s.own[x], of_own, 1e-5);
        }
    }
}
END_TEST

/* Nothing happens to sky and its grain, and without a lift a pixel of false colour takes that of
 * its neighbours and keeps its luminance. */
START_TEST(sky_and_its_grain_are_not_lifted)
{
    const float sky[3] = {1.1f, 1.0f, 1.5f}, more[3] = {1.3f, 1.15f, 1.6f};
    struct light l;
    struct seen s;
    fill(&l, sky);
    set(&l, 1, MIDDLE, more);
    float sigma = (luminance(more) - luminance(sky)) / 2; /* two sigmas of it */
    lift(&plain_lift, &l, sky, sigma, luminance(sky), &s);
    for (int x = 0; x < N; x++) {
        const float rgb[3] = {s.rgb[0][x], s.rgb[1][x], s.rgb[2][x]};
        ck_assert_double_eq_tol((double)luminance(rgb), (double)s.own[x], 1e-6);
        if (x < MIDDLE - 1 || x > MIDDLE + 1)
            for (int c = 0; c < 3; c++)
                ck_assert_double_eq_tol((double)rgb[c], (double)sky[c], 1e-6);
        double largest = fmax((double)rgb[0], fmax((double)rgb[1], (double)rgb[2]));
        ck_assert_double_eq_tol((double)s.norm[x], 0.65 * (double)s.own[x] + 0.35 * largest, 1e-5);
    }
    /* grain of colour: far less off the sky's than it was, and no lighter */
    const float odd[3] = {1.8f, 0.75f, 1.1f};
    fill(&l, sky);
    set(&l, 1, MIDDLE, odd);
    lift(&plain_lift, &l, sky, 1, luminance(sky), &s);
    double was = (double)odd[0] / (double)odd[1] - 1.1,
           is = (double)(s.rgb[0][MIDDLE] / s.rgb[1][MIDDLE]) - 1.1;
    ck_assert_msg(fabs(is) < 0.4 * was, "%g of %g", is, was);
    const float calm[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
    ck_assert_double_eq_tol((double)luminance(calm), (double)luminance(odd), 1e-6);
}
END_TEST

/* What a star adds to the sky is raised wholly once it stands well above the grain, by a share
 * where it does little, and has one colour in all its pixels, whatever its brightness and that of
 * the sky.
 */
START_TEST(stars_are_raised_in_their_own_colour)
{
    const float sky[3] = {0.7f, 0.8f, 1.4f}, star[3] = {1.0f, 0.8f, 0.5f};
    double last = 0;
    for (float bright = 0.5f; bright < 300; bright *= 1.7f) {
        struct light l;
        struct seen s;
        fill(&l, sky);
        for (int y = 0; y < 3;
             y++) /* a spot of 1-2-1 both ways, its colour spoilt as by a sensor */
            for (int x = -1; x <= 1; x++) {
                float rgb[3], part = bright * (x ? 0.25f : 0.5f) * (y != 1 ? 0.5f : 1);
                for (int c = 0; c < 3; c++)
                    rgb[c] = sky[c] + part * star[c] * ((x + y) % 2 ? 1 : c == 0 ? 1.2f : 0.9f);
                set(&l, y, MIDDLE + x, rgb);
            }
        const float sigma = 0.02f;
        lift(&plain_lift, &l, sky, sigma, luminance(sky), &s);
        double red = (double)(s.rgb[0][MIDDLE] - sky[0]),
               blue = (double)(s.rgb[2][MIDDLE] - sky[2]);
        ck_assert_msg(fabs(log2(red / blue) - 1) < 0.35, "%g: red over blue %g", (double)bright,
                      red / blue);
        const float rgb[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
        double gain =
            (double)((luminance(rgb) - luminance(sky)) / (s.own[MIDDLE] - luminance(sky)));
        ck_assert_msg(gain > last - 1e-3 && gain < 3.5 + 1e-3, "%g: raised by %g after %g",
                      (double)bright, gain, last);
        /* beside the middle it has the same colour */
        double side = (double)((s.rgb[0][MIDDLE + 1] - sky[0]) / (s.rgb[2][MIDDLE + 1] - sky[2]));
        if (bright > 3)
            ck_assert_msg(fabs(log2(side) - 1) < 0.35, "%g: %g", (double)bright, side);
        last = gain;
    }
    ck_assert_double_gt(last, 3.45);
    /* alone among darker grain, its neighbours tell nothing: no more comes of it than it has */
    const float less[3] = {0.66f, 0.75f, 1.3f};
    struct light l;
    struct seen s;
    fill(&l, less);
    const float point[3] = {0.9f, 1.0f, 1.6f};
    set(&l, 1, MIDDLE, point);
    lift(&plain_lift, &l, sky, 0.01f, luminance(sky), &s);
    for (int c = 0; c < 3; c++) {
        double most = 0.02 + (double)(sky[c] + 3.5f * 1.5f * (point[c] - sky[c]));
        ck_assert_msg((double)s.rgb[c][MIDDLE] < most, "%g beyond %g", (double)s.rgb[c][MIDDLE],
                      most);
    }
}
END_TEST

/* A star that stands 1.5 sigmas above the sky is left in the grain, and raised where one is known
 * to stand; sky itself is not. Noise of the colour of faint ones pales, that of bright ones does
 * not.
 */
START_TEST(known_stars_are_raised_and_faint_ones_pale)
{
    const float sky[3] = {1, 1, 1}, faint[3] = {1.06f, 1.03f, 1.0f}, bright[3] = {7, 4, 1};
    struct dw_lift q = plain_lift;
    q.known_start = 0.5f - q.start;
    q.known_half = 0.7f - q.half;
    q.raise_luma = 3.5f;
    struct light l;
    struct seen s;
    float sigma = (luminance(faint) - 1) / 1.5f;
    for (int k = 0; k < 2; k++) {
        known_of = (float)k;
        fill(&l, sky);
        set(&l, 1, MIDDLE, faint);
        lift(&q, &l, sky, sigma, 1, &s);
        const float rgb[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
        /* share 1 of (1 + 0.49): 1 + (3.5 - 1) * 0.67 times as far above the sky */
        double times = k ? 1 + 2.5 / 1.49 : 1;
        ck_assert_double_eq_tol((double)luminance(rgb) - 1, times * 1.5 * (double)sigma,
                                0.02 * times * (double)sigma);
        ck_assert_double_eq_tol((double)s.rgb[0][MIDDLE - 9], 1, 1e-5);
    }
    known_of = 1;
    double kept[3][2];
    for (int k = 0; k < 3; k++) { /* how much redder than grey, in parts of luminance */
        q.pale = k == 0 ? 0 : k == 1 ? 16 : 1e9f;
        fill(&l, sky);
        set(&l, 1, MIDDLE, faint);
        lift(&q, &l, sky, sigma, 1, &s);
        const float a[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
        kept[k][0] = (double)((a[0] - 1) / (luminance(a) - 1)) - 1;
        fill(&l, sky);
        set(&l, 1, MIDDLE, bright);
        lift(&q, &l, sky, sigma, 1, &s);
        const float b[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
        kept[k][1] = (double)((b[0] - 1) / (luminance(b) - 1)) - 1;
    }
    /* what is not its own is of the star's known colour, and as bright */
    const float blue[3] = {0.5f, 1, 2};
    for (int c = 0; c < 3; c++)
        tint_of[c] = blue[c] / luminance(blue);
    q.known_pale = 1e6f;
    q.vivid = 1;
    fill(&l, sky);
    set(&l, 1, MIDDLE, faint);
    lift(&q, &l, sky, sigma, 1, &s);
    const float tinted[3] = {s.rgb[0][MIDDLE] - 1, s.rgb[1][MIDDLE] - 1, s.rgb[2][MIDDLE] - 1};
    /* of 2.49 parts the lift takes away one third, which stays its own */
    ck_assert(tinted[2] > 1.3f * tinted[1] && tinted[0] < tinted[1]);
    ck_assert_double_eq_tol((double)luminance(tinted), (1 + 2.5 / 1.49) * 1.5 * (double)sigma,
                            0.05 * (double)sigma);
    known_of = 0;
    for (int c = 0; c < 3; c++)
        tint_of[c] = 1;
    q.known_pale = 0;
    /* the faint one's believed share is 1.5^2 / (1.5^2 + 16), between none and all */
    ck_assert_double_eq_tol((kept[1][0] - kept[2][0]) / (kept[0][0] - kept[2][0]), 2.25 / 18.25,
                            0.01);
    ck_assert_double_lt(kept[1][0], 0.6 * kept[0][0]);
    ck_assert_double_eq_tol(kept[1][1], kept[0][1], 0.01 * kept[0][1]);
}
END_TEST

/* What the air asks for is done to the star's red and blue in camera colours, and to the star
 * alone: neither to sky beside it nor to anything that is not raised. */
START_TEST(the_air_is_undone_in_camera_colours)
{
    const float sky[3] = {1, 1, 1}, star[3] = {41, 31, 21};
    const double to[9] = {1.6, -0.4, -0.2, -0.2, 1.5, -0.3, 0.1, -0.5, 1.4}; /* camera to wide */
    double from[9];
    ck_assert(dw_m3_invert(to, from));
    struct dw_lift q = plain_lift;
    for (int c = 0; c < 3; c++) {
        q.red_of[c] = (float)from[c] * q.raise[c];
        q.blue_of[c] = (float)from[6 + c] * q.raise[c];
        q.to_red[c] = (float)to[3 * c];
        q.to_blue[c] = (float)to[3 * c + 2];
    }
    struct light l;
    struct seen s, as_it_was;
    fill(&l, sky);
    set(&l, 1, MIDDLE, star);
    lift(&q, &l, sky, 0.02f, 1, &as_it_was);
    air_of[0] = -0.2f;
    air_of[1] = 0.5f;
    lift(&q, &l, sky, 0.02f, 1, &s);
    air_of[0] = air_of[1] = 0;
    double before[3], after[3];
    for (int c = 0; c < 3; c++) {
        before[c] = (double)as_it_was.rgb[c][MIDDLE] - 1;
        after[c] = (double)s.rgb[c][MIDDLE] - 1;
        ck_assert_double_eq_tol((double)s.rgb[c][MIDDLE - 9], 1, 1e-5);
    }
    dw_m3_apply(from, before, before);
    dw_m3_apply(from, after, after);
    ck_assert_double_eq_tol(after[0], 0.8 * before[0], 0.002 * before[0]);
    ck_assert_double_eq_tol(after[1], before[1], 0.002 * before[1]);
    ck_assert_double_eq_tol(after[2], 1.5 * before[2], 0.003 * before[2]);
}
END_TEST

/* Light that is as bright farther along the row, or above, is no point: path, wall, cloud. What is
 * beyond the limit is lifted all the same (a trail is no point either). */
START_TEST(what_goes_on_is_no_star)
{
    const float sky[3] = {1, 1, 1}, wall[3] = {1.25f, 1.25f, 1.25f}, trail[3] = {6, 6, 6};
    struct light l;
    struct seen s;
    for (int x = 0; x < 3; x++) { /* to the left, to the right, from above */
        fill(&l, sky);
        for (int y = 0; y < 3; y++)
            for (int i = 0; i < N; i++)
                if (x == 0 ? i <= MIDDLE : x == 1 ? i >= MIDDLE : i == MIDDLE)
                    set(&l, y, i, wall);
        lift(&plain_lift, &l, sky, 0.02f, x == 2 ? 1.25f : 1, &s);
        const float rgb[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
        ck_assert_double_eq_tol((double)luminance(rgb), 1.25, 0.02);
    }
    fill(&l, sky);
    set(&l, 1, MIDDLE, wall);
    lift(&plain_lift, &l, sky, 0.02f, 1, &s);
    ck_assert_double_gt((double)s.rgb[1][MIDDLE], 1.7); /* the same light as a point */
    fill(&l, sky);
    for (int y = 0; y < 3; y++)
        for (int i = 0; i < N; i++)
            set(&l, y, i, trail);
    lift(&plain_lift, &l, sky, 0.02f, 6, &s);
    ck_assert_double_gt((double)s.rgb[1][MIDDLE], 15);
    struct dw_lift high = plain_lift; /* below the floor everything that goes on is ground */
    high.floor = 7;
    lift(&high, &l, sky, 0.02f, 6, &s);
    ck_assert_double_eq_tol((double)s.rgb[1][MIDDLE], 6, 1e-3);
}
END_TEST

/* Dark pixels beside a lit pane, whose tile's light reaches into the sky that is learnt about it:
 * their neighbours stand far above that sky, they themselves lie below it and stay as they are. */
START_TEST(beside_a_lit_pane_it_stays_dark)
{
    const float dark[3] = {0.7f, 0.8f, 1.2f}, pane[3] = {300, 300, 300}, sky[3] = {5, 6, 9};
    struct light l;
    struct seen s;
    fill(&l, dark);
    for (int y = 0; y < 3; y++)
        for (int i = 0; i < MIDDLE; i++)
            set(&l, y, i, pane);
    lift(&plain_lift, &l, sky, 0.02f, luminance(dark), &s);
    for (int x = MIDDLE; x < N; x++) {
        const float rgb[3] = {s.rgb[0][x], s.rgb[1][x], s.rgb[2][x]};
        ck_assert_double_eq_tol((double)luminance(rgb), (double)luminance(dark), 1e-3);
    }
    ck_assert_double_gt((double)s.rgb[1][MIDDLE - 1], 290);
}
END_TEST

/* The look of one faint star of the map, whose light is white in the frame and `tint` in the map:
 * how much more blue than red is at its place and beside it, and its luminance above the sky. */
struct mapped {
    float here, beside, light;
};

static struct mapped mapped(const struct dw_lift *q, float excess, float level)
{
    const float sky[3] = {level, level, level};
    const float star[3] = {level + excess, level + excess, level + excess};
    struct light l;
    struct seen s;
    fill(&l, sky);
    set(&l, 1, MIDDLE, star);
    lift(q, &l, sky, excess / 8, level, &s);
    const float rgb[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
    return (struct mapped){rgb[2] - rgb[0], s.rgb[2][MIDDLE + 1] - s.rgb[0][MIDDLE + 1],
                           luminance(rgb) - level};
}

/* The map's colour of a star lies as wide as 3x3 pixels or where its light is, as strong as is
 * asked for, and stronger the less the star adds to the sky. Its light does not change by that. */
START_TEST(the_maps_colour_is_laid_wide_and_stands_out_of_the_sky)
{
    struct dw_lift q = plain_lift;
    const float blue[3] = {0.5f, 1, 2};
    q.known_start = -q.start;
    q.map_pale = 1e9f; /* nothing of its colour is believed in the frame */
    q.stand = 2;
    q.vivid = 1;
    q.raise_luma = 3.5f;
    known_of = 1;
    for (int c = 0; c < 3; c++)
        tint_of[c] = blue[c] / luminance(blue);
    float tint = tint_of[2] - tint_of[0];
    struct mapped plain = mapped(&q, 0.01f, 1);
    /* of its light, less what stays unlifted: 1 / (1 + (8/2)^2) */
    ck_assert_double_eq_tol((double)(plain.here / plain.light), (double)tint, 0.06 * (double)tint);
    ck_assert_double_lt(fabs((double)plain.beside), 0.01 * (double)plain.here);
    q.wide = 1;
    struct mapped wide = mapped(&q, 0.01f, 1);
    /* weights of the mean of 3x3: 1/4 in the middle, 1/8 beside it */
    ck_assert_double_eq_tol((double)wide.here, 0.25 * (double)plain.here,
                            0.02 * (double)plain.here);
    ck_assert_double_gt((double)wide.beside, 0.2 * (double)wide.here);
    ck_assert_double_eq_tol((double)wide.light, (double)plain.light, 1e-5);
    q.wide = 0;
    q.vivid = 2;
    struct mapped vivid = mapped(&q, 0.01f, 1);
    ck_assert_double_eq_tol((double)vivid.here, 2 * (double)plain.here, 0.02 * (double)plain.here);
    q.vivid = 1;
    q.faint_vivid = 2;
    struct mapped faint = mapped(&q, 0.01f, 1), bright = mapped(&q, 10, 1);
    ck_assert_double_eq_tol((double)(faint.here / faint.light), 3 * (double)tint,
                            0.06 * 3 * (double)tint); /* it adds 0.035 to the sky */
    ck_assert_double_eq_tol((double)(bright.here / bright.light), (double)tint,
                            0.06 * (double)tint);
    /* never more than if all the pixel's light were the star's */
    q.faint_vivid = 1000;
    struct mapped most = mapped(&q, 0.01f, 1);
    ck_assert_double_eq_tol((double)most.here, (double)(tint * (1 + most.light)), 1e-3);
    q.faint_vivid = 0;
    known_of = 0;
    for (int c = 0; c < 3; c++)
        tint_of[c] = 1;
}
END_TEST

/* A known star that the air dims is raised by so much more; where the map has none, nothing is. */
START_TEST(what_the_air_dims_is_raised_where_a_star_is_known)
{
    struct dw_lift q = plain_lift;
    q.known_start = -q.start;
    q.raise_luma = 3.5f;
    q.air = 0.5f;
    known_of = 1;
    struct mapped plain = mapped(&q, 0.1f, 1);
    brighter_of = 1.2f;
    struct mapped more = mapped(&q, 0.1f, 1);
    q.air = 0;
    struct mapped without = mapped(&q, 0.1f, 1);
    /* (1 - w) e + w 3.5 e with w = 1 / (1 + (2/8)^2), as it is and with 1.6 times 3.5 */
    double w = 1 / (1 + 1 / 16.);
    ck_assert_double_eq_tol((double)plain.light, 0.1 * (1 - w + 3.5 * w), 2e-3);
    ck_assert_double_eq_tol((double)more.light, 0.1 * (1 - w + 1.6 * 3.5 * w), 2e-3);
    ck_assert_double_eq_tol((double)without.light, (double)plain.light, 1e-6);
    brighter_of = 0;
    known_of = 0;
}
END_TEST

/* Where a pixel stands out whose neighbours do not, they must not take its light: they left black
 * holes in a starry sky. */
START_TEST(a_known_stars_pixel_never_darkens)
{
    struct dw_lift q = plain_lift;
    const float sky[3] = {1, 1, 1}, point[3] = {1.1f, 1.1f, 1.1f}, dark[3] = {0.95f, 0.95f, 0.9f};
    q.known_start = -q.start;
    q.map_pale = 1e9f;
    q.raise_luma = 3.5f;
    q.vivid = 1;
    known_of = 1;
    struct light l;
    struct seen s;
    fill(&l, sky);
    for (int y = 0; y < 3; y++)
        for (int x = MIDDLE - 1; x <= MIDDLE + 1; x++)
            set(&l, y, x, dark);
    set(&l, 1, MIDDLE, point);
    lift(&q, &l, sky, 0.02f, 1, &s);
    known_of = 0;
    const float rgb[3] = {s.rgb[0][MIDDLE], s.rgb[1][MIDDLE], s.rgb[2][MIDDLE]};
    ck_assert_double_gt((double)luminance(rgb), 1.3);
}
END_TEST

static float noise(uint32_t *h)
{
    float sum = 0; /* nearly normal, deviation 1 */
    for (int i = 0; i < 12; i++) {
        *h = *h * 1664525u + 1013904223u;
        sum += (float)(*h >> 8) * 0x1p-24f;
    }
    return sum - 6;
}

/* Runs of pixels of which none is raised are passed over: one that is must not change the others.
 */
START_TEST(a_pixel_does_not_depend_on_what_its_run_holds)
{
    enum { M = 150, ROWS = 12 };
    static float row[ROWS][M + 2 * DW_SPOT_FAR], alone[4][M], among[4][M], own[M];
    static float red[M], blue[M];
    const float *const mean[2] = {red, blue};
    struct dw_lift q = plain_lift;
    memcpy(q.red_of, (float[3]){1.1f, -0.1f, 0.2f}, sizeof q.red_of);
    memcpy(q.to_red, (float[3]){1.5f, -0.2f, 0.1f}, sizeof q.to_red);
    q.pale = 16;
    q.known_pale = 84;
    uint32_t h = 3;
    for (int k = 0; k < ROWS; k++)
        for (int i = 0; i < M + 2 * DW_SPOT_FAR; i++) {
            h = h * 1664525u + 1013904223u;
            row[k][i] = 0.5f + (float)(h >> 8) * 0x1p-29f; /* a little grain: nothing stands out */
        }
    for (int i = 0; i < M; i++)
        row[2][i] = 0.2f; /* sigma */
    const struct dw_lift_rows rows = {own,
                                      row[0],
                                      row[1],
                                      row[2],
                                      {row[3], row[4], row[5]},
                                      row[6],
                                      row[7],
                                      row[3],
                                      {row[4], row[8], row[3]},
                                      {row[7], row[8]},
                                      {row[9] + DW_SPOT_FAR, row[10], row[11]}};
    for (int star = -1; star < M; star += 7) {
        float(*v)[M] = star < 0 ? alone : among;
        for (int i = 0; i < M; i++) {
            own[i] = row[6][i] + (i == star ? 20 : 0);
            red[i] = row[3][i] - row[9][i + DW_SPOT_FAR];
            blue[i] = row[5][i] - row[9][i + DW_SPOT_FAR] + 0.1f;
        }
        dw_kernels_plain()->lift->lift(&q, &rows, mean, M, v[0], v[1], v[2], v[3]);
        for (int i = 0; i < M && star >= 0; i++)
            for (int k = 0; k < 4; k++)
                ck_assert((alone[k][i] == among[k][i]) == (i != star));
    }
}
END_TEST

/* A pixel in no star is what it is, whether its run holds a star of the map or not. */
START_TEST(a_star_of_the_map_changes_no_pixel_beyond_its_own)
{
    enum { M = 96, STAR = 40 };
    static float row[M + 2 * DW_SPOT_FAR], one[M], none[M], some[M], own[M];
    static float alone[4][M], among[4][M], red[M], blue[M];
    const float *const mean[2] = {red, blue};
    struct dw_lift q = plain_lift;
    q.pale = 16;
    q.known_pale = 84;
    q.map_pale = 3500;
    q.raise_luma = 3.5f;
    q.vivid = q.faint_vivid = 2;
    q.air = 1;
    for (int i = 0; i < M; i++) {
        one[i] = 1;
        some[i] = i == STAR ? 1 : 0;
    }
    for (int i = 0; i < M + 2 * DW_SPOT_FAR; i++)
        row[i] = 0.1f;
    for (int k = 0; k < 2; k++) {
        const float *known = k ? some : none;
        float(*v)[M] = k ? among : alone;
        for (int i = 0; i < M; i++) { /* all of these stand out, each in its own way */
            own[i] = 0.55f + 0.01f * (float)(i * 6 % 17);
            red[i] = 0.05f - 0.01f * (float)(i * 3 % 17);
            blue[i] = 0.06f - 0.01f * (float)(i * 5 % 17);
        }
        const struct dw_lift_rows rows = {own,
                                          row,
                                          row,
                                          row,
                                          {row, row, row},
                                          known,
                                          known,
                                          known,
                                          {one, row, row},
                                          {none, none},
                                          {row + DW_SPOT_FAR, row, row}};
        dw_kernels_plain()->lift->lift(&q, &rows, mean, M, v[0], v[1], v[2], v[3]);
    }
    for (int i = 0; i < M; i++)
        for (int c = 0; c < 4; c++)
            ck_assert((alone[c][i] == among[c][i]) == (i != STAR));
}
END_TEST

/* A sky that brightens and warms downwards, with grain and stars, above black ground: its level,
 * its colour and its grain are found, up to the skyline. */
START_TEST(the_sky_behind_is_found)
{
    enum { W = 480, H = 320, SKYLINE = 250 };
    struct dw_background b = {0};
    ck_assert_int_eq(dw_background_begin(&b, W, H, NULL), DW_OK);
    uint32_t h = 3;
    static float rgb[3][W], level[W];
    for (int y = 0; y < H; y++) {
        for (int x = 0; x < W; x++) {
            float at = (float)y / SKYLINE, v = y < SKYLINE ? 1 + 3 * at * at : 0.1f;
            float grain = 1 + 0.05f * noise(&h), star = (x * 7 + y * 13) % 97 == 0 ? 5 : 0;
            const float colour[3] = {0.8f + 0.6f * at, 1.0f, 1.2f - 0.6f * at};
            float of = luminance(colour);
            for (int c = 0; c < 3; c++)
                rgb[c][x] = v * grain * colour[c] / of + (y < SKYLINE ? star : 0);
            const float own[3] = {rgb[0][x], rgb[1][x], rgb[2][x]};
            level[x] = luminance(own);
        }
        if (dw_background_wants(&b, y))
            dw_background_add(&b, y, (float *const[3]){rgb[0], rgb[1], rgb[2]}, level);
    }
    dw_background_end(&b, &(struct dw_sky_wanted){1.5f, 1, 0});
    static float out[DW_SKY_ROWS][W];
    float *const rows[DW_SKY_ROWS] = {out[0], out[1], out[2], out[3],
                                      out[4], out[5], out[6], out[7]};
    for (int y = 4; y < SKYLINE; y += 3) {
        dw_background_row(&b, y, W, H, rows);
        double at = (double)y / SKYLINE, want = 1 + 3 * at * at, mean = 0, grain = 0, ratio = 0;
        for (int x = 0; x < W; x++) {
            mean += (double)out[0][x] / W;
            grain += (double)(out[2][x] / out[0][x]) / W;
            ratio += (double)(out[3][x] / out[5][x]) / W;
        }
        double red_blue = (0.8 + 0.6 * at) / (1.2 - 0.6 * at), off = y > SKYLINE - 16 ? 0.1 : 0.02;
        ck_assert_msg(fabs(mean / want - 1) < off, "row %d: level %g of %g", y, mean, want);
        ck_assert_msg(fabs(ratio / red_blue - 1) < 2 * off, "row %d: red/blue %g of %g", y, ratio,
                      red_blue);
        ck_assert_msg(grain > 0.04 && grain < (y > SKYLINE - 24 ? 0.12 : 0.085), "row %d: grain %g",
                      y, grain);
    }
    dw_background_row(&b, H - 4, W, H, rows);
    ck_assert_double_eq_tol((double)out[0][W / 2], 0.3, 1e-6); /* no sky is as dark as the ground */
    /* what stands out there must be brighter than the night sky; in the open sky it need not */
    ck_assert_double_eq_tol((double)out[1][W / 2], 1.5, 1e-6);
    dw_background_row(&b, 20, W, H, rows);
    ck_assert(out[1][W / 2] < 1.1f && fabsf(out[1][W / 2] - out[0][W / 2]) < 1e-6f);
    dw_background_free(&b);
}
END_TEST

/* On and beside a burnt-out wall about a window the air changes nothing; in the sky it does. */
START_TEST(walls_are_not_behind_the_air)
{
    enum { W = 480, H = 320, WALL = 200 };
    struct dw_background b = {0};
    ck_assert_int_eq(dw_background_begin(&b, W, H, NULL), DW_OK);
    static float light[W];
    for (int x = 0; x < W; x++)
        light[x] = x < WALL ? 300 : 1.6f;
    for (int y = 0; y < H; y++)
        if (dw_background_wants(&b, y))
            dw_background_add(&b, y, (float *const[3]){light, light, light}, light);
    dw_background_end(&b, &(struct dw_sky_wanted){1.5f, 1, 0});
    static float red[W * H], blue[W * H], out[DW_SKY_ROWS][W];
    for (int i = 0; i < W * H; i++) {
        red[i] = -0.2f;
        blue[i] = 0.5f;
    }
    dw_background_air(&b, red, blue);
    float *const rows[DW_SKY_ROWS] = {out[0], out[1], out[2], out[3],
                                      out[4], out[5], out[6], out[7]};
    dw_background_row(&b, H / 2, W, H, rows);
    for (int x = 0; x < WALL; x++)
        ck_assert_msg(fabsf(out[6][x]) < 1e-6f && fabsf(out[7][x]) < 1e-6f, "%d: %g %g", x,
                      (double)out[6][x], (double)out[7][x]);
    ck_assert_double_eq_tol((double)out[6][WALL + 60], -0.2, 1e-6);
    ck_assert_double_eq_tol((double)out[7][W - 1], 0.5, 1e-6);
    dw_background_free(&b);
}
END_TEST

/* Foreground covers what lies below it, wherever below is. */
START_TEST(ground_lies_below_the_skyline)
{
    enum { W = 128, H = 128, MARGIN = 12 };
    for (int turn = 0; turn < 360; turn += 90) {
        struct dw_background b = {0};
        ck_assert_int_eq(dw_background_begin(&b, W, H, NULL), DW_OK);
        static float level[W];
        for (int y = 0; y < H; y++) {
            for (int x = 0; x < W; x++) { /* v: rows of the upright picture */
                int v = turn == 0 ? y : turn == 90 ? x : turn == 180 ? H - 1 - y : W - 1 - x;
                level[x] = v > 70 && v < 90 ? 0.1f : 1;
            }
            if (dw_background_wants(&b, y))
                dw_background_add(&b, y, (float *const[3]){level, level, level}, level);
        }
        dw_background_end(&b, &(struct dw_sky_wanted){1.5f, 1, turn});
        static float out[DW_SKY_ROWS][W];
        float *const rows[DW_SKY_ROWS] = {out[0], out[1], out[2], out[3],
                                          out[4], out[5], out[6], out[7]};
        for (int y = 0; y < H; y++) {
            dw_background_row(&b, y, W, H, rows);
            for (int x = 0; x < W; x++) {
                int v = turn == 0 ? y : turn == 90 ? x : turn == 180 ? H - 1 - y : W - 1 - x;
                if (v < 70 - MARGIN || v > 90 + MARGIN)
                    ck_assert_msg(fabsf(out[1][x] - (v < 70 ? 1 : 1.5f)) < 1e-3f, "%d: %d %d: %g",
                                  turn, x, y, (double)out[1][x]);
            }
        }
        dw_background_free(&b);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("lift");
    TCase *c = tcase_create("lift");
    tcase_add_test(c, means_are_of_the_nine_and_luminance_is_its_own);
    tcase_add_test(c, sky_and_its_grain_are_not_lifted);
    tcase_add_test(c, stars_are_raised_in_their_own_colour);
    tcase_add_test(c, known_stars_are_raised_and_faint_ones_pale);
    tcase_add_test(c, the_maps_colour_is_laid_wide_and_stands_out_of_the_sky);
    tcase_add_test(c, what_the_air_dims_is_raised_where_a_star_is_known);
    tcase_add_test(c, a_known_stars_pixel_never_darkens);
    tcase_add_test(c, a_star_of_the_map_changes_no_pixel_beyond_its_own);
    tcase_add_test(c, the_air_is_undone_in_camera_colours);
    tcase_add_test(c, what_goes_on_is_no_star);
    tcase_add_test(c, beside_a_lit_pane_it_stays_dark);
    tcase_add_test(c, a_pixel_does_not_depend_on_what_its_run_holds);
    tcase_add_test(c, the_sky_behind_is_found);
    tcase_add_test(c, walls_are_not_behind_the_air);
    tcase_add_test(c, ground_lies_below_the_skyline);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
