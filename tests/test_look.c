/* test_look.c: from scene-linear light to a finished picture. */
#include "check_main.h"
#include "mosaics.h"

#include "render/facts/colour.h"
#include "render/look/curves.h"
#include "render/look/look.h"

#include "base/matrix3.h"

#include <lcms2.h>

static const struct dw_look_params plain_look = DW_LOOK_DEFAULTS;

static struct dw_frame frame_at(double key, double day, double stars)
{
    return (struct dw_frame){
        .number = 7, .n_sources = 1, .key = key, .day = day, .balance = day, .stars = stars};
}

static struct dw_linear new_light(int width, int height)
{
    struct dw_linear l = {.width = width, .height = height};
    size_t n = (size_t)width * (size_t)height;
    l.plane[0] = calloc(3 * n, sizeof(float));
    l.plane[1] = l.plane[0] + n;
    l.plane[2] = l.plane[1] + n;
    return l;
}

static void set_pixel(struct dw_linear *l, int i, double r, double g, double b)
{
    l->plane[0][i] = (float)r;
    l->plane[1][i] = (float)g;
    l->plane[2][i] = (float)b;
}

/* One colour through the whole look, 0..1. */
static void look_at(const double in[3], const struct dw_frame *frame,
                    const struct dw_look_params *params, enum dw_space space, double out[3])
{
    struct dw_linear l = new_light(1, 1);
    struct dw_facts f = plain_facts(2, 2);
    struct dw_image image = {.bits = 16, .space = space};
    struct dw_error err = {0};
    set_pixel(&l, 0, in[0], in[1], in[2]);
    ck_assert_msg(dw_look(&l, frame, &f, params, &image, &err) == DW_OK, "%s", err.text);
    for (int c = 0; c < 3; c++)
        out[c] = image.px16[c] / 65535.0;
    dw_image_free(&image);
    dw_linear_free(&l);
}

static double srgb_of(double v)
{
    return v <= 0.0031308 ? 12.92 * v : 1.055 * pow(v, 1 / 2.4) - 0.055;
}

/* IEC 61966-2-1, SMPTE EG 432-1 and ITU-R BT.2020 by their chromaticities, as the colour-science
 * package has them; 8 decimals. BT.2020 to sRGB: ITU-R BT.2087. */
START_TEST(matrices_are_the_standards)
{
    const double srgb[9] = {0.41239080, 0.35758434, 0.18048079, 0.21263901, 0.71516868,
                            0.07219232, 0.01933082, 0.11919478, 0.95053215};
    const double wide[9] = {0.63695805, 0.14461690, 0.16888098, 0.26270021, 0.67799807,
                            0.05930172, 0,          0.02807269, 1.06098506};
    const double to_srgb[9] = {1.66049100,  -0.58764114, -0.07284986, -0.12455047, 1.13289990,
                               -0.00834942, -0.01815076, -0.10057890, 1.11872966};
    double m[9];
    dw_space_to_xyz(DW_SPACE_SRGB, m);
    for (int i = 0; i < 9; i++)
        ck_assert(fabs(m[i] - srgb[i]) < 1e-8);
    dw_space_to_xyz(DW_SPACE_REC2020, m);
    for (int i = 0; i < 9; i++)
        ck_assert(fabs(m[i] - wide[i]) < 1e-8);
    dw_wide_to_space(DW_SPACE_SRGB, m);
    for (int i = 0; i < 9; i++)
        ck_assert(fabs(m[i] - to_srgb[i]) < 1e-8);
}
END_TEST

static cmsHPROFILE profile_of(const double xy[6], cmsToneCurve *curve)
{
    cmsCIExyY white = {0.3127, 0.3290, 1};
    cmsCIExyYTRIPLE primaries = {{xy[0], xy[1], 1}, {xy[2], xy[3], 1}, {xy[4], xy[5], 1}};
    cmsToneCurve *curves[3] = {curve, curve, curve};
    return cmsCreateRGBProfile(&white, &primaries, curves);
}

