/* stars.c: stars in the darkest finished frame: how many of the brightest are seen, and whether
 * their colours keep the catalogue's order. Places by ERFA (ICRS to observed, with refraction), so
 * that nothing of the program itself judges it. */
#include "score.h"

#include "colour.h"
#include "weather.h"

#include "base/atomic_file.h"
#include "base/csv.h"

#include <erfa.h>
#include <erfam.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BRIGHTEST = 50, INNER = 4, OUTER = 9 };

#define OBSCURED 0.5 /* of a star's light: clouds that take more hide it */

struct camera {
    double lat, lon, height, focal, k1, k2, cx, cy, axis[3], right[3], down[3];
    char lens[24];
    struct dwi_params sky; /* what its clouds follow from */
};

struct star {
    double ra, dec, mag, bv, x, y; /* radians; pixels of the upright picture */
    double over, index;            /* sigmas above the surroundings; log2 of blue over red */
    double codes;                  /* 8-bit codes above the surroundings */
    double arrives;                /* that of its light as it comes through the air */
    double alt_deg;                /* refracted */
    double through;                /* share of its light that clouds let pass */
};

static bool read_camera(const char *shoot, struct camera *c)
{
    char *path = dw_join_path(shoot, "truth/camera.ini"), line[200];
    FILE *f = path ? fopen(path, "r") : NULL;
    free(path);
    if (!f)
        return false;
    *c = (struct camera){.lens = "rectilinear"};
    while (fgets(line, sizeof line, f)) {
        sscanf(line, "site=%lf,%lf", &c->lat, &c->lon);
        sscanf(line, "height=%lf", &c->height);
        sscanf(line, "focal_px=%lf", &c->focal);
        sscanf(line, "k1=%lf", &c->k1);
        sscanf(line, "k2=%lf", &c->k2);
        sscanf(line, "cx=%lf", &c->cx);
        sscanf(line, "cy=%lf", &c->cy);
        sscanf(line, "seed=%" SCNu64, &c->sky.seed);
        sscanf(line, "clouds=%lf", &c->sky.cloud_cover);
        sscanf(line, "wind=%lf", &c->sky.wind);
        sscanf(line, "lens=%23s", c->lens);
        sscanf(line, "axis_enu=%lf,%lf,%lf", &c->axis[0], &c->axis[1], &c->axis[2]);
        sscanf(line, "right_enu=%lf,%lf,%lf", &c->right[0], &c->right[1], &c->right[2]);
        sscanf(line, "down_enu=%lf,%lf,%lf", &c->down[0], &c->down[1], &c->down[2]);
    }
    fclose(f);
    return c->focal > 0;
}

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* log2 of blue over red of a star's light, as the invented camera's pixels take it in. Their
 * colours overlap, so that they tell stars' temperatures apart less than two narrow bands would,
 * while the air takes its 0.28 and 0.11 magnitudes per air mass (the inventor's README; common
 * practice, no source) from them whole. So a low star is reddened, and not even a perfect picture
 * keeps the catalogue's order. Temperature from B-V: Ballesteros 2012 (Europhysics Letters 97,
 * 34008); air mass by Kasten & Young 1989. */
static double arriving(double bv, double alt_deg)
{
    double air = 1 / (sin(alt_deg * ERFA_DD2R) + 0.50572 * pow(alt_deg + 6.07995, -1.6364));
    double rgb[3], cam[3];
    dwi_rgb_of_kelvin(dwi_kelvin_of_bv(bv), rgb);
    dwi_camera_rgb(rgb, cam);
    return log2(cam[2] / cam[0]) - 0.4 * (0.28 - 0.11) * air / log10(2);
}

/* Share of the light from a direction that the broken clouds of the invented sky let pass. */
static double through_clouds(const struct camera *c, double unix_s, const double enu[3])
{
    if (!(c->sky.cloud_cover > 0))
        return 1;
    struct dwi_weather w;
    double rgb[3] = {0};
    static struct dwi_stage stage;
    const struct dwi_shot shot = {.mid_utc = unix_s};
    const struct dwi_sky sky = {.p = &c->sky};
    stage.p = &c->sky;
    dwi_weather_at(&w, &stage, &shot, &sky);
    return dwi_weather_sky(&w, enu, rgb);
}

