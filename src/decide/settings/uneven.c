/* uneven.c: see uneven.h. Generalised least squares: the third differences h of a quantity obey
 *
 *   h = D A o + D r + bends,   r ~ N(0, own^2), bends_i ~ N(0, var_i + light^2)
 *
 * with D the differences and A which settings a shot has. The covariance S = own^2 D D' + diag is
 * banded, so that M = (DA)' S^-1 DA and g = (DA)' S^-1 h cost time linear in the number of shots.
 * o has a normal prior for each kind of setting, whose width is learnt (expectation maximisation,
 * Dempster, Laird & Rubin 1977).
 *
 * Whether there is anything to correct: with P = M + prior, Q = g' P^-1 g has under chance alone
 * (g ~ N(0, M)) the mean tr(T) and the variance 2 tr(T T), T = M P^-1. */
#include "decide/settings/uneven.h"
#include "decide/solve/banded.h"
#include "decide/solve/third.h"
#include "base/robust.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define CHI2_MEDIAN 0.454936 /* of one degree of freedom (from memory) */
#define LEAST_SHOTS 12
#define NOTHING 1e-12 /* stops^2: prior variance of what is let be */

struct fit {
    const struct dw_uneven *u;
    const struct dw_uneven_params *p;
    size_t rows; /* n-3 */
    int n;       /* settings */
    double (*part)[4];
    double *var;  /* of each row without the shots' own errors */
    double *tail; /* Student: how much more a row's variance counts */
    double *x;    /* rows*(n+1): DA, column-major, and h behind it */
    double *y;    /* S^-1 of those */
    struct dw_banded s;
    double *m, *g, *p_inverse, *rest, *work;
    size_t *met;
    double *inverse; /* of S, its band */
    double *own2;    /* of each shot */
    double prior2[DW_SETTING_KINDS];
};

static void lay_out(struct fit *f)
{
    const struct dw_uneven *u = f->u;
    double light = f->p->light_stops * pow(u->unit_s / 120, 2.5);
    for (size_t i = 0; i < f->rows; i++) {
        dw_third_difference(u->shots->time + i, u->unit_s, f->part[i]);
        f->var[i] = u->bend[i].var[u->term] + light * light;
        f->tail[i] = 1;
        for (size_t k = 0; k < 4; k++)
            for (int s = 0; s < DW_SETTING_KINDS; s++) {
                int c = u->shots->setting[i + k][s];
                if (c >= 0)
                    f->x[(size_t)c * f->rows + i] += f->part[i][k];
            }
        f->x[(size_t)f->n * f->rows + i] = u->bend[i].size[u->term];
    }
}

static double squares(const double part[4])
{
    return part[0] * part[0] + part[1] * part[1] + part[2] * part[2] + part[3] * part[3];
}

/* S in the weights as they stand, and what it makes of h. */
static bool weigh(struct fit *f)
{
    memset(f->s.a, 0, f->rows * 4 * sizeof(double));
    for (size_t i = 0; i < f->rows; i++)
        for (size_t k = 0; k < 4 && i + k < f->rows; k++) {
            double sum = k ? 0 : f->var[i] * f->tail[i];
            for (size_t j = k; j < 4; j++)
                sum += f->own2[i + j] * f->part[i][j] * f->part[i + k][j - k];
            dw_banded_add(&f->s, (int)(i + k), (int)i, sum);
        }
    size_t h = (size_t)f->n * f->rows;
    memcpy(f->y + h, f->x + h, f->rows * sizeof(double));
    return dw_banded_factor(&f->s) && dw_banded_solve(&f->s, f->y + h, 1);
}

/* M and g. */
static bool gather(struct fit *f)
{
    memcpy(f->y, f->x, f->rows * (size_t)f->n * sizeof(double));
    if (!weigh(f) || !dw_banded_solve(&f->s, f->y, f->n))
        return false;
    for (int a = 0; a < f->n; a++) {
        const double *x = f->x + (size_t)a * f->rows;
        size_t met = 0; /* few rows have to do with one setting */
        for (size_t i = 0; i < f->rows; i++)
            if (x[i] != 0)
                f->met[met++] = i;
        for (int b = 0; b <= f->n; b++) {
            const double *y = f->y + (size_t)b * f->rows;
            double sum = 0;
            for (size_t j = 0; j < met; j++)
                sum += x[f->met[j]] * y[f->met[j]];
            if (b < f->n)
                f->m[a * f->n + b] = sum;
            else
                f->g[a] = sum;
        }
    }
    return true;
}

/* p_inverse = (M + prior)^-1, prior variance by kind. */
static bool invert(struct fit *f, const double prior2[DW_SETTING_KINDS])
{
    int n = f->n;
    memcpy(f->p_inverse, f->m, (size_t)n * (size_t)n * sizeof(double));
    for (int a = 0; a < n; a++)
        f->p_inverse[a * n + a] += 1 / prior2[f->u->shots->known.kind[a]];
    if (LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', n, f->p_inverse, n) != 0 ||
        LAPACKE_dpotri_work(LAPACK_COL_MAJOR, 'L', n, f->p_inverse, n) != 0)
        return false;
    for (int a = 0; a < n; a++)
        for (int b = a + 1; b < n; b++)
            f->p_inverse[b * n + a] = f->p_inverse[a * n + b];
    return true;
}

