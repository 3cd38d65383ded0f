/* flow.c: see aim.h. With rays u the sky turns as du/dt = s x u, s the unit vector to the southern
 * pole and t its angle. For a given lens each spot that moves gives two equations that are linear
 * in s; that |s| is 1 tells the focal length. */
#include "decide/aim/aim.h"

#include "base/each.h"

#include <math.h>
#include <stdlib.h>

static const struct flow_params {
    size_t spots;             /* of each shot, the strongest */
    double straight_px;       /* a spot goes straight on to that much */
    double least_px;          /* and moves by that from the first to the last of three */
    double shortest, longest; /* focal lengths tried, in longer sides of the frame */
    int lengths, draws;
    double agree_px;    /* from the first to the last: a link agrees */
    double least_share; /* of the links must agree, */
    int least;          /* and so many */
} params = {90, 1.8, 3, 0.3, 4, 28, 80, 2.5, 0.35, 40};

enum { LINKS = 1200 };

struct link {
    double x, y, dx, dy, turned; /* the middle one's place; from first to last */
};

/* Where a lens of some kind would have it. */
struct flow {
    double u[3], du[3], px; /* du by angle; px: how many pixels 1 of it is over the link */
};

void dw_aim_turn(const double axis[3], double angle, const double ray[3], double out[3])
{
    dw_aim_turn_by(axis, cos(angle), sin(angle), ray, out);
}

void dw_aim_turn_by(const double axis[3], double c, double s, const double ray[3], double out[3])
{
    double along = 0;
    for (int i = 0; i < 3; i++)
        along += axis[i] * ray[i];
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        out[i] = c * ray[i] + s * (axis[j] * ray[k] - axis[k] * ray[j]) + (1 - c) * along * axis[i];
    }
}

/* Spots that are found three times along a line, at even speed, and in one way only. */
static int find_links(const struct dw_aim_shots *shots, struct link *link)
{
    int n = 0;
    double longer = fmax(shots->width, shots->height);
    for (int g = 0; g < shots->n_groups; g++) {
        const struct dw_aim_shot *s = &shots->shot[(size_t)g * DW_AIM_GROUP];
        double first = s[1].turned - s[0].turned, second = s[2].turned - s[1].turned;
        double reach = 2 * longer * first + 2, on = second / first;
        for (size_t a = 0; a < s[0].n && a < params.spots && n < LINKS; a++) {
            int ways = 0;
            struct link found = {0};
            for (size_t b = 0; b < s[1].n; b++) {
                double dx = s[1].spot[b].x - s[0].spot[a].x, dy = s[1].spot[b].y - s[0].spot[a].y;
                if (dx * dx + dy * dy > reach * reach)
                    continue;
                for (size_t c = 0; c < s[2].n; c++) {
                    double ex = s[2].spot[c].x - s[1].spot[b].x - dx * on;
                    double ey = s[2].spot[c].y - s[1].spot[b].y - dy * on;
                    if (ex * ex + ey * ey > params.straight_px * params.straight_px)
                        continue;
                    found = (struct link){s[1].spot[b].x, s[1].spot[b].y,
                                          s[2].spot[c].x - s[0].spot[a].x,
                                          s[2].spot[c].y - s[0].spot[a].y, first + second};
                    ways += hypot(found.dx, found.dy) >= params.least_px;
                }
            }
            if (ways == 1)
                link[n++] = found;
        }
    }
    return n;
}

static int see(const struct dw_aim *v, const struct link *link, int n, struct flow *out)
{
    int seen = 0;
    for (int i = 0; i < n; i++) {
        double ahead[3], back[3];
        struct flow *f = &out[seen];
        if (!dw_aim_ray(v, link[i].x, link[i].y, f->u) ||
            !dw_aim_ray(v, link[i].x + link[i].dx / 2, link[i].y + link[i].dy / 2, ahead) ||
            !dw_aim_ray(v, link[i].x - link[i].dx / 2, link[i].y - link[i].dy / 2, back))
            continue;
        double size = 0;
        for (int k = 0; k < 3; k++) {
            f->du[k] = (ahead[k] - back[k]) / link[i].turned;
            size += f->du[k] * f->du[k];
        }
        f->px = hypot(link[i].dx, link[i].dy) / fmax(sqrt(size), 1e-9);
        seen++;
    }
    return seen;
}

/* Solves the symmetric m s = r; false if it does not tell. */
static bool solve3(double m[3][3], const double r[3], double s[3])
{
    double d = m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) -
               m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0]) +
               m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]);
    if (!(fabs(d) > 1e-12))
        return false;
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        s[i] = 0;
        for (int c = 0; c < 3; c++) { /* cofactors: m is symmetric */
            int a = (c + 1) % 3, b = (c + 2) % 3;
            s[i] += (m[j][a] * m[k][b] - m[j][b] * m[k][a]) * r[c] / d;
        }
    }
    return true;
}

/* du = s x u, as rows of s: each adds |u|^2 - u u^T, and u x du on the right. */
static void add_flow(const struct flow *f, double weight, double m[3][3], double r[3])
{
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        for (int c = 0; c < 3; c++)
            m[i][c] += weight * ((i == c ? 1 : 0) - f->u[i] * f->u[c]);
        r[i] += weight * (f->u[j] * f->du[k] - f->u[k] * f->du[j]);
    }
}

