/* vote.c: see vote.h. */
#include "decide/poses/vote.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

/* No block is trusted better than this, cells: its texture is sampled, not continuous. */
#define FLOOR 0.03
#define TUKEY 4.685 /* 95 % efficient at the normal (Beaton & Tukey 1974) */
#define ROUNDS 12
#define FAR 3.0 /* a block agrees within so many of its standard deviations */
#define TURN_SIGMAS 6.0

/* A block's information with the floor put in: (I^-1 + f^2)^-1, for each component alone. */
static void floored(const struct dw_block *b, double weight, double out[3])
{
    double trace = b->ixx + b->iyy, k = weight / (1 + 0.5 * trace * FLOOR * FLOOR);
    out[0] = k * b->ixx;
    out[1] = k * b->ixy;
    out[2] = k * b->iyy;
}

static double misfit(const double i[3], double dx, double dy)
{
    return i[0] * dx * dx + 2 * i[1] * dx * dy + i[2] * dy * dy;
}

/* The place where most information gathers: the best of the blocks' own answers. */
static void first_guess(const struct dw_block *block, const double (*info)[3], int n,
                        struct dw_shift *s)
{
    double best = -1;
    for (int i = -1; i < n; i++) {
        double x = i < 0 ? s->x : block[i].x, y = i < 0 ? s->y : block[i].y, sum = 0;
        if (i >= 0 && !(info[i][0] + info[i][2] > 0))
            continue;
        for (int k = 0; k < n; k++) {
            double r = sqrt(misfit(info[k], block[k].x - x, block[k].y - y) / 2);
            if (info[k][0] + info[k][2] > 0)
                sum += dw_tukey_weight(r, TUKEY) * log1p(info[k][0] + info[k][2]);
        }
        if (sum > best) {
            best = sum;
            s->x = x;
            s->y = y;
        }
    }
}

/* Solves for x, y and, with `turn`, the turn. inverse: diagonal of the inverse of the sum of
 * information. False when the blocks do not tell. */
static bool solve(const struct dw_block *block, const double (*info)[3], const double *w,
                  const struct dw_block_place *at, int n, bool turn, struct dw_shift *s,
                  double inverse[3])
{
    double a[3][3] = {{0}}, r[3] = {0};
    for (int i = 0; i < n; i++) {
        double xx = w[i] * info[i][0], xy = w[i] * info[i][1], yy = w[i] * info[i][2];
        double lx = -(double)at[i].y, ly = (double)at[i].x;
        double fx = xx * block[i].x + xy * block[i].y, fy = xy * block[i].x + yy * block[i].y;
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
    double v[3];
    for (int i = 0; i < 3; i++) {
        v[i] = (c[0][i] * r[0] + c[1][i] * r[1] + c[2][i] * r[2]) / det;
        inverse[i] = c[i][i] / det;
    }
    s->x = v[0];
    s->y = v[1];
    s->turn = turn ? v[2] : 0;
    return true;
}

/* Weights for the next round, and what the blocks think of the answer. */
static void judge(const struct dw_block *block, const double (*info)[3],
                  const struct dw_block_place *at, int n, double *w, struct dw_shift *s,
                  double *chi)
{
    double all = 0, agree = 0, sum = 0, weight = 0, alike = 0;
    s->voters = 0;
    for (int i = 0; i < n; i++) {
        double x = block[i].x - dw_shift_x(s, at[i]), y = block[i].y - dw_shift_y(s, at[i]);
        double chi2 = misfit(info[i], x, y) / 2, r = sqrt(chi2);
        double size = log1p(info[i][0] + info[i][2]);
        w[i] = dw_tukey_weight(r, TUKEY);
        all += size;
        alike += size * block[i].alike;
        if (!(size > 0) || r > FAR)
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

static bool find(const struct dw_block *block, const double (*info)[3],
                 const struct dw_block_place *at, int n, bool turn, struct dw_shift *s)
{
    double w[DW_MAX_BLOCKS], inverse[3], chi;
    judge(block, info, at, n, w, s, &chi);
    for (int round = 0; round < ROUNDS; round++) {
        if (!solve(block, info, w, at, n, turn, s, inverse))
            return false;
        judge(block, info, at, n, w, s, &chi);
    }
    s->sigma = sqrt(chi * fmax(inverse[0], inverse[1]));
    s->turn_sigma = turn ? sqrt(chi * inverse[2]) : (double)INFINITY;
    return true;
}

void dw_vote(const struct dw_block *block, const float *weight, const struct dw_block_place *at,
             int n, bool turn, const struct dw_shift *start, struct dw_shift *out)
{
    double info[DW_MAX_BLOCKS][3];
    for (int i = 0; i < n; i++)
        floored(&block[i], (double)weight[i], info[i]);
    struct dw_shift plain = *start, turned;
    plain.sigma = plain.turn_sigma = (double)INFINITY;
    plain.agree = plain.alike = 0;
    plain.voters = 0;
    if (start->turn == 0)
        first_guess(block, (const double(*)[3])info, n, &plain);
    turned = plain;
    bool moved = find(block, (const double(*)[3])info, at, n, false, &plain);
    *out = plain;
    if (!moved || !turn)
        return;
    if (start->turn == 0)
        turned = plain;
    if (find(block, (const double(*)[3])info, at, n, true, &turned) &&
        fabs(turned.turn) > TURN_SIGMAS * turned.turn_sigma && turned.agree >= plain.agree)
        *out = turned;
}
