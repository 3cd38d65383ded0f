/* map.c: the shoot's own map of stars. Spots of many shots, laid down where the sky is and not
 * where the frame is: what comes back there again and again is a star, though it may be too faint
 * to be told from noise in any one shot. Where no star ever is, is no sky. */
#include "decide/aim/aim.h"

#include <math.h>
#include <stdlib.h>

static const struct map_params {
    size_t shots, spots;  /* looked at: so many, spread over the night; of each the strongest */
    double cell_px;       /* stars are found again within about that */
    double lowest_deg;    /* below are lamps on the ground */
    int least_seen;       /* in so many shots, */
    double least_share;   /* and in that share of those that could show it */
    double over_chance;   /* and by so many sigmas more often than chance has it */
    double colour_deg;    /* from there on the air's reddening is known well enough */
    double colour_spread; /* of log blue over red among stars, */
    double colour_most;   /* and the most that a star has: no hotter, no cooler ones are seen */
    uint32_t least_open;  /* so many stars seen in a tile make it sky, */
    double most_of;       /* or so many of the nine about it */
    double most_air;      /* air masses beyond one whose dimming is undone */
    double prominent;     /* so many stars of a frame are */
} params = {160, 1500, 1.5, 2, 6, 0.08, 5, 8, 0.35, 1.1, 3, 0.6, 6, 60};

#define SEAM 0.02 /* radians: wider than any cell */

/* A spot in the sky. */
struct mark {
    uint32_t row, col; /* of cells of equal size */
    float ra, dec;     /* radians; right ascension up to a little beyond the full turn */
    float x, y;        /* mosaic pixels */
    float light[3];    /* as it would be in the zenith; 0: not known */
    float green;       /* the same of green, also where it stands low; beside other shots' */
};

static int by_cell(const void *a, const void *b)
{
    const struct mark *p = a, *q = b;
    if (p->row != q->row)
        return p->row < q->row ? -1 : 1;
    if (p->col != q->col)
        return p->col < q->col ? -1 : 1;
    if (p->ra < q->ra || p->ra > q->ra)
        return p->ra < q->ra ? -1 : 1;
    return (p->dec > q->dec) - (p->dec < q->dec);
}

/* The first mark of a cell or behind it. */
static size_t lower(const struct mark *m, size_t n, uint32_t row, uint32_t col)
{
    size_t lo = 0, hi = n;
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        if (m[mid].row < row || (m[mid].row == row && m[mid].col < col))
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

struct found {
    int seen;
    double ra, dec;
};

/* Marks within reach of a place, and their mean. */
static struct found around(const struct mark *m, size_t n, double ra, double dec, double cell)
{
    struct found f = {0};
    double cosine = fmax(cos(dec), 1e-6), sum_ra = 0, sum_dec = 0;
    uint32_t row = (uint32_t)((dec + M_PI / 2) / cell);
    for (uint32_t r = row > 0 ? row - 1 : 0; r <= row + 1; r++) {
        double across = cell / fmax(cos((r + 0.5) * cell - M_PI / 2), 1e-6);
        uint32_t from = (uint32_t)(fmax(ra - 1.01 * cell / cosine, 0) / across);
        double to = (ra + 1.01 * cell / cosine) / across;
        for (size_t k = lower(m, n, r, from); k < n && m[k].row == r && m[k].col <= to; k++) {
            double dx = ((double)m[k].ra - ra) * cosine, dy = (double)m[k].dec - dec;
            if (dx * dx + dy * dy > cell * cell)
                continue;
            f.seen++;
            sum_ra += (double)m[k].ra;
            sum_dec += (double)m[k].dec;
        }
    }
    if (f.seen > 0) {
        f.ra = sum_ra / f.seen;
        f.dec = sum_dec / f.seen;
    }
    return f;
}

static void put(struct mark *m, double ra, double dec, double cell)
{
    m->row = (uint32_t)((dec + M_PI / 2) / cell);
    m->col = (uint32_t)(ra * fmax(cos((m->row + 0.5) * cell - M_PI / 2), 1e-6) / cell);
    m->ra = (float)ra;
    m->dec = (float)dec;
}

static double dot(const double a[3], const double b[3])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

/* Lays all spots of n shots down in the sky. sidereal: of each shot, radians; taken: magnitudes an
 * air mass takes of each colour. */
static size_t mark_all(const struct dw_aim *aim, const double taken[3],
                       const struct dw_aim_shot *shot, size_t n, const double *sidereal,
                       double cell, struct mark *mark)
{
    size_t used = 0;
    double west[3];
    dw_aim_towards(aim, 90, 0, west);
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < shot[k].n; i++) {
            const struct dw_aim_spot *s = &shot[k].spot[i];
            double ray[3];
            if (!dw_aim_ray(aim, s->x, s->y, ray))
                continue;
            double alt = dw_aim_altitude(aim, ray);
            if (alt < params.lowest_deg)
                continue;
            double dec = asin(fmax(-1, fmin(1, dot(aim->pole, ray))));
            double ra =
                fmod(sidereal[k] - atan2(dot(west, ray), dot(aim->meridian, ray)), 2 * M_PI);
            ra += ra < 0 ? 2 * M_PI : 0;
            mark[used] = (struct mark){.x = (float)s->x, .y = (float)s->y};
            double air = dw_air_mass(alt) - 1;
            mark[used].green =
                s->light[1] *
                (float)(shot[k].dn * pow(10, 0.4 * fmin(air, params.most_air) * taken[1]));
            for (int c = 0; c < 3 && alt > params.colour_deg; c++)
                mark[used].light[c] = s->light[c] * (float)pow(10, 0.4 * air * taken[c]);
            put(&mark[used++], ra, dec, cell);
            if (ra < SEAM) { /* once more beyond the full turn, where its other neighbours are */
                mark[used] = mark[used - 1];
                put(&mark[used++], ra + 2 * M_PI, dec, cell);
            }
        }
    if (used > 0)
        qsort(mark, used, sizeof *mark, by_cell);
    return used;
}