/* Mosaic place of a star at a time; false if below the horizon or behind the camera. */
static bool place(const struct camera *c, double unix_s, struct star *s)
{
    double day = floor(unix_s / 86400), az, zd, hob, dob, rob, eo;
    if (eraAtco13(s->ra, s->dec, 0, 0, 0, 0, 2440587.5 + day, unix_s / 86400 - day, 0,
                  c->lon * ERFA_DD2R, c->lat * ERFA_DD2R, c->height, 0, 0,
                  1013.25 * exp(-c->height / 8400), 10, 0.5, 0.55, &az, &zd, &hob, &dob, &rob,
                  &eo) < 0 ||
        zd > 88 * ERFA_DD2R)
        return false;
    s->alt_deg = 90 - zd * ERFA_DR2D;
    s->arrives = arriving(s->bv, s->alt_deg);
    double enu[3] = {sin(zd) * sin(az), sin(zd) * cos(az), cos(zd)};
    s->through = through_clouds(c, unix_s, enu);
    double t = acos(fmax(-1, fmin(1, dot(enu, c->axis)))), g = tan(t);
    if (strcmp(c->lens, "rectilinear") == 0 && t > 1.4)
        return false;
    if (strcmp(c->lens, "stereographic") == 0)
        g = 2 * tan(t / 2);
    else if (strcmp(c->lens, "equidistant") == 0)
        g = t;
    else if (strcmp(c->lens, "equisolid") == 0)
        g = 2 * sin(t / 2);
    double r = c->focal * g * (1 + c->k1 * t * t + c->k2 * t * t * t * t);
    double u = dot(enu, c->right), v = dot(enu, c->down), n = fmax(hypot(u, v), 1e-12);
    s->x = c->cx + r * u / n;
    s->y = c->cy + r * v / n;
    return true;
}

/* From the mosaic to a picture of it that is upright and perhaps smaller. */
static void to_picture(const struct score_truth *t, const struct score_picture *p, struct star *s)
{
    double x = s->x + 0.5, y = s->y + 0.5, w = t->width, h = t->height, u = x, v = y;
    if (t->turn_deg == 90)
        u = h - y, v = x;
    else if (t->turn_deg == 180)
        u = w - x, v = h - y;
    else if (t->turn_deg == 270)
        u = y, v = w - x;
    double scale = p->width / (t->turn_deg % 180 ? h : w);
    s->x = u * scale - 0.5;
    s->y = v * scale - 0.5;
}

static double light_at(const struct score_picture *p, int x, int y, int channel)
{
    return score_linear(p->rgb[((size_t)y * (size_t)p->width + (size_t)x) * 3 + (size_t)channel]);
}

static double luminance(const struct score_picture *p, int x, int y)
{
    return 0.21264 * light_at(p, x, y, 0) + 0.71517 * light_at(p, x, y, 1) +
           0.07219 * light_at(p, x, y, 2);
}

static int by_number(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double *v, size_t n)
{
    qsort(v, n, sizeof *v, by_number);
    return n ? v[n / 2] : (double)NAN;
}

/* The luminance that parts a twilight frame best into sky and ground: Otsu 1979, IEEE Trans.
 * Systems, Man, and Cybernetics 9(1) 62, on its logarithm. */
static double sky_from(const struct score_picture *p)
{
    enum { BINS = 128 };
    double count[BINS] = {0}, all = 0, sum = 0, n = 0, part = 0, best = -1, at = 0;
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++) {
            double l = log2(fmax(luminance(p, x, y), 1.0 / 4096)) + 12;
            count[(int)fmin(BINS - 1, l * BINS / 12)]++;
        }
    for (int i = 0; i < BINS; i++)
        all += count[i], sum += i * count[i];
    for (int i = 0; i + 1 < BINS; i++) {
        n += count[i];
        part += i * count[i];
        double between = n > 0 && n < all ? pow(sum * n / all - part, 2) / (n * (all - n)) : 0;
        if (between > best)
            best = between, at = i + 1;
    }
    return exp2(at * 12 / BINS - 12);
}

