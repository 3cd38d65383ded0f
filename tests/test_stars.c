/* test_stars.c: which stars of the catalogue the survey sees, against what the sky's light and the
 * camera's noise allow. The shoots are invented; the brighter stars in them are a catalogue's (its
 * name stands in the generator). */
#include "check_main.h"
#include "invented.h"

#include "decide/faults/star_width.h"

#include <math.h>

/* The first shot of a clear, moonless night; only what stands in the upper part of the picture,
 * clear of ridge and trees. */
struct seen {
    double limit;      /* magnitude of which half the stars are seen */
    double expected;   /* magnitude whose summit is as high as what the survey lists */
    double noise, sky; /* rms of a green pixel, electrons; the sky's electrons */
};

static double number(const struct dw_csv *t, size_t row, const char *column)
{
    int c = dw_csv_column(t, column);
    ck_assert_msg(c >= 0, "no column %s", column);
    return strtod(dw_csv_field(t, row, c), NULL);
}

static double focal_px(const struct invented *v)
{
    char *path = dw_join_path(v->shoot, "truth/camera.ini"), *data = NULL;
    size_t n;
    ck_assert_int_eq(dw_read_whole(path, 1 << 20, &data, &n, NULL), DW_OK);
    const char *at = strstr(data, "focal_px=");
    ck_assert_ptr_nonnull(at);
    double f = strtod(at + strlen("focal_px="), NULL);
    free(data);
    free(path);
    return f;
}

static bool listed(const struct dw_spike *spike, size_t n, double x, double y)
{
    for (size_t k = 0; k < n; k++)
        if (spike[k].value > spike[k].median && hypot(spike[k].x - x, spike[k].y - y) < 1.8)
            return true;
    return false;
}

enum { BINS = 16 };
#define FIRST 4.0 /* magnitude of the first bin */
#define BIN 0.25

/* Where the share of stars that are seen falls through one half, between two bins. */
static double half_seen(const struct dw_csv *stars, const struct dw_spike *spike, size_t n)
{
    double all[BINS] = {0}, found[BINS] = {0};
    for (size_t i = 0; i < stars->rows; i++) {
        double x = number(stars, i, "x_first"), y = number(stars, i, "y_first"),
               mag = number(stars, i, "mag");
        int bin = (int)floor((mag - FIRST) / BIN);
        if (!(x > 60 && x < 840 && y > 30 && y < 280) || bin < 0 || bin >= BINS)
            continue;
        all[bin]++;
        found[bin] += listed(spike, n, x, y);
    }
    for (int b = 1; b < BINS; b++) {
        double before = found[b - 1] / fmax(all[b - 1], 1), here = found[b] / fmax(all[b], 1);
        if (all[b] >= 20 && here < 0.5 && before >= 0.5) /* between the middles of the bins */
            return FIRST + BIN * (b - 0.5 + (before - 0.5) / (before - here));
    }
    return (double)NAN;
}

static struct seen look(const char *night)
{
    struct invented v;
    struct seen out = {0};
    char options[300];
    snprintf(options, sizeof options,
             "--scene clear --seed 3 --start 2025-03-28T21:00:00Z --frames 3 --jobs 2 "
             "--star-limit 9 --milky-way 0 --setting-error 0 --jitter 0 --aperture-jitter 0 "
             "--night %s",
             night);
    invented_make(&v, options);
    struct dw_csv stars = invented_table(&v, "truth/stars.csv"),
                  shots = invented_table(&v, "truth/shots.csv");
    struct dw_spike *spike;
    ck_assert_int_eq(dw_survey_spikes(&v.survey, 0, &spike, NULL), DW_OK);
    out.limit = half_seen(&stars, spike, v.survey.measure[0].n_spikes);

