/* test_icc.c: the embedded profiles, read back by lcms2 and its own program. */
#include "check_main.h"
#include "output_shoot.h"

#include "base/atomic_file.h"
#include "output/formats/icc.h"

#include <lcms2.h>

static unsigned char *make(enum dw_space space, size_t *n)
{
    unsigned char *data;
    ck_assert_int_eq(dw_icc_profile(space, &data, n, NULL), DW_OK);
    return data;
}

static unsigned be32(const unsigned char *p)
{
    return (unsigned)p[0] << 24 | (unsigned)p[1] << 16 | (unsigned)p[2] << 8 | p[3];
}

/* ICC.1:2022, clause 7.2: offsets of the header; the tags a matrix profile must have, 8.3.3. */
START_TEST(header_and_tags_are_those_of_a_display_profile)
{
    static const char *const tags[] = {"desc", "cprt", "wtpt", "chad", "rXYZ",
                                       "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC"};
    for (enum dw_space space = DW_SPACE_SRGB; space <= DW_SPACE_REC2020; space++) {
        size_t n;
        unsigned char *p = make(space, &n);
        ck_assert_uint_eq(be32(p), n);
        ck_assert_uint_eq(p[8], 4);
        ck_assert_mem_eq(p + 12, "mntrRGB XYZ ", 12);
        ck_assert_mem_eq(p + 36, "acsp", 4);
        ck_assert_uint_eq(be32(p + 68), 0x0000f6d6); /* D50 */
        ck_assert_uint_eq(be32(p + 72), 0x00010000);
        ck_assert_uint_eq(be32(p + 76), 0x0000d32d);
        unsigned count = be32(p + 128), found = 0;
        for (size_t t = 0; t < sizeof tags / sizeof *tags; t++)
            for (unsigned i = 0; i < count; i++)
                found += memcmp(p + 132 + 12 * i, tags[t], 4) == 0;
        ck_assert_uint_eq(found, sizeof tags / sizeof *tags);
        free(p);
    }
}
END_TEST

START_TEST(bytes_are_the_same_at_another_time)
{
    size_t n, m;
    unsigned char *a = make(DW_SPACE_P3, &n);
    sleep(1); /* the library would write another second into it */
    unsigned char *b = make(DW_SPACE_P3, &m);
    ck_assert_uint_eq(n, m);
    ck_assert_mem_eq(a, b, n);
    free(a);
    free(b);
}
END_TEST

/* XYZ (D65) of full red, green and blue, adapted to D50 by linear Bradford:
 * sRGB and BT.2020: matrices of IEC 61966-2-1 and ITU-R BT.2020 as computed exactly from their
 * primaries and white 0.3127 0.3290; Display P3: primaries of SMPTE EG 432-1, same computation.
 * The expected value here is that computation, done anew in doubles; the test's own matrix is
 * checked against the published four decimals of IEC 61966-2-1 first. */
static void primaries_to_xyz(const double xy[4][2], double m[3][3])
{
    double p[3][3], w[3] = {xy[3][0] / xy[3][1], 1, (1 - xy[3][0] - xy[3][1]) / xy[3][1]}, s[3];
    for (int i = 0; i < 3; i++) {
        p[0][i] = xy[i][0] / xy[i][1];
        p[1][i] = 1;
        p[2][i] = (1 - xy[i][0] - xy[i][1]) / xy[i][1];
    }
    double det = 0;
    for (int i = 0; i < 3; i++)
        det += p[0][i] *
               (p[1][(i + 1) % 3] * p[2][(i + 2) % 3] - p[1][(i + 2) % 3] * p[2][(i + 1) % 3]);
    for (int i = 0; i < 3; i++) { /* Cramer's rule for the luminance of each primary */
        double q[3][3];
        memcpy(q, p, sizeof q);
        for (int r = 0; r < 3; r++)
            q[r][i] = w[r];
        double d = 0;
        for (int k = 0; k < 3; k++)
            d += q[0][k] *
                 (q[1][(k + 1) % 3] * q[2][(k + 2) % 3] - q[1][(k + 2) % 3] * q[2][(k + 1) % 3]);
        s[i] = d / det;
    }
    for (int r = 0; r < 3; r++)
        for (int i = 0; i < 3; i++)
            m[r][i] = p[r][i] * s[i];
}

