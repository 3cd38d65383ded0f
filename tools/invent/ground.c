/*
 * ground.c - see ground.h.
 *
 * Every pixel's direction meets either the far ridge (by azimuth and altitude) or the near slope
 * (by its place in metres), so texture grows towards the camera whatever the lens.
 */
#include "ground.h"

#include "light.h"
#include "pool.h"
#include "rng.h"
#include "target.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void dwi_material_rgb(int material, double rgb[3])
{
    static const double table[DWI_PATCH0][3] = {
        [DWI_GRASS] = {0.105, 0.125, 0.045},  [DWI_MEADOW] = {0.105, 0.125, 0.045},
        [DWI_ROCK] = {0.20, 0.185, 0.165},    [DWI_PATH] = {0.28, 0.245, 0.195},
        [DWI_FOREST] = {0.045, 0.062, 0.030}, [DWI_TREE] = {0.050, 0.066, 0.030},
        [DWI_FAR] = {0.090, 0.105, 0.085},    [DWI_WALL] = {0.42, 0.39, 0.34},
        [DWI_ROOF] = {0.16, 0.085, 0.065},    [DWI_PANE] = {0.05, 0.055, 0.06},
        [DWI_ROOM] = {0.30, 0.27, 0.23},
    };
    if (material >= DWI_PATCH0) {
        dwi_target_rgb(material - DWI_PATCH0, rgb);
        return;
    }
    memcpy(rgb, table[material], sizeof table[0]);
}

static uint32_t key32(const struct dwi_params *p, int what)
{
    return (uint32_t)dwi_key(p->seed, DWI_S_GROUND, (uint64_t)what);
}

static double fbm(double x, double y, int octaves, uint32_t key)
{
    return (double)dwi_fbm2((float)x, (float)y, octaves, key);
}

static double noise(double x, double y, uint32_t key)
{
    return (double)dwi_noise2((float)x, (float)y, key);
}

double dwi_skyline_deg(const struct dwi_params *p, double az)
{
    double x = az * 180 / M_PI;
    double big = fbm(x / 30, 0.5, 3, key32(p, 1)), fine = fbm(x / 3, 7.5, 4, key32(p, 2));
    return 1.2 + 7.0 * big * big + 1.1 * (fine - 0.5);
}

/* A lone tree: a ragged crown over a stem, the skyline of which is added to the ridge's. */
struct tree {
    double az, foot, top, width; /* degrees */
};

static int trees(const struct dwi_params *p, struct tree t[8])
{
    for (int i = 0; i < 8; i++) {
        uint64_t k = dwi_key(p->seed, DWI_S_GROUND, 100 + (uint64_t)i);
        t[i].az = -55 + 110 * (i + 0.2 + 0.6 * dwi_uniform(k)) / 8;
        t[i].foot = -7 + 4 * dwi_uniform(k + 1);
        t[i].top = 1.5 + 9 * dwi_uniform(k + 2) * dwi_uniform(k + 3);
        t[i].width = 0.28 * (t[i].top - t[i].foot);
    }
    return 8;
}

/* In a tree's crown or stem? Returns 0, or 1 with the brightness of the leaf there. */
static int in_tree(const struct tree *t, double az, double alt, uint32_t key, float *bright)
{
    double v = (alt - t->foot) / (t->top - t->foot), u = (az - t->az) / t->width;
    if (v < 0 || v > 1 || fabs(u) > 1.1)
        return 0;
    double n = fbm(az * 2.2, alt * 2.2, 4, key);
    double crown = v > 0.12 ? 0.95 * sqrt(fmax(0, 1 - pow((v - 0.5) / 0.5, 2))) : 0.06;
    if (fabs(u) > crown * (0.55 + 0.75 * n))
        return 0;
    *bright = (float)(0.5 + n);
    return 1;
}

struct pixel {
    float albedo;
    int material;
    double far, shadow, normal[3];
    int sky;
};

static void tilt(double n[3], double east, double north)
{
    double l = sqrt(1 + east * east + north * north);
    n[0] = east / l;
    n[1] = north / l;
    n[2] = 1 / l;
}

double dwi_house_az(const struct dwi_params *p)
{
    uint64_t k = dwi_key(p->seed, DWI_S_GROUND, 50);
    return (12 + 10 * dwi_uniform(k)) * (dwi_uniform(k + 1) < 0.5 ? -1 : 1);
}

