/* test_register.c: displacement of the camera between two shots. The scenes are invented: sums of
 * soft blobs, whose light at any place is known exactly, so that a picture can be displaced by any
 * part of a pixel without an interpolation that would itself have to be tested. */
#include "check_main.h"
#include "survey_mosaics.h"

#include "decide/poses/kernels.h"
#include "decide/poses/register.h"
#include "survey/patches.h"

#include <math.h>
#include <stdlib.h>

#define W 900
#define H 600
#define SIDE DW_PATCH_SIDE

/* ---- Fourier transform ---- */

START_TEST(the_transform_is_the_sum_that_it_stands_for)
{
    enum { N = 8 };
    struct dw_fourier f;
    struct dice d = {5};
    double z[2 * N * N], was[2 * N * N];
    ck_assert(!dw_fourier_make(&f, 12));
    ck_assert(dw_fourier_make(&f, N));
    for (int i = 0; i < 2 * N * N; i++)
        was[i] = z[i] = uniform(&d);
    dw_fourier_picture(&f, z, false);
    for (int v = 0; v < N; v++)
        for (int u = 0; u < N; u++) {
            double re = 0, im = 0;
            for (int y = 0; y < N; y++)
                for (int x = 0; x < N; x++) {
                    double a = -2 * M_PI * (u * x + v * y) / N, *p = was + 2 * (y * N + x);
                    re += p[0] * cos(a) - p[1] * sin(a);
                    im += p[0] * sin(a) + p[1] * cos(a);
                }
            ck_assert_double_eq_tol(z[2 * (v * N + u)], re, 1e-12);
            ck_assert_double_eq_tol(z[2 * (v * N + u) + 1], im, 1e-12);
        }
    dw_fourier_picture(&f, z, true);
    for (int i = 0; i < 2 * N * N; i++)
        ck_assert_double_eq_tol(z[i] / (N * N), was[i], 1e-12);
    dw_fourier_free(&f);
}
END_TEST

/* ---- kernels ---- */

static int near_edge(int i)
{
    int most = i < SIDE - 1 - i ? i : SIDE - 1 - i;
    return most < 6 ? most : 6;
}

/* Straight from what views.h and kernels.h say, in whole numbers: 256 times the smoothed code. */
static void plain_band(const uint16_t *code, double *band)
{
    static int clipped[SIDE][SIDE], smooth[SIDE][SIDE];
    static const int tap[5] = {1, 4, 6, 4, 1};
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            int best = 0, at = code[y * SIDE + x];
            bool rim = x == 0 || y == 0 || x == SIDE - 1 || y == SIDE - 1;
            for (int k = 0; !rim && k < 4; k++) {
                static const int side[4] = {1, SIDE, SIDE + 1, SIDE - 1};
                int one = code[y * SIDE + x + side[k]], other = code[y * SIDE + x - side[k]];
                int pair = one < other ? one : other;
                best = pair > best ? pair : best;
            }
            clipped[y][x] = rim || at < best ? at : best;
        }
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            smooth[y][x] = 0;
            for (int v = -2; v <= 2; v++)
                for (int u = -2; u <= 2; u++) {
                    int sy = y + v < 0 ? 0 : y + v >= SIDE ? SIDE - 1 : y + v;
                    int sx = x + u < 0 ? 0 : x + u >= SIDE ? SIDE - 1 : x + u;
                    smooth[y][x] += tap[v + 2] * tap[u + 2] * clipped[sy][sx];
                }
        }
    for (int y = 0; y < SIDE; y++)
        for (int x = 0; x < SIDE; x++) {
            int ry = near_edge(y), rx = near_edge(x);
            double sum = 0;
            for (int v = y - ry; v <= y + ry; v++)
                for (int u = x - rx; u <= x + rx; u++)
                    sum += smooth[v][u];
            band[y * SIDE + x] = (smooth[y][x] - sum / ((2 * ry + 1) * (2 * rx + 1))) / 256 / 16;
        }
}

