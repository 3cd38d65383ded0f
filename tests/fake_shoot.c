/* fake_shoot.c: see fake_shoot.h. */
#include "fake_shoot.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BLACK 512.0
#define WHITE 16000.0
#define DN_PER_E 0.3 /* at ISO 100 */
#define READ_DN 1.5
#define PI 3.14159265358979323846

/* SplitMix64 (Steele, Lea & Flood 2014): a stream of its own per shot, so that what one shot
 * draws does not depend on the others. */
static uint64_t next(uint64_t *s)
{
    uint64_t z = (*s += 0x9e3779b97f4a7c15u);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}
static double uniform(uint64_t *s)
{
    return ((double)(next(s) >> 11) + 0.5) / 9007199254740992.0;
}
static double normal(uint64_t *s)
{
    double u = uniform(s), v = uniform(s);
    return sqrt(-2 * log(u)) * cos(2 * PI * v);
}
static uint64_t stream(unsigned seed, unsigned kind, unsigned i)
{
    uint64_t s = seed * 1000003u + kind;
    s = s * 0x100000001b3u + i;
    next(&s);
    return next(&s);
}

struct fake_params fake_defaults(unsigned seed)
{
    struct fake_params p = {.seed = seed,
                            .frames = 781,
                            .interval_s = 120,
                            .start_utc = 1743076800, /* 2025-03-27 12:00 UTC, near new moon */
                            .site = {47.6, 11.2, 700},
                            .cols = 30,
                            .rows = 20,
                            .pixels = 450,
                            .contacts = true,
                            .setting_error = 0.02,
                            .jitter = 0.008,
                            .aperture_jitter = 0.03,
                            .night_lux = 0.006,
                            .headlight_stops = 2,
                            .veil = 0.1};
    return p;
}

/* What stands still about a tile. */
struct place {
    bool sky;
    double stops; /* albedo, or the sky's gradient */
    double x, y;  /* where its shadow falls, in cloud sizes */
    double side;  /* -1..1 across the frame: which twilight glow it sees */
    bool leaves;
    double lamp, headlight;
    double red, blue; /* colour, stops against green */
};

static void lay_out(const struct fake_params *p, struct place *place)
{
    uint64_t s = stream(p->seed, 1, 0);
    for (int r = 0; r < p->rows; r++)
        for (int c = 0; c < p->cols; c++) {
            struct place *t = &place[r * p->cols + c];
            double down = (r + 0.5) / p->rows;
            t->side = 2 * (c + 0.5) / p->cols - 1;
            t->sky = down < 0.58 + 0.04 * sin(5 * t->side);
            t->stops = t->sky ? -0.5 * down : -1.6 + 0.8 * normal(&s);
            /* near ground is wide apart on the picture, far ground close together */
            double distance = t->sky ? 8 : 1 / (down - 0.5);
            t->x = t->side * distance * 0.5;
            t->y = distance;
            t->leaves = !t->sky && uniform(&s) < 0.7;
            t->lamp = !t->sky && uniform(&s) < 0.04 ? 0.02 * uniform(&s) : 0;
            t->headlight = t->sky ? p->veil : exp(-6 * (t->side - 0.3) * (t->side - 0.3));
            t->red = t->sky ? -0.4 : 0.2 * normal(&s);
            t->blue = t->sky ? 0.5 : -0.5 + 0.2 * normal(&s);
        }
}

/* Broken cloud: thresholded sum of waves; 0 clear, 1 covered, soft edges. */
static double cover(const struct fake_params *p, double x, double y)
{
    double sum = 0;
    for (unsigned k = 0; k < 24; k++) {
        uint64_t s = stream(p->seed, 7, k);
        double angle = 2 * PI * uniform(&s), phase = 2 * PI * uniform(&s);
        double f = 0.4 * pow(2, 3 * uniform(&s));
        sum += cos(f * (x * cos(angle) + y * sin(angle)) + phase) / sqrt(f);
    }
    double v = (sum / 2.2 - (0.5 - p->cloud) * 3) / 0.8;
    return v <= 0 ? 0 : v >= 1 ? 1 : v * v * (3 - 2 * v);
}

/* Illuminance smoothed over altitude: the published polynomials do not quite meet where their
 * ranges end, and a step of a formula is not one of light. Values at every 1.5 degrees are taken
 * as coefficients of a cubic B-spline. */
