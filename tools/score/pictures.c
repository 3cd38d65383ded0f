/* pictures.c: the finished JPEG frames: lightness and colour from frame to frame, and what
 * flickers in still patches, in the light that a screen would give. */
#include "score.h"

#include "base/atomic_file.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <jpeglib.h>

/* A frame that we wrote ourselves: a damaged one may end this tool, so the default handler is
 * good enough here. */
static bool read_picture(const char *path, struct score_picture *p)
{
    char *data;
    size_t n;
    struct dw_error err;
    if (dw_read_whole(path, (size_t)1 << 30, &data, &n, &err) < 0)
        return false;
    struct jpeg_decompress_struct c;
    struct jpeg_error_mgr e;
    c.err = jpeg_std_error(&e);
    jpeg_create_decompress(&c);
    jpeg_mem_src(&c, (unsigned char *)data, n);
    jpeg_read_header(&c, TRUE);
    c.out_color_space = JCS_RGB;
    jpeg_start_decompress(&c);
    p->width = (int)c.output_width;
    p->height = (int)c.output_height;
    p->rgb = malloc((size_t)p->width * (size_t)p->height * 3);
    while (p->rgb && c.output_scanline < c.output_height) {
        JSAMPROW row = p->rgb + (size_t)c.output_scanline * (size_t)p->width * 3;
        jpeg_read_scanlines(&c, &row, 1);
    }
    jpeg_destroy_decompress(&c);
    free(data);
    return p->rgb != NULL;
}

static double linear[256];

static void fill_linear(void)
{
    for (int i = 0; i < 256; i++) { /* IEC 61966-2-1 */
        double v = i / 255.0;
        linear[i] = v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
    }
}

double score_linear(unsigned char code)
{
    if (linear[255] < 1)
        fill_linear();
    return linear[code];
}

bool score_read_frame(const char *out, long frame, struct score_picture *p)
{
    char name[64];
    snprintf(name, sizeof name, "frames/frame-%05ld.jpg", frame);
    char *path = dw_join_path(out, name);
    bool fine = path && read_picture(path, p);
    free(path);
    return fine;
}

struct lab {
    double l, a, b;
};