    /* A star of magnitude 0 gives 2.54e-6 lx (Allen, Astrophysical Quantities, 3rd ed., 1973,
     * section 97; from memory). A pixel of 1/f^2 steradian sees it as that many cd/m2. */
    double gain = number(&shots, 0, "gain_dn_per_e"), f = focal_px(&v);
    double per_magnitude_0 = 2.54e-6 * f * f * number(&shots, 0, "e_per_cdm2");
    const struct dw_measure *m = &v.survey.measure[0];
    const struct dw_tile *t = &m->tile[7 * v.survey.cols + v.survey.cols / 2];
    out.sky = ((double)t->mean[1] - (double)m->black[1]) / gain;
    double read = number(&shots, 0, "read_dn") / gain;
    out.noise = sqrt(out.sky + read * read);
    /* The share of the light in the pixel in which it peaks: a Gaussian of 1.9 px drawn out by half
     * a minute's turn of the sky, and 0.2 magnitudes of air. */
    double sigma = 1.9 / 2.3548, turn = 30 * 7.292e-5 * f * 0.8;
    double share = erf(0.5 / (sigma * M_SQRT2)) *
                   erf(0.5 / (sqrt(sigma * sigma + turn * turn / 12) * M_SQRT2));
    double magnitude_0 = per_magnitude_0 * share * pow(10, -0.4 * 0.2);
    out.expected = 2.5 * log10(magnitude_0 / (4.4 * out.noise));
    free(spike);
    dw_csv_free(&stars);
    dw_csv_free(&shots);
    invented_free(&v);
    return out;
}

START_TEST(stars_are_seen_to_the_magnitude_that_sky_and_noise_allow)
{
    struct seen dark = look("0.001"), bright = look("0.008");
    printf("# dark sky: half are seen of magnitude %.2f, expected %.2f (noise %.1f e, sky %.0f e); "
           "brighter sky: %.2f, %.2f (%.1f e, %.0f e)\n",
           dark.limit, dark.expected, dark.noise, dark.sky, bright.limit, bright.expected,
           bright.noise, bright.sky);
    ck_assert_double_eq_tol(dark.limit, dark.expected, 0.3);
    ck_assert_double_eq_tol(bright.limit, bright.expected, 0.3);
    ck_assert_double_gt(dark.limit, bright.limit + 0.3);
}
END_TEST

/* A Gaussian of variance v has exp(-r^2 / 2v) of its height r away. Of eight neighbours four lie 2
 * px and four 2.83 px away; between the fourth and the fifth, by hand: v = 2, (e^-1 + e^-2) / 2 =
 * 0.2516; v = 8, (e^-0.25 + e^-0.5) / 2 = 0.6927. Invented stars on an even sky. */
START_TEST(widths_are_those_of_gaussians)
{
    static const double wing[][2] = {{0.25161, 2}, {0.69267, 8}};
    struct dw_tile tile[4];
    struct dw_measure m = {.usable = true,
                           .width = 60,
                           .height = 60,
                           .white = 16000,
                           .noise_dn = 3,
                           .photon_dn = 0.5f,
                           .tile = tile};
    const struct dw_survey survey = {.cols = 2, .rows = 2, .n = 1, .measure = &m};
    struct dw_pattern pattern;
    struct dw_spike spike[12];
    const struct dw_spike *star[12];
    double work[12];
    for (int p = 0; p < DW_PHASES; p++)
        pattern.colour[p] = 1;
    for (int k = 0; k < 4; k++)
        tile[k] = (struct dw_tile){.mean = {700, 900, 700}};
    for (size_t i = 0; i < 2; i++) {
        for (int k = 0; k < 12; k++) {
            float height = (float)(2000 + 500 * k);
            spike[k] = (struct dw_spike){(uint16_t)(5 * k),
                                         (uint16_t)(4 * k),
                                         900 + height,
                                         900 + (float)wing[i][0] * height,
                                         {0}};
            star[k] = &spike[k];
        }
        ck_assert_double_eq_tol(dw_star_variance(&pattern, &survey, 0, star, 12, work), wing[i][1],
                                2e-3);
        ck_assert(isnan(dw_star_variance(&pattern, &survey, 0, star, 7, work))); /* too few */
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("stars");
    TCase *t = tcase_create("all");
    tcase_add_test(t, stars_are_seen_to_the_magnitude_that_sky_and_noise_allow);
    tcase_add_test(t, widths_are_those_of_gaussians);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
