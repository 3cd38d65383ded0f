/* joint.c: see joint.h. The unknowns of a shot stand side by side (s_i, e_i), so that all terms
 * but the offsets, factors and the law's coefficients lie in a band of six; these border it and are
 * eliminated last (Schur complement), which keeps time and memory linear in the number of shots. */
#include "decide/share/joint.h"
#include "decide/solve/banded.h"
#include "decide/solve/corner.h"
#include "decide/solve/third.h"

#include <lapacke.h>
#include <math.h>
#include <string.h>

#define BAND 6

/* Adds weight * row row^T for a row with entries at index[0..n-1]. */
static void add_row(struct dw_banded *m, const int *index, const double *value, int n,
                    double weight)
{
    for (int p = 0; p < n; p++)
        for (int q = 0; q <= p; q++)
            dw_banded_add(m, index[p], index[q], weight * value[p] * value[q]);
}

/* What borders the band: offsets, then factors, then the law's coefficients. */
static int bordering(const struct dw_joint *j)
{
    return j->classes + j->follows + (j->law ? j->law->spline.n : 0);
}

static struct dw_law_place place_of_law(const struct dw_joint *j)
{
    return (struct dw_law_place){j->n, 2 * j->n, j->classes + j->follows, bordering(j), j->stiff};
}

static void add_terms(const struct dw_joint *j, struct dw_banded *m, double *rhs)
{
    const double sign[4] = {-1, -1, 1, 1};
    for (size_t k = 0; k < j->n_pairs; k++) {
        int a = 2 * (int)j->pair[k].a, b = 2 * (int)j->pair[k].b;
        int index[4] = {a, a + 1, b, b + 1};
        add_row(m, index, sign, 4, j->weight[k]);
        for (int p = 0; p < 4; p++)
            rhs[index[p]] += sign[p] * j->weight[k] * j->pair[k].v;
    }
    for (size_t i = 0; i + 3 < j->n; i++) {
        double value[4];
        int first = 2 * (int)i, index[4] = {first, first + 2, first + 4, first + 6};
        dw_third_difference(j->time + i, j->unit_s, value);
        add_row(m, index, value, 4, j->stiff[i]);
    }
    for (size_t i = 0; i < j->n; i++) {
        dw_banded_add(m, 2 * (int)i + 1, 2 * (int)i + 1, j->tie[i]);
        /* a faint pull that settles what nothing else tells: fewer than four shots, islands */
        dw_banded_add(m, 2 * (int)i, 2 * (int)i, 1e-6 + (j->law ? j->law->loose : 0));
    }
    int middle = 2 * (int)(j->n / 2);
    dw_banded_add(m, middle, middle, 1e4);
}

double dw_follow_at(const struct dw_follow *f, size_t shot)
{
    if (shot < f->first)
        return f->x[0];
    return f->x[shot - f->first < f->n ? shot - f->first : f->n - 1];
}

/* What light that follows m did in pair k. */
static double followed(const struct dw_joint *j, int m, size_t k)
{
    const struct dw_follow *f = &j->follow[m];
    return dw_follow_at(f, j->pair[k].b) - dw_follow_at(f, j->pair[k].a);
}

/* border: columns of 2n, one an offset with entries -tie_i at (e_i, o), then one a factor, with
 * those of its pairs, then the law's. corner: these with each other; right: their right-hand sides.
 */
static void add_border(const struct dw_joint *j, double *border, double *corner, double *right)
{
    size_t rows = 2 * j->n;
    int all = bordering(j);
    for (size_t i = 0; i < j->n; i++)
        for (int p = 0; p < DW_MAX_CLASSES; p++) {
            int c = j->setting[i][p];
            if (c < 0)
                continue;
            border[(size_t)c * rows + 2 * i + 1] -= j->tie[i];
            for (int q = 0; q < DW_MAX_CLASSES; q++)
                if (j->setting[i][q] >= 0)
                    corner[c * all + j->setting[i][q]] += j->tie[i];
        }
    for (int c = 0; c < j->classes; c++)
        corner[c * all + c] += j->offset_weight;
    for (int m = 0; m < j->follows; m++) {
        int at = j->classes + m;
        double *column = border + (size_t)at * rows;
        corner[at * all + at] += j->follow[m].weight;
        for (size_t k = 0; k < j->n_pairs; k++) {
            double x = followed(j, m, k), weighted = j->weight[k] * x;
            if (x == 0)
                continue;
            size_t a = 2 * (size_t)j->pair[k].a, b = 2 * (size_t)j->pair[k].b;
            column[a] -= weighted;
            column[a + 1] -= weighted;
            column[b] += weighted;
            column[b + 1] += weighted;
            right[at] += weighted * j->pair[k].v;
            for (int q = 0; q < j->follows; q++)
                corner[at * all + j->classes + q] += weighted * followed(j, q, k);
        }
    }
    if (j->law) {
        const struct dw_law_place place = place_of_law(j);
        dw_law_border(j->law, &place, border, corner);
    }
}

