/* vote.c: see vote.h. */
#include "decide/poses/vote.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

/* No block is trusted better than this, cells: its texture is sampled, not continuous. */
#define FLOOR 0.03
#define TUKEY 4.685 /* 95 % efficient at the normal (Beaton & Tukey 1974) */
#define ROUNDS 12
#define SETTLED 1e-7       /* cells */
#define SETTLED_TURN 1e-11 /* radians */
#define FAR 3.0            /* a block agrees within so many of its standard deviations */
#define TURN_SIGMAS 6.0
#define GUESSES 8 /* at a time */
#define NO_RIVAL                                                                                   \
    0.7 /* of all that is told; where so much supports a guess there is no other heap */

/* The blocks that tell something, packed, and how loudly each speaks. */
struct voters {
    int n;
    struct dw_block block[DW_MAX_BLOCKS];
    struct dw_block_place at[DW_MAX_BLOCKS];
    double info[DW_MAX_BLOCKS][3], size[DW_MAX_BLOCKS];
};

/* A block's information with the floor put in: (I^-1 + f^2)^-1, for each component alone. */
static void floored(const struct dw_block *b, double weight, double out[3])
{
    double trace = b->ixx + b->iyy, k = weight / (1 + 0.5 * trace * FLOOR * FLOOR);
    out[0] = k * b->ixx;
    out[1] = k * b->ixy;
    out[2] = k * b->iyy;
}

static void gather(const struct dw_block *block, const float *weight,
                   const struct dw_block_place *at, int n, struct voters *v)
{
    v->n = 0;
    for (int i = 0; i < n; i++) {
        double *info = v->info[v->n];
        floored(&block[i], (double)weight[i], info);
        if (!(info[0] + info[2] > 0))
            continue;
        v->block[v->n] = block[i];
        v->at[v->n] = at[i];
        v->size[v->n++] = log1p(info[0] + info[2]);
    }
}

/* Half the square of how many standard deviations a block is off. */
static double misfit(const double i[3], double dx, double dy)
{
    return (i[0] * dx * dx + 2 * i[1] * dx * dy + i[2] * dy * dy) / 2;
}

/* How much information agrees with each of GUESSES places, side by side so that a processor reckons
 * several at once: by the biweight, of the square. */
static void support(const struct voters *v, const double x[GUESSES], const double y[GUESSES],
                    double sum[GUESSES])
{
    for (int g = 0; g < GUESSES; g++)
        sum[g] = 0;
    for (int k = 0; k < v->n; k++)
        for (int g = 0; g < GUESSES; g++) {
            double t = 1 - misfit(v->info[k], v->block[k].x - x[g], v->block[k].y - y[g]) /
                               (TUKEY * TUKEY);
            t = t > 0 ? t : 0;
            sum[g] += t * t * v->size[k];
        }
}

/* The place where most information gathers: the best of the start and the blocks' own answers,
 * which are asked until one is good enough: the rounds that follow find the middle of its heap. */
static void first_guess(const struct voters *v, struct dw_shift *s)
{
    double best = -1, start_x = s->x, start_y = s->y, x[GUESSES], y[GUESSES], sum[GUESSES], all = 0;
    for (int k = 0; k < v->n; k++)
        all += v->size[k];
    for (int from = -1; from < v->n && !(best > NO_RIVAL * all); from += GUESSES) {
        int n = v->n - from < GUESSES ? v->n - from : GUESSES;
        for (int g = 0; g < GUESSES; g++) {
            int i = g < n ? from + g : -1;
            x[g] = i < 0 ? start_x : v->block[i].x;
            y[g] = i < 0 ? start_y : v->block[i].y;
        }
        support(v, x, y, sum);
        for (int g = 0; g < n; g++)
            if (sum[g] > best) {
                best = sum[g];
                s->x = x[g];
                s->y = y[g];
            }
    }
}

/* Solves for x, y and, with `turn`, the turn. inverse: diagonal of the inverse of the sum of
 * information. False when the blocks do not tell. */
