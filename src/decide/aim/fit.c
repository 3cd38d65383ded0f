/* fit.c: see aim.h. Spots of one shot, turned by the known angle, are sought in another, over ever
 * longer times; pole and lens follow by least squares (Gauss and Newton) with Tukey's weights. */
#include "decide/aim/aim.h"

#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

enum { UNKNOWNS = 5, LENS = 3, PASSES = 12 }; /* log focal, two bends: the lens; two of the pole */
#define SETTLED 1e-12                         /* radians, and shares of a focal length */
enum { SPOTS = 100 };                         /* of the first shot of a pair */

static const struct fit_params {
    double bend_sigma[2];  /* how far a lens may be from the kind that was found first */
    double longest_deg[3]; /* turning between the shots of a pair, by stage */
    double reach_px[3];    /* how far off a spot may be; and for each 2000 pixels of width more */
    double least_share; /* of the spots that should be seen again must be, over a degree or more */
    double over_chance; /* and so many times what chance finds */
} params = {{0.15, 0.1}, {4, 25, 100}, {4, 5, 3}, 0.3, 3};

struct pair {
    size_t a, b;
};

/* By how much the sky turns from one shot of a pair to the other: the north pole's turn is to the
 * left. */
struct turn {
    double c, s; /* cosine and sine */
};

static struct turn turn_of(double angle)
{
    return (struct turn){cos(-angle), sin(-angle)};
}

static double reach_of(const struct dw_aim_shots *shots, int stage)
{
    return params.reach_px[stage] * fmax(1, fmax(shots->width, shots->height) / 2000.0);
}

static int pairs_of(const struct dw_aim_shots *shots, int stage, struct pair *pair)
{
    int n = 0;
    size_t all = (size_t)shots->n_groups * DW_AIM_GROUP;
    for (size_t a = 0; a < all; a++)
        for (size_t b = a + 1; b < all; b++) {
            double turn = shots->shot[b].turned - shots->shot[a].turned;
            bool same = a / DW_AIM_GROUP == b / DW_AIM_GROUP;
            /* within a group from the first; between groups the first of each */
            bool wanted =
                same ? a % DW_AIM_GROUP == 0 : a % DW_AIM_GROUP == 0 && b % DW_AIM_GROUP == 0;
            if (wanted && turn <= params.longest_deg[stage] * M_PI / 180)
                pair[n++] = (struct pair){a, b};
        }
    return n;
}

/* Rays of one shot's spots through one lens: pairs come by their first shots, so these are asked
 * for again and again, and Newton's method is most of what a spot costs. */
struct rays {
    const struct dw_aim_shot *shot;
    bool known[SPOTS], there[SPOTS];
    double ray[SPOTS][3];
};

static const double *ray_of(struct rays *r, const struct dw_aim *v, const struct dw_aim_shot *a,
                            size_t i)
{
    if (r->shot != a) {
        memset(r->known, 0, sizeof r->known);
        r->shot = a;
    }
    if (!r->known[i]) {
        r->there[i] = dw_aim_ray(v, a->spot[i].x, a->spot[i].y, r->ray[i]);
        r->known[i] = true;
    }
    return r->there[i] ? r->ray[i] : NULL;
}

/* Where the lens shows spot i of a after the sky has turned. rays: of the same lens, whatever the
 * pole. */
static bool turned_to(const struct dw_aim *v, struct rays *rays, const struct dw_aim_shot *a,
                      size_t i, struct turn turn, double *x, double *y)
{
    double then[3];
    const double *ray = ray_of(rays, v, a, i);
    if (!ray)
        return false;
    dw_aim_turn_by(v->pole, turn.c, turn.s, ray, then);
    return dw_aim_pixel(v, then, x, y);
}

static const struct dw_aim_spot *nearest(const struct dw_aim_shot *s, double x, double y,
                                         double reach)
{
    const struct dw_aim_spot *best = NULL;
    double least = reach * reach;
    for (size_t i = 0; i < s->n; i++) {
        double dx = s->spot[i].x - x, dy = s->spot[i].y - y, d = dx * dx + dy * dy;
        if (d < least) {
            least = d;
            best = &s->spot[i];
        }
    }
    return best;
}

static struct dw_aim changed(const struct dw_aim *v, const double by[UNKNOWNS])
{
    struct dw_aim u = *v;
    u.focal_px *= exp(by[0]);
    u.bend[0] += by[1];
    u.bend[1] += by[2];
    /* two directions across the pole */
    double across[3] = {0}, other[3], size = 0;
    int least = 0;
    for (int i = 1; i < 3; i++)
        least = fabs(v->pole[i]) < fabs(v->pole[least]) ? i : least;
    for (int i = 0; i < 3; i++) {
        across[i] = (i == least ? 1 : 0) - v->pole[least] * v->pole[i];
        size += across[i] * across[i];
    }
    for (int i = 0; i < 3; i++)
        across[i] /= sqrt(size);
    for (int i = 0; i < 3; i++) {
        int j = (i + 1) % 3, k = (i + 2) % 3;
        other[i] = v->pole[j] * across[k] - v->pole[k] * across[j];
    }
    size = 0;
    for (int i = 0; i < 3; i++) {
        u.pole[i] += by[3] * across[i] + by[4] * other[i];
        size += u.pole[i] * u.pole[i];
    }
    for (int i = 0; i < 3; i++)
        u.pole[i] /= sqrt(size);
    return u;
}