/* Little CMS as reference for everything behind the tone curve: wide-gamut linear light to coded
 * sRGB and Display P3. The look is made transparent (nothing saturated, hue kept, no contrast), so
 * only y = x / (x + 1/key - 1) stands before. Inside the gamut only: outside we go another way. */
START_TEST(colours_are_those_of_a_colour_management_library)
{
    const double wide[6] = {0.708, 0.292, 0.170, 0.797, 0.131, 0.046};
    const double out[2][6] = {{0.640, 0.330, 0.300, 0.600, 0.150, 0.060},
                              {0.680, 0.320, 0.265, 0.690, 0.150, 0.060}};
    const enum dw_space space[2] = {DW_SPACE_SRGB, DW_SPACE_P3};
    cmsToneCurve *line = cmsBuildGamma(NULL, 1.0);
    const double parameters[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
    cmsToneCurve *srgb = cmsBuildParametricToneCurve(NULL, 4, parameters);
    cmsHPROFILE from = profile_of(wide, line);
    struct dw_look_params look = plain_look;
    look.day_contrast = 1;
    look.day_saturation = 1;
    look.day_hue_share = 1;
    struct dw_frame frame = frame_at(0.5, 1, 0);
    int compared = 0;
    for (int k = 0; k < 2; k++) {
        cmsHPROFILE to = profile_of(out[k], srgb);
        cmsHTRANSFORM t =
            cmsCreateTransform(from, TYPE_RGB_DBL, to, TYPE_RGB_DBL, INTENT_RELATIVE_COLORIMETRIC,
                               cmsFLAGS_NOOPTIMIZE | cmsFLAGS_NOCACHE);
        ck_assert_ptr_nonnull(t);
        for (int i = 0; i < 1000; i++) {
            double in[3] = {0.02 + 0.1 * (i % 10), 0.02 + 0.1 * (i / 10 % 10),
                            0.02 + 0.1 * (i / 100)};
            /* the norm sets the curve's factor, here by the definition in double precision */
            double y = 0.262700212 * in[0] + 0.677998072 * in[1] + 0.0593017165 * in[2];
            double norm = 0.65 * y + 0.35 * fmax(fmax(in[0], in[1]), in[2]);
            double shown[3], want[3], got[3];
            for (int c = 0; c < 3; c++)
                shown[c] = in[c] / (norm + 1);
            cmsDoTransform(t, shown, want, 1);
            double low = fmin(fmin(want[0], want[1]), want[2]);
            double high = fmax(fmax(want[0], want[1]), want[2]);
            if (low < 0.4 * high || high > 0.95)
                continue; /* in the knee of the gamut's mapping */
            look_at(in, &frame, &look, space[k], got);
            for (int c = 0; c < 3; c++)
                ck_assert_msg(fabs(got[c] - want[c]) < 1e-4, "%g %g %g channel %d: %.6f for %.6f",
                              in[0], in[1], in[2], c, got[c], want[c]);
            compared++;
        }
        cmsDeleteTransform(t);
        cmsCloseProfile(to);
    }
    ck_assert_msg(compared > 300, "%d", compared);
    cmsCloseProfile(from);
    cmsFreeToneCurve(line);
    cmsFreeToneCurve(srgb);
}
END_TEST

/* The key: light of one key is shown at the frame's key exactly, by both curves and every mix. */
START_TEST(the_key_is_pinned)
{
    const double key[] = {0.01, 0.02, 0.1, 0.2, 0.4}, grey[3] = {1, 1, 1};
    for (int i = 0; i < 5; i++)
        for (double day = 0; day <= 1; day += 0.125) {
            double got[3];
            struct dw_frame f = frame_at(key[i], day, 0);
            look_at(grey, &f, &plain_look, DW_SPACE_SRGB, got);
            for (int c = 0; c < 3; c++)
                ck_assert_msg(fabs(got[c] - srgb_of(key[i])) < 2.0 / 65535, "key %g day %g: %g",
                              key[i], day, got[c]);
        }
}
END_TEST

/* Brighter light is never shown darker, black is black, and nothing leaves the range. */
START_TEST(grey_light_rises_from_black)
{
    for (int k = 0; k <= 2; k++) {
        double last = -1;
        struct dw_frame f = frame_at(0.08, 0.5 * k, 0);
        for (int i = 0; i <= 400; i++) {
            double x = i == 0 ? 0 : exp2(i / 10.0 - 22), in[3] = {x, x, x}, got[3];
            look_at(in, &f, &plain_look, DW_SPACE_SRGB, got);
            ck_assert(i > 0 || got[1] == 0);
            for (int c = 0; c < 3; c++) /* the matrix's rows sum to 1 but for rounding */
                ck_assert(fabs(got[c] - got[1]) < 1.5 / 65535);
            ck_assert(got[1] >= last);
            last = got[1];
        }
        ck_assert(last > 0.99);
    }
}
END_TEST

static void fill_scene(struct dw_linear *l, uint32_t seed)
{
    for (int i = 0; i < l->width * l->height; i++) {
        double v[3];
        for (int c = 0; c < 3; c++) {
            seed = seed * 1664525u + 1013904223u;
            v[c] = (double)(seed >> 8) / (1 << 23) - 0.05;
        }
        set_pixel(l, i, v[0], v[1], v[2]);
    }
}

static struct dw_image picture(const struct dw_frame *frame, const struct dw_look_params *params,
                               int bits, const double *bad)
{
    struct dw_linear l = new_light(64, 40);
    struct dw_facts f = plain_facts(128, 80);
    struct dw_image image = {.bits = bits};
    fill_scene(&l, 5);
    if (bad)
        for (int i = 0; i < 3; i++)
            l.plane[i][100 + i] = (float)*bad;
    ck_assert_int_eq(dw_look(&l, frame, &f, params, &image, NULL), DW_OK);
    dw_linear_free(&l);
    return image;
}

/* At weight 0 and 1 the other curve has no say: whatever its parameters, the bytes are equal.
 * Close to the ends the mix is close to the pure curve. */
START_TEST(the_ends_of_the_crossover_are_pure)
{
    for (int day = 0; day <= 1; day++) {
        struct dw_look_params other = plain_look;
        if (day) {
            other.night_contrast = 2.5f;
            other.night_hue_share = 0.1f;
        } else {
            other.day_contrast = 2.5f;
            other.day_hue_share = 0.1f;
        }
        struct dw_frame pure = frame_at(0.1, day, 0), near = frame_at(0.1, day ? 0.9999 : 1e-4, 0);
        near.balance = pure.balance;
        struct dw_image a = picture(&pure, &plain_look, 16, NULL);
        struct dw_image b = picture(&pure, &other, 16, NULL);
        struct dw_image c = picture(&near, &plain_look, 16, NULL);
        ck_assert_mem_eq(a.px16, b.px16, 64 * 40 * 6);
        for (int i = 0; i < 64 * 40 * 3; i++)
            ck_assert(abs(a.px16[i] - c.px16[i]) < 16);
        dw_image_free(&a);
        dw_image_free(&b);
        dw_image_free(&c);
    }
}
END_TEST

START_TEST(rubbish_does_not_reach_the_picture)
{
    const double bad[] = {NAN, INFINITY, -INFINITY, 1e30, -1e30};
    for (int i = 0; i < 5; i++)
        for (int k = 0; k <= 2; k++) {
            struct dw_frame f = frame_at(0.1, 0.5 * k, k == 0);
            struct dw_image clean = picture(&f, &plain_look, 8, NULL);
            struct dw_image image = picture(&f, &plain_look, 8, &bad[i]);
            int changed = 0;
            for (int p = 0; p < 64 * 40; p++)
                changed += memcmp(&image.px8[3 * p], &clean.px8[3 * p], 3) != 0;
            ck_assert_msg(changed <= 64 * 40 / 4, "%g spread over %d pixels", bad[i], changed);
            dw_image_free(&clean);
            dw_image_free(&image);
        }
}
END_TEST

/* Stars: raised above the sky, the sky itself left as it is, their colour kept; nothing happens
 * where the weight is 0, and a smooth twilight gradient is left alone. */
START_TEST(stars_are_lifted_and_the_sky_is_not)
{
    struct dw_facts f = plain_facts(256, 160);
    uint16_t sky[2][2], peak[2][3];
    for (int k = 0; k < 2; k++) {
        struct dw_linear l = new_light(128, 80);
        for (int i = 0; i < 128 * 80; i++) {
            double v = 1.55 + 1.5 * (i % 128) / 128.0;
            set_pixel(&l, i, v, v, v);
        }
        set_pixel(&l, 40 * 128 + 30, 5, 4, 3.2);
        struct dw_frame frame = frame_at(0.02, 0, k);
        frame.balance = 1; /* no night balance here */
        struct dw_image image = {.bits = 16};
        ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, NULL), DW_OK);
        sky[k][0] = image.px16[3 * (20 * 128 + 20)];
        sky[k][1] = image.px16[3 * (60 * 128 + 110)];
        memcpy(peak[k], &image.px16[3 * (40 * 128 + 30)], sizeof peak[k]);
        dw_image_free(&image);
        dw_linear_free(&l);
    }
    ck_assert(peak[1][1] > peak[0][1] + 5000);
    ck_assert(peak[1][0] > peak[1][1] && peak[1][1] > peak[1][2]);
    for (int i = 0; i < 2; i++)
        ck_assert_msg(abs(sky[1][i] - sky[0][i]) < 0.02 * sky[0][i], "%u to %u", sky[0][i],
                      sky[1][i]);
}
END_TEST