START_TEST(both_builds_of_the_kernels_agree_with_plain_loops)
{
    const struct dw_pose_kernels *k[2] = {dw_pose_kernels_plain(), dw_pose_kernels_best()};
    static struct dw_band_work work;
    static uint16_t code[SIDE * SIDE];
    static float band[2][SIDE * SIDE];
    static double wanted[SIDE * SIDE];
    struct dice d = {21};
    for (int kind = 0; kind < 3; kind++) { /* any codes; nothing but extremes; a soft sky */
        for (int i = 0; i < SIDE * SIDE; i++)
            code[i] = (uint16_t)(kind == 0   ? DW_PATCH_MOST * uniform(&d)
                                 : kind == 1 ? DW_PATCH_MOST * (uniform(&d) < 0.9)
                                             : 500 + i % SIDE + 3 * normal(&d));
        plain_band(code, wanted);
        for (int b = 0; b < 2; b++)
            k[b]->band(code, &work, band[b]);
        ck_assert_mem_eq(band[0], band[1], sizeof band[0]);
        for (int i = 0; i < SIDE * SIDE; i++)
            ck_assert_double_eq_tol((double)band[0][i], wanted[i], 3e-7 * fmax(1, fabs(wanted[i])));
        uint32_t light[2][SIDE];
        float square[2][SIDE];
        for (int b = 0; b < 2; b++)
            k[b]->columns(code + 16 * SIDE, band[0] + 16 * SIDE, light[b], square[b]);
        ck_assert_mem_eq(light[0], light[1], sizeof light[0]);
        ck_assert_mem_eq(square[0], square[1], sizeof square[0]);
        for (int x = 0; x < SIDE; x++) {
            double l = 0, s = 0;
            for (int y = 16; y < 32; y++) {
                l += code[y * SIDE + x];
                s += (double)band[0][y * SIDE + x] * (double)band[0][y * SIDE + x];
            }
            ck_assert_double_eq(light[0][x], l);
            ck_assert_double_eq_tol((double)square[0][x], s, 1e-5 * s);
        }
    }
}
END_TEST

START_TEST(so_do_the_sums_over_blocks)
{
    const struct dw_pose_kernels *k[2] = {dw_pose_kernels_plain(), dw_pose_kernels_best()};
    static float a[SIDE * SIDE], b[SIDE * SIDE];
    double sum[2][DW_BLOCK_SUMS];
    struct dice d = {22};
    for (int i = 0; i < SIDE * SIDE; i++) {
        a[i] = (float)normal(&d);
        b[i] = (float)normal(&d);
    }
    for (int n = 1; n <= DW_BLOCK_SIDE; n++)
        for (int stride = DW_BLOCK_SIDE; stride <= SIDE; stride += SIDE - DW_BLOCK_SIDE) {
            const float *at = a + 20 * SIDE + 30, *to = b + 7;
            for (int i = 0; i < 2; i++)
                k[i]->sums(at, to, (size_t)stride, n, 13, sum[i]);
            ck_assert_mem_eq(sum[0], sum[1], sizeof sum[0]);
            double s[DW_BLOCK_SUMS] = {0};
            for (int y = 0; y < 13; y++)
                for (int x = 0; x < n; x++) {
                    const float *p = at + y * SIDE + x;
                    double v = (double)p[0], w = (double)to[y * stride + x];
                    double gx = ((double)p[1] - (double)p[-1]) / 2;
                    double gy = ((double)p[SIDE] - (double)p[-SIDE]) / 2;
                    const double term[] = {v * v,   v * gx, v * gy, gx * gx, gx * gy,
                                           gy * gy, w * v,  w * gx, w * gy,  w * w};
                    for (int i = 0; i < DW_BLOCK_SUMS; i++)
                        s[i] += term[i];
                }
            for (int i = 0; i < DW_BLOCK_SUMS; i++)
                ck_assert_double_eq_tol(sum[0][i], s[i], 1e-4);
        }
}
END_TEST