static const double corners[3][4][2] = {
    {{0.64, 0.33}, {0.30, 0.60}, {0.15, 0.06}, {0.3127, 0.3290}},
    {{0.68, 0.32}, {0.265, 0.69}, {0.15, 0.06}, {0.3127, 0.3290}},
    {{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}, {0.3127, 0.3290}}};

START_TEST(colours_are_those_of_the_published_primaries)
{
    static const double published[3][3] = {/* IEC 61966-2-1, four decimals */
                                           {0.4124, 0.3576, 0.1805},
                                           {0.2126, 0.7152, 0.0722},
                                           {0.0193, 0.1192, 0.9505}};
    double m[3][3];
    primaries_to_xyz(corners[0], m);
    for (int r = 0; r < 3; r++)
        for (int c = 0; c < 3; c++)
            ck_assert_double_eq_tol(m[r][c], published[r][c], 6e-5);
    for (enum dw_space space = DW_SPACE_SRGB; space <= DW_SPACE_REC2020; space++) {
        size_t n;
        unsigned char *p = make(space, &n);
        cmsHPROFILE ours = cmsOpenProfileFromMem(p, (cmsUInt32Number)n);
        cmsHPROFILE xyz = cmsCreateXYZProfile();
        ck_assert_ptr_nonnull(ours);
        cmsHTRANSFORM t = cmsCreateTransform(ours, TYPE_RGB_DBL, xyz, TYPE_XYZ_DBL,
                                             INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE);
        primaries_to_xyz(corners[space], m);
        for (int c = 0; c < 3; c++) {
            double rgb[3] = {c == 0, c == 1, c == 2};
            cmsCIEXYZ got, d65 = {m[0][c], m[1][c], m[2][c]}, want;
            cmsCIExyY white = {0.3127, 0.3290, 1};
            cmsCIEXYZ white_xyz;
            cmsxyY2XYZ(&white_xyz, &white);
            cmsAdaptToIlluminant(&want, &white_xyz, cmsD50_XYZ(), &d65);
            cmsDoTransform(t, rgb, &got, 1);
            ck_assert_double_eq_tol(got.X, want.X, 2e-4); /* s15Fixed16 and lcms2's D50 */
            ck_assert_double_eq_tol(got.Y, want.Y, 2e-4);
            ck_assert_double_eq_tol(got.Z, want.Z, 2e-4);
        }
        cmsDeleteTransform(t);
        cmsCloseProfile(xyz);
        cmsCloseProfile(ours);
        free(p);
    }
}
END_TEST

/* sRGB decoding at published codes (IEC 61966-2-1; 0.18 <-> 0.461356130 also in the test values
 * of the colour-science library): V to linear light on the grey axis, Y relative to white. */
START_TEST(curve_is_that_of_srgb)
{
    static const double v_l[][2] = {{0.012920000, 0.001}, {0.099852823, 0.01}, {0.461356130, 0.18},
                                    {0.735356983, 0.5},   {0.954687172, 0.9},  {1, 1}};
    for (enum dw_space space = DW_SPACE_SRGB; space <= DW_SPACE_REC2020; space++) {
        size_t n;
        unsigned char *p = make(space, &n);
        cmsHPROFILE ours = cmsOpenProfileFromMem(p, (cmsUInt32Number)n);
        cmsHPROFILE xyz = cmsCreateXYZProfile();
        cmsHTRANSFORM t = cmsCreateTransform(ours, TYPE_RGB_DBL, xyz, TYPE_XYZ_DBL,
                                             INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE);
        for (size_t i = 0; i < sizeof v_l / sizeof *v_l; i++) {
            double rgb[3] = {v_l[i][0], v_l[i][0], v_l[i][0]};
            cmsCIEXYZ got;
            cmsDoTransform(t, rgb, &got, 1);
            ck_assert_double_eq_tol(got.Y, v_l[i][1], 5e-5);
        }
        cmsDeleteTransform(t);
        cmsCloseProfile(xyz);
        cmsCloseProfile(ours);
        free(p);
    }
}
END_TEST