static void offsets(const struct fit *f, struct dw_offset *offset)
{
    for (int a = 0; a < f->n; a++) {
        offset[a] = (struct dw_offset){0, sqrt(f->p_inverse[a * f->n + a])};
        for (int b = 0; b < f->n; b++)
            offset[a].stops += f->p_inverse[a * f->n + b] * f->g[b];
    }
}

static void learn_priors(struct fit *f, const struct dw_offset *offset)
{
    double sum[DW_SETTING_KINDS] = {0}, count[DW_SETTING_KINDS] = {0};
    for (int a = 0; a < f->n; a++) {
        int kind = f->u->shots->known.kind[a];
        sum[kind] += offset[a].stops * offset[a].stops + offset[a].sigma * offset[a].sigma;
        count[kind]++;
    }
    for (int k = 0; k < DW_SETTING_KINDS; k++)
        if (count[k] > 0)
            f->prior2[k] = fmax(1e-10, sum[k] / count[k]);
}

/* What the offsets leave of each row. */
static void leave_rest(struct fit *f, const struct dw_offset *offset)
{
    for (size_t i = 0; i < f->rows; i++) {
        double y = f->u->bend[i].size[f->u->term];
        for (size_t k = 0; k < 4; k++)
            for (int s = 0; s < DW_SETTING_KINDS; s++) {
                int c = f->u->shots->setting[i + k][s];
                y -= c >= 0 ? f->part[i][k] * offset[c].stops : 0;
            }
        f->rest[i] = y;
    }
}

/* The usual error of a shot's own, from the middle of all rows. */
static double usual_own(struct fit *f)
{
    size_t n = 0;
    for (size_t i = 0; i < f->rows; i++)
        if (f->u->bend[i].var[f->u->term] < DW_BEND_UNKNOWN)
            f->work[n++] =
                (f->rest[i] * f->rest[i] / CHI2_MEDIAN - f->var[i]) / squares(f->part[i]);
    return fmax(f->p->least_own * f->p->least_own, n ? dw_median(f->work, n) : 0);
}

/* Every shot may at first be as far off as its four rows allow: from small errors none would ever
 * be found to be large. */
static void start_own(struct fit *f, double usual)
{
    size_t rows = f->rows;
    for (size_t shot = 0; shot < rows + 3; shot++) {
        double pull = 0, known = 0;
        for (size_t i = shot > 3 ? shot - 3 : 0; i <= shot && i < rows; i++) {
            double part = f->part[i][shot - i];
            pull += part * f->u->bend[i].size[f->u->term] / f->var[i];
            known += part * part / f->var[i];
        }
        f->own2[shot] = fmax(usual, pull * pull / (known * known));
    }
}

/* Each shot's own error r as it is now believed, and from it how large such errors of this shot are
 * (Student): one that a car lit is off in all four rows that it is in. S is factored; y has S^-1 of
 * the settings' columns and of h. */
static void learn_own(struct fit *f, const struct dw_offset *offset, double usual)
{
    size_t rows = f->rows;
    double *left = f->work, *h = f->y + (size_t)f->n * rows; /* S^-1 rest */
    memcpy(left, h, rows * sizeof *left);
    for (int a = 0; a < f->n; a++)
        for (size_t i = 0; i < rows && offset[a].stops != 0; i++)
            left[i] -= offset[a].stops * f->y[(size_t)a * rows + i];
    dw_banded_inverse(&f->s, f->inverse);
    for (size_t shot = 0; shot < rows + 3; shot++) {
        size_t first = shot > 3 ? shot - 3 : 0, last = shot < rows ? shot : rows - 1;
        double pull = 0, known = 0;
        for (size_t i = first; i <= last; i++) {
            pull += f->part[i][shot - i] * left[i];
            for (size_t k = first; k <= last; k++)
                known += f->part[i][shot - i] * f->part[k][shot - k] *
                         f->inverse[i < k ? i * 4 + (k - i) : k * 4 + (i - k)];
        }
        double own = f->own2[shot], r = own * pull, var = fmax(0, own - own * own * known);
        f->own2[shot] = (f->p->own_tail * usual + r * r + var) / (f->p->own_tail + 1);
    }
}

/* How unusual each row is beside all that. */
static void learn_tails(struct fit *f)
{
    for (size_t i = 0; i < f->rows; i++) {
        double var = f->var[i];
        for (size_t k = 0; k < 4; k++)
            var += f->own2[i + k] * f->part[i][k] * f->part[i][k];
        f->tail[i] = (f->p->tail + f->rest[i] * f->rest[i] / var) / (f->p->tail + 1);
    }
}