START_TEST(so_do_fourier_lines)
{
    enum { N = 32, ROOM = 2 * N * DW_FOURIER_LINES };
    struct dw_fourier f;
    struct dice d = {23};
    double z[2][ROOM];
    ck_assert(dw_fourier_make(&f, N));
    for (int back = 0; back < 2; back++) {
        for (int i = 0; i < ROOM; i++)
            z[0][i] = z[1][i] = normal(&d);
        dw_pose_kernels_plain()->lines(f.turn, N, z[0], back);
        dw_pose_kernels_best()->lines(f.turn, N, z[1], back);
        ck_assert_mem_eq(z[0], z[1], sizeof z[0]);
    }
    dw_fourier_free(&f);
}
END_TEST

/* ---- invented scenes ---- */

struct blob {
    double x, y, sigma, light; /* mosaic pixels; DN at its middle */
};
struct scene {
    struct blob *blob;
    int n;
    double ground; /* DN everywhere */
};

/* Blobs over the rows from `top` to `bottom`, no smaller than a lens would draw them. */
static struct scene make_scene(uint64_t seed, int n, double top, double bottom, double ground,
                               double light, double least, double most)
{
    struct dice d = {seed};
    struct scene s = {malloc((size_t)n * sizeof *s.blob), n, ground};
    for (int i = 0; i < n; i++)
        s.blob[i] =
            (struct blob){W * 1.2 * uniform(&d) - 0.1 * W, top + (bottom - top) * uniform(&d),
                          least + (most - least) * uniform(&d), light * (0.2 + uniform(&d))};
    return s;
}

/* Light of a scene, moved by (dx, dy) and turned about the frame's middle, added over the frame. */
static void add_scene(const struct scene *s, double dx, double dy, double turn, float *dn)
{
    for (int i = 0; i < W * H; i++)
        dn[i] += (float)s->ground;
    for (int i = 0; i < s->n; i++) {
        const struct blob *b = &s->blob[i];
        double u = b->x - W / 2.0, v = b->y - H / 2.0, c = cos(turn), t = sin(turn);
        double x = W / 2.0 + c * u - t * v + dx, y = H / 2.0 + t * u + c * v + dy;
        int r = (int)ceil(4.5 * b->sigma);
        for (int py = (int)y - r < 0 ? 0 : (int)y - r; py <= (int)y + r && py < H; py++)
            for (int px = (int)x - r < 0 ? 0 : (int)x - r; px <= (int)x + r && px < W; px++) {
                double q = ((px - x) * (px - x) + (py - y) * (py - y)) / (b->sigma * b->sigma);
                dn[py * W + px] += (float)(b->light * exp(-q / 2));
            }
    }
}

/* The patches of a picture as a sensor with this noise gives them. */
static struct dw_patches expose_patches(const float *dn, double dn_per_e, double read_dn,
                                        uint64_t seed)
{
    struct dw_patches p = {0};
    struct dice d = {seed};
    p.n = dw_patch_places(W, H, p.at);
    p.code = malloc((size_t)p.n * DW_PATCH_CELLS * sizeof *p.code);
    uint16_t *out = p.code;
    for (int i = 0; i < p.n; i++)
        for (int y = 0; y < DW_PATCH_SIDE; y++)
            for (int x = 0; x < DW_PATCH_SIDE; x++) {
                const float *at = dn + (p.at[i].y + 2 * y) * W + p.at[i].x + 2 * x;
                double sum = 0;
                for (int g = 0; g < 2; g++) /* green, red; blue, green */
                    sum += floor(dn_per_e * poisson(&d, (double)at[g ? W + 1 : 0] / dn_per_e) +
                                 read_dn * normal(&d) + 0.5);
                *out++ = dw_patch_code((float)(sum / 2));
            }
    return p;
}

struct camera {
    struct dw_register reg;
    struct dw_view_work work;
    struct dw_view a, b;
    struct dw_block_place at[DW_MAX_BLOCKS];
    float weight[DW_MAX_BLOCKS];
    double dn_per_e, read_dn;
};

