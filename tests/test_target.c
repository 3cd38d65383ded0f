/* test_target.c: colour from the RAW file of a 24-patch target to scene-linear light, through scan,
 * decoder, survey, decision and the linear half; and to the finished picture. The look shapes
 * contrast and saturation on purpose: what it does by its published formulas is taken back before
 * colours are compared, and what it does to hue is judged as it is. */
#include "check_main.h"
#include "ciede2000.h"
#include "invented.h"

/* Sharma, Wu & Dalal 2005, their table 1 (rows on the edge of arctan left out). */
START_TEST(colour_difference_gives_the_published_pairs)
{
    static const double pair[][7] = {
        {50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425},
        {50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000},
        {50, 0, 0, 50, -1, 2, 2.3669},
        {50, 2.4900, -0.0010, 50, -2.4900, 0.0009, 7.1792},
        {50, 2.4900, -0.0010, 50, -2.4900, 0.0011, 7.2195},
        {50, 2.5, 0, 73, 25, -18, 27.1492},
        {50, 2.5, 0, 58, 24, 15, 19.4535},
        {60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644},
        {22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373},
        {6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377},
        {2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082},
    };
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++)
        ck_assert_double_eq_tol(ciede2000(pair[i], pair[i] + 3), pair[i][6], 5e-5);
}
END_TEST

/* CIELAB (D50, 2 degrees) of the classic 24-patch target of McCamy, Marcus & Davidson 1976 as its
 * maker published them in 2005; from memory. */
static const double published[24][3] = {
    {37.986, 13.555, 14.059},  {65.711, 18.130, 17.810},  {49.927, -4.880, -21.925},
    {43.139, -13.095, 21.905}, {55.112, 8.844, -25.399},  {70.719, -33.397, -0.199},
    {62.661, 36.067, 57.096},  {40.020, 10.410, -45.964}, {51.124, 48.239, 16.248},
    {30.325, 22.976, -21.587}, {72.532, -23.709, 57.255}, {71.941, 19.363, 67.857},
    {28.778, 14.179, -50.297}, {55.261, -38.342, 31.370}, {42.101, 53.378, 28.190},
    {81.733, 4.039, 79.819},   {51.935, 49.986, -14.574}, {51.038, -28.631, -28.638},
    {96.539, -0.425, 1.186},   {81.257, -0.638, -0.335},  {66.766, -0.734, -0.504},
    {50.867, -0.153, -0.270},  {35.656, -0.421, -1.231},  {20.461, -0.079, -0.973},
};

/* Linear BT.2020 (D65) to CIELAB under D50. Matrix: ITU-R BT.2020 primaries; Bradford D65 to D50
 * as published with ICC.1. */
static void to_lab(const double rgb[3], double lab[3])
{
    static const double wide[9] = {0.63695805, 0.14461690, 0.16888098, 0.26270021, 0.67799807,
                                   0.05930172, 0,          0.02807269, 1.06098506};
    static const double adapt[9] = {1.04792979,  0.02294687,  -0.05019227, 0.02962781, 0.99043443,
                                    -0.01707380, -0.00924304, 0.01505519,  0.75187428};
    static const double white[3] = {0.96422, 1, 0.82521};
    double xyz[3], v[3];
    for (int i = 0; i < 3; i++)
        xyz[i] = wide[3 * i] * rgb[0] + wide[3 * i + 1] * rgb[1] + wide[3 * i + 2] * rgb[2];
    for (int i = 0; i < 3; i++) {
        double t = (adapt[3 * i] * xyz[0] + adapt[3 * i + 1] * xyz[1] + adapt[3 * i + 2] * xyz[2]) /
                   white[i];
        v[i] = t > 216.0 / 24389 ? cbrt(t) : (24389.0 / 27 * t + 16) / 116;
    }
    lab[0] = 116 * v[1] - 16;
    lab[1] = 500 * (v[0] - v[1]);
    lab[2] = 200 * (v[1] - v[2]);
}

/* Means of the patches in linear light, from their places in the truth table (mosaic pixels; the
 * picture is half as large), a sixth inside the edges. */