/* Nothing but sky within OUTER pixels. */
static bool clear_of_ground(const struct score_picture *dusk, double limit, const struct star *s)
{
    int x0 = (int)lround(s->x), y0 = (int)lround(s->y);
    for (int y = y0 - OUTER; y <= y0 + OUTER; y += 3)
        for (int x = x0 - OUTER; x <= x0 + OUTER; x += 3)
            if (x < 0 || y < 0 || x >= dusk->width || y >= dusk->height ||
                luminance(dusk, x, y) < limit)
                return false;
    return true;
}

static bool before_room(const struct score_truth *t, const struct score_picture *p,
                        const struct star *s)
{
    int x = (int)(s->x * SCORE_COLS / p->width), y = (int)(s->y * SCORE_ROWS / p->height);
    return t->has_room && x >= 0 && x < SCORE_COLS && y >= 0 && y < SCORE_ROWS &&
           t->room[y * SCORE_COLS + x];
}

/* How much more light the next 8-bit code means. */
static double code_step(double light)
{
    int code = 0;
    while (code < 254 && score_linear((unsigned char)(code + 1)) <= light)
        code++;
    return score_linear((unsigned char)(code + 1)) - score_linear((unsigned char)code);
}

/* How far the star's highest pixel stands above its surroundings, and its colour. */
static void look_at(const struct score_picture *p, struct star *s)
{
    double v[3][(2 * OUTER + 1) * (2 * OUTER + 1)], l[sizeof v[0] / sizeof v[0][0]], base[3];
    int x0 = (int)lround(s->x), y0 = (int)lround(s->y), px = x0, py = y0;
    size_t n = 0;
    for (int y = -2; y <= 2; y++)
        for (int x = -2; x <= 2; x++)
            if (luminance(p, x0 + x, y0 + y) > luminance(p, px, py))
                px = x0 + x, py = y0 + y;
    for (int y = -OUTER; y <= OUTER; y++)
        for (int x = -OUTER; x <= OUTER; x++) {
            int r2 = x * x + y * y;
            if (r2 < INNER * INNER || r2 > OUTER * OUTER)
                continue;
            for (int c = 0; c < 3; c++)
                v[c][n] = light_at(p, x0 + x, y0 + y, c);
            l[n++] = luminance(p, x0 + x, y0 + y);
        }
    for (int c = 0; c < 3; c++)
        base[c] = median(v[c], n);
    double middle = median(l, n);
    for (size_t i = 0; i < n; i++)
        l[i] = fabs(l[i] - middle);
    /* Noise below a code is rounded away, and then nothing less than a code can be seen. */
    double code = code_step(middle), sigma = fmax(1.4826 * median(l, n), code / 3);
    s->codes = (luminance(p, px, py) - middle) / code;
    s->over = (luminance(p, px, py) - middle) / sigma;
    double sum[3] = {0};
    for (int y = py - 2; y <= py + 2; y++)
        for (int x = px - 2; x <= px + 2; x++)
            for (int c = 0; c < 3 && x >= 0 && y >= 0 && x < p->width && y < p->height; c++)
                sum[c] += light_at(p, x, y, c) - base[c];
    s->index = log2(fmax(sum[2], 1e-6) / fmax(sum[0], 1e-6));
}

static int by_magnitude(const void *a, const void *b)
{
    const struct star *x = a, *y = b;
    return (x->mag > y->mag) - (x->mag < y->mag);
}

static double shown(const struct star *s)
{
    return s->index;
}

static double arrives(const struct star *s)
{
    return s->arrives;
}

static double catalogue(const struct star *s)
{
    return -s->bv;
}

/* Pixels about a star that are its own; one that stands out ripples as far as a block of JPEG goes.
 */
enum { NEAR = 3, RIPPLES = 8, STANDS_OUT = 20 };
enum { SEEN = 4 }; /* codes; flat sky of JPEG steps by one or two */

static bool highest_of_nine(const struct score_picture *p, int x, int y)
{
    double own = luminance(p, x, y);
    for (int v = y - 1; v <= y + 1; v++)
        for (int u = x - 1; u <= x + 1; u++)
            if (luminance(p, u, v) > own)
                return false;
    return true;
}