static void begin(struct camera *c, double dn_per_e, double read_dn)
{
    struct dw_patch_place place[DW_PATCHES];
    *c = (struct camera){.dn_per_e = dn_per_e, .read_dn = read_dn};
    int n = dw_patch_places(W, H, place);
    ck_assert_int_eq(n, DW_PATCHES);
    dw_block_places(place, n, W, H, c->at);
    for (int i = 0; i < DW_MAX_BLOCKS; i++)
        c->weight[i] = 1;
}
static void end(struct camera *c)
{
    dw_view_free(&c->a);
    dw_view_free(&c->b);
    dw_view_work_free(&c->work);
    dw_register_free(&c->reg);
}
static void look(struct camera *c, const float *dn, uint64_t seed, struct dw_view *out)
{
    struct dw_error err = {0};
    struct dw_measure m = {.photon_dn = (float)c->dn_per_e, .noise_dn = (float)c->read_dn};
    struct dw_patches p = expose_patches(dn, c->dn_per_e, c->read_dn, seed);
    ck_assert_int_eq(dw_view_make(&p, &m, NULL, &c->work, out, &err), DW_OK);
    dw_patches_free(&p);
}
static struct dw_shift compare(struct camera *c)
{
    struct dw_error err = {0};
    struct dw_shift s;
    ck_assert_int_eq(dw_register(&c->reg, &c->a, &c->b, c->weight, c->at, &s, &err), DW_OK);
    return s;
}

static const double shifts[][2] = {{0.2, 0},    {0, -0.2},    {0.37, 0.61}, {-1, 1},
                                   {2.5, -3.3}, {-9.7, 5.8},  {16, -12},    {-21.4, 0.9},
                                   {0.3, 33.3}, {28.3, 28.3}, {-40, 0},     {24.1, -31.9}};
enum { SHIFTS = sizeof shifts / sizeof *shifts };

/* Everything over one scene: a ground that stands below the middle, and above it a sky that goes
 * its own way. Returns the worst error in mosaic pixels. */
static double worst_error(double light, double dn_per_e, double read_dn, bool sky)
{
    struct camera c;
    begin(&c, dn_per_e, read_dn);
    struct scene ground = make_scene(11, 2500, 0.42 * H, 1.1 * H, 0.1 * light, 0.3 * light, 1.1, 5);
    struct scene above = make_scene(23, 500, -0.1 * H, 0.4 * H, 0.2 * light, 0.4 * light, 1.1, 9);
    float *dn = malloc(W * H * sizeof *dn);
    double worst = 0;
    for (int k = 0; k < SHIFTS; k++) {
        for (int shot = 0; shot < 2; shot++) {
            memset(dn, 0, W * H * sizeof *dn);
            add_scene(&ground, shot * shifts[k][0], shot * shifts[k][1], 0, dn);
            if (sky)
                add_scene(&above, shot * 6.3, shot * -2.9, shot * 0.03, dn);
            for (int i = 0; shot && i < W * H; i++)
                dn[i] *= 0.93f; /* the light has changed as well */
            look(&c, dn, (uint64_t)(100 + 2 * k + shot), shot ? &c.b : &c.a);
        }
        struct dw_shift s = compare(&c);
        double error = hypot(2 * s.x - shifts[k][0], 2 * s.y - shifts[k][1]);
        ck_assert_msg(error < 0.05, "shift %g, %g: found %.3f, %.3f, said to be good to %.3f",
                      shifts[k][0], shifts[k][1], 2 * s.x, 2 * s.y, 2 * s.sigma);
        ck_assert_double_lt(error, 6 * 2 * s.sigma + 0.01); /* and it knows how good it is */
        ck_assert_double_eq(s.turn, 0);
        worst = fmax(worst, error);
    }
    free(dn);
    free(ground.blob);
    free(above.blob);
    end(&c);
    return worst;
}

/* The accuracy asked for: a twentieth of a mosaic pixel from 0.2 to 40 px. */
START_TEST(any_shift_by_day_is_found_to_a_twentieth_of_a_pixel)
{
    worst_error(6000, 0.24, 1.1, false);
}
END_TEST
START_TEST(so_it_is_while_the_sky_moves)
{
    worst_error(6000, 0.24, 1.1, true);
}
END_TEST
START_TEST(and_by_night)
{
    worst_error(1000, 1.9, 4, true); /* ISO 800: 50 to 200 electrons a pixel */
}
END_TEST