/* Take from a row of the corner, and from its right-hand side, what the band has told already:
 * border^T times the inverse band times border and x. Rows of the border are sparse: that of offset
 * `at` has entries at its shots, that of factor m at the pairs in which it moves. */
static void eliminate_offsets(const struct dw_joint *j, const double *x, const double *border,
                              double *corner, double *right)
{
    enum { ABREAST = 8 }; /* columns, as one alone would wait for its own last sum */
    size_t rows = 2 * j->n, all = (size_t)bordering(j);
    for (size_t i = 0; i < j->n; i++)
        for (int p = 0; p < DW_MAX_CLASSES; p++)
            if (j->setting[i][p] >= 0)
                right[j->setting[i][p]] += j->tie[i] * x[2 * i + 1];
    for (size_t c = 0; c < all; c += ABREAST) {
        size_t wide = all - c < ABREAST ? all - c : ABREAST;
        for (size_t i = 0; i < j->n; i++) {
            double y[ABREAST];
            for (size_t k = 0; k < wide; k++)
                y[k] = j->tie[i] * border[(c + k) * rows + 2 * i + 1];
            for (int p = 0; p < DW_MAX_CLASSES; p++) {
                if (j->setting[i][p] < 0)
                    continue;
                double *out = corner + (size_t)j->setting[i][p] * all + c;
                for (size_t k = 0; k < wide; k++)
                    out[k] += y[k];
            }
        }
    }
}

static void eliminate_factor(const struct dw_joint *j, int m, const double *x, const double *border,
                             double *corner, double *right)
{
    size_t rows = 2 * j->n;
    int all = bordering(j), at = j->classes + m;
    for (size_t k = 0; k < j->n_pairs; k++) {
        double weighted = j->weight[k] * followed(j, m, k);
        if (weighted == 0)
            continue;
        size_t a = 2 * (size_t)j->pair[k].a, b = 2 * (size_t)j->pair[k].b;
        right[at] -= weighted * (x[b] + x[b + 1] - x[a] - x[a + 1]);
        for (int c = 0; c < all; c++) {
            const double *y = border + (size_t)c * rows;
            corner[at * all + c] -= weighted * (y[b] + y[b + 1] - y[a] - y[a + 1]);
        }
    }
}

/* meets: room for a value a coefficient. */
static void eliminate_law(const struct dw_joint *j, const double *x, const double *border,
                          double *corner, double *right, double *meets)
{
    const struct dw_law_place place = place_of_law(j);
    dw_law_meet(j->law, &place, x, meets);
    for (int c = 0; c < j->law->spline.n; c++)
        right[place.at + c] -= meets[c];
    for (int q = 0; q < place.at; q++) /* offsets and factors have told what they have in common */
        for (int c = 0; c < j->law->spline.n; c++)
            corner[(place.at + c) * place.all + q] = corner[q * place.all + place.at + c];
    for (int q = place.at; q < place.all; q++) {
        dw_law_meet(j->law, &place, border + (size_t)q * place.rows, meets);
        for (int c = 0; c < j->law->spline.n; c++)
            corner[(place.at + c) * place.all + q] -= meets[c];
    }
}

/* Solves the corner, that is all but the law by elimination, and with what it leaves the law, whose
 * prior follows its coefficients. work: as for dw_law_settle. */
