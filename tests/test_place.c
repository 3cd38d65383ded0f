/* test_place.c: a picture put back where it belongs. The pictures are invented: sums of blobs whose
 * light is known at every place. */
#include "check_main.h"
#include "mosaics.h"

#include "render/light/light.h"

#include <math.h>

#define W 160
#define H 100

static float picture[3][H][W];

static void whole_row(void *ctx, int y, float *const rgb[3])
{
    (*(int *)ctx)++;
    for (int c = 0; c < 3; c++)
        memcpy(rgb[c], picture[c][y], sizeof picture[c][y]);
}

/* Blobs as wide as a lens draws stars on cells (FWHM about 2), and wider. */
static double light_at(double x, double y, int c)
{
    double v = 0.2 + 0.05 * c;
    for (int i = 0; i < 60; i++) {
        double u = (i * 37 % 151) + 0.31 * (i % 7), t = (i * 53 % 97) + 0.17 * (i % 5);
        double s = i % 3 ? 1.1 : 3, d = ((x - u) * (x - u) + (y - t) * (y - t)) / (s * s);
        if (d < 60) /* the rest is below 1e-12 */
            v += (1 + i % 4) * exp(-d / 2);
    }
    return v;
}

/* The scene as a camera displaced by this shows it. */
static void draw(double shift_x, double shift_y, double roll)
{
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < H; y++)
            for (int x = 0; x < W; x++) {
                /* where in the scene this pixel looks: the inverse of place.h's rule */
                double px = x - 0.5 * (W - 1) - shift_x, py = y - 0.5 * (H - 1) - shift_y;
                double qx = (px + roll * py) / (1 + roll * roll);
                double qy = (py - roll * px) / (1 + roll * roll);
                picture[c][y][x] = (float)light_at(qx + 0.5 * (W - 1), qy + 0.5 * (H - 1), c);
            }
}

/* Cropped by so much on either side, and displaced. */
static struct dw_placing placing(int beside, int above, double shift_x, double shift_y, double roll)
{
    return (struct dw_placing){.in_w = W,
                               .in_h = H,
                               .left = beside,
                               .top = above,
                               .out_w = W - 2 * beside,
                               .out_h = H - 2 * above,
                               .shift_x = shift_x,
                               .shift_y = shift_y,
                               .roll = roll};
}

/* Worst and mean square difference from the scene; also how often a source row was asked for. */
static double place_all(const struct dw_placing *how, double *mean, int *asked)
{
    struct dw_place p = {0};
    struct dw_error err = {0};
    double worst = 0, sum = 0;
    *asked = 0;
    ck_assert_int_eq(dw_place_open(&p, how, &err), DW_OK);
    float row[3][W];
    for (int y = 0; y < how->out_h; y++) {
        dw_place_row(&p, y, whole_row, asked, (float *const[3]){row[0], row[1], row[2]});
        for (int c = 0; c < 3; c++)
            for (int x = 0; x < how->out_w; x++) {
                double d = fabs((double)row[c][x] - light_at(x + how->left, y + how->top, c));
                worst = fmax(worst, d);
                sum += d * d;
            }
    }
    *mean = sqrt(sum / (3.0 * how->out_w * how->out_h));
    dw_place_free(&p);
    return worst;
}

START_TEST(whole_pixels_are_copied)
{
    const struct dw_placing how = placing(10, 6, -7, 4, 0), whole = placing(0, 0, 0, 0, 0);
    double mean;
    int asked;
    draw(-7, 4, 0);
    ck_assert_double_lt(place_all(&how, &mean, &asked), 1e-6);
    ck_assert_int_le(asked, H);
    ck_assert(!dw_place_idle(&how));
    ck_assert(dw_place_idle(&whole));
}
END_TEST

/* Stars of two pixels' width keep their height to a few per cent whatever the part of a pixel. */
START_TEST(parts_of_a_pixel_and_a_turn_are_put_back)
{
    const double way[][3] = {{0.5, 0.5, 0}, {-3.25, 1.75, 0}, {6.61, -2.33, 0}, {2.4, -1.3, 0.004}};
    for (size_t i = 0; i < sizeof way / sizeof *way; i++) {
        const struct dw_placing how = placing(10, 10, way[i][0], way[i][1], way[i][2]);
        double mean;
        int asked;
        draw(way[i][0], way[i][1], way[i][2]);
        double worst = place_all(&how, &mean, &asked);
        ck_assert_msg(worst < 0.25 && mean < 0.015, "%zu: worst %g of 4, mean %g", i, worst, mean);
        ck_assert_int_le(asked, H);
        /* and it was worth while */
        const struct dw_placing not = placing(10, 10, 0, 0, 0);
        double without;
        place_all(&not, &without, &asked);
        ck_assert_double_gt(without, 10 * mean);
    }
}
END_TEST