static double smooth_lux(double h)
{
    double u = (h + 90) / 1.5, part = u - floor(u), v = 1 - part, sum = 0;
    double b[4] = {v * v * v / 6, (3 * part * part * part - 6 * part * part + 4) / 6,
                   (3 * v * v * v - 6 * v * v + 4) / 6, part * part * part / 6};
    for (int k = 0; k < 4; k++) {
        double at = 1.5 * (floor(u) + k - 1) - 90;
        /* below astronomical twilight the last of it fades away */
        sum += b[k] * (log2(dw_sun_illuminance_lx(fmax(at, -18))) - fmax(0, -18 - at));
    }
    return exp2(sum);
}

static double step01(double x)
{
    return x <= 0 ? 0 : x >= 1 ? 1 : x * x * x * (x * (6 * x - 15) + 10);
}

/* 0..1 how far the bank of cloud has come in. */
static double bank_at(const struct fake_params *p, double utc)
{
    double shots = (utc - p->bank_utc) / p->interval_s;
    return p->bank_utc > 0 ? step01(shots / 12) - step01((shots - 24) / 12) : 0;
}

static double moon_lux_at(const struct fake_params *p, double utc)
{
    struct dw_horizontal moon;
    double lit;
    if (p->moonlight == 0)
        return 0;
    dw_moon(&p->site, utc, &moon, &lit);
    return p->moonlight * dw_moon_beside_sun(lit) * smooth_lux(moon.alt_deg);
}

/* True light of a tile, linear, in arbitrary units of lux over pi. */
static double tile_light(const struct fake_params *p, const struct place *t, double utc,
                         const struct dw_horizontal *sun_at, double moon_lux, unsigned i,
                         unsigned k)
{
    if (p->flat)
        return 1000 * exp2(t->stops + p->extra_stops);
    double h = sun_at->alt_deg, lux = smooth_lux(h);
    double hours = (utc - p->start_utc) / 3600;
    double direct = 0.75 * step01((h + 0.5) / 8);
    if (p->ridge_utc > 0 && !t->sky)
        direct *= step01((utc - p->ridge_utc - 600 * t->side) / 300);
    double sun = 1;
    if (p->cloud > 0) {
        double wind = 9 * hours; /* cloud sizes an hour */
        sun = 1 - 0.93 * cover(p, t->x + wind, t->y);
        if (t->sky) /* clouds themselves pass: brighter than blue sky by day */
            lux *= exp2(0.6 * step01((h + 4) / 6) * cover(p, 3 * t->side + wind, 6 * t->y + 40));
    }
    double value = t->sky ? lux : lux * (1 - direct + direct * sun);
    /* the glow wanders from one side to the other of a camera that looks along the meridian */
    double glow = step01((4 - h) / 10) * step01((h + 18) / 8);
    value *= exp2(0.9 * glow * t->side * sin(sun_at->az_deg * PI / 180) * (t->sky ? 1 : 0.3));
    value += p->night_lux * (t->sky ? 1 : 0.6);
    if (p->moonrise_utc > 0) {
        double up = step01((utc - p->moonrise_utc) / 7200);
        value += up * 0.05 * exp(-2 * pow(t->side - 1 + 0.2 * (utc - p->moonrise_utc) / 3600, 2));
    }
    value += moon_lux;
    if (p->fog_end_utc > utc) {
        double shots = (p->fog_end_utc - utc) / p->interval_s;
        double thick = fmin(2.5, 0.03 * shots * shots) * (1 + 0.2 * t->side);
        double clear = exp(-thick * (t->sky ? 1 : fmin(1, 0.3 * t->y)));
        value = value * clear + 0.6 * lux * (1 - clear);
    }
    double bank = 0.95 * bank_at(p, utc);
    if (t->sky) /* it is brighter than the blue sky behind it */
        value += bank * ((1.9 + 0.3 * t->side) * lux - value);
    else
        value *= 1 - bank * (0.6 + 0.2 * t->side);
    if (p->lamps_utc > 0 && utc > p->lamps_utc)
        value += t->lamp;
    value *= exp2(t->stops + p->extra_stops);
    if (t->leaves && p->foliage > 0) {
        uint64_t s = stream(p->seed, 100 + k, i);
        value *= exp2(p->foliage * normal(&s));
    }
    return value;
}

/* Error of a setting: the same whenever it is used. */
static double setting_error(const struct fake_params *p, unsigned kind, int step)
{
    uint64_t s = stream(p->seed, kind, (unsigned)(step + 100));
    return p->setting_error * normal(&s);
}

/* Share of the corner's loss in the middle of a tile of a frame of 3:2. */
static double shading_at(const struct fake_params *p, int k)
{
    double x = 3 * ((k % p->cols + 0.5) / p->cols * 2 - 1),
           y = 2 * ((k / p->cols + 0.5) / p->rows * 2 - 1), r2 = (x * x + y * y) / 13;
    return 0.7 * r2 + 0.3 * r2 * r2;
}