/* Places where marks are close together; of those within two cells of each other the one with most.
 */
static size_t find_places(const struct mark *mark, size_t n, double cell, struct found *place,
                          struct mark *work)
{
    size_t k = 0, kept = 0;
    for (size_t i = 0, end; i < n; i = end) {
        for (end = i; end < n && mark[end].row == mark[i].row && mark[end].col == mark[i].col;
             end++)
            ;
        struct found f = {1, (double)mark[i].ra, (double)mark[i].dec};
        for (int pass = 0; pass < 3 && f.seen > 0; pass++)
            f = around(mark, n, f.ra, f.dec, cell);
        if (f.seen >= params.least_seen && f.ra >= SEAM / 2 && f.ra < 2 * M_PI + SEAM / 2)
            place[k++] = f;
    }
    for (size_t i = 0; i < k; i++) {
        put(&work[i], place[i].ra, place[i].dec, cell);
        work[i].x = (float)place[i].seen;
    }
    if (k > 0)
        qsort(work, k, sizeof *work, by_cell);
    for (size_t i = 0; i < k; i++) {
        bool most = true;
        double cosine = fmax(cos((double)work[i].dec), 1e-6);
        for (uint32_t row = work[i].row > 1 ? work[i].row - 2 : 0; row <= work[i].row + 2; row++) {
            double across = cell / fmax(cos((row + 0.5) * cell - M_PI / 2), 1e-6);
            double from = fmax((double)work[i].ra - 2 * cell / cosine, 0) / across;
            for (size_t j = lower(work, k, row, (uint32_t)from); j < k && work[j].row == row; j++) {
                double dx = ((double)work[j].ra - (double)work[i].ra) * cosine;
                double dy = (double)work[j].dec - (double)work[i].dec;
                if (dx > 2 * cell)
                    break;
                if (j != i && dx * dx + dy * dy < 4 * cell * cell &&
                    (work[j].x > work[i].x || (j < i && work[j].x >= work[i].x)))
                    most = false;
            }
        }
        if (most)
            place[kept++] = (struct found){(int)work[i].x, (double)work[i].ra, (double)work[i].dec};
    }
    return kept;
}

/* In how many of the shots a place in the sky was within the frame. */
static int could_see(const struct dw_facts *f, double ra, double dec, const double *sidereal,
                     size_t n)
{
    int could = 0;
    for (size_t k = 0; k < n; k++) {
        double ray[3], x, y;
        dw_aim_towards(&f->aim, (sidereal[k] - ra) * 180 / M_PI, dec * 180 / M_PI, ray);
        could += dw_aim_altitude(&f->aim, ray) > params.lowest_deg &&
                 dw_aim_pixel(&f->aim, ray, &x, &y) && x >= 0 && y >= 0 && x < f->mosaic_width &&
                 y < f->mosaic_height;
    }
    return could;
}

