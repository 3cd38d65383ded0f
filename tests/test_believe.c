/* test_believe.c: the judgement of decoded pixels, on invented pictures. */
#include "check_main.h"

#include "shot/believe.h"
#include "tiny_dng.h"

enum { W = 320, H = 256 };

static uint16_t *picture; /* W x H of noise on a slope, black 512, white 15000 */

static void set_up(void)
{
    picture = malloc(W * H * sizeof *picture);
    ck_assert_ptr_nonnull(picture);
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
}
static void tear_down(void)
{
    free(picture);
}

static struct dw_mosaic judged(double black, double white)
{
    struct dw_mosaic m = {.width = W,
                          .height = H,
                          .cfa = DW_CFA_BAYER,
                          .period = 2,
                          .px = picture,
                          .samples = W * H,
                          .white = (float)white};
    for (int c = 0; c < 3; c++)
        m.black[c] = (float)black;
    return m;
}
static void believed(const struct dw_mosaic *m, const char *what)
{
    char why[200] = "";
    ck_assert_msg(dw_believe(m, why, sizeof why), "%s: %s", what, why);
}
static void doubted(const struct dw_mosaic *m, const char *saying)
{
    char why[200] = "";
    ck_assert_msg(!dw_believe(m, why, sizeof why), "believed, not '%s'", saying);
    ck_assert_msg(strstr(why, saying) != NULL, "'%s' in: %s", saying, why);
}
/* Level and noise everywhere, cut at the limits as a camera does. */
static void flat(double level, double noise, double least, double most, uint32_t seed)
{
    for (size_t i = 0; i < W * H; i++) {
        double sum = 0;
        for (int k = 0; k < 4; k++) {
            seed = seed * 1664525u + 1013904223u;
            sum += (double)(seed >> 8) / 16777216.0 - 0.5;
        }
        double v = level + noise * sum * 1.732;
        picture[i] = (uint16_t)(v < least ? least : v > most ? most : v + 0.5);
    }
}

START_TEST(true_frames_are_believed)
{
    struct dw_mosaic m = judged(512, 15000);
    believed(&m, "a slope");
    flat(512, 3, 0, 16383, 1);
    believed(&m, "a dark frame");
    flat(512, 0.6, 0, 16383, 1);
    believed(&m, "a dark frame with hardly any noise");
    flat(520, 25, 0, 16383, 1);
    believed(&m, "a night frame near black");
    flat(9000, 60, 0, 16383, 1);
    believed(&m, "a flat sky");
    flat(15000, 300, 0, 15000, 1);
    believed(&m, "a half clipped frame");
    flat(17000, 300, 0, 15000, 1);
    for (size_t i = 0; i < W * 8; i++) /* a clipped sky, bright rows above a darker rim */
        picture[i] = (uint16_t)(3000 + i * 7919 % 97);
    believed(&m, "a clipped sky");
    flat(16500, 50, 0, 16383, 1);
    picture[77] = 16300;
    believed(&m, "a frame clipped 9 % above what the table says");
    flat(600, 20, 0, 16383, 1);
    for (size_t i = 0; i < 40; i++)
        picture[i * 1021] = 15200; /* hot */
    for (size_t i = 0; i < 40; i++)
        picture[i * 1031 + 7] = i % 2 ? 0 : 65535; /* dead, as some programs mark them */
    for (size_t y = 0; y < H; y++)
        picture[y * W + 31] = 0; /* a dead column */
    believed(&m, "hot pixels, dead pixels and a dead column");
    m.width = 2 * W;
    m.height = H / 2;
    tiny_picture(picture, 2 * W, H / 2, 512, 9000, 40, 3);
    for (size_t y = 10; y < H / 2 - 2; y += 11) /* wires that end at one pole */
        for (size_t x = 200; x < 2 * W; x++)
            picture[y * 2 * W + x] = (uint16_t)(picture[y * 2 * W + x] - 300);
    believed(&m, "wires");
    m = judged(0, 4095);
    flat(0, 2, 0, 4095, 1);
    believed(&m, "a dark frame of a camera that clips its black");
    flat(-3, 2, 0, 4095, 1);
    believed(&m, "a darker one, mostly zero");
    m = judged(0, 65535);
    flat(30000, 2000, 0, 65535, 1);
    believed(&m, "a 16-bit frame");
}
END_TEST

START_TEST(a_picture_without_noise_is_believed)
{
    /* charts drawn by a program: patches, not photographs; repeated rows are no damage there */
    struct dw_mosaic m = judged(512, 15000);
    for (size_t y = 0; y < H; y++)
        for (size_t x = 0; x < W; x++)
            picture[y * W + x] = (uint16_t)(1000 + 500 * (x / 54) + 3000 * (y / 64));
    believed(&m, "patches");
}
END_TEST

START_TEST(pictures_that_no_sensor_gives)
{
    struct dw_mosaic m = judged(512, 15000);
    memset(picture, 0, W * H * sizeof *picture);
    doubted(&m, "every pixel has the value 0");
    picture[100] = 700;
    doubted(&m, "of its pixels are zero");
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    memset(picture + W * H / 2 + 7, 0, W * H / 2 * sizeof *picture - 14);
    doubted(&m, "far below the black level");
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    for (size_t y = 128; y < 160; y++) /* a torn tile */
        memset(picture + y * W + 64, 0, 64 * sizeof *picture);
    doubted(&m, "far below the black level");
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    for (size_t y = 64; y < 128; y++)
        for (size_t x = 0; x < 64; x++)
            picture[y * W + x] = (uint16_t)(20000 + 31 * x);
    doubted(&m, "far above the white level");
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    picture[5000] = 40000;
    doubted(&m, "lie far beyond the white level");
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    for (size_t y = 100; y < 140; y++)
        memcpy(picture + y * W, picture + (y - 2) * W, W * sizeof *picture);
    doubted(&m, "rows repeat another");
    uint32_t seed = 1;
    tiny_picture(picture, W, H, 512, 9000, 40, 3);
    for (size_t i = W * H / 2; i < W * H; i++)
        picture[i] = (uint16_t)((seed = seed * 1664525u + 1013904223u) >> 18);
    doubted(&m, "random numbers");
    m.width = 2 * W;
    m.height = H / 2;
    tiny_picture(picture, 2 * W, H / 2, 512, 9000, 40, 3);
    for (size_t y = 10; y < H / 2 - 2; y += 11) /* torn rows, each at another place */
        for (size_t x = 150 + y * 37 % 300; x < 2 * W; x++)
            picture[y * 2 * W + x] = (uint16_t)(picture[y * 2 * W + x] + 300);
    doubted(&m, "rows are torn");
    m = judged(0, 4095); /* black at zero: only a long run of zeros tells */
    flat(300, 10, 0, 4095, 1);
    memset(picture + 100 * W, 0, 3 * W * sizeof *picture);
    doubted(&m, "pixels in a row are zero");
    m.samples = 0;
    doubted(&m, "no pixels");
}
END_TEST

int main(void)
{
    Suite *s = suite_create("believe");
    TCase *t = tcase_create("believe");
    tcase_add_checked_fixture(t, set_up, tear_down);
    tcase_add_test(t, true_frames_are_believed);
    tcase_add_test(t, a_picture_without_noise_is_believed);
    tcase_add_test(t, pictures_that_no_sensor_gives);
    suite_add_tcase(s, t);
    return dw_check_main(s);
}