static char *name_of(int i)
{
    char text[32];
    snprintf(text, sizeof text, "INV_%04d.DNG", i + 1);
    return strdup(text);
}

static void set_record(const struct fake_params *p, struct dw_shot *s, int i, int shutter, int iso,
                       int closed)
{
    bool none = p->no_records || (p->no_record_every && i % p->no_record_every == 7);
    bool wrong = p->wrong_iso_last > 0 && i >= p->wrong_iso_first && i <= p->wrong_iso_last;
    s->has_shutter = s->has_iso = !none;
    s->shutter_s = s->shutter_marked_s = none ? 0 : exp2(shutter / 3.0);
    s->iso = s->iso_marked = none ? 0 : 100 * exp2((iso + wrong) / 3.0);
    s->has_aperture = p->contacts;
    s->f_number = s->f_marked = p->contacts ? 4 * exp2(closed / 6.0) : 1;
    s->ev100 = none ? (double)NAN : 2 * log2(s->f_number) - shutter / 3.0 - (iso + wrong) / 3.0;
}

struct fake_shoot fake_make(const struct fake_params *params)
{
    struct fake_params local = *params, *p = &local;
    struct fake_shoot f = {.params = *p};
    size_t n = (size_t)p->frames, tiles = (size_t)(p->cols * p->rows);
    struct place *place = calloc(tiles, sizeof *place);
    f.shots.shot = calloc(n, sizeof *f.shots.shot);
    f.survey.measure = calloc(n, sizeof *f.survey.measure);
    f.survey.cols = p->cols;
    f.survey.rows = p->rows;
    strcpy(f.survey.id, "0123456789abcdef0123456789abcdef");
    f.error = calloc(n, sizeof *f.error);
    f.black = calloc(n, sizeof *f.black);
    f.alt = calloc(n, sizeof *f.alt);
    f.light = calloc(n * tiles, sizeof *f.light);
    f.spoiled = calloc(n, sizeof *f.spoiled);
    f.colour = calloc(n, sizeof *f.colour);
    f.corner = calloc(n, sizeof *f.corner);
    lay_out(p, place);
    int setting = -1000; /* total exposure in thirds above 1 s at ISO 100 */
    double utc = p->start_utc, drift_phase = 6 * uniform(&(uint64_t){stream(p->seed, 3, 0)});
    size_t out = 0;
    for (int i = 0; i < p->frames; i++) {
        uint64_t s = stream(p->seed, 2, (unsigned)i);
        struct dw_horizontal sun = {0, 0};
        dw_sun(&p->site, utc, &sun);
        double sum = 0, truth = 0, moon_lux = moon_lux_at(p, utc);
        float *light = f.light + out * tiles;
        for (size_t k = 0; k < tiles; k++) {
            light[k] = (float)log2(
                tile_light(p, &place[k], utc, &sun, moon_lux, (unsigned)i, (unsigned)k));
            sum += (double)light[k];
        }
        /* the camera wants the mean 3 stops below white; full sun on level ground is 2^16.6 lux,
         * for which it takes 1/2580 s */
        double want = -3 * (sum / (double)tiles - 16.6) - 34 + 0.3 * normal(&s);
        if (fabs(want - setting) > 1.2)
            setting = (int)lround(want);
        setting = setting < -36 ? -36 : setting > 24 ? 24 : setting;
        /* thirds of a stop that the lens is closed by: one for every two thirds more light */
        int most = (int)lround(3 * p->stop_down), closed = setting < -12 ? (-12 - setting) / 2 : 0;
        closed = closed > most ? most : closed;
        int shutter = (setting > 15 ? 15 : setting) + closed, iso = setting > 15 ? setting - 15 : 0;
        double lost = p->shading * (0.4 + 0.6 * exp2(-closed / 3.0));
        double glow = p->glow * exp(-0.5 * pow(sun.alt_deg / 4, 2));
        bool car = sun.alt_deg < -9 && uniform(&s) < p->headlights;
        double strength = p->headlight_stops * (0.3 + uniform(&s));
        truth = setting_error(p, 4, shutter) + setting_error(p, 5, iso) + p->jitter * normal(&s) +
                (p->contacts ? p->aperture_jitter : 0) * normal(&s);
        double black = p->black_drift * (0.5 + 0.5 * sin(i * 0.045 + drift_phase));

        if (p->black_jitter > 0) {
            uint64_t own = stream(p->seed, 6, (unsigned)i);
            black += p->black_jitter * uniform(&own);
        }
        f.black[out] = black;
        bool dropped = i >= p->drop_first && i <= p->drop_last && p->drop_last > 0;
        struct dw_shot *shot = &f.shots.shot[out];
        struct dw_measure *m = &f.survey.measure[out];
        m->tile = calloc(tiles, sizeof *m->tile);
        m->usable = true;
        m->width = 900;
        m->height = 600;
        m->white = (float)WHITE;
        for (int c = 0; c < 3; c++)
            m->black[c] = (float)BLACK;
        double gain = DN_PER_E * exp2(iso / 3.0);
        black += p->dark_dn * exp2((shutter + iso) / 3.0) / 256;
        for (int c = 0; c < 2; c++)
            f.colour[out][c] = p->channel_error * setting_error(p, c == 0 ? 8 : 9, shutter) /
                               fmax(p->setting_error, 1e-9);
        f.corner[out] = lost;
        for (size_t k = 0; k < tiles; k++) {
            double lit = (double)light[k] + (car ? strength * place[k].headlight : 0);
            light[k] = (float)lit;
            for (int c = 0; c < 3; c++) {
                double tint = c == 0 ? place[k].red : c == 2 ? place[k].blue : 0;
                if (c != 1)
                    tint += f.colour[out][c / 2] + (c == 0 ? glow : -glow) * (1 + place[k].side);
                tint -= lost * shading_at(p, (int)k);
                if (car)
                    tint += (1 - c) * p->headlight_colour * strength * place[k].headlight;
                double level =
                    exp2(lit + tint + truth - 16.6 + (setting + 34) / 3.0 - 3) * (WHITE - BLACK);
                double pixels = c == 1 ? p->pixels : p->pixels / 2;
                double var = (gain * level + READ_DN * READ_DN * gain / DN_PER_E) / pixels;
                double mean = BLACK + black + level + sqrt(var) * normal(&s);
                if (mean > 0.97 * WHITE)
                    m->tile[k].clipped = (float)fmin(1, (mean / WHITE - 0.97) * 20);
                m->tile[k].mean[c] = (float)fmin(mean, WHITE);
                m->tile[k].var[c] = (float)var;
            }
        }
        shot->path = name_of(i);
        shot->name = name_of(i);
        shot->readable = true;
        strcpy(shot->make, "Invented");
        strcpy(shot->model, "Fake One");
        shot->width = 900;
        shot->height = 600;
        shot->has_cam_xyz = true;
        const float cam[9] = {0.80f, -0.20f, -0.10f, -0.40f, 1.20f, 0.20f, -0.10f, 0.20f, 0.60f};
        memcpy(shot->cam_xyz, cam, sizeof cam);
        shot->has_offset = true;
        shot->file_number = i + 1;
        set_record(p, shot, i, shutter, iso, closed);
        shot->has_clock = true;
        shot->clock_s = utc - (shot->has_shutter ? shot->shutter_s / 2 : 0);
        bool wrong = i >= p->wrong_iso_first && i <= p->wrong_iso_last && p->wrong_iso_last > 0;
        f.error[out] = truth - (wrong ? 1 / 3.0 : 0);
        f.alt[out] = sun.alt_deg;
        f.spoiled[out] = car;
        if (dropped) {
            free(m->tile);
            free(shot->path);
            free(shot->name);
            memset(m, 0, sizeof *m);
            memset(shot, 0, sizeof *shot);
        } else
            out++;
        bool late = p->interval_change > 0 && i >= p->frames / 2;
        utc += p->interval_s * (late ? p->interval_change : 1);
    }
    f.shots.n = f.survey.n = out;
    free(place);
    return f;
}