static bool solve(const struct voters *v, const double *w, bool turn, struct dw_shift *s,
                  double inverse[3])
{
    double a[3][3] = {{0}}, r[3] = {0};
    for (int i = 0; i < v->n; i++) {
        const double *info = v->info[i];
        double xx = w[i] * info[0], xy = w[i] * info[1], yy = w[i] * info[2];
        double lx = -(double)v->at[i].y, ly = (double)v->at[i].x;
        double fx = xx * v->block[i].x + xy * v->block[i].y,
               fy = xy * v->block[i].x + yy * v->block[i].y;
        double tx = xx * lx + xy * ly, ty = xy * lx + yy * ly;
        a[0][0] += xx;
        a[0][1] += xy;
        a[1][1] += yy;
        a[0][2] += tx;
        a[1][2] += ty;
        a[2][2] += lx * tx + ly * ty;
        r[0] += fx;
        r[1] += fy;
        r[2] += lx * fx + ly * fy;
    }
    if (!turn) {
        a[0][2] = a[1][2] = r[2] = 0;
        a[2][2] = 1;
    }
    a[1][0] = a[0][1];
    a[2][0] = a[0][2];
    a[2][1] = a[1][2];
    double c[3][3];
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            int i1 = (i + 1) % 3, i2 = (i + 2) % 3, k1 = (k + 1) % 3, k2 = (k + 2) % 3;
            c[i][k] = a[i1][k1] * a[i2][k2] - a[i1][k2] * a[i2][k1];
        }
    double det = a[0][0] * c[0][0] + a[0][1] * c[0][1] + a[0][2] * c[0][2];
    if (!(det > 1e-12 * a[0][0] * a[1][1] * a[2][2]) || !(a[0][0] > 0))
        return false;
    double found[3];
    for (int i = 0; i < 3; i++) {
        found[i] = (c[0][i] * r[0] + c[1][i] * r[1] + c[2][i] * r[2]) / det;
        inverse[i] = c[i][i] / det;
    }
    s->x = found[0];
    s->y = found[1];
    s->turn = turn ? found[2] : 0;
    return true;
}

/* Weights for the next round, and what the blocks think of the answer. */
static void judge(const struct voters *v, double *w, struct dw_shift *s, double *chi)
{
    double all = 0, agree = 0, sum = 0, weight = 0, alike = 0;
    s->voters = 0;
    for (int i = 0; i < v->n; i++) {
        double x = v->block[i].x - dw_shift_x(s, v->at[i]),
               y = v->block[i].y - dw_shift_y(s, v->at[i]);
        double chi2 = misfit(v->info[i], x, y), size = v->size[i];
        w[i] = dw_tukey_weight(sqrt(chi2), TUKEY);
        all += size;
        alike += size * v->block[i].alike;
        if (chi2 > FAR * FAR)
            continue;
        agree += size;
        s->voters++;
        sum += w[i] * chi2;
        weight += w[i];
    }
    s->agree = all > 0 ? agree / all : 0;
    s->alike = all > 0 ? alike / all : 0;
    *chi = weight > 0 ? fmax(1, sum / weight) : 1;
}

static bool find(const struct voters *v, bool turn, struct dw_shift *s)
{
    double w[DW_MAX_BLOCKS], inverse[3], chi;
    judge(v, w, s, &chi);
    for (int round = 0; round < ROUNDS; round++) {
        const struct dw_shift was = *s;
        if (!solve(v, w, turn, s, inverse))
            return false;
        judge(v, w, s, &chi);
        if (fabs(s->x - was.x) < SETTLED && fabs(s->y - was.y) < SETTLED &&
            fabs(s->turn - was.turn) < SETTLED_TURN)
            break; /* more rounds would find the same */
    }
    s->sigma = sqrt(chi * fmax(inverse[0], inverse[1]));
    s->turn_sigma = turn ? sqrt(chi * inverse[2]) : (double)INFINITY;
    return true;
}

void dw_vote(const struct dw_block *block, const float *weight, const struct dw_block_place *at,
             int n, bool turn, const struct dw_shift *start, struct dw_shift *out)
{
    struct voters v;
    gather(block, weight, at, n, &v);
    struct dw_shift plain = *start, turned;
    plain.sigma = plain.turn_sigma = (double)INFINITY;
    plain.agree = plain.alike = 0;
    plain.voters = 0;
    if (start->turn == 0)
        first_guess(&v, &plain);
    turned = plain;
    bool moved = find(&v, false, &plain);
    *out = plain;
    if (!moved || !turn)
        return;
    if (start->turn == 0)
        turned = plain;
    if (find(&v, true, &turned) && fabs(turned.turn) > TURN_SIGMAS * turned.turn_sigma &&
        turned.agree >= plain.agree)
        *out = turned;
}
