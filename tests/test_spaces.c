/* test_spaces.c: the same light as TIFF files of every colour space and as OpenEXR, read back with
 * libtiff and OpenEXR's C++ reader and brought to CIE L*a*b* by Little CMS through the profile that
 * the file itself carries: all must show the same colours. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/encode.h"
#include "output/formats/icc.h"
#include "render/kernels/kernels.h"

#include <ImfCRgbaFile.h>
#include <lcms2.h>
#include <tiffio.h>

#define SIDE 6
#define N (SIDE * SIDE * SIDE)

static struct shoot *s;
static double in[N][3]; /* scene-linear BT.2020 */
static cmsHPROFILE lab;

static void setup(void)
{
    s = shoot_new(2);
    lab = cmsCreateLab4Profile(NULL);
    for (int i = 0; i < N; i++) {
        double grey = 0.05 + 0.2 * (i / SIDE / SIDE);
        in[i][0] = grey * (0.8 + 0.1 * (i % SIDE));
        in[i][1] = grey;
        in[i][2] = grey * (0.8 + 0.1 * (i / SIDE % SIDE));
    }
}

static void teardown(void)
{
    cmsCloseProfile(lab);
    shoot_free(s);
}

static cmsHPROFILE linear_wide(void)
{
    const cmsCIExyY white = {0.3127, 0.3290, 1}; /* ITU-R BT.2020 */
    const cmsCIExyYTRIPLE p = {{0.708, 0.292, 1}, {0.170, 0.797, 1}, {0.131, 0.046, 1}};
    cmsToneCurve *line = cmsBuildGamma(NULL, 1.0);
    cmsToneCurve *const three[3] = {line, line, line};
    cmsHPROFILE profile = cmsCreateRGBProfile(&white, &p, three);
    cmsFreeToneCurve(line);
    return profile;
}

static void to_lab(cmsHPROFILE from, const double *rgb, cmsCIELab *out)
{
    cmsHTRANSFORM t =
        cmsCreateTransform(from, TYPE_RGB_DBL, lab, TYPE_Lab_DBL, INTENT_RELATIVE_COLORIMETRIC,
                           cmsFLAGS_NOOPTIMIZE | cmsFLAGS_NOCACHE);
    ck_assert_ptr_nonnull(t);
    cmsDoTransform(t, rgb, out, N);
    cmsDeleteTransform(t);
}

/* The worst CIEDE2000 between what a file shows and what it should. */
static void compare(const char *what, const cmsCIELab *got, const cmsCIELab *want)
{
    for (int i = 0; i < N; i++)
        ck_assert_msg(cmsCIE2000DeltaE(&got[i], &want[i], 1, 1, 1) < 0.05,
                      "%s: colour %d: %.3f %.3f %.3f for %.3f %.3f %.3f", what, i, got[i].L,
                      got[i].a, got[i].b, want[i].L, want[i].a, want[i].b);
}

/* A transparent look: y = x / (n + 1), n the look's norm (docs/method/look.md), key 1/2. */
static void through_the_look(double out[N][3])
{
    for (int i = 0; i < N; i++) {
        double y = 0.262700212 * in[i][0] + 0.677998072 * in[i][1] + 0.0593017165 * in[i][2];
        double norm = 0.65 * y + 0.35 * fmax(fmax(in[i][0], in[i][1]), in[i][2]);
        for (int c = 0; c < 3; c++)
            out[i][c] = in[i][c] / (norm + 1);
    }
}

static struct dw_image developed(enum dw_space space)
{
    struct dw_look_params look = DW_LOOK_DEFAULTS;
    look.day_contrast = look.day_saturation = look.day_hue_share = 1;
    const struct dw_frame frame = {.number = 1, .n_sources = 1, .key = 0.5, .day = 1, .balance = 1};
    struct dw_image image = {.bits = 16, .space = space};
    struct dw_linear light = {.width = N, .height = 1};
    light.plane[0] = malloc(3 * N * sizeof(float));
    for (int c = 0; c < 3; c++) {
        light.plane[c] = light.plane[0] + c * N;
        for (int i = 0; i < N; i++)
            light.plane[c][i] = (float)in[i][c];
    }
    ck_assert_int_eq(dw_look(&light, &frame, &s->d.facts, &look, &image, NULL), DW_OK);
    dw_linear_free(&light);
    return image;
}