/* A star, and below it a path in moonlight, which goes on too far to be one. */
static void star_and_path(struct dw_linear *l, int at)
{
    set_pixel(l, at, 9, 7, 5);
    set_pixel(l, at + 1, 3, 4, 6);
    for (int i = 0; i < 12; i++)
        set_pixel(l, at + 3 * l->width + i, 1.9, 2, 2.1);
}

/* Rows are made in pieces, which no picture may show: what stands out comes out alike wherever it
 * stands, and so does what is about it. */
START_TEST(a_star_is_the_same_wherever_it_stands)
{
    enum { W = 2 * DW_LOOK_PIECE + 40, H = 48, BEFORE = 8, AFTER = 20, ROW = 24, HERE = 100 };
    struct dw_facts f = plain_facts(2 * W, 2 * H);
    for (int k = 0; k < 3; k++) /* by day, while the colours' smoothing comes in, by night */
        for (int at = DW_LOOK_PIECE - 24; at < DW_LOOK_PIECE + 24; at++) {
            struct dw_linear l = new_light(W, H);
            for (int i = 0; i < W * H; i++)
                set_pixel(&l, i, 1.5, 1.6, 1.7);
            star_and_path(&l, ROW * W + HERE);
            star_and_path(&l, ROW * W + at);
            struct dw_frame frame = frame_at(0.02, 1 - 0.5 * k, 0.5 * k);
            struct dw_image image = {.bits = 16};
            ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, NULL), DW_OK);
            const uint16_t *v = image.px16;
            ck_assert(v[3 * (ROW * W + HERE)] > v[0] + 1000);
            for (int y = ROW - BEFORE; y <= ROW + BEFORE; y++)
                ck_assert_mem_eq(&v[3 * (y * W + HERE - BEFORE)], &v[3 * (y * W + at - BEFORE)],
                                 3 * (BEFORE + AFTER) * sizeof *v);
            dw_image_free(&image);
            dw_linear_free(&l);
        }
}
END_TEST