/* The house: a box on the slope, gable roof, panes that can be lit. az, alt in degrees. */
static int house(const struct dwi_params *p, double az, double alt, struct pixel *q)
{
    double x = az - dwi_house_az(p);
    double y = alt + 9.5; /* foot */
    if (fabs(x) > 4.6 || y < 0 || y > 6.5)
        return 0;
    double eave = 3.6, roof = eave + 2.6 * (1 - fabs(x) / 4.6);
    if (y > roof)
        return 0;
    q->far = 0.25;
    tilt(q->normal, 0, p->lat_deg >= 0 ? -1.5 : 1.5);
    q->albedo = (float)(0.9 + 0.2 * noise(x * 9, y * 9, key32(p, 51)));
    q->material = y > eave ? DWI_ROOF : DWI_WALL;
    if (fabs(x) > 4.1 && y <= eave)
        return 0;
    if (y > eave) {
        q->albedo *= 0.85f + 0.3f * (float)(fmod(y * 3, 1) < 0.5);
        return 1;
    }
    for (int i = 0; i < 3; i++) {
        double px = x + 2.6 - 2.6 * i, py = y - 2.2;
        if (fabs(px) < 0.55 && fabs(py) < 0.7 && fabs(px) > 0.05 && fabs(py) > 0.05) {
            q->material = DWI_PANE;
            q->albedo = (float)(i + 1);
        }
    }
    return 1;
}

static void land(const struct dwi_params *p, const struct tree *tree, int n_trees, double az,
                 double alt, struct pixel *q)
{
    memset(q, 0, sizeof *q);

    for (int i = 0; i < n_trees; i++)
        if (in_tree(&tree[i], az, alt, key32(p, 200 + i), &q->albedo)) {
            q->material = DWI_TREE;
            q->far = 0.15;
            tilt(q->normal, 0.4 * ((double)q->albedo - 1), 0);
            return;
        }
    if (house(p, az, alt, q))
        return;
    if (alt > -2.0 + 0.8 * (noise(az / 9, 3, key32(p, 3)) - 0.5)) { /* far ridge */
        double up = (alt + 2) / 9;
        double n = fbm(az * 0.7, alt * 1.6, 6, key32(p, 4));
        double g = fbm(az * 0.25 + 9, alt * 0.5, 4, key32(p, 5));
        q->far = 0.55 + 0.45 * fmin(up, 1);
        q->material = g < 0.47 ? DWI_FOREST : up > 0.55 ? DWI_ROCK : DWI_FAR;
        q->albedo = (float)(0.55 + 0.9 * n);
        tilt(q->normal, 2.2 * (fbm(az * 0.35, alt * 0.35, 4, key32(p, 6)) - 0.5),
             p->lat_deg >= 0 ? -0.6 : 0.6);
        q->shadow = p->ridge_deg * (1 - 0.8 * fmin(fmax(up, 0), 1)) * (0.8 + 0.4 * n);
        return;
    }
    /* the near slope: place in metres, camera 3 m above it */
    double d = fmin(3 / tan(-alt * M_PI / 180 + 0.004), 400);
    double x = d * sin(az * M_PI / 180), y = d * cos(az * M_PI / 180);
    double n = fbm(x * 0.8, y * 0.5, 7, key32(p, 7)), g = fbm(x * 0.05, y * 0.05, 3, key32(p, 8));
    double path = fabs(x - 0.35 * y + 6 * (noise(y * 0.05, 1, key32(p, 9)) - 0.5));
    q->far = 0.5 * d / (d + 60);
    q->material = g > 0.62 ? DWI_ROCK : path < 0.9 ? DWI_PATH : DWI_GRASS;
    if (q->material == DWI_GRASS && noise(az / 11, alt / 9, key32(p, 10)) < p->meadow)
        q->material = DWI_MEADOW;
    q->albedo = (float)(0.5 + n);
    tilt(q->normal, 1.2 * (n - 0.5), p->lat_deg >= 0 ? -0.1 : 0.1);
    q->shadow = p->ridge_deg * (0.35 + 0.75 * d / (d + 40));
}

/* A room about the view: the wall with a window of two casements, a sill below. */
static int room(const struct dwi_params *p, int x, int y, struct pixel *q, int ground)
{
    double u = (double)x / p->width, v = (double)y / p->height;
    if (u > 0.16 && u < 0.84 && v > 0.10 && v < 0.86 && fabs(u - 0.5) > 0.018)
        return ground;
    memset(q, 0, sizeof *q);
    q->material = DWI_ROOM;
    q->normal[2] = 1;
    q->albedo = (float)(0.35 + 0.3 * noise(u * 90, v * 60, key32(p, 60)));
    if (u > 0.13 && u < 0.87 && v > 0.06 && v < 0.90)
        q->albedo = 0.8; /* its frame */
    return 4;
}

enum { LINE = 32768 };

struct job {
    struct dwi_world *w;
    const struct dwi_params *p;
    const struct dwi_lens_map *m;
    struct tree tree[8];
    int n_trees;
    float skyline[LINE + 1]; /* degrees, over azimuths from -pi to pi of the axis */
};

static uint8_t byte(double v)
{
    return (uint8_t)(v < 0 ? 0 : v > 255 ? 255 : v + 0.5);
}