START_TEST(tiff_files_of_every_space_show_the_same_colours)
{
    const enum dw_space space[] = {DW_SPACE_SRGB, DW_SPACE_P3, DW_SPACE_REC2020};
    static double wanted[N][3];
    static cmsCIELab want[N], got[N];
    cmsHPROFILE wide = linear_wide();
    through_the_look(wanted);
    to_lab(wide, &wanted[0][0], want);
    for (int k = 0; k < 3; k++) {
        struct dw_image image = developed(space[k]);
        struct dw_profile icc = {0};
        unsigned char *data;
        size_t n;
        ck_assert_int_eq(dw_icc_profile(space[k], &icc.data, &icc.n, NULL), DW_OK);
        ck_assert_int_eq(dw_encode_tiff(&image, DW_COMPRESS_DEFAULT, NULL, &icc, &data, &n, NULL),
                         DW_OK);
        ck_assert_int_eq(dw_write_whole(shoot_path(s, "x.tif"), data, n, false, NULL), DW_OK);
        free(data);
        free(icc.data);
        dw_image_free(&image);

        TIFF *t = TIFFOpen(shoot_path(s, "x.tif"), "r");
        uint32_t bytes = 0;
        void *profile = NULL;
        static uint16_t row[3 * N];
        static double rgb[N][3];
        ck_assert_ptr_nonnull(t);
        ck_assert_int_eq(TIFFGetField(t, TIFFTAG_ICCPROFILE, &bytes, &profile), 1);
        ck_assert_int_eq(TIFFReadScanline(t, row, 0, 0), 1);
        for (int i = 0; i < 3 * N; i++)
            rgb[i / 3][i % 3] = row[i] / 65535.0;
        cmsHPROFILE from = cmsOpenProfileFromMem(profile, bytes);
        ck_assert_ptr_nonnull(from);
        to_lab(from, &rgb[0][0], got);
        compare(k == 0 ? "sRGB" : k == 1 ? "Display P3" : "Rec. 2020", got, want);
        cmsCloseProfile(from);
        TIFFClose(t);
    }
    cmsCloseProfile(wide);
}
END_TEST

/* The light itself, its key of 1 at 0.18; chromaticities as the file says (see test_exr). */
START_TEST(openexr_holds_the_light_itself)
{
    static double wanted[N][3], rgb[N][3];
    static cmsCIELab want[N], got[N];
    static float plane[3][N];
    static ImfRgba px[N];
    struct dw_image image = {.width = N, .height = 1, .bits = 16, .light = true};
    unsigned char *data;
    size_t n;
    image.px16 = malloc(sizeof *image.px16 * 3 * N);
    for (int i = 0; i < N; i++)
        for (int c = 0; c < 3; c++) {
            plane[c][i] = (float)in[i][c];
            wanted[i][c] = 0.18 * in[i][c];
        }
    dw_kernels_best()->encode->pack_half(plane[0], plane[1], plane[2], N, DW_GREY, image.px16);
    ck_assert_int_eq(dw_encode_exr(&image, NULL, &data, &n, NULL), DW_OK);
    ck_assert_int_eq(dw_write_whole(shoot_path(s, "x.exr"), data, n, false, NULL), DW_OK);
    free(data);
    dw_image_free(&image);
    ImfInputFile *file = ImfOpenInputFile(shoot_path(s, "x.exr"));
    ck_assert_ptr_nonnull(file);
    ck_assert(ImfInputSetFrameBuffer(file, px, 1, N) && ImfInputReadPixels(file, 0, 0));
    for (int i = 0; i < N; i++) {
        rgb[i][0] = (double)ImfHalfToFloat(px[i].r);
        rgb[i][1] = (double)ImfHalfToFloat(px[i].g);
        rgb[i][2] = (double)ImfHalfToFloat(px[i].b);
        for (int c = 0; c < 3; c++) /* eleven bits: half a unit is 2^-11 of the value at most */
            ck_assert_double_le(fabs(rgb[i][c] - wanted[i][c]), wanted[i][c] * 0.000489);
    }
    ImfCloseInputFile(file);
    cmsHPROFILE wide = linear_wide();
    to_lab(wide, &wanted[0][0], want);
    to_lab(wide, &rgb[0][0], got);
    compare("OpenEXR", got, want);
    cmsCloseProfile(wide);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("spaces");
    TCase *c = tcase_create("spaces");
    tcase_add_checked_fixture(c, setup, teardown);
    tcase_add_test(c, tiff_files_of_every_space_show_the_same_colours);
    tcase_add_test(c, openexr_holds_the_light_itself);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