/* A burnt-out wall that fills its tiles is all that is about it, but no sky: it comes out neutral,
 * and not in the night's balance, also at dusk when that is half there and no star is lifted yet.
 * A wall no brighter than a sky can be keeps that. */
START_TEST(walls_are_no_sky)
{
    struct dw_facts f = plain_facts(256, 160);
    const float cool[3] = {0.85f, 1.0f, 1.6f};
    memcpy(f.night_mul, cool, sizeof cool);
    for (int k = 0; k < 4; k++) {
        struct dw_linear l = new_light(128, 80);
        for (int i = 0; i < 128 * 80; i++) {
            double v = i % 128 < 64 ? 1.6 : k == 0 ? 12 : 400;
            set_pixel(&l, i, v, v, v);
        }
        struct dw_frame frame = frame_at(0.02, 0, k < 2 ? 1 : k == 2 ? 0.2 : 0);
        frame.balance = k < 2 ? 0 : 0.5;
        struct dw_image image = {.bits = 16};
        ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, NULL), DW_OK);
        const uint16_t *wall = &image.px16[3 * (40 * 128 + 100)];
        if (k == 0)
            ck_assert_msg(wall[2] > 1.1 * wall[0], "%u %u %u", wall[0], wall[1], wall[2]);
        else
            ck_assert_msg(wall[2] < 1.03 * wall[0], "%u %u %u", wall[0], wall[1], wall[2]);
        dw_image_free(&image);
        dw_linear_free(&l);
    }
}
END_TEST