START_TEST(a_turn_is_found_with_the_shift)
{
    struct camera c;
    begin(&c, 0.24, 1.1);
    struct scene ground = make_scene(5, 3000, -0.1 * H, 1.1 * H, 500, 2000, 1.1, 5);
    float *dn = malloc(W * H * sizeof *dn);
    const double turn = 0.3 * M_PI / 180;
    for (int shot = 0; shot < 2; shot++) {
        memset(dn, 0, W * H * sizeof *dn);
        add_scene(&ground, shot * 7.3, shot * -4.4, shot * turn, dn);
        look(&c, dn, (uint64_t)(3 + shot), shot ? &c.b : &c.a);
    }
    struct dw_shift s = compare(&c);
    ck_assert_double_eq_tol(2 * s.x, 7.3, 0.05);
    ck_assert_double_eq_tol(2 * s.y, -4.4, 0.05);
    ck_assert_double_eq_tol(s.turn, turn, 1e-4);
    free(dn);
    free(ground.blob);
    end(&c);
}
END_TEST

START_TEST(nothing_is_said_of_shots_that_share_nothing)
{
    struct camera c;
    begin(&c, 0.24, 1.1);
    float *dn = malloc(W * H * sizeof *dn);
    for (int shot = 0; shot < 2; shot++) {
        struct scene s = make_scene(40 + (uint64_t)shot, 3000, 0, H, 500, 2000, 1.1, 5);
        memset(dn, 0, W * H * sizeof *dn);
        add_scene(&s, 0, 0, 0, dn);
        look(&c, dn, (uint64_t)shot, shot ? &c.b : &c.a);
        free(s.blob);
    }
    struct dw_shift s = compare(&c);
    ck_assert_msg(!(s.sigma < 0.15 && s.agree > 0.5 && s.alike > 0.5),
                  "x %g y %g sigma %g agree %g alike %g of %d", s.x, s.y, s.sigma, s.agree, s.alike,
                  s.voters);
    for (int shot = 0; shot < 2; shot++) { /* an even grey has nothing to hold on to */
        for (int i = 0; i < W * H; i++)
            dn[i] = 3000;
        look(&c, dn, 7 + (uint64_t)shot, shot ? &c.b : &c.a);
    }
    s = compare(&c);
    ck_assert(!(s.sigma < 0.15));
    free(dn);
    end(&c);
}
END_TEST

/* Cyclic displacement by the Fourier shift theorem, which is exact for any part of a cell. */
static void fourier_shift(const double *in, double x, double y, double *out)
{
    enum { N = DW_PATCH_SIDE };
    struct dw_fourier f;
    double *z = malloc(2 * N * N * sizeof *z);
    ck_assert(dw_fourier_make(&f, N));
    for (int i = 0; i < N * N; i++) {
        z[2 * i] = in[i];
        z[2 * i + 1] = 0;
    }
    dw_fourier_picture(&f, z, false);
    for (int v = 0; v < N; v++)
        for (int u = 0; u < N; u++) {
            int fu = u < N / 2 ? u : u - N, fv = v < N / 2 ? v : v - N;
            double a = -2 * M_PI * (fu * x + fv * y) / N, *p = z + 2 * (v * N + u);
            double re = p[0] * cos(a) - p[1] * sin(a), im = p[0] * sin(a) + p[1] * cos(a);
            p[0] = re;
            p[1] = im;
        }
    dw_fourier_picture(&f, z, true);
    for (int i = 0; i < N * N; i++)
        out[i] = z[2 * i] / (N * N);
    dw_fourier_free(&f);
    free(z);
}

/* The two displacements of scikit-image's documentation and tests of registration by an upsampled
 * Fourier transform (Guizar-Sicairos, Thurman & Fienup 2008, Optics Letters 33, 156), which finds
 * them to 0.01 at an upsampling of 100; signs are those of our convention. */