/* Points of the sky that stand out though no star is there. own: a byte for each pixel, 1 beside a
 * star. */
static void count_false(const struct score_truth *t, const struct score_picture *p,
                        const struct score_picture *dusk, double limit, const unsigned char *own,
                        bool list, size_t false_at[2], size_t *pixels)
{
    false_at[0] = false_at[1] = *pixels = 0;
    for (int y = OUTER; y < p->height - OUTER; y++)
        for (int x = OUTER; x < p->width - OUTER; x++) {
            struct star s = {.x = x, .y = y};
            if (own[(size_t)y * (size_t)p->width + (size_t)x] || luminance(dusk, x, y) < limit ||
                !clear_of_ground(dusk, limit, &s) || before_room(t, p, &s))
                continue;
            ++*pixels;
            if (!highest_of_nine(p, x, y))
                continue;
            look_at(p, &s);
            if (s.codes < SEEN)
                continue;
            if (list && s.over > 6)
                printf("no star %d %d sigma %.2f\n", x, y, s.over);
            false_at[0] += s.over > 4;
            false_at[1] += s.over > 6;
        }
}

static bool inside(const struct score_picture *p, const struct star *s)
{
    return s->x >= OUTER && s->y >= OUTER && s->x < p->width - OUTER - 1 &&
           s->y < p->height - OUTER - 1;
}

static void mark(const struct score_picture *p, struct star s, unsigned char *own)
{
    int x0 = (int)lround(s.x), y0 = (int)lround(s.y), far = NEAR;
    if (inside(p, &s)) {
        look_at(p, &s);
        far = s.over > STANDS_OUT ? RIPPLES : NEAR;
    }
    for (int y = y0 - far; y <= y0 + far; y++)
        for (int x = x0 - far; x <= x0 + far; x++)
            if (x >= 0 && y >= 0 && x < p->width && y < p->height)
                own[(size_t)y * (size_t)p->width + (size_t)x] = 1;
}

/* Spearman's rank correlation; ties are too few to matter. */
static double rank_correlation(const struct star *s, size_t n, double (*x)(const struct star *),
                               double (*y)(const struct star *))
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        double a = 0, b = 0;
        for (size_t k = 0; k < n; k++) {
            a += x(&s[k]) < x(&s[i]);
            b += y(&s[k]) < y(&s[i]);
        }
        sum += (a - b) * (a - b);
    }
    return n > 2 ? 1 - 6 * sum / ((double)n * ((double)n * (double)n - 1)) : (double)NAN;
}

static struct star *read_stars(const char *shoot, size_t *n)
{
    char *path = dw_join_path(shoot, "truth/stars.csv"), *data = NULL;
    size_t bytes = 0;
    struct dw_error err = {0};
    struct dw_csv c = {0};
    struct star *s = NULL;
    *n = 0;
    if (path && dw_read_whole(path, (size_t)1 << 30, &data, &bytes, &err) >= 0 &&
        dw_csv_parse(path, data, bytes, &c, &err) >= 0 && (s = calloc(c.rows + 1, sizeof *s))) {
        int ra = dw_csv_column(&c, "ra_deg"), dec = dw_csv_column(&c, "dec_deg"),
            mag = dw_csv_column(&c, "mag"), bv = dw_csv_column(&c, "b_v");
        for (size_t i = 0; i < c.rows; i++)
            s[(*n)++] = (struct star){.ra = strtod(dw_csv_field(&c, i, ra), NULL) * ERFA_DD2R,
                                      .dec = strtod(dw_csv_field(&c, i, dec), NULL) * ERFA_DD2R,
                                      .mag = strtod(dw_csv_field(&c, i, mag), NULL),
                                      .bv = strtod(dw_csv_field(&c, i, bv), NULL)};
    }
    dw_csv_free(&c);
    free(data);
    free(path);
    return s;
}