/* The night's balance is for the sky: far above it, white light is shown white again. */
START_TEST(stars_keep_the_balance_of_daylight)
{
    struct dw_facts f = plain_facts(256, 160);
    const float cool[3] = {0.85f, 1.0f, 1.6f};
    memcpy(f.night_mul, cool, sizeof cool);
    struct dw_linear l = new_light(128, 80);
    for (int i = 0; i < 128 * 80; i++)
        set_pixel(&l, i, 1.6, 1.6, 1.6);
    set_pixel(&l, 40 * 128 + 30, 60, 60, 60);
    struct dw_frame frame = frame_at(0.02, 0, 1);
    struct dw_image image = {.bits = 16};
    ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, NULL), DW_OK);
    const uint16_t *sky = &image.px16[3 * (20 * 128 + 20)];
    const uint16_t *star = &image.px16[3 * (40 * 128 + 30)];
    ck_assert_msg(sky[2] > 1.1 * sky[0], "sky %u %u %u", sky[0], sky[1], sky[2]);
    ck_assert_msg(abs(star[2] - star[0]) < 0.02 * star[1], "star %u %u %u", star[0], star[1],
                  star[2]);
    dw_image_free(&image);
    dw_linear_free(&l);
}
END_TEST

/* Colours that the output cannot show come in along their own hue: channels keep their order. */
START_TEST(vivid_colours_keep_their_order)
{
    const double vivid[][3] = {{4, 0.1, 0.02}, {0.02, 3, 0.1}, {0.05, 0.02, 6}, {5, 3, 0},
                               {0, 4, 5},      {3, 0, 3},      {300, 100, 1}};
    double to[9];
    dw_wide_to_space(DW_SPACE_SRGB, to);
    for (size_t i = 0; i < sizeof vivid / sizeof *vivid; i++)
        for (int k = 0; k <= 2; k++) {
            double got[3];
            struct dw_frame f = frame_at(0.2, 0.5 * k, 0);
            look_at(vivid[i], &f, &plain_look, DW_SPACE_SRGB, got);
            double lin[3];
            dw_m3_apply(to, vivid[i], lin);
            double top = fmax(fmax(lin[0], lin[1]), lin[2]);
            for (int a = 0; a < 3; a++)
                for (int b = 0; b < 3; b++)
                    if (lin[a] > lin[b] + 0.05 * top)
                        ck_assert_msg(got[a] >= got[b], "%zu: %g %g %g", i, got[0], got[1], got[2]);
        }
}
END_TEST

START_TEST(senseless_parameters_are_named)
{
    struct dw_linear l = new_light(4, 4);
    struct dw_facts f = plain_facts(8, 8);
    struct dw_image image = {.bits = 8};
    struct dw_error err = {0};
    struct dw_look_params look = plain_look;
    struct dw_frame frame = frame_at(0.1, 0, 0);
    look.night_contrast = 0.2f;
    ck_assert_int_eq(dw_look(&l, &frame, &f, &look, &image, &err), DW_ERR_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "night contrast"));
    frame.day = NAN;
    ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, &err), DW_ERR_USAGE);
    frame.day = 0;
    image.bits = 12;
    ck_assert_int_eq(dw_look(&l, &frame, &f, &plain_look, &image, &err), DW_ERR_USAGE);
    dw_image_free(&image);
    dw_linear_free(&l);
}
END_TEST

