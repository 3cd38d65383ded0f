/* test_pixels.c: the window of `full` against the whole picture at once. Mosaics are invented. */
#include "check_main.h"
#include "mosaics.h"

#include "render/mosaic/pixels.h"

static const float mul[3] = {1.9f, 1.01f, 1.4f};

/* Any numbers: a hash of the place. */
static double noise(double x, double y, int colour)
{
    uint32_t h = (uint32_t)x * 2654435761u ^ (uint32_t)y * 2246822519u ^ (uint32_t)colour * 97u;
    h = (h ^ h >> 15) * 2246822519u;
    return (double)((h ^ h >> 13) % 1000u) / 1000;
}

struct whole {
    float *mosaic, *rgb[3], *peak;
};

static struct whole whole_picture(const struct dw_mosaic *m)
{
    size_t w = (size_t)m->width, n = w * (size_t)m->height;
    struct whole p = {.mosaic = malloc(n * sizeof(float)), .peak = malloc(n * sizeof(float))};
    float scale = 1.0f / (WHITE - BLACK);
    for (int c = 0; c < 3; c++)
        p.rgb[c] = malloc(n * sizeof(float));
    for (size_t i = 0; i < n; i++)
        p.mosaic[i] =
            ((float)m->px[i] - BLACK) * (scale * mul[colour_at(m, (int)(i % w), (int)(i / w))]);
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++) {
            float most = -1;
            for (int v = y - 1; v <= y + 1; v++)
                for (int u = x - 1; u <= x + 1; u++)
                    if (u >= 0 && v >= 0 && u < m->width && v < m->height &&
                        colour_at(m, u, v) == 1)
                        most = fmaxf(most, p.mosaic[(size_t)v * w + (size_t)u]);
            p.peak[(size_t)y * w + (size_t)x] = most;
        }
    float *space = malloc(dw_demosaic_space(m->width) * sizeof(float));
    dw_demosaic_full(dw_kernels_plain()->demosaic, p.mosaic, m->width, m->height, m->pattern, space,
                     p.rgb);
    free(space);
    return p;
}

static void free_whole(struct whole *p)
{
    free(p->mosaic);
    free(p->peak);
    for (int c = 0; c < 3; c++)
        free(p->rgb[c]);
}

static void check_row(struct dw_pixels *p, const struct dw_mosaic *m, int y,
                      const struct whole *want)
{
    size_t w = (size_t)m->width, at = (size_t)y * w, bytes = w * sizeof(float);
    float *row = malloc(4 * bytes);
    dw_pixels_row(p, y, (float *const[3]){row, row + w, row + 2 * w}, row + 3 * w);
    for (int c = 0; c < 3; c++)
        ck_assert_msg(memcmp(row + (size_t)c * w, want->rgb[c] + at, bytes) == 0,
                      "%dx%d row %d colour %d", m->width, m->height, y, c);
    ck_assert_msg(memcmp(row + 3 * w, want->peak + at, bytes) == 0, "%dx%d row %d: peaks", m->width,
                  m->height, y);
    free(row);
}

START_TEST(the_window_gives_what_the_whole_gives)
{
    static const char *const pattern[] = {"RGGB", "BGGR", "GRBG", "GBRG"};
    const int size[][2] = {{2, 2}, {3, 3}, {5, 4}, {12, 31}, {37, 23}, {66, 40}};
    struct dw_samples s = {0};
    struct dw_pixels p = {0}; /* work space is kept from one mosaic to the next */
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < sizeof size / sizeof *size; k++) {
            struct dw_mosaic m = new_mosaic(size[k][0], size[k][1], pattern[i]);
            struct dw_facts f = plain_facts(m.width, m.height);
            struct dw_error err = {0};
            expose(&m, noise);
            struct whole want = whole_picture(&m);
            ck_assert_int_eq(dw_samples_open(&s, &m, &plain_levels, &f, &err), DW_OK);
            ck_assert_int_eq(dw_pixels_open(&p, &s, mul, &err), DW_OK);
            for (int y = 0; y < m.height; y++)
                check_row(&p, &m, y, &want);
            check_row(&p, &m, m.height / 2, &want); /* back, and on with a row left out */
            check_row(&p, &m, m.height - 1, &want);
            free_whole(&want);
            dw_mosaic_free(&m);
        }
    dw_pixels_free(&p);
    dw_samples_free(&s);
}
END_TEST

/* Memory is that of rows, not of the picture. */
START_TEST(a_window_is_small)
{
    struct dw_samples s = {0};
    struct dw_pixels p = {0};
    struct dw_mosaic m = new_mosaic(600, 400, "RGGB");
    struct dw_facts f = plain_facts(m.width, m.height);
    struct dw_error err = {0};
    ck_assert_int_eq(dw_samples_open(&s, &m, &plain_levels, &f, &err), DW_OK);
    ck_assert_int_eq(dw_pixels_open(&p, &s, mul, &err), DW_OK);
    ck_assert_uint_lt(p.work.bytes, 80 * sizeof(float) * 600);
    dw_pixels_free(&p);
    dw_samples_free(&s);
    dw_mosaic_free(&m);
}
END_TEST

int main(void)
{
    Suite *s = suite_create("pixels");
    TCase *t = tcase_create("all");
    tcase_add_test(t, the_window_gives_what_the_whole_gives);
    tcase_add_test(t, a_window_is_small);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