static bool solve_corner(const struct dw_joint *j, double *corner, double *right, double *work)
{
    int all = bordering(j), some = j->classes + j->follows;
    if (!dw_corner_eliminate(corner, right, all, some))
        return false;
    if (j->law) {
        const double *left = corner + (size_t)some * (size_t)(all + 1);
        if (!dw_law_settle(j->law, left, all, right + some, work))
            return false;
        memcpy(right + some, j->law->coef, (size_t)j->law->spline.n * sizeof *right);
    }
    dw_corner_solve(corner, right, all, some);
    return true;
}

/* Solves the bordered system; `border` is replaced by the inverse band times border. block: the
 * factors' part of the corner, as the band leaves it. work: as for dw_law_settle. */
static bool solve_bordered(const struct dw_joint *j, const struct dw_banded *factor, double *x,
                           double *border, double *corner, double *right, double *block,
                           double *work)
{
    size_t rows = 2 * j->n;
    int c = bordering(j);
    if (!dw_banded_solve(factor, x, 1))
        return false;
    if (c == 0)
        return true;
    if (!dw_banded_solve(factor, border, c))
        return false;
    eliminate_offsets(j, x, border, corner, right);
    for (int m = 0; m < j->follows; m++)
        eliminate_factor(j, m, x, border, corner, right);
    if (j->law)
        eliminate_law(j, x, border, corner, right, work);
    /* the rounding of two eliminations leaves it not quite symmetric */
    for (int a = 0; a < c; a++)
        for (int b = 0; b < a; b++)
            corner[a * c + b] = corner[b * c + a] = 0.5 * (corner[a * c + b] + corner[b * c + a]);
    for (int a = 0; a < j->follows; a++)
        for (int b = 0; b < j->follows; b++)
            block[a * j->follows + b] = corner[(j->classes + a) * c + j->classes + b];
    if (!solve_corner(j, corner, right, work))
        return false;
    for (int b = 0; b < c; b++)
        for (size_t i = 0; i < rows; i++)
            x[i] -= border[(size_t)b * rows + i] * right[b];
    return true;
}

/* Entry (p, q) of what dw_banded_inverse gives. */
static double entry(const double *inverse, size_t p, size_t q)
{
    return p > q ? inverse[q * (BAND + 1) + (p - q)] : inverse[p * (BAND + 1) + (q - p)];
}

/* Variances of e, with the offsets and factors held: what is left of offsets is common to a setting
 * and does not flicker. Fast ones from second differences d = e_i - (e_{i-1} + e_{i+1})/2, whose
 * variance is 3/2 of that of independent errors. */
static void variances(const double *inverse, size_t n, double *e_var, double *e_fast)
{
    for (size_t i = 0; i < n; i++) {
        size_t at = 2 * i + 1, was = at - 2, next = at + 2;
        e_var[i] = e_fast[i] = entry(inverse, at, at);
        if (i == 0 || i + 1 >= n)
            continue;
        double d = entry(inverse, at, at) - entry(inverse, at, was) - entry(inverse, at, next) +
                   0.25 * (entry(inverse, was, was) + entry(inverse, next, next)) +
                   0.5 * entry(inverse, was, next);
        e_fast[i] = fmax(d / 1.5, 0);
    }
    if (n > 2) { /* nothing stands beyond the ends */
        e_fast[0] = e_fast[1];
        e_fast[n - 1] = e_fast[n - 2];
    }
}

/* What not knowing the factors adds to the variances, offsets held. block: what is left of the
 * factors' part of the corner, replaced by its Cholesky factor. work: two values a factor. */
static bool add_follow_variance(const struct dw_joint *j, const double *border, double *block,
                                double *work, double *e_var, double *e_fast)
{
    size_t rows = 2 * j->n;
    int n = j->follows;
    double *at = work, *fast = work + n;
    if (n == 0)
        return true;
    if (LAPACKE_dpotrf_work(LAPACK_COL_MAJOR, 'L', n, block, n) != 0)
        return false;
    for (size_t i = 0; i < j->n; i++) {
        bool inner = i > 0 && i + 1 < j->n, any = false;
        for (int m = 0; m < n; m++) {
            const double *e = border + (size_t)(j->classes + m) * rows + 2 * i + 1;
            at[m] = e[0];
            fast[m] = inner ? e[0] - 0.5 * (*(e - 2) + e[2]) : 0;
            any |= fabs(at[m]) > 1e-9;
        }
        /* far from every spell; else solve with the factor: the variance is the square */
        for (int m = 0; m < n && any; m++) {
            for (int q = 0; q < m; q++) {
                at[m] -= block[q * n + m] * at[q];
                fast[m] -= block[q * n + m] * fast[q];
            }
            at[m] /= block[m * n + m];
            fast[m] /= block[m * n + m];
            e_var[i] += at[m] * at[m];
            e_fast[i] += fast[m] * fast[m] / 1.5;
        }
    }
    if (j->n > 2) {
        e_fast[0] = e_fast[1];
        e_fast[j->n - 1] = e_fast[j->n - 2];
    }
    return true;
}