/* A cloud fills the first rows, all of one mind; the ground below is twice as much. */
START_TEST(the_larger_heap_is_found_wherever_it_lies)
{
    enum { N = 60, CLOUD = 20 };
    for (int first = 0; first < 2; first++) {
        struct dw_block block[N] = {{0}};
        struct dw_block_place at[N] = {{0}};
        float weight[N];
        for (int i = 0; i < N; i++) {
            bool cloud = first ? i < CLOUD : i >= N - CLOUD;
            weight[i] = 1;
            block[i] = (struct dw_block){
                cloud ? 2.5 : 0.01 * (i % 5 - 2), cloud ? 1 : 0.4, 400, 0, 400, 0.9, 0.1};
        }
        struct dw_shift start = {.x = first ? 2.5 : 0, .y = 1}, s;
        dw_vote(block, weight, at, N, false, &start, &s);
        ck_assert_double_eq_tol(s.x, 0, 0.01);
        ck_assert_double_eq_tol(s.y, 0.4, 0.01);
        ck_assert_int_eq(s.voters, N - CLOUD);
    }
}
END_TEST

START_TEST(published_fourier_shifts_are_found_to_a_hundredth)
{
    enum { N = DW_PATCH_SIDE };
    const double known[][2] = {{8.73837, 3.48574}, {13.32, -22.4}};
    for (int k = 0; k < 2; k++) {
        struct camera c;
        begin(&c, 0.24, 1.1);
        struct dice d = {77};
        struct dw_measure m = {.photon_dn = 0.001f, .noise_dn = 0.01f};
        struct dw_error err = {0};
        struct dw_patches p[2];
        for (int i = 0; i < 2; i++) {
            p[i] = (struct dw_patches){0};
            p[i].n = dw_patch_places(W, H, p[i].at);
            p[i].code = malloc((size_t)p[i].n * N * N * sizeof *p[i].code);
        }
        double a[N * N], b[N * N], t[N * N];
        for (int patch = 0; patch < p[0].n; patch++) {
            for (int i = 0; i < N * N; i++)
                t[i] = normal(&d);
            for (int y = 0; y < N; y++) /* an even blur, cyclic as the displacement is */
                for (int x = 0; x < N; x++) {
                    a[y * N + x] = 0;
                    for (int v = -3; v <= 3; v++)
                        for (int u = -3; u <= 3; u++)
                            a[y * N + x] += exp(-(u * u + v * v) / 3.0) *
                                            t[(y + v + N) % N * N + (x + u + N) % N];
                }
            fourier_shift(a, known[k][0], known[k][1], b);
            for (int i = 0; i < N * N; i++) {
                p[0].code[patch * N * N + i] = (uint16_t)lrint(1000 + 50 * a[i]);
                p[1].code[patch * N * N + i] = (uint16_t)lrint(1000 + 50 * b[i]);
            }
        }
        ck_assert_int_eq(dw_view_make(&p[0], &m, NULL, &c.work, &c.a, &err), DW_OK);
        ck_assert_int_eq(dw_view_make(&p[1], &m, NULL, &c.work, &c.b, &err), DW_OK);
        struct dw_shift s = compare(&c);
        ck_assert_double_eq_tol(s.x, known[k][0], 0.01);
        ck_assert_double_eq_tol(s.y, known[k][1], 0.01);
        dw_patches_free(&p[0]);
        dw_patches_free(&p[1]);
        end(&c);
    }
}
END_TEST

int main(void)
{
    Suite *s = suite_create("register");
    TCase *c = tcase_create("fourier");
    tcase_add_test(c, the_transform_is_the_sum_that_it_stands_for);
    suite_add_tcase(s, c);
    c = tcase_create("kernels");
    tcase_add_test(c, both_builds_of_the_kernels_agree_with_plain_loops);
    tcase_add_test(c, so_do_the_sums_over_blocks);
    tcase_add_test(c, so_do_fourier_lines);
    suite_add_tcase(s, c);
    c = tcase_create("displacement");
    tcase_add_test(c, any_shift_by_day_is_found_to_a_twentieth_of_a_pixel);
    tcase_add_test(c, so_it_is_while_the_sky_moves);
    tcase_add_test(c, and_by_night);
    tcase_add_test(c, a_turn_is_found_with_the_shift);
    tcase_add_test(c, nothing_is_said_of_shots_that_share_nothing);
    tcase_add_test(c, the_larger_heap_is_found_wherever_it_lies);
    tcase_add_test(c, published_fourier_shifts_are_found_to_a_hundredth);
    suite_add_tcase(s, c);
    return dw_check_main(s);
}