static void measure_patches(const struct invented *v, const struct dw_linear *light,
                            double rgb[24][3])
{
    struct dw_csv t = invented_table(v, "truth/target.csv");
    ck_assert_uint_ge(t.rows, 24);
    for (size_t p = 0; p < 24; p++) {
        int place[4];
        static const char *const name[4] = {"x", "y", "w", "h"};
        for (int k = 0; k < 4; k++)
            place[k] = atoi(dw_csv_field(&t, p, dw_csv_column(&t, name[k]))) / 2;
        int rim_x = place[2] / 6, rim_y = place[3] / 6;
        size_t count = 0;
        double sum[3] = {0};
        for (int y = place[1] + rim_y; y < place[1] + place[3] - rim_y; y++)
            for (int x = place[0] + rim_x; x < place[0] + place[2] - rim_x; x++, count++)
                for (int c = 0; c < 3; c++)
                    sum[c] += (double)light->plane[c][(size_t)y * (size_t)light->width + (size_t)x];
        ck_assert_uint_gt(count, 50);
        for (int c = 0; c < 3; c++)
            rgb[p][c] = sum[c] / (double)count;
    }
    dw_csv_free(&t);
}

static enum dw_status light_of(const struct invented *v, const struct dw_frame *frame,
                               struct dw_linear *light, struct dw_error *err)
{
    const struct dw_shot *shot = &v->shots.shot[frame->source[0].shot];
    struct dw_decoder *decoder = dw_decoder_new();
    struct dw_mosaic mosaic = {0};
    struct dw_size size = {DW_SIZE_HALF, 0, 0};
    enum dw_status s = dw_decode(decoder, shot, &mosaic, err);
    if (s >= 0)
        s = dw_linear_from_mosaic(&mosaic, dw_facts_levels(&v->decision.facts, shot),
                                  &v->decision.facts, &frame->source[0], &size, false, light, err);
    dw_mosaic_free(&mosaic);
    dw_decoder_free(decoder);
    return s;
}

/* Brightness is free: the fourth grey carries its published lightness. */
static void to_labs(double rgb[24][3], double lab[24][3])
{
    double grey = 0.2627 * rgb[21][0] + 0.6780 * rgb[21][1] + 0.0593 * rgb[21][2];
    double scale = pow((published[21][0] + 16) / 116, 3) / grey;
    for (int p = 0; p < 24; p++) {
        const double v[3] = {scale * rgb[p][0], scale * rgb[p][1], scale * rgb[p][2]};
        to_lab(v, lab[p]);
    }
}

static void judge(double lab[24][3], const char *what, double most_mean, double most)
{
    double mean = 0, worst = 0;
    for (int p = 0; p < 24; p++) {
        double apart = ciede2000(lab[p], published[p]);
        mean += apart / 24;
        worst = fmax(worst, apart);
    }
    printf("# CIEDE2000 of 24 patches, %s: mean %.3f, worst %.3f\n", what, mean, worst);
    ck_assert_double_le(mean, most_mean);
    ck_assert_double_le(worst, most);
}

START_TEST(a_colour_target_by_day_keeps_its_colours)
{
    struct invented v;
    struct dw_error err = {0};
    invented_make(&v, "--scene target");
    const struct dw_frame *frame = &v.decision.frame[v.decision.n_frames / 2]; /* about noon */
    struct dw_linear light = {0};
    ck_assert_msg(light_of(&v, frame, &light, &err) >= 0, "%s", err.text);
    double rgb[24][3], lab[24][3];
    measure_patches(&v, &light, rgb);
    to_labs(rgb, lab);
    judge(lab, "linear light", 2, 4);
    dw_linear_free(&light);
    invented_free(&v);
}
END_TEST

/* docs/method/look.md, by day: what of light of this norm becomes of it, and the share of its
 * colour that is kept. */
static double curve(double n, double key, double *keep)
{
    double t = 0.45 * pow(0.2 / key, 0.7), pin = 1 / key - 1;
    double z = n * pow((n + t) / (1 + t), 0.7);
    *keep = 0.6 + 0.4 * (1 + 0.7 * n / (n + t)) * pin / (z + pin);
    return z / (z + pin);
}

/* Back to light before the look. A norm of 0.65 Y + 0.35 max(R, G, B) goes with grey that is added
 * and with any factor, so what is shown has the norm that the curve gave. */
static void take_back(double rgb[3], double key)
{
    double y = 0.2627 * rgb[0] + 0.6780 * rgb[1] + 0.0593 * rgb[2], low = 0, high = 100, keep;
    double shown = 0.65 * y + 0.35 * fmax(fmax(rgb[0], rgb[1]), rgb[2]);
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        if (curve(middle, key, &keep) < shown)
            low = middle;
        else
            high = middle;
    }
    double f = curve(low, key, &keep) / low;
    for (int c = 0; c < 3; c++)
        rgb[c] = (rgb[c] - low * f * (1 - keep)) / (keep * f);
    y = 0.2627 * rgb[0] + 0.6780 * rgb[1] + 0.0593 * rgb[2];
    for (int c = 0; c < 3; c++) /* the day's saturation */
        rgb[c] = y + (rgb[c] - y) / 1.15;
}