/* What not knowing the law adds to the variance of an error beside its neighbours: of b^T corner^-1
 * b, with b what the error has to do with all that borders, the part that the law's columns of the
 * corner's Cholesky factor bring. Offsets are free here: where each setting is used once, an error
 * is known by little else than the law. corner: its first columns as dw_corner_eliminate leaves
 * them; last: factor of the law's, as dw_law_settle does. b: a value for all that borders. */
static void doubt_law(const struct dw_joint *j, const double *border, const double *corner,
                      const double *last, double *b)
{
    size_t rows = 2 * j->n, all = (size_t)bordering(j), laws = (size_t)j->law->spline.n;
    size_t some = all - laws;
    for (size_t i = 1; i + 1 < j->n; i++) {
        double sum = 0;
        for (size_t c = 0; c < all; c++) {
            const double *e = border + c * rows + 2 * i + 1;
            b[c] = e[0] - 0.5 * (*(e - 2) + e[2]);
        }
        for (size_t c = 0; c < all; c++) {
            const double *l = c < some ? corner + c * all : last + (c - some) * laws;
            size_t from = c < some ? 0 : some; /* the first unknown of this factor's rows */
            double z = b[c] / l[c - from];
            for (size_t k = c + 1; k < all; k++)
                b[k] -= z * l[k - from];
            sum += c < some ? 0 : z * z;
        }
        j->law->doubt[i] = sum / 1.5;
    }
    if (j->n > 2) {
        j->law->doubt[0] = j->law->doubt[1];
        j->law->doubt[j->n - 1] = j->law->doubt[j->n - 2];
    }
}

enum dw_status dw_joint_solve(const struct dw_joint *j, struct dw_arena *arena, double *s,
                              double *e, double *e_var, double *e_fast, double *offset)
{
    size_t mark = arena->n, rows = 2 * j->n, band = rows * (BAND + 1);
    size_t all = (size_t)bordering(j), laws = j->law ? (size_t)j->law->spline.n : 0;
    struct dw_banded m = {(int)rows, BAND, DW_TAKE(arena, band, double)};
    double *x = DW_TAKE(arena, rows, double);
    double *border = DW_TAKE(arena, rows * all, double);
    double *corner = DW_TAKE(arena, all * all, double);
    size_t follows = (size_t)j->follows;
    double *block = DW_TAKE(arena, follows * follows, double);
    double *work = DW_TAKE(arena, 2 * follows, double);
    double *right = DW_TAKE(arena, all, double);
    double *settling = DW_TAKE(arena, laws * (laws + 1), double);
    double *inverse = e_var ? DW_TAKE(arena, band, double) : x;
    enum dw_status status = DW_ERR_MEMORY;
    if (m.a && x && border && corner && block && work && right && settling && inverse) {
        add_terms(j, &m, x);
        add_border(j, border, corner, right);
        status =
            dw_banded_factor(&m) && solve_bordered(j, &m, x, border, corner, right, block, settling)
                ? DW_OK
                : DW_ERR_NUMERIC;
    }
    for (size_t c = 0; status == DW_OK && c < all - laws; c++)
        offset[c] = right[c];
    for (size_t i = 0; status == DW_OK && i < j->n; i++) {
        s[i] = x[2 * i];
        e[i] = x[2 * i + 1];
    }
    if (status == DW_OK && e_var) {
        dw_banded_inverse(&m, inverse);
        variances(inverse, j->n, e_var, e_fast);
        if (!add_follow_variance(j, border, block, work, e_var, e_fast))
            status = DW_ERR_NUMERIC;
        if (status == DW_OK && j->law && j->law->doubted)
            doubt_law(j, border, corner, settling, right);
    }
    dw_arena_free_to(arena, mark);
    return status;
}