/* lcms2 carries a built-in sRGB profile made independently of our numbers. */
START_TEST(srgb_agrees_with_the_built_in_one)
{
    size_t n;
    unsigned char *p = make(DW_SPACE_SRGB, &n);
    cmsHPROFILE ours = cmsOpenProfileFromMem(p, (cmsUInt32Number)n),
                theirs = cmsCreate_sRGBProfile();
    cmsHTRANSFORM t = cmsCreateTransform(ours, TYPE_RGB_16, theirs, TYPE_RGB_16,
                                         INTENT_RELATIVE_COLORIMETRIC, cmsFLAGS_NOOPTIMIZE);
    int worst = 0;
    for (unsigned i = 0; i < 4096; i++) {
        uint16_t in[3] = {(uint16_t)(i * 16), (uint16_t)(i * 7919 % 65536),
                          (uint16_t)(i * 104729 % 65536)},
                 out[3];
        cmsDoTransform(t, in, out, 1);
        for (int c = 0; c < 3; c++)
            worst = abs(in[c] - out[c]) > worst ? abs(in[c] - out[c]) : worst;
    }
    ck_assert_int_le(worst, 32); /* of 65535: parameters are rounded to 16 fractional bits */
    cmsDeleteTransform(t);
    cmsCloseProfile(theirs);
    cmsCloseProfile(ours);
    free(p);
}
END_TEST

/* lcms2's own command: pure red of sRGB is L*a*b* 54.29 80.81 69.89 under D50 (value widely
 * published for the Bradford-adapted sRGB red; also what its built-in profile gives). */
START_TEST(transicc_reads_it)
{
    if (!shoot_has_program("transicc")) {
        fprintf(stderr, "# transicc is not installed: not asked\n");
        return;
    }
    size_t n;
    unsigned char *p = make(DW_SPACE_SRGB, &n);
    char path[] = "/tmp/dw-icc-XXXXXX", command[256], out[4000];
    close(mkstemp(path));
    ck_assert_int_eq(dw_write_whole(path, p, n, false, NULL), DW_OK);
    snprintf(command, sizeof command,
             "echo '255 0 0' | transicc -n -i %s -o '*Lab' -t 1 2>/dev/null", path);
    ck_assert_int_eq(shoot_run(command, out, sizeof out), 0);
    double lab[3];
    ck_assert_msg(sscanf(out, "%lf %lf %lf", &lab[0], &lab[1], &lab[2]) == 3, "%s", out);
    ck_assert_double_eq_tol(lab[0], 54.29, 0.05);
    ck_assert_double_eq_tol(lab[1], 80.81, 0.1);
    ck_assert_double_eq_tol(lab[2], 69.89, 0.1);
    unlink(path);
    free(p);
}
END_TEST

START_TEST(an_unknown_space_is_refused)
{
    unsigned char *data;
    size_t n;
    struct dw_error err = {0};
    ck_assert_int_eq(dw_icc_profile((enum dw_space)7, &data, &n, &err), DW_ERR_USAGE);
    ck_assert_ptr_null(data);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("icc");
    TCase *c = tcase_create("icc");
    tcase_add_test(c, header_and_tags_are_those_of_a_display_profile);
    tcase_add_test(c, bytes_are_the_same_at_another_time);
    tcase_add_test(c, colours_are_those_of_the_published_primaries);
    tcase_add_test(c, curve_is_that_of_srgb);
    tcase_add_test(c, srgb_agrees_with_the_built_in_one);
    tcase_add_test(c, transicc_reads_it);
    tcase_add_test(c, an_unknown_space_is_refused);
    suite_add_tcase(suite, c);
    return dw_check_main(suite);
}