static bool to_unit(double s[3])
{
    double size = sqrt(s[0] * s[0] + s[1] * s[1] + s[2] * s[2]);
    for (int i = 0; i < 3; i++)
        s[i] /= size;
    return size > 0.6 && size < 1.7; /* how far noise and a coarse step of focal lengths go */
}

static double off_by(const struct flow *f, const double s[3])
{
    double sum = 0;
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        double d = f->du[i] - (s[j] * f->u[k] - s[k] * f->u[j]);
        sum += d * d;
    }
    return sqrt(sum) * f->px;
}

/* How well all links agree with one pole: each counts the more the nearer it comes. */
static double agreement(const struct flow *f, int n, const double s[3], int *agree)
{
    double sum = 0;
    *agree = 0;
    for (int i = 0; i < n; i++) {
        double q = off_by(&f[i], s) / params.agree_px;
        if (q < 1) {
            sum += 1 - q * q;
            ++*agree;
        }
    }
    return sum;
}

/* The best pole for one lens. */
static double best_pole(const struct flow *f, int n, double pole[3], int *agree)
{
    double best = 0;
    uint32_t dice = 1; /* the same draws always */
    for (int k = 0; k < params.draws; k++) {
        double m[3][3] = {{0}}, r[3] = {0}, s[3];
        int in;
        for (int i = 0; i < 3; i++) {
            dice = dice * 1664525u + 1013904223u; /* Knuth's constants; from memory */
            add_flow(&f[(dice >> 8) % (uint32_t)n], 1, m, r);
        }
        if (!solve3(m, r, s) || !to_unit(s))
            continue;
        double found = agreement(f, n, s, &in);
        for (int pass = 0; pass < 3 && in > 3; pass++) {
            double wm[3][3] = {{0}}, wr[3] = {0}, t[3];
            for (int i = 0; i < n; i++)
                if (off_by(&f[i], s) < params.agree_px)
                    add_flow(&f[i], 1, wm, wr);
            int more;
            if (!solve3(wm, wr, t) || !to_unit(t))
                break;
            double then = agreement(f, n, t, &more);
            if (then <= found)
                break;
            found = then;
            in = more;
            for (int i = 0; i < 3; i++)
                s[i] = t[i];
        }
        if (found > best) {
            best = found;
            *agree = in;
            for (int i = 0; i < 3; i++)
                pole[i] = s[i];
        }
    }
    return best;
}

/* One lens, and how well its best pole agrees. */
struct trial {
    struct dw_aim aim;
    double found;
    int agree;
};

struct trials {
    const struct dw_aim_shots *shots;
    int n; /* links */
    struct link link[LINKS];
    struct trial *trial; /* both kinds of lens by all lengths */
};

static enum dw_status try_lenses(void *ctx, void *work, size_t from, size_t to,
                                 struct dw_error *err)
{
    static const double bend[2][2] = {{1.0 / 3, 2.0 / 15}, {0, 0}}; /* tan, and the angle itself */
    (void)err;
    const struct trials *t = ctx;
    const struct dw_aim_shots *shots = t->shots;
    struct flow *flow = work;
    double longer = fmax(shots->width, shots->height);
    for (size_t i = from; i < to; i++) {
        size_t kind = i / (size_t)params.lengths, k = i % (size_t)params.lengths;
        double part = (double)k / (params.lengths - 1), south[3] = {0};
        struct trial *trial = &t->trial[i];
        trial->aim = (struct dw_aim){.focal_px = longer * params.shortest *
                                                 pow(params.longest / params.shortest, part),
                                     .bend = {bend[kind][0], bend[kind][1]},
                                     .cx = (shots->width - 1) / 2.0,
                                     .cy = (shots->height - 1) / 2.0};
        int seen = see(&trial->aim, t->link, t->n, flow);
        if (seen >= params.least)
            trial->found = best_pole(flow, seen, south, &trial->agree);
        for (int j = 0; j < 3; j++)
            trial->aim.pole[j] = -south[j];
    }
    return DW_OK;
}

enum dw_status dw_aim_flow(const struct dw_aim_shots *shots, const struct dw_run *run,
                           struct dw_aim *v, bool *agree, struct dw_error *err)
{
    size_t lenses = 2 * (size_t)params.lengths;
    struct trials *t = malloc(sizeof *t);
    struct trial *trial = calloc(lenses, sizeof *trial);
    enum dw_status status =
        t && trial ? DW_OK : dw_fail(err, DW_ERR_MEMORY, "out of memory for the stars' turning");
    int most = 0;
    *agree = false;
    if (status >= 0) {
        t->shots = shots;
        t->trial = trial;
        t->n = find_links(shots, t->link);
        const struct dw_each each = {t->n < params.least ? 0 : lenses, 1,
                                     LINKS * sizeof(struct flow), try_lenses, t};
        status = dw_each(&each, run, err);
        double best = 0;
        for (size_t i = 0; i < each.n && status >= 0; i++)
            if (trial[i].found > best) {
                best = trial[i].found;
                most = trial[i].agree;
                *v = trial[i].aim;
            }
        *agree = status >= 0 && most >= params.least && most >= params.least_share * t->n;
    }
    free(t);
    free(trial);
    return status;
}