START_TEST(a_star_gets_no_dark_ring)
{
    memset(picture, 0, sizeof picture);
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < H; y++)
            for (int x = 0; x < W; x++)
                picture[c][y][x] = x == 80 && y == 50 ? 100 : x == 81 && y == 50 ? 40 : 0.01f;
    const struct dw_placing how = placing(0, 0, 0.37, -0.44, 0);
    struct dw_place p = {0};
    struct dw_error err = {0};
    int asked = 0;
    float row[3][W];
    ck_assert_int_eq(dw_place_open(&p, &how, &err), DW_OK);
    for (int y = 0; y < H; y++) {
        dw_place_row(&p, y, whole_row, &asked, (float *const[3]){row[0], row[1], row[2]});
        for (int x = 0; x < W; x++)
            ck_assert_double_ge((double)row[1][x], 0.01 - 1e-6);
    }
    dw_place_free(&p);
}
END_TEST

START_TEST(borders_repeat)
{
    const struct dw_placing how = placing(0, 0, 30.5, -20.5, 0.01);
    struct dw_place p = {0};
    struct dw_error err = {0};
    int asked = 0;
    float row[3][W];
    for (int c = 0; c < 3; c++)
        for (int y = 0; y < H; y++)
            for (int x = 0; x < W; x++)
                picture[c][y][x] = 3;
    ck_assert_int_eq(dw_place_open(&p, &how, &err), DW_OK);
    for (int y = 0; y < H; y++) {
        dw_place_row(&p, y, whole_row, &asked, (float *const[3]){row[0], row[1], row[2]});
        for (int x = 0; x < W; x++)
            ck_assert_double_eq_tol((double)row[2][x], 3, 1e-5);
    }
    dw_place_free(&p);
}
END_TEST

/* All rows of cells, from which the sky behind the stars is learnt. */
static void take_cells(const struct dw_mosaic *m, const struct dw_facts *facts,
                       const struct dw_source *source, const struct dw_size *size, float *out)
{
    struct dw_light light = {0};
    ck_assert_int_eq(dw_light_open(&light, m, &plain_levels, facts, source, size, NULL), DW_OK);
    size_t w = (size_t)light.geo.cells_w;
    for (int y = 0; y < light.geo.cells_h; y++, out += 3 * w)
        dw_light_cell_row(&light, y, (float *const[3]){out, out + w, out + 2 * w});
    dw_light_free(&light);
}

/* From the mosaic on: a camera that was displaced by whole cells gives the very same light. */
START_TEST(a_displaced_mosaic_gives_the_same_light)
{
    enum { MW = 160, MH = 128 };
    const enum dw_size_kind kind[] = {DW_SIZE_HALF, DW_SIZE_FULL};
    struct dw_mosaic a = new_mosaic(MW, MH, "RGGB"), b = new_mosaic(MW, MH, "RGGB");
    for (int y = 0; y < MH; y++)
        for (int x = 0; x < MW; x++) {
            uint16_t v = (uint16_t)(600 + (x * 7919 + y * 104729) % 9001);
            a.px[y * MW + x] = v;
            if (x + 6 < MW && y - 4 >= 0)
                b.px[(y - 4) * MW + x + 6] = v;
        }
    struct dw_facts facts = plain_facts(MW, MH);
    facts.crop = (struct dw_crop){40, 32, 32, 36}; /* the demosaic looks around */
    struct dw_source moved = plain_source;
    moved.shift_x = 6;
    moved.shift_y = -4;
    for (int k = 0; k < 2; k++) {
        struct dw_linear one = {0}, two = {0};
        struct dw_error err = {0};
        struct dw_size size = {kind[k], 0, 0};
        ck_assert_int_eq(dw_linear_from_mosaic(&a, &plain_levels, &facts, &plain_source, &size,
                                               false, &one, &err),
                         DW_OK);
        ck_assert_int_eq(
            dw_linear_from_mosaic(&b, &plain_levels, &facts, &moved, &size, false, &two, &err),
            DW_OK);
        ck_assert_int_eq(one.width, k ? 88 : 44);
        ck_assert_int_eq(one.height, k ? 60 : 30);
        size_t n = 3 * (size_t)one.width * (size_t)one.height;
        ck_assert_mem_eq(one.plane[0], two.plane[0], n * sizeof(float));
        static float cells[2][3 * 44 * 30];
        take_cells(&a, &facts, &plain_source, &size, cells[0]);
        take_cells(&b, &facts, &moved, &size, cells[1]);
        ck_assert_mem_eq(cells[0], cells[1], sizeof cells[0]);
        dw_linear_free(&one);
        dw_linear_free(&two);
    }
    dw_mosaic_free(&a);
    dw_mosaic_free(&b);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("place");
    TCase *t = tcase_create("place");
    tcase_add_test(t, whole_pixels_are_copied);
    tcase_add_test(t, parts_of_a_pixel_and_a_turn_are_put_back);
    tcase_add_test(t, a_star_gets_no_dark_ring);
    tcase_add_test(t, borders_repeat);
    tcase_add_test(t, a_displaced_mosaic_gives_the_same_light);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