/* Light of a star in all shots together, red and blue: sums, and sums of products. */
struct colours {
    double red, blue, red2, blue2, both;
    int n;
};

static void add_colour(struct colours *c, const float light[3])
{
    double r = (double)light[0], b = (double)light[2];
    c->red += r;
    c->blue += b;
    c->red2 += r * r;
    c->blue2 += b * b;
    c->both += r * b;
    c->n++;
}

/* Its colour is that of all its light: what single shots tell is mostly noise. As far as the
 * scatter between shots says that it is noise still, it is white (Wiener's share). */
static float colour_of(const struct colours *c, const struct dw_facts *f)
{
    if (c->n < params.least_seen || !(c->red > 0) || !(c->blue > 0))
        return 0;
    double ratio = c->blue / c->red;
    double scatter = sqrt(fmax(c->blue2 - 2 * ratio * c->both + ratio * ratio * c->red2, 0));
    double error = scatter / c->blue / params.colour_spread;
    double log_ratio = log(ratio * (double)f->white_mul[2] / (double)f->white_mul[0]);
    log_ratio /= 1 + error * error;
    return (float)exp(fmax(-params.colour_most, fmin(params.colour_most, log_ratio)));
}

/* Fills colours of stars, and where sky is: a tile in which stars were found again is sky, and one
 * that nearly all neighbours say is. */
static void look_at_marks(const struct mark *mark, size_t n, double cell, struct dw_facts *f)
{
    enum { COLS = DW_OPEN_COLS, ROWS = DW_OPEN_ROWS };
    uint32_t count[ROWS][COLS] = {{0}};
    for (size_t i = 0; i < f->n_stars; i++) {
        double ra = f->star[i].ra_deg * M_PI / 180, dec = f->star[i].dec_deg * M_PI / 180;
        double cosine = fmax(cos(dec), 1e-6);
        struct colours colours = {0};
        double green = 0;
        int told = 0;
        uint32_t row = (uint32_t)((dec + M_PI / 2) / cell);
        for (uint32_t r = row > 0 ? row - 1 : 0; r <= row + 1; r++) {
            double across = cell / fmax(cos((r + 0.5) * cell - M_PI / 2), 1e-6);
            double from = fmax(ra - 1.01 * cell / cosine, 0) / across;
            double to = (ra + 1.01 * cell / cosine) / across;
            for (size_t k = lower(mark, n, r, (uint32_t)from);
                 k < n && mark[k].row == r && mark[k].col <= to; k++) {
                int x = (int)(mark[k].x * COLS / (float)f->mosaic_width);
                int y = (int)(mark[k].y * ROWS / (float)f->mosaic_height);
                count[y < ROWS ? y : ROWS - 1][x < COLS ? x : COLS - 1]++;
                double dx = ((double)mark[k].ra - ra) * cosine, dy = (double)mark[k].dec - dec;
                if (dx * dx + dy * dy > cell * cell)
                    continue;
                green += (double)mark[k].green;
                told += mark[k].green != 0;
                if (mark[k].light[1] > 0)
                    add_colour(&colours, mark[k].light);
            }
        }
        f->star[i].colour = colour_of(&colours, f);
        /* Of what is saturated no light is told; and where a star was not told from noise it gave
         * next to nothing. */
        f->star[i].light = told > 0 ? (float)(fmax(green, 0) / told) * f->star[i].share : INFINITY;
    }
    for (int y = 0; y < ROWS; y++)
        for (int x = 0; x < COLS; x++) {
            int open = 0, all = 0;
            for (int v = y > 0 ? y - 1 : 0; v <= y + 1 && v < ROWS; v++)
                for (int u = x > 0 ? x - 1 : 0; u <= x + 1 && u < COLS; u++) {
                    all++;
                    open += count[v][u] >= params.least_open;
                }
            f->open[y][x] = count[y][x] >= params.least_open || open >= params.most_of * all;
        }
}

struct in_frame {
    float light, share; /* of the shots whose frame held the star */
};

static int by_light(const void *a, const void *b)
{
    const struct in_frame *p = a, *q = b;
    return (p->light < q->light) - (p->light > q->light);
}