static bool inside(const struct dw_aim_shots *shots, double x, double y)
{
    return x >= 2 && y >= 2 && x < shots->width - 2 && y < shots->height - 2;
}

/* One step; false if it cannot be solved. *moved: how far it went. */
static bool step(const struct dw_aim_shots *shots, const struct pair *pair, int n_pairs,
                 double reach, const struct dw_aim *start, struct dw_aim *v, double *sigma,
                 double *moved)
{
    static const double nudge[UNKNOWNS] = {1e-4, 1e-4, 1e-4, 1e-4, 1e-4};
    double m[UNKNOWNS * UNKNOWNS] = {0}, r[UNKNOWNS] = {0}, sum = 0, weights = 0;
    struct dw_aim nudged[UNKNOWNS];
    struct rays rays[LENS + 1]; /* the last: of v, and where only the pole is nudged */
    for (int k = 0; k <= LENS; k++)
        rays[k].shot = NULL;
    for (int k = 0; k < UNKNOWNS; k++) {
        double by[UNKNOWNS] = {0};
        by[k] = nudge[k];
        nudged[k] = changed(v, by);
    }
    for (int p = 0; p < n_pairs; p++) {
        const struct dw_aim_shot *a = &shots->shot[pair[p].a], *b = &shots->shot[pair[p].b];
        struct turn turn = turn_of(b->turned - a->turned);
        double x, y;
        for (size_t i = 0; i < a->n && i < SPOTS; i++) {
            if (!turned_to(v, &rays[LENS], a, i, turn, &x, &y) || !inside(shots, x, y))
                continue;
            const struct dw_aim_spot *s = nearest(b, x, y, reach);
            if (!s)
                continue;
            double ex = s->x - x, ey = s->y - y, w = dw_tukey_weight(hypot(ex, ey), reach);
            double jx[UNKNOWNS], jy[UNKNOWNS], u, q;
            bool all = true;
            for (int k = 0; k < UNKNOWNS && all; k++) {
                all = turned_to(&nudged[k], &rays[k < LENS ? k : LENS], a, i, turn, &u, &q);
                jx[k] = (u - x) / nudge[k];
                jy[k] = (q - y) / nudge[k];
            }
            if (!all)
                continue;
            for (int k = 0; k < UNKNOWNS; k++) {
                for (int l = 0; l < UNKNOWNS; l++)
                    m[k * UNKNOWNS + l] += w * (jx[k] * jx[l] + jy[k] * jy[l]);
                r[k] += w * (jx[k] * ex + jy[k] * ey);
            }
            sum += w * (ex * ex + ey * ey);
            weights += w;
        }
    }
    if (!(weights > 20))
        return false;
    double var = fmax(sum / (2 * weights), 0.1);
    *sigma = sqrt(sum / (2 * weights));
    for (int k = 0; k < 2; k++) {
        double prior = var / (params.bend_sigma[k] * params.bend_sigma[k]);
        m[(k + 1) * UNKNOWNS + k + 1] += prior;
        r[k + 1] += prior * (start->bend[k] - v->bend[k]);
    }
    if (LAPACKE_dposv(LAPACK_ROW_MAJOR, 'L', UNKNOWNS, 1, m, UNKNOWNS, r, 1) != 0)
        return false;
    *moved = 0;
    for (int k = 0; k < UNKNOWNS; k++) {
        r[k] = fmax(-0.1, fmin(0.1, r[k]));
        *moved = fmax(*moved, fabs(r[k]));
    }
    *v = changed(v, r);
    return true;
}

/* How many spots are seen again, of how many, where the sky turns one way and where the other. */
static void count(const struct dw_aim_shots *shots, const struct pair *pair, int n_pairs,
                  double reach, const struct dw_aim *v, double way, int *matched, int *sought)
{
    struct rays rays;
    rays.shot = NULL;
    *matched = *sought = 0;
    for (int p = 0; p < n_pairs; p++) {
        const struct dw_aim_shot *a = &shots->shot[pair[p].a], *b = &shots->shot[pair[p].b];
        double angle = b->turned - a->turned, x, y;
        struct turn turn = turn_of(way * angle);
        for (size_t i = 0; i < a->n && i < SPOTS && angle > M_PI / 180; i++)
            if (turned_to(v, &rays, a, i, turn, &x, &y) && inside(shots, x, y)) {
                ++*sought;
                *matched += nearest(b, x, y, reach) != NULL;
            }
    }
}

bool dw_aim_fit(const struct dw_aim_shots *shots, struct dw_aim *v, double *sigma)
{
    struct pair pair[DW_AIM_SHOTS * DW_AIM_GROUPS];
    const struct dw_aim start = *v;
    int n = 0, matched, sought, chance, of;
    for (int stage = 0; stage < 3; stage++) {
        n = pairs_of(shots, stage, pair);
        double moved = INFINITY; /* once nothing moves, further passes would find the same */
        for (int pass = 0; pass < PASSES / (stage + 1) && moved > SETTLED; pass++)
            if (!step(shots, pair, n, reach_of(shots, stage), &start, v, sigma, &moved))
                return false;
    }
    count(shots, pair, n, reach_of(shots, 2), v, 1, &matched, &sought);
    count(shots, pair, n, reach_of(shots, 2), v, -1, &chance, &of);
    return matched >= params.least_share * sought && sought > 0 && of > 0 &&
           (double)matched / sought > params.over_chance * (double)chance / of;
}
