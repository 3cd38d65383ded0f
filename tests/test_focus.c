/* test_focus.c: the survey's detail energies against published measures of focus, on open test
 * images that are blurred by known amounts. Each pixel of an image fills one cell of the mosaic. */
#include "check_main.h"
#include "survey_mosaics.h"
#include "test_images.h"

#include "survey/measure.h"

#define DN_PER_STEP 40 /* of an 8-bit image */

struct image {
    int w, h;
    double *v;
};

static double at(const struct image *p, int x, int y) /* mirrored edges */
{
    x = x < 0 ? -x - 1 : x >= p->w ? 2 * p->w - x - 1 : x;
    y = y < 0 ? -y - 1 : y >= p->h ? 2 * p->h - y - 1 : y;
    return p->v[y * p->w + x];
}

/* One direction of a Gaussian of sigma px. */
static struct image blur_one_way(const struct image *p, double sigma, int dx, int dy)
{
    struct image out = {p->w, p->h, calloc((size_t)(p->w * p->h), sizeof(double))};
    int reach = (int)ceil(4 * sigma);
    double sum = 0;
    for (int k = -reach; k <= reach; k++)
        sum += sigma > 0 ? exp(-k * k / (2 * sigma * sigma)) : 1;
    for (int y = 0; y < p->h; y++)
        for (int x = 0; x < p->w; x++)
            for (int k = -reach; k <= reach; k++)
                out.v[y * p->w + x] += at(p, x + k * dx, y + k * dy) / sum *
                                       (sigma > 0 ? exp(-k * k / (2 * sigma * sigma)) : 1);
    return out;
}

static struct image blurred(const struct image *p, double sigma)
{
    struct image across = blur_one_way(p, sigma, 1, 0), both = blur_one_way(&across, sigma, 0, 1);
    free(across.v);
    return both;
}

/* LAPV, the variance of the Laplacian 0 1 0, 1 -4 1, 0 1 0: Pech-Pacheco, Cristobal,
 * Chamorro-Martinez & Fernandez-Valdivia 2000, ICPR 3, 314; so named in the comparison of Pertuz,
 * Puig & Garcia 2013, Pattern Recognition 46, 1415. */
static double variance_of_laplacian(const struct image *p)
{
    double sum = 0, squares = 0, n = 0;
    for (int y = 1; y < p->h - 1; y++)
        for (int x = 1; x < p->w - 1; x++, n++) {
            double l = at(p, x - 1, y) + at(p, x + 1, y) + at(p, x, y - 1) + at(p, x, y + 1) -
                       4 * at(p, x, y);
            sum += l;
            squares += l * l;
        }
    return squares / n - sum / n * sum / n;
}

/* TENG, Tenengrad: the mean squared gradient by Sobel's operators. Tenenbaum 1970 (Stanford
 * AIM-134); Krotkov 1987, Int. J. Computer Vision 1, 223. */
static double tenengrad(const struct image *p)
{
    double squares = 0, n = 0;
    for (int y = 1; y < p->h - 1; y++)
        for (int x = 1; x < p->w - 1; x++, n++) {
            double gx = 0, gy = 0;
            for (int k = -1; k <= 1; k++) {
                gx += (2 - abs(k)) * (at(p, x + 1, y + k) - at(p, x - 1, y + k));
                gy += (2 - abs(k)) * (at(p, x + k, y + 1) - at(p, x + k, y - 1));
            }
            squares += gx * gx + gy * gy;
        }
    return squares / n;
}

static struct dw_tile measured(const struct image *p)
{
    struct dw_mosaic m = new_mosaic(2 * p->w, 2 * p->h, "RGGB");
    for (int y = 0; y < m.height; y++)
        for (int x = 0; x < m.width; x++)
            m.px[y * m.width + x] =
                (uint16_t)((double)BLACK + DN_PER_STEP * at(p, x / 2, y / 2) + 0.5);
    struct dw_measurer w = {0};
    struct dw_measured out = {0};
    struct dw_survey_params params = {1, 1, 60, 500};
    struct dw_tile tile;
    struct dw_error err = {0};
    out.m.tile = &tile;
    ck_assert_msg(dw_measure_mosaic(&w, &m, &params, &out, &err) == DW_OK, "%s", err.text);
    dw_measurer_free(&w);
    dw_mosaic_free(&m);
    return tile;
}

static const char *const NAMES[3] = {"camera", "brick", "astronaut"};

static struct image read_green(const char *name)
{
    struct image p = {0};
    float *rgb = test_image(name, &p.w, &p.h);
    if (!rgb)
        return p;
    p.v = malloc((size_t)(p.w * p.h) * sizeof *p.v);
    for (int i = 0; i < p.w * p.h; i++)
        p.v[i] = (double)rgb[3 * i + 1];
    free(rgb);
    return p;
}

/* Fine detail *is* the variance of the Laplacian (over 16: a point less the mean of its four
 * neighbours is a quarter of it), and all measures fall with every step of blur, as do fine over
 * middle detail, by which softness is told. */
START_TEST(detail_falls_with_blur_as_published_measures_do)
{
    static const double sigma[] = {0, 0.5, 0.8, 1.2, 1.8, 2.7};
    struct image sharp = read_green(NAMES[_i]);
    double last[3] = {INFINITY, INFINITY, INFINITY};
    for (int k = 0; sharp.v && k < 6; k++) {
        struct image p = blurred(&sharp, sigma[k]);
        struct dw_tile t = measured(&p);
        double now[3] = {variance_of_laplacian(&p), tenengrad(&p),
                         (double)t.fine / (double)t.middle};
        ck_assert_double_eq_tol((double)t.fine / (DN_PER_STEP * DN_PER_STEP) * 16 / now[0], 1,
                                0.01);
        for (int j = 0; j < 3; j++) {
            ck_assert_msg(now[j] < 0.97 * last[j], "measure %d at sigma %g: %g after %g", j,
                          sigma[k], now[j], last[j]);
            last[j] = now[j];
        }
        free(p.v);
    }
    free(sharp.v);
}
END_TEST

/* Half the contrast leaves a quarter of the published energies, though nothing is softer; the share
 * of fine detail in middle detail stays. */
START_TEST(contrast_is_no_focus)
{
    struct image p = read_green(NAMES[_i]);
    if (!p.v)
        return;
    struct dw_tile before = measured(&p);
    double laplacian = variance_of_laplacian(&p);
    for (int i = 0; i < p.w * p.h; i++)
        p.v[i] = 64 + 0.5 * p.v[i];
    struct dw_tile after = measured(&p);
    ck_assert_double_eq_tol(variance_of_laplacian(&p) / laplacian, 0.25, 1e-9);
    ck_assert_double_eq_tol((double)after.fine / (double)before.fine, 0.25, 0.0025);
    ck_assert_double_eq_tol((double)after.fine / (double)after.middle /
                                ((double)before.fine / (double)before.middle),
                            1, 0.01);
    free(p.v);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("focus");
    TCase *t = tcase_create("images");
    tcase_add_loop_test(t, detail_falls_with_blur_as_published_measures_do, 0, 3);
    tcase_add_loop_test(t, contrast_is_no_focus, 0, 3);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