static bool score_of(struct fit *f, double *score)
{
    const double usual = f->p->offset_stops * f->p->offset_stops;
    const double prior2[DW_SETTING_KINDS] = {usual, usual, usual};
    int n = f->n;
    if (!invert(f, prior2))
        return false;
    double q = 0, mean = 0, var = 0;
    for (int a = 0; a < n; a++)
        for (int b = 0; b < n; b++)
            q += f->g[a] * f->p_inverse[a * n + b] * f->g[b];
    /* T = 1 - P^-1 / usual */
    for (int a = 0; a < n; a++)
        for (int b = 0; b < n; b++) {
            double t = (a == b) - f->p_inverse[a * n + b] / usual;
            mean += a == b ? t : 0;
            var += 2 * t * t;
        }
    *score = var > 0 ? (q - mean) / sqrt(var) : 0;
    return true;
}

static bool forget(const struct fit *f, struct dw_offset *offset)
{
    for (int a = 0; a < f->n; a++)
        offset[a] = (struct dw_offset){0, 0};
    return true;
}

/* First unusual shots alone, so that no setting is taken for what a car did to the one shot that
 * has it; then settings, which take back what they did to several; then what is left of unusual
 * light. */
enum stage { SHOTS, SETTINGS, LIGHT, STAGES };

static bool learn(struct fit *f, enum stage stage, struct dw_offset *offset)
{
    for (int round = 0; round < f->p->rounds; round++) {
        if (stage == SHOTS ? !weigh(f) : !gather(f) || !invert(f, f->prior2))
            return false;
        if (stage > SHOTS)
            offsets(f, offset);
        leave_rest(f, offset);
        learn_own(f, offset, usual_own(f));
        if (stage == LIGHT)
            learn_tails(f);
        if (stage > SHOTS)
            learn_priors(f, offset);
    }
    return true;
}

static bool work_out(struct fit *f, struct dw_offset *offset)
{
    double score;
    lay_out(f);
    for (int k = 0; k < DW_SETTING_KINDS; k++)
        f->prior2[k] = f->p->offset_stops * f->p->offset_stops;
    for (size_t i = 0; i < f->rows + 3; i++)
        f->own2[i] = f->p->least_own * f->p->least_own;
    if (f->p->odd_shots) {
        start_own(f, f->p->least_own * f->p->least_own);
        if (!learn(f, SHOTS, offset))
            return false;
    }
    if (!learn(f, SETTINGS, offset) || !gather(f) || !score_of(f, &score))
        return false;
    if (score < f->p->worth_looking)
        return forget(f, offset);
    if (!learn(f, LIGHT, offset) || !gather(f) || !score_of(f, &score))
        return false;
    double least = f->p->least_stops * f->p->least_stops;
    bool any = false;
    for (int k = 0; k < DW_SETTING_KINDS; k++) {
        bool matters = f->prior2[k] > least;
        f->prior2[k] = matters ? f->prior2[k] : NOTHING;
        any = any || matters;
    }
    if (!any || score < f->p->least_doubt)
        return forget(f, offset);
    if (!invert(f, f->prior2))
        return false;
    offsets(f, offset);
    for (int a = 0; a < f->n; a++)
        if (f->prior2[f->u->shots->known.kind[a]] <= NOTHING)
            offset[a] = (struct dw_offset){0, 0};
    return true;
}

enum dw_status dw_uneven_fit(const struct dw_uneven *u, const struct dw_uneven_params *params,
                             struct dw_arena *arena, struct dw_offset *offset, struct dw_error *err)
{
    size_t n = (size_t)u->shots->known.n, mark = arena->n;
    for (size_t a = 0; a < n; a++)
        offset[a] = (struct dw_offset){0, 0};
    if (n == 0 || u->shots->n < LEAST_SHOTS)
        return DW_OK;
    struct fit f = {.u = u, .p = params, .rows = u->shots->n - 3, .n = (int)n};
    f.part = dw_arena_take(arena, f.rows, sizeof *f.part);
    f.var = DW_TAKE(arena, f.rows, double);
    f.tail = DW_TAKE(arena, f.rows, double);
    f.x = DW_TAKE(arena, f.rows * (n + 1), double);
    f.y = DW_TAKE(arena, f.rows * (n + 1), double);
    f.s = (struct dw_banded){(int)f.rows, 3, DW_TAKE(arena, f.rows * 4, double)};
    f.m = DW_TAKE(arena, n * n, double);
    f.g = DW_TAKE(arena, n, double);
    f.p_inverse = DW_TAKE(arena, n * n, double);
    f.rest = DW_TAKE(arena, f.rows, double);
    f.work = DW_TAKE(arena, f.rows, double);
    f.met = DW_TAKE(arena, f.rows, size_t);
    f.own2 = DW_TAKE(arena, u->shots->n, double);
    f.inverse = DW_TAKE(arena, f.rows * 4, double);
    if (!f.part || !f.var || !f.tail || !f.x || !f.y || !f.s.a || !f.m || !f.g || !f.p_inverse ||
        !f.rest || !f.work || !f.met || !f.own2 || !f.inverse)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the settings' own errors");
    bool ok = work_out(&f, offset);
    dw_arena_free_to(arena, mark);
    return ok ? DW_OK : dw_fail(err, DW_ERR_NUMERIC, "the settings' own errors could not be found");
}