/* CIELAB under D65 of a mean linear sRGB colour. */
static struct lab to_lab(const double c[3])
{
    double xyz[3] = {(0.41239 * c[0] + 0.35758 * c[1] + 0.18048 * c[2]) / 0.95047,
                     0.21264 * c[0] + 0.71517 * c[1] + 0.07219 * c[2],
                     (0.01933 * c[0] + 0.11919 * c[1] + 0.95053 * c[2]) / 1.08883};
    for (int i = 0; i < 3; i++)
        xyz[i] = xyz[i] > 216.0 / 24389 ? cbrt(xyz[i]) : (24389.0 / 27 * xyz[i] + 16) / 116;
    return (struct lab){116 * xyz[1] - 16, 500 * (xyz[0] - xyz[1]), 200 * (xyz[1] - xyz[2])};
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double middle(double *v, size_t n)
{
    qsort(v, n, sizeof *v, by_value);
    return n ? (v[n / 2] + v[(n - 1) / 2]) / 2 : (double)NAN;
}

/* Median lightness, and mean a*, b*, over a grid of 30 x 20 tile means. view: the median of those
 * alone that show nothing of the room about a window: a lamp that goes off takes a tile that holds
 * a twentieth of lit wall from L* 40 to 20. */
static struct lab grid_lab(const struct score_truth *t, const struct score_picture *p,
                           double *clipped, double *view, float *tiles)
{
    enum { COLS = SCORE_COLS, ROWS = SCORE_ROWS };
    double l[COLS * ROWS], of_view[COLS * ROWS], a = 0, b = 0;
    size_t full = 0, n_view = 0;
    for (int ty = 0; ty < ROWS; ty++)
        for (int tx = 0; tx < COLS; tx++) {
            double sum[3] = {0};
            int x0 = tx * p->width / COLS, x1 = (tx + 1) * p->width / COLS,
                y0 = ty * p->height / ROWS, y1 = (ty + 1) * p->height / ROWS;
            for (int y = y0; y < y1; y++)
                for (int x = x0; x < x1; x++) {
                    const unsigned char *q =
                        p->rgb + ((size_t)y * (size_t)p->width + (size_t)x) * 3;
                    for (int k = 0; k < 3; k++)
                        sum[k] += linear[q[k]];
                    full += q[0] == 255 && q[1] == 255 && q[2] == 255;
                }
            double area = fmax(1, (double)(x1 - x0) * (y1 - y0));
            for (int k = 0; k < 3; k++)
                sum[k] /= area;
            struct lab lab = to_lab(sum);
            l[ty * COLS + tx] = lab.l;
            tiles[ty * COLS + tx] = t->room_at_all[ty * COLS + tx] ? NAN : (float)lab.l;
            if (!t->room_at_all[ty * COLS + tx])
                of_view[n_view++] = lab.l;
            a += lab.a / (COLS * ROWS);
            b += lab.b / (COLS * ROWS);
        }
    *view = middle(of_view, n_view);
    *clipped = (double)full / ((double)p->width * p->height);
    return (struct lab){middle(l, COLS * ROWS), a, b};
}

bool score_patch_rgb(const struct score_truth *t, const struct score_patch *q,
                     const struct score_picture *p, double rgb[3])
{
    bool sideways = t->turn_deg == 90 || t->turn_deg == 270;
    double scale = (double)p->width / (sideways ? t->height : t->width);
    double x = q->x, y = q->y, w = q->w, h = q->h;
    if (t->turn_deg == 90) { /* clockwise: mosaic (x, y) goes to (height - y, x) */
        x = t->height - q->y - q->h;
        y = q->x;
        w = q->h;
        h = q->w;
    } else if (t->turn_deg == 270) {
        x = q->y;
        y = t->width - q->x - q->w;
        w = q->h;
        h = q->w;
    } else if (t->turn_deg == 180) {
        x = t->width - q->x - q->w;
        y = t->height - q->y - q->h;
    }
    int x0 = (int)ceil(x * scale) + 1, x1 = (int)((x + w) * scale) - 1,
        y0 = (int)ceil(y * scale) + 1, y1 = (int)((y + h) * scale) - 1;
    size_t n = 0;
    rgb[0] = rgb[1] = rgb[2] = 0;
    for (int i = y0; i < y1 && i < p->height; i++)
        for (int k = x0; k < x1 && k < p->width; k++) {
            const unsigned char *code = p->rgb + ((size_t)i * (size_t)p->width + (size_t)k) * 3;
            for (int c = 0; c < 3; c++)
                rgb[c] += score_linear(code[c]);
            n++;
        }
    for (int c = 0; c < 3; c++)
        rgb[c] /= (double)n;
    return n > 0;
}

/* Luminance of that. */
static double patch_light(const struct score_truth *t, const struct score_patch *q,
                          const struct score_picture *p)
{
    double rgb[3];
    if (!score_patch_rgb(t, q, p, rgb))
        return (double)NAN;
    return 0.21264 * rgb[0] + 0.71517 * rgb[1] + 0.07219 * rgb[2];
}

/* The middle tile's second difference in time: what all do at once. The median over tiles moves by
 * a star that passes into one of them where few lie near the middle. */
static double together(const float *tiles)
{
    enum { TILES = SCORE_COLS * SCORE_ROWS };
    double d[TILES];
    size_t n = 0;
    for (int k = 0; k < TILES; k++)
        if (isfinite(tiles[k - TILES] + tiles[k] + tiles[k + TILES]))
            d[n++] = (double)(tiles[k] - (tiles[k - TILES] + tiles[k + TILES]) / 2);
    return middle(d, n);
}

/* What the frames do one after the other; a, b: NULL where colour is not asked for. */
struct course {
    const double *l, *a, *b, *alt_deg;
    size_t n;
};

struct most {
    double value;
    size_t frame;
};

static void take(struct most *m, double value, size_t frame)
{
    if (value > m->value)
        *m = (struct most){value, frame};
}

static double second_difference(const double *x, size_t i)
{
    return x[i] - (x[i - 1] + x[i + 1]) / 2;
}

/* Steps and second differences of the frames whose sun stands between low and high, degrees. */
static void show_course(const char *what, const struct course *c, double low, double high)
{
    struct most step = {0, 0}, second = {0, 0}, chroma = {0, 0};
    for (size_t i = 1; i < c->n; i++) {
        if (c->alt_deg[i] < low || c->alt_deg[i] > high)
            continue; /* a bridged frame, whose sun is not known, counts */
        take(&step, fabs(c->l[i] - c->l[i - 1]), i + 1);
        if (i + 1 == c->n)
            continue;
        take(&second, fabs(second_difference(c->l, i)), i + 1);
        if (c->a && c->b)
            take(&chroma, hypot(second_difference(c->a, i), second_difference(c->b, i)), i + 1);
    }
    printf("  %s step of median L* %.2f (frame %zu), second difference %.3f (%zu)", what,
           step.value, step.frame, second.value, second.frame);
    if (c->a && c->b)
        printf(", of chroma's %.3f (%zu)", chroma.value, chroma.frame);
    printf("\n");
}

bool score_pictures(const struct score_truth *t, const char *out)
{
    fill_linear();
    size_t n = 0;
    for (size_t i = 0; i < t->n_shots; i++)
        if (t->shot[i].frame > (long)n)
            n = (size_t)t->shot[i].frame;
    if (n == 0)
        return true;
    double *alt = malloc(n * sizeof *alt), *l = malloc(n * sizeof *l), *a = malloc(n * sizeof *a),
           *b = malloc(n * sizeof *b), *r = malloc(n * sizeof *r), *clip = malloc(n * sizeof *clip),
           *view = malloc(n * sizeof *view);
    double *light = calloc(n * (t->n_patches + 1), sizeof *light);
    float *tiles = malloc(n * SCORE_COLS * SCORE_ROWS * sizeof *tiles);
    if (!alt || !l || !a || !b || !r || !clip || !view || !light || !tiles)
        return false;
    for (size_t i = 0; i < n; i++)
        alt[i] = l[i] = a[i] = b[i] = clip[i] = view[i] = (double)NAN;
    for (size_t i = 0; i < n * t->n_patches; i++)
        light[i] = (double)NAN;
    for (size_t i = 0; i < n * SCORE_COLS * SCORE_ROWS; i++)
        tiles[i] = NAN;
    for (size_t i = 0; i < t->n_shots; i++)
        if (t->shot[i].frame > 0)
            alt[t->shot[i].frame - 1] = t->shot[i].alt_deg;
    size_t seen = 0;
    for (size_t i = 0; i < n; i++) {
        struct score_picture p = {0};
        if (score_read_frame(out, (long)i + 1, &p)) {
            struct lab lab =
                grid_lab(t, &p, &clip[i], &view[i], tiles + i * SCORE_COLS * SCORE_ROWS);
            l[i] = lab.l;
            a[i] = lab.a;
            b[i] = lab.b;
            for (size_t k = 0; k < t->n_patches; k++)
                light[k * n + i] = log2(fmax(patch_light(t, &t->patch[k], &p), 1e-6));
            seen++;
        }
        free(p.rgb);
    }
    printf("finished frames %zu of %zu\n", seen, n);
    const struct course whole = {l, a, b, alt, n};
    show_course("largest", &whole, -90, 90);
    show_course("with the sun from -18 to +3 degrees, largest", &whole, -18, 3);
    double all = 0;
    size_t all_at = 0;
    for (size_t i = 1; i + 1 < n; i++) {
        double d = fabs(together(tiles + i * SCORE_COLS * SCORE_ROWS));
        if (d > all)
            all = d, all_at = i + 1;
    }
    printf("  largest second difference of the middle tile's L* %.3f (%zu)%s\n", all, all_at,
           t->has_room ? ", through the window" : "");
    if (t->has_room) {
        const struct course through = {view, NULL, NULL, alt, n};
        show_course("through the window alone: largest", &through, -90, 90);
        show_course("so with the sun from -18 to +3 degrees, largest", &through, -18, 3);
    }
    printf("  sun altitude, median L*, a*, b*, clipped %%:\n");
    static const double at[] = {60, 30, 10, 3, 0, -3, -6, -9, -12, -15, -18, -30, -50};
    for (size_t k = 0; k < sizeof at / sizeof *at; k++) {
        size_t best = n;
        for (size_t i = 0; i < n; i++)
            if (isfinite(alt[i]) && fabs(alt[i] - at[k]) < 1.5 &&
                (best == n || fabs(alt[i] - at[k]) < fabs(alt[best] - at[k])))
                best = i;
        if (best < n) {
            printf("    %6.1f  L* %5.1f  a* %5.1f  b* %5.1f  %.3f  (frame %zu)", alt[best], l[best],
                   a[best], b[best], 100 * clip[best], best + 1);
            if (t->has_room)
                printf("  through the window L* %.1f", view[best]);
            printf("\n");
        }
    }
    double sum[3] = {0};
    size_t count[3] = {0};
    for (size_t k = 0; k < t->n_patches; k++) {
        if (!t->patch[k].ground)
            continue;
        score_minus_cubic(light + k * n, n, r);
        for (size_t i = 0; i < n; i++)
            if (isfinite(r[i]) && isfinite(alt[i])) {
                sum[score_part(alt[i])] += r[i] * r[i];
                count[score_part(alt[i])]++;
            }
    }
    printf("  flicker of still ground in finished pictures, stops rms with their noise: day %.5f, "
           "twilight %.5f, night %.5f\n",
           sqrt(sum[0] / (double)count[0]), sqrt(sum[1] / (double)count[1]),
           sqrt(sum[2] / (double)count[2]));
    free(alt);
    free(l);
    free(a);
    free(b);
    free(r);
    free(clip);
    free(view);
    free(tiles);
    free(light);
    return seen == n;
}