/* All lights beside that of the faintest of those stars of which a frame holds so many. */
static void compare_lights(struct in_frame *of, struct dw_facts *f)
{
    for (size_t i = 0; i < f->n_stars; i++)
        of[i].light = f->star[i].light;
    if (f->n_stars > 0)
        qsort(of, f->n_stars, sizeof *of, by_light);
    double held = 0, least = (double)INFINITY; /* of a saturated star no more is known */
    for (size_t i = 0; i < f->n_stars && (held < params.prominent || isinf(least)); i++) {
        held += (double)of[i].share;
        least = (double)of[i].light;
    }
    for (size_t i = 0; i < f->n_stars; i++) {
        float *light = &f->star[i].light;
        *light = least > 0 && isfinite(least) && isfinite(*light) ? *light / (float)least : 1;
    }
}

enum dw_status dw_aim_lay(const struct dw_aim_shot *shot, size_t n, struct dw_facts *facts,
                          struct dw_error *err)
{
    size_t room = 0;
    for (size_t k = 0; k < n; k++)
        room += shot[k].n;
    const double cell = params.cell_px / facts->aim.focal_px, height = facts->site.height_m;
    const double taken[3] = {dw_extinction(DW_RED_UM, height), dw_extinction(DW_GREEN_UM, height),
                             dw_extinction(DW_BLUE_UM, height)};
    double *sidereal = calloc(n + 1, sizeof *sidereal);
    struct mark *mark = malloc((2 * room + 1) * sizeof *mark);
    struct mark *work = malloc((2 * room + 1) * sizeof *work);
    struct found *place = malloc((2 * room + 1) * sizeof *place);
    struct in_frame *in_frame = malloc((2 * room + 1) * sizeof *in_frame);
    enum dw_status status = DW_OK;
    size_t marks = 0, places = 0;
    if (!sidereal || !mark || !work || !place || !in_frame)
        status = dw_fail(err, DW_ERR_MEMORY, "no memory for a map of %zu spots", room);
    for (size_t k = 0; k < n && status >= 0; k++) {
        double deg;
        if (dw_sidereal(&facts->site, shot[k].utc_s, &deg) < 0)
            status =
                dw_fail(err, DW_ERR_USAGE, "no sidereal time for a shot at %.0f s", shot[k].utc_s);
        else
            sidereal[k] = deg * M_PI / 180;
    }
    if (status >= 0) {
        marks = mark_all(&facts->aim, taken, shot, n, sidereal, cell, mark);
        places = find_places(mark, marks, cell, place, work);
        facts->star = malloc((places + 1) * sizeof *facts->star);
        if (!facts->star)
            status = dw_fail(err, DW_ERR_MEMORY, "no memory for a map of %zu stars", places);
    }
    /* so many spots lie within a cell of any place by chance, a shot */
    double chance = M_PI * params.cell_px * params.cell_px * (double)room / (double)n /
                    ((double)facts->mosaic_width * facts->mosaic_height);
    for (size_t i = 0; i < places && status >= 0; i++) {
        int could = could_see(facts, place[i].ra, place[i].dec, sidereal, n);
        double by_chance = chance * could;
        if (could > 0 && place[i].seen >= params.least_share * could &&
            place[i].seen >= by_chance + params.over_chance * sqrt(by_chance)) {
            in_frame[facts->n_stars].share = (float)((double)could / (double)n);
            facts->star[facts->n_stars++] =
                (struct dw_star){place[i].ra * 180 / M_PI, place[i].dec * 180 / M_PI,
                                 (float)fmin(1, (double)place[i].seen / could), 0, 0};
        }
    }
    if (status >= 0) {
        look_at_marks(mark, marks, cell, facts);
        compare_lights(in_frame, facts);
    }
    free(in_frame);
    free(sidereal);
    free(mark);
    free(work);
    free(place);
    return status;
}

enum dw_status dw_aim_map(struct dw_work *w, struct dw_facts *facts, const size_t *night, size_t n,
                          struct dw_error *err)
{
    size_t shots = n < params.shots ? n : params.shots;
    size_t *picked = DW_TAKE(&w->arena, shots, size_t);
    struct dw_aim_shot *shot = DW_TAKE(&w->arena, shots, struct dw_aim_shot);
    if (!picked || !shot)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the map of stars");
    for (size_t k = 0; k < shots; k++)
        picked[k] = night[k * n / shots];
    enum dw_status status = dw_aim_read(w, facts, picked, shots, params.spots, shot, err);
    for (size_t k = 0; k < shots && status >= 0; k++)
        shot[k].dn = exp2(w->ev[picked[k]]);
    return status < 0 ? status : dw_aim_lay(shot, shots, facts, err);
}