void fake_free(struct fake_shoot *f)
{
    for (size_t i = 0; i < f->shots.n; i++) {
        free(f->shots.shot[i].path);
        free(f->shots.shot[i].name);
        free(f->survey.measure[i].tile);
    }
    free(f->shots.shot);
    free(f->survey.measure);
    free(f->error);
    free(f->black);
    free(f->alt);
    free(f->light);
    free(f->spoiled);
    free(f->colour);
    free(f->corner);
}

struct fake_shoot fake_reversed(const struct fake_shoot *f)
{
    struct fake_shoot r = *f;
    size_t n = f->shots.n, tiles = (size_t)(f->params.cols * f->params.rows);
    r.shots.shot = calloc(n, sizeof *r.shots.shot);
    r.survey.measure = calloc(n, sizeof *r.survey.measure);
    r.error = calloc(n, sizeof *r.error);
    r.black = calloc(n, sizeof *r.black);
    r.alt = calloc(n, sizeof *r.alt);
    r.light = calloc(n * tiles, sizeof *r.light);
    r.spoiled = calloc(n, sizeof *r.spoiled);
    r.colour = calloc(n, sizeof *r.colour);
    r.corner = calloc(n, sizeof *r.corner);
    for (size_t i = 0; i < n; i++) {
        size_t j = n - 1 - i;
        r.shots.shot[i] = f->shots.shot[j];
        r.shots.shot[i].path = strdup(f->shots.shot[j].path);
        r.shots.shot[i].name = strdup(f->shots.shot[j].name);
        /* mirrored in time about the middle of the shoot, mid-exposure kept in the middle */
        double mid = f->shots.shot[j].clock_s + f->shots.shot[j].shutter_s / 2;
        double sum = f->shots.shot[0].clock_s + f->shots.shot[0].shutter_s / 2 +
                     f->shots.shot[n - 1].clock_s + f->shots.shot[n - 1].shutter_s / 2;
        r.shots.shot[i].clock_s = sum - mid - f->shots.shot[j].shutter_s / 2;
        r.survey.measure[i] = f->survey.measure[j];
        r.survey.measure[i].tile = calloc(tiles, sizeof(struct dw_tile));
        memcpy(r.survey.measure[i].tile, f->survey.measure[j].tile, tiles * sizeof(struct dw_tile));
        memcpy(r.light + i * tiles, f->light + j * tiles, tiles * sizeof(float));
        r.error[i] = f->error[j];
        r.black[i] = f->black[j];
        r.alt[i] = f->alt[j];
        r.spoiled[i] = f->spoiled[j];
        memcpy(r.colour[i], f->colour[j], sizeof r.colour[i]);
        r.corner[i] = f->corner[j];
    }
    return r;
}