/* Equal frames give equal bytes; another frame number gives other dither, by one code at most. */
START_TEST(dither_belongs_to_the_frame)
{
    struct dw_frame a = frame_at(0.02, 0, 0), b = a;
    b.number = 8;
    struct dw_image x = picture(&a, &plain_look, 8, NULL), y = picture(&a, &plain_look, 8, NULL);
    struct dw_image z = picture(&b, &plain_look, 8, NULL);
    ck_assert_mem_eq(x.px8, y.px8, 64 * 40 * 3);
    int other = 0;
    for (int i = 0; i < 64 * 40 * 3; i++) {
        ck_assert(abs(x.px8[i] - z.px8[i]) <= 1);
        other += x.px8[i] != z.px8[i];
    }
    ck_assert_msg(other > 1000, "%d", other);
    dw_image_free(&x);
    dw_image_free(&y);
    dw_image_free(&z);
}
END_TEST

/* Under the stars a pixel of false colour is brought to its neighbours' colour, its luminance
 * stays, and by day or without the smoothing nothing of the kind happens. */
START_TEST(colour_is_smoothed_under_the_stars)
{
    struct dw_facts f = plain_facts(256, 160);
    double chroma[3], luma[3];
    for (int k = 0; k < 3; k++) {
        struct dw_linear l = new_light(128, 80);
        struct dw_look_params look = plain_look;
        look.star_lift = 0;
        look.night_chroma = k == 0 ? 0 : 1;
        for (int i = 0; i < 128 * 80; i++)
            set_pixel(&l, i, 1, 1, 1);
        set_pixel(&l, 40 * 128 + 30, 1.8, 0.6779, 1.0); /* BT.2020 luminance near 1 */
        struct dw_frame frame = frame_at(0.02, 0, k == 2 ? 0 : 1);
        frame.balance = 1;
        struct dw_image image = {.bits = 16};
        ck_assert_int_eq(dw_look(&l, &frame, &f, &look, &image, NULL), DW_OK);
        const uint16_t *px = &image.px16[3 * (40 * 128 + 30)];
        chroma[k] = (double)px[0] / px[1];
        luma[k] = 0;
        for (int c = 0; c < 3; c++)
            luma[k] += (c == 0   ? 0.2126
                        : c == 1 ? 0.7152
                                 : 0.0722) *
                       pow((px[c] / 65535.0 + 0.055) / 1.055, 2.4);
        dw_image_free(&image);
        dw_linear_free(&l);
    }
    ck_assert_msg(chroma[0] > 2 && chroma[1] < 1.4, "%g %g", chroma[0], chroma[1]);
    ck_assert(fabs(chroma[2] - chroma[0]) < 1e-3);
    ck_assert_msg(fabs(luma[1] / luma[0] - 1) < 0.12, "%g %g", luma[0], luma[1]);
}
END_TEST

/* The darker the frame's key, the nearer to it are its shadows; what is at the key stays there. */
START_TEST(shadows_open_as_it_gets_dark)
{
    const double dark[3] = {0.02, 0.02, 0.02}, key[3] = {0.2, 0.07, 0.02};
    double last = 0;
    for (int i = 0; i < 3; i++) {
        struct dw_frame f = frame_at(key[i], 0.5, 0);
        double got[3];
        look_at(dark, &f, &plain_look, DW_SPACE_SRGB, got);
        double share = got[1] / 12.92 * (1 / key[i] - 1); /* z */
        ck_assert_msg(share > 1.1 * last, "%g after %g", share, last);
        last = share;
    }
}
END_TEST