/* 16-bit codes of the sRGB curve (IEC 61966-2-1) in BT.2020, or 8-bit ones in its own primaries, to
 * linear BT.2020 (matrix: ITU-R BT.2087). */
static void open_codes(const struct dw_image *image, struct dw_linear *out)
{
    static const double wide[9] = {0.627404, 0.329283, 0.043313, 0.069097, 0.919540,
                                   0.011362, 0.016391, 0.088013, 0.895595};
    static const double same[9] = {1, 0, 0, 0, 1, 0, 0, 0, 1};
    const double *m = image->space == DW_SPACE_SRGB ? wide : same;
    for (size_t i = 0; i < (size_t)image->width * (size_t)image->height; i++) {
        double v[3];
        for (size_t c = 0; c < 3; c++) {
            double code =
                image->bits == 8 ? image->px8[3 * i + c] / 255.0 : image->px16[3 * i + c] / 65535.0;
            v[c] = code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);
        }
        for (int c = 0; c < 3; c++)
            out->plane[c][i] = (float)(m[3 * c] * v[0] + m[3 * c + 1] * v[1] + m[3 * c + 2] * v[2]);
    }
}

/* Patches of the finished picture about noon, linear BT.2020. */
static void finish(const struct invented *v, int bits, enum dw_space space, double rgb[24][3],
                   double *key)
{
    struct dw_error err = {0};
    const struct dw_frame *frame = &v->decision.frame[v->decision.n_frames / 2];
    const struct dw_look_params look = DW_LOOK_DEFAULTS;
    struct dw_linear light = {0};
    struct dw_image image = {.bits = bits, .space = space};
    ck_assert_msg(light_of(v, frame, &light, &err) >= 0, "%s", err.text);
    ck_assert(frame->day >= 1);
    ck_assert_msg(dw_look(&light, frame, &v->decision.facts, &look, &image, &err) >= 0, "%s",
                  err.text);
    open_codes(&image, &light);
    measure_patches(v, &light, rgb);
    *key = frame->key;
    dw_image_free(&image);
    dw_linear_free(&light);
}

/* Lightness and chroma as published, the hue that is shown, for patches of a chroma above 10: what
 * is left is the difference of hue alone. */
static void hues_alone(double lab[24][3])
{
    for (int p = 0; p < 24; p++) {
        double chroma = hypot(published[p][1], published[p][2]), own = hypot(lab[p][1], lab[p][2]);
        lab[p][0] = published[p][0];
        for (int c = 1; c < 3; c++)
            lab[p][c] = chroma > 10 ? chroma / own * lab[p][c] : published[p][c];
    }
}

/* The look changes lightness and chroma on purpose. That taken back by its formulas, a finished
 * picture has the target's colours; and as it is, the target's hues. In BT.2020: with the day's
 * contrast and saturation on them five patches lie beyond sRGB, where they are drawn in at constant
 * hue (straight to grey they were off by 0.59, orange by 5.0). */
START_TEST(a_finished_target_keeps_its_colours)
{
    struct invented v;
    invented_make(&v, "--scene target");
    double rgb[24][3], lab[24][3], key, plain = 0;
    finish(&v, 16, DW_SPACE_REC2020, rgb, &key);
    to_labs(rgb, lab);
    hues_alone(lab);
    judge(lab, "hues as finished, BT.2020", 2, 4);
    for (int p = 0; p < 24; p++)
        take_back(rgb[p], key);
    to_labs(rgb, lab);
    judge(lab, "finished, the look taken back", 2, 4);

    finish(&v, 8, DW_SPACE_SRGB, rgb, &key);
    to_labs(rgb, lab);
    for (int p = 0; p < 24; p++)
        plain += ciede2000(lab[p], published[p]) / 24;
    printf("# finished as it is, with the look's contrast and saturation: mean %.2f\n", plain);
    hues_alone(lab);
    judge(lab, "hues as finished, sRGB of 8 bit", 2, 4);
    invented_free(&v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("target");
    TCase *t = tcase_create("target");
    tcase_add_test(t, colour_difference_gives_the_published_pairs);
    tcase_add_test(t, a_colour_target_by_day_keeps_its_colours);
    tcase_add_test(t, a_finished_target_keeps_its_colours);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