static double line_at(const struct job *j, double az)
{
    double u = (az / (2 * M_PI) + 0.5) * LINE;
    int i = u < 0 ? 0 : u >= LINE ? LINE - 1 : (int)u;
    double f = u - i;
    return (double)j->skyline[i] * (1 - f) + (double)j->skyline[i + 1] * f;
}

/* Azimuth from the axis (radians) and altitude (degrees) of a place in the mosaic. */
static void look(const struct job *j, double x, double y, double *az, double *alt)
{
    double d[3];
    dwi_lens_direction(j->m, x, y, d);
    *az = atan2(d[0], d[1]) - j->m->axis_az;
    *az -= 2 * M_PI * floor(*az / (2 * M_PI) + 0.5);
    *alt = asin(d[2]) * 180 / M_PI;
}

static void row(void *arg, int y)
{
    struct job *j = arg;
    struct dwi_world *w = j->w;
    for (int x = 0; x < w->w; x++) {
        size_t at = (size_t)y * (size_t)w->w + (size_t)x;
        int ground = 0, samples = 4;
        struct pixel q = {0}, first = {0};
        double az, alt;
        look(j, x - DWI_MARGIN, y - DWI_MARGIN, &az, &alt);
        if (alt > 20) /* above the highest ridge and tree: all sky */
            samples = 0;
        else if (alt < line_at(j, az) - 1) /* all ground: one sample will do */
            samples = 1;
        /* 2 x 2 samples: the skyline is anti-aliased, the texture taken from a ground sample */
        for (int s = 0; s < samples; s++) {
            if (samples > 1)
                look(j, x - DWI_MARGIN + (s & 1) * 0.5 - 0.25,
                     y - DWI_MARGIN + (s >> 1) * 0.5 - 0.25, &az, &alt);
            double line = line_at(j, az);
            int tree = 0;
            float b;
            az *= 180 / M_PI;
            for (int i = 0; i < j->n_trees && alt > line && !tree; i++)
                tree = in_tree(&j->tree[i], az, alt, key32(j->p, 200 + i), &b);
            if (alt > line && !tree)
                continue;
            if (ground++ && q.material != DWI_TREE)
                continue;
            land(j->p, j->tree, j->n_trees, az, alt, &q);
            first = q;
        }
        if (samples == 1)
            ground *= 4;
        if (j->p->view == DWI_TARGET)
            ground = dwi_target_paint(j->p, x - DWI_MARGIN, y - DWI_MARGIN, &first.material,
                                      &first.albedo, ground);
        if (j->p->view == DWI_WINDOW)
            ground = room(j->p, x - DWI_MARGIN, y - DWI_MARGIN, &first, ground);
        w->cover[at] = byte(255 - 63.75 * ground);
        w->albedo[at] = first.albedo;
        w->material[at] = (uint8_t)first.material;
        w->far[at] = byte(255 * first.far);
        w->shadow[at] = byte(10 * first.shadow);
        if (first.material >= DWI_PATCH0)
            tilt(first.normal, 0, 0);
        for (int i = 0; i < 3; i++)
            w->normal[i][at] = (int8_t)lround(127 * first.normal[i]);
    }
}

int dwi_world_make(struct dwi_world *w, const struct dwi_params *p, const struct dwi_lens_map *m,
                   int jobs)
{
    memset(w, 0, sizeof *w);
    w->w = p->width + 2 * DWI_MARGIN;
    w->h = p->height + 2 * DWI_MARGIN;
    size_t n = (size_t)w->w * (size_t)w->h;
    w->lamps = 3;
    w->albedo = calloc(n, sizeof *w->albedo);
    w->material = calloc(n, 1);
    w->cover = calloc(n, 1);
    w->far = calloc(n, 1);
    w->shadow = calloc(n, 1);
    for (int i = 0; i < 3; i++)
        w->normal[i] = calloc(n, 1);
    if (!w->albedo || !w->material || !w->cover || !w->far || !w->shadow || !w->normal[0] ||
        !w->normal[1] || !w->normal[2]) {
        dwi_world_free(w);
        return -1;
    }
    struct job j = {.w = w, .p = p, .m = m};
    j.n_trees = trees(p, j.tree);
    for (int i = 0; i <= LINE; i++)
        j.skyline[i] = (float)dwi_skyline_deg(p, ((double)i / LINE - 0.5) * 2 * M_PI);
    dwi_pool(jobs, 0, w->h, row, &j);
    return 0;
}

void dwi_world_free(struct dwi_world *w)
{
    free(w->albedo);
    free(w->material);
    free(w->cover);
    free(w->far);
    free(w->shadow);
    for (int i = 0; i < 3; i++)
        free(w->normal[i]);
    memset(w, 0, sizeof *w);
}