/* What is to be shown so bright needs so many keys: the curves, by the C library, show those so. */
START_TEST(keys_are_those_that_the_curves_show)
{
    struct dw_facts facts = {.night_mul = {1, 1, 1}, .night_sky_keys = 1};
    for (int i = 0; i < 9; i += 4)
        facts.cam_to_wide[i] = 1;
    for (double key = 0.015; key < 0.3; key *= 1.5)
        for (double day = 0; day <= 1; day += 0.25) {
            struct dw_frame f = frame_at(key, day, 0);
            struct dw_look_plan p;
            ck_assert_int_eq(dw_look_plan_make(&f, &facts, &plain_look, DW_SPACE_SRGB, &p, NULL),
                             DW_OK);
            for (double shown = 0.4; shown < 0.9; shown += 0.1) {
                double keys = (double)dw_look_keys(&f, &plain_look, (float)shown);
                double got =
                    day * dw_tone_value(&p.day, keys) + (1 - day) * dw_tone_value(&p.night, keys);
                ck_assert_double_eq_tol(got, shown, 1e-3);
            }
        }
}
END_TEST

/* Where the map tells of stars, more is asked of all else, and of them what was asked before; where
 * nothing is lifted nothing is asked. */
START_TEST(a_map_of_stars_makes_others_doubtful)
{
    struct dw_facts facts = {.night_mul = {1, 1, 1}, .night_sky_keys = 1};
    for (int i = 0; i < 9; i += 4)
        facts.cam_to_wide[i] = 1;
    for (int stars = 0; stars < 2; stars++) {
        struct dw_frame f = frame_at(0.1, 1 - stars, stars);
        struct dw_look_plan before, after;
        ck_assert_int_eq(dw_look_plan_make(&f, &facts, &plain_look, DW_SPACE_SRGB, &before, NULL),
                         DW_OK);
        after = before;
        dw_look_know_stars(&after, &plain_look);
        const struct dw_lift *a = &before.lift, *b = &after.lift;
        if (stars) {
            ck_assert(fabsf(a->start - plain_look.star_start) < 1e-6f);
            ck_assert(fabsf(b->start - plain_look.other_start) < 1e-6f);
            ck_assert(b->start > a->start);
        } else
            ck_assert(b->start >= a->start && b->start <= a->start);
        ck_assert(fabsf(b->start + b->known_start - a->start - a->known_start) <
                  1e-5f * fabsf(a->start));
        ck_assert(fabsf(b->half + b->known_half - plain_look.known_half) < 1e-6f);
        ck_assert(fabsf(sqrtf(b->pale + b->known_pale) - plain_look.known_pale) < 1e-5f);
        /* the map's colours and what the air took come in with the lift */
        float to = stars ? plain_look.map_pale : plain_look.known_pale;
        ck_assert(fabsf(sqrtf(b->pale + b->known_pale + b->map_pale) - to) < 1e-4f);
        ck_assert(fabsf(b->vivid - (stars ? plain_look.star_vivid : 1)) < 1e-6f);
        ck_assert(fabsf(b->vivid + b->faint_vivid - (stars ? plain_look.faint_vivid : 1)) < 1e-5f);
        ck_assert(fabsf(b->wide - (stars ? plain_look.star_wide : 0)) < 1e-6f);
        ck_assert(fabsf(b->air - (float)stars) < 1e-6f);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("look");
    TCase *c = tcase_create("look");
    tcase_add_test(c, matrices_are_the_standards);
    tcase_add_test(c, colours_are_those_of_a_colour_management_library);
    tcase_add_test(c, the_key_is_pinned);
    tcase_add_test(c, grey_light_rises_from_black);
    tcase_add_test(c, the_ends_of_the_crossover_are_pure);
    tcase_add_test(c, rubbish_does_not_reach_the_picture);
    tcase_add_test(c, stars_are_lifted_and_the_sky_is_not);
    tcase_add_test(c, a_star_is_the_same_wherever_it_stands);
    tcase_add_test(c, walls_are_no_sky);
    tcase_add_test(c, stars_keep_the_balance_of_daylight);
    tcase_add_test(c, vivid_colours_keep_their_order);
    tcase_add_test(c, senseless_parameters_are_named);
    tcase_add_test(c, dither_belongs_to_the_frame);
    tcase_add_test(c, colour_is_smoothed_under_the_stars);
    tcase_add_test(c, a_map_of_stars_makes_others_doubtful);
    tcase_add_test(c, keys_are_those_that_the_curves_show);
    tcase_add_test(c, shadows_open_as_it_gets_dark);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