struct dw_decision fake_decide(const struct fake_shoot *f)
{
    struct dw_decide_params params = DW_DECIDE_DEFAULTS;
    params.has_site = true;
    params.site = f->params.site;
    struct dw_decision d;
    struct dw_error err = {0};
    if (dw_decide(&f->shots, &f->survey, &params, NULL, &d, &err) != DW_OK) {
        fprintf(stderr, "# an invented shoot could not be decided: %s\n", err.text);
        exit(1);
    }
    return d;
}

double fake_rest_of_seven(const double *v)
{
    return v[3] - (-2 * (v[0] + v[6]) + 3 * (v[1] + v[5]) + 6 * (v[2] + v[4]) + 7 * v[3]) / 21;
}

double fake_fast_rms(const double *v, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i + 6 < n; i++)
        sum += fake_rest_of_seven(v + i) * fake_rest_of_seven(v + i);
    return sqrt(sum / (double)(n - 6));
}

static bool seven_in_a_row(const struct fake_shoot *f, size_t i, size_t reach)
{
    const struct dw_shot *s = f->shots.shot;
    if (i < reach || i + reach >= f->shots.n)
        return false;
    for (size_t j = i - reach; j <= i + reach; j++)
        if (f->spoiled[j])
            return false;
    return labs(s[i + reach].file_number - s[i - reach].file_number) == (long)(2 * reach);
}

struct sums {
    double xx, yy, xy, dd, hf;
    size_t n;
};

static struct sums collect(const struct fake_shoot *f, const double *estimate, double low,
                           double high)
{
    struct sums t = {0, 0, 0, 0, 0, 0};
    for (size_t i = 0; i < f->shots.n; i++) {
        if (f->alt[i] < low || f->alt[i] > high || !seven_in_a_row(f, i, 3))
            continue;
        double a[7], b[7], d[7];
        for (size_t j = 0; j < 7; j++) {
            a[j] = estimate[i - 3 + j];
            b[j] = f->error[i - 3 + j];
            d[j] = a[j] - b[j];
        }
        double x = fake_rest_of_seven(a), y = fake_rest_of_seven(b), e = fake_rest_of_seven(d);
        double second = d[3] - (d[2] + d[4]) / 2;
        t.xx += x * x;
        t.yy += y * y;
        t.xy += x * y;
        t.dd += e * e;
        t.hf += second * second;
        t.n++;
    }
    return t;
}

double fake_steadying_error(const struct fake_shoot *f, const double *estimate, double low,
                            double high)
{
    struct sums t = collect(f, estimate, low, high);
    return sqrt(t.dd / (double)t.n);
}

double fake_correlation(const struct fake_shoot *f, const double *estimate, double low, double high)
{
    struct sums t = collect(f, estimate, low, high);
    return t.xy / sqrt(t.xx * t.yy);
}

double fake_hf(const struct fake_shoot *f, const double *estimate, double low, double high)
{
    struct sums t = collect(f, estimate, low, high);
    return sqrt(t.hf / (double)t.n);
}