/* The frame of the shot whose sun stands nearest to this altitude; -1: the lowest of all. */
static const struct score_shot *shot_at(const struct score_truth *t, double alt, bool lowest)
{
    const struct score_shot *best = NULL;
    for (size_t i = 0; i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        if (s->frame > 0 && s->faults[0] == '\0' &&
            (!best || (lowest ? s->alt_deg < best->alt_deg
                              : fabs(s->alt_deg - alt) < fabs(best->alt_deg - alt))))
            best = s;
    }
    return best;
}

/* Places all stars in the picture. Those that are in it come first, by brightness; gives how many.
 */
static size_t place_all(const struct camera *c, const struct score_truth *t, double unix_s,
                        const struct score_picture *p, struct star *s, size_t n)
{
    size_t k = 0;
    qsort(s, n, sizeof *s, by_magnitude);
    for (size_t i = 0; i < n; i++)
        if (place(c, unix_s, &s[i])) {
            s[k] = s[i];
            to_picture(t, p, &s[k++]);
        }
    return k;
}

static void tell_false(const struct score_truth *t, const struct score_picture *p,
                       const struct score_picture *dusk, double limit, const struct star *s,
                       size_t n, bool list)
{
    size_t found[2], pixels;
    unsigned char *own = calloc((size_t)p->width * (size_t)p->height, 1);
    if (!own)
        return;
    for (size_t i = 0; i < n; i++)
        mark(p, s[i], own);
    count_false(t, p, dusk, limit, own, list, found, &pixels);
    printf("  points that are no stars: %zu stand 4 sigma above the sky, %zu stand 6, in %zu "
           "pixels of sky without stars\n",
           found[0], found[1], pixels);
    free(own);
}

void score_stars(const struct score_truth *t, const char *shoot, const char *out, bool list)
{
    struct camera camera;
    const struct score_shot *night = shot_at(t, 0, true), *dusk = shot_at(t, -6, false);
    struct score_picture p = {0}, d = {0};
    struct star bright[BRIGHTEST];
    size_t n = 0, k = 0, seen = 0, hidden = 0, hidden_seen = 0;
    struct star *s = read_stars(shoot, &n);
    if (s && night && night->alt_deg < -15 && dusk && fabs(dusk->alt_deg + 6) < 2 &&
        read_camera(shoot, &camera) && score_read_frame(out, night->frame, &p) &&
        score_read_frame(out, dusk->frame, &d) && p.width == d.width && p.height == d.height) {
        double limit = sky_from(&d);
        n = place_all(&camera, t, night->mid_unix, &p, s, n);
        for (size_t i = 0; i < n && k < BRIGHTEST; i++) {
            if (!clear_of_ground(&d, limit, &s[i]) || before_room(t, &p, &s[i]))
                continue;
            look_at(&p, &s[i]);
            if (list)
                printf("star %.2f %.2f alt %.1f mag %.2f B-V %.2f sigma %.2f index %.3f arrives "
                       "%.3f through %.2f\n",
                       s[i].x, s[i].y, s[i].alt_deg, s[i].mag, s[i].bv, s[i].over, s[i].index,
                       s[i].arrives, s[i].through);
            if (s[i].through < OBSCURED) {
                hidden++;
                hidden_seen += s[i].over > 3;
                continue;
            }
            if (s[i].over > 3)
                bright[seen++] = s[i];
            k++;
        }
        printf(
            "  stars in frame %ld: of the %zu brightest above the ground %zu stand 3 sigma above "
            "the sky; rank correlation of their colour with B-V %.2f (of their light as this "
            "camera takes "
            "it in: %.2f), with that light %.2f\n",
            night->frame, k, seen, rank_correlation(bright, seen, shown, catalogue),
            rank_correlation(bright, seen, arrives, catalogue),
            rank_correlation(bright, seen, shown, arrives));
        if (hidden > 0)
            printf("  stars behind cloud that takes more than half of their light, as bright and "
                   "not counted above: %zu, of which %zu stand 3 sigma above the sky\n",
                   hidden, hidden_seen);
        tell_false(t, &p, &d, limit, s, n, list);
        if (list)
            printf("frames %ld %ld %s\n", night->frame, dusk->frame, night->name);
    }
    free(p.rgb);
    free(d.rgb);
    free(s);
}
