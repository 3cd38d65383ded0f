/* pairs.c: robust changes of light between neighbours. Model of tile k from shot a to b:
 *
 *   d_k = v + (drift of tile k) + (black level's wander) * lever_k + noise_k
 *
 * v is what exposure and the common light did. Tiles that move (foliage, cloud, people) are either
 * always noisy, which their own history tells, or sometimes still: then they lie in the narrow
 * heap of still tiles in some pairs and far from it in others. So v is the place of the densest
 * heap, weighted by each tile's noise when it is still, within reach of what an exposure error can
 * be. The variance of v comes from how far the regions of the picture disagree about it. */
#include "decide/pairs.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

#define PASSES 3
#define BLOCK 32        /* pairs that share one judgement of the tiles' noise */
#define REGION 5        /* tiles, across and down */
#define MAX_REGIONS 256
#define BRISK 0.15      /* stops a step: twilight; there the tiles' drifts change fast */
#define TUKEY 4.685     /* 95 % efficient at the normal (Beaton & Tukey 1974) */
#define MIN_TILES 3
#define MOST_WANDER 1.0   /* DN rms between neighbours that are believed of a black level */
/* Choice between heaps of tiles */
#define CLEAR_SHARE 0.8   /* of the weight in one heap: no choice to make */
#define HEAPS 6           /* candidates */
#define BINS 64
#define SHARP 0.01        /* stops: a tile as still as this has a full voice */
#define REGION_VOICE 30.0
#define WRONG_RECORD 40.0 /* nats against any difference, however large */
#define TEMPER 0.7        /* regions are not quite independent */

struct compare {
    const struct dw_grids *g;
    const struct dw_pair_params *p;
    size_t tiles, steps;  /* steps: pairs of lag 1 */
    float *rate;          /* steps*tiles: own drift, stops a second */
    float *still;         /* steps*tiles: how still the tile was, 0..1 */
    float *rel;           /* steps*tiles: d_k - v of lag 1 */
    float *excess;        /* blocks*tiles: variance beyond photon noise, of a lag-1 pair */
    double *v, *centre;   /* steps */
    double black_var;     /* DN^2, of the wander between neighbours */
    double *wander, *wander_var; /* steps: found without a prior, and its photon variance */
    int regions, *region; /* of each tile */
    /* one pair at work */
    double *d, *w, *sigma, *lever, *gamma, *sorted;
    int *tile;
};

/* Gathers the tiles that both shots have: difference without drift, its own noise. */
static size_t gather(struct compare *c, size_t a, size_t b)
{
    const struct dw_grids *g = c->g;
    const float *la = g->light + a * c->tiles, *lb = g->light + b * c->tiles;
    const float *na = g->noise + a * c->tiles, *nb = g->noise + b * c->tiles;
    const float *ea = g->lever + a * c->tiles, *eb = g->lever + b * c->tiles;
    const float *excess = c->excess + a / BLOCK * c->tiles;
    double floor = c->p->floor_stops * c->p->floor_stops;
    size_t n = 0;
    for (size_t k = 0; k < c->tiles; k++) {
        if (!(isfinite(la[k]) && isfinite(lb[k])))
            continue;
        double d = (double)lb[k] - (double)la[k];
        for (size_t j = a; j < b; j++)
            d -= (double)c->rate[j * c->tiles + k] * (g->time[j + 1] - g->time[j]);
        double var = (double)na[k] + (double)nb[k] + (double)excess[k] + floor;
        c->d[n] = d;
        c->w[n] = 1 / var;
        c->sigma[n] = sqrt(var);
        c->lever[n] = 0.5 * ((double)ea[k] + (double)eb[k]);
        c->tile[n++] = (int)k;
    }
    return n;
}

/* Tukey weights about v; returns the sum of weight shares (1 = all still). */
static double weigh(struct compare *c, size_t n, double v, double b, double widen)
{
    double share = 0, all = 0;
    for (size_t k = 0; k < n; k++) {
        double r = c->d[k] - v - b * c->lever[k];
        c->gamma[k] = dw_tukey_weight(r, TUKEY * widen * c->sigma[k]);
        share += c->gamma[k] * c->w[k];
        all += c->w[k];
    }
    return all > 0 ? share / all : 0;
}

/* Weighted least squares for v and, with its prior, the black level's wander b. */
static void solve_two(const struct compare *c, size_t n, double *v, double *b)
{
    double s1 = 0, sl = 0, sll = 0, sd = 0, sld = 0;
    for (size_t k = 0; k < n; k++) {
        double w = c->gamma[k] * c->w[k], l = c->lever[k];
        s1 += w;
        sl += w * l;
        sll += w * l * l;
        sd += w * c->d[k];
        sld += w * l * c->d[k];
    }
    if (!(s1 > 0))
        return;
    double prior = c->black_var > 0 ? 1 / c->black_var : 0;
    double det = s1 * (sll + prior) - sl * sl;
    if (prior > 0 && det > 1e-12 * s1 * (sll + prior)) {
        *v = (sd * (sll + prior) - sl * sld) / det;
        *b = (s1 * sld - sl * sd) / det;
    } else {
        *v = sd / s1;
        *b = 0;
    }
}

/* The black level's wander as the still tiles alone show it, for learning how large it is. */
static void free_wander(const struct compare *c, size_t n, double *b, double *var)
{
    double s1 = 0, sl = 0, sll = 0, sd = 0, sld = 0;
    for (size_t k = 0; k < n; k++) {
        double w = c->gamma[k] * c->w[k], l = c->lever[k];
        s1 += w;
        sl += w * l;
        sll += w * l * l;
        sd += w * c->d[k];
        sld += w * l * c->d[k];
    }
    double det = s1 * sll - sl * sl;
    *var = det > 1e-9 * s1 * sll ? s1 / det : (double)INFINITY;
    *b = isfinite(*var) ? (s1 * sld - sl * sd) / det : 0;
}

/* Refines v from a start; returns the share of the tiles' weight that lies in its heap. */
static double settle(struct compare *c, size_t n, int rounds, double *v, double *b)
{
    for (int i = 0; i < rounds; i++) {
        weigh(c, n, *v, *b, i == 0 ? 2 : 1);
        solve_two(c, n, v, b);
    }
    return weigh(c, n, *v, *b, 1);
}

/* How well a heap explains the pair, in nats. An exposure error moves the whole picture, a shadow
 * only its own part of it, so every region has a voice that grows with the logarithm of how many
 * of its tiles take part; tiles that are noisy even when still have little to say. Against it
 * stands how improbable such a difference of exposure errors is: normal about the slow common
 * change, but never worse than a wrong record, which moves all regions alike. */
static double evidence(const struct compare *c, size_t n, double centre, bool free, double v)
{
    double in[MAX_REGIONS] = {0}, all[MAX_REGIONS] = {0}, sum = 0;
    for (size_t k = 0; k < n; k++) {
        int r = c->region[c->tile[k]];
        in[r] += c->gamma[k] * fmin(1, SHARP / c->sigma[k]);
        all[r]++;
    }
    for (int r = 0; r < c->regions; r++)
        sum += log1p(REGION_VOICE * in[r] / fmax(all[r], REGION * REGION / 2.0));
    if (free)
        return sum;
    double off = (v - centre) / c->p->reach_stops * 3;
    return sum - fmin(0.5 * off * off, WRONG_RECORD);
}

/* Densest places of the differences near the expected one, by a histogram; returns how many. */
static int dense_places(const struct compare *c, size_t n, double centre, double place[HEAPS])
{
    double bin[BINS] = {0}, width = 4 * c->p->reach_stops / BINS;
    for (size_t k = 0; k < n; k++) {
        double x = (c->d[k] - centre) / width + BINS / 2;
        if (x >= 0 && x < BINS)
            bin[(int)x] += fmin(1, SHARP / c->sigma[k]);
    }
    int found = 0;
    double height[HEAPS];
    for (int i = 1; i + 1 < BINS; i++) {
        double h = bin[i - 1] + 2 * bin[i] + bin[i + 1];
        if (bin[i] <= 0 || bin[i] < bin[i - 1] || bin[i] < bin[i + 1])
            continue;
        int at = found < HEAPS ? found++ : HEAPS - 1;
        if (at == HEAPS - 1 && found == HEAPS && height[at] >= h && place[at] != 0)
            continue;
        for (; at > 0 && height[at - 1] < h; at--) {
            height[at] = height[at - 1];
            place[at] = place[at - 1];
        }
        height[at] = h;
        place[at] = centre + (i + 0.5 - BINS / 2) * width;
    }
    return found;
}

/* When tiles disagree: the heap with the best evidence. Returns the variance that stands for the
 * chance that a rival is the true one. */
static double best_heap(struct compare *c, size_t n, double centre, bool free, double *v, double *b)
{
    double place[HEAPS + 1], found_v[HEAPS + 1], found_b[HEAPS + 1], score[HEAPS + 1];
    int places = dense_places(c, n, centre, place), best = 0;
    place[places++] = *v;
    for (int i = 0; i < places; i++) {
        found_v[i] = place[i];
        found_b[i] = 0;
        settle(c, n, 5, &found_v[i], &found_b[i]);
        score[i] = evidence(c, n, centre, free, found_v[i]);
        if (score[i] > score[best])
            best = i;
    }
    *v = found_v[best];
    *b = found_b[best];
    double doubt = 0;
    for (int i = 0; i < places; i++) {
        double apart = found_v[i] - *v;
        doubt = fmax(doubt, apart * apart * exp(-TEMPER * (score[best] - score[i])));
    }
    return doubt;
}

/* Variance of v: regions of the picture are taken to err independently (a sandwich estimate by
 * clusters, Liang & Zeger 1986), never below what photon noise alone allows. */
static double variance_of(const struct compare *c, size_t n, double v, double b)
{
    double sum[MAX_REGIONS] = {0}, weight = 0;
    for (size_t k = 0; k < n; k++) {
        double w = c->gamma[k] * c->w[k];
        sum[c->region[c->tile[k]]] += w * (c->d[k] - v - b * c->lever[k]);
        weight += w;
    }
    if (!(weight > 0))
        return 100;
    double squares = 0;
    for (int g = 0; g < c->regions; g++)
        squares += sum[g] * sum[g];
    return fmax(squares / (weight * weight), 1 / weight);
}

static struct dw_pair compare_pair(struct compare *c, size_t a, size_t b)
{
    struct dw_pair pair = {(uint32_t)a, (uint32_t)b, 0, 100, false};
    if (b == a + 1)
        c->wander_var[a] = INFINITY;
    size_t n = gather(c, a, b);
    if (n < MIN_TILES)
        return pair;
    double centre = 0;
    for (size_t j = a; j < b; j++)
        centre += c->centre[j];
    bool free = c->g->loose[a] || c->g->loose[b];
    memcpy(c->sorted, c->d, n * sizeof(double));
    double v = dw_median(c->sorted, n), black = 0;
    double doubt = 0;
    bool agree = settle(c, n, 4, &v, &black) >= CLEAR_SHARE;
    if (!agree)
        doubt = best_heap(c, n, centre, free, &v, &black);
    weigh(c, n, v, black, 1);
    pair.v = v;
    pair.agree = agree;
    pair.var = variance_of(c, n, v, black) + doubt;
    if (b == a + 1) {
        if (agree)
            free_wander(c, n, &c->wander[a], &c->wander_var[a]);
        c->v[a] = v;
        float *rel = c->rel + a * c->tiles, *still = c->still + a * c->tiles;
        for (size_t k = 0; k < c->tiles; k++) {
            rel[k] = NAN;
            still[k] = 0;
        }
        for (size_t k = 0; k < n; k++) {
            size_t at = (size_t)c->tile[k];
            double own = (double)c->rate[a * c->tiles + at] * (c->g->time[b] - c->g->time[a]);
            rel[at] = (float)(c->d[k] + own - v - black * c->lever[k]);
            still[at] = (float)c->gamma[k];
        }
    }
    return pair;
}

/* The slow common change about each step: a running median of what the steps found. */
static void find_centres(struct compare *c)
{
    const struct dw_grids *g = c->g;
    double work[2 * 7 + 1];
    for (size_t j = 0; j < c->steps; j++) {
        size_t n = 0, first = j > 7 ? j - 7 : 0;
        for (size_t i = first; i < c->steps && i <= j + 7; i++) {
            double dt = g->time[i + 1] - g->time[i];
            if (!g->loose[i] && !g->loose[i + 1])
                work[n++] = c->v[i] / fmax(dt, 1e-3);
        }
        c->centre[j] = n ? dw_median(work, n) * (g->time[j + 1] - g->time[j]) : c->v[j];
    }
}

/* Steps lo..hi-1 of tile k in which it departed by no more than its noise from this drift. */
static double support(const struct compare *c, size_t k, size_t lo, size_t hi, double rate)
{
    const struct dw_grids *g = c->g;
    double sum = 0;
    for (size_t j = lo; j < hi; j++) {
        double rel = (double)c->rel[j * c->tiles + k];
        double var = (double)c->excess[j / BLOCK * c->tiles + k] +
                     (double)g->noise[j * c->tiles + k] + (double)g->noise[(j + 1) * c->tiles + k];
        if (isfinite(rel))
            sum += dw_tukey_weight(rel - rate * (g->time[j + 1] - g->time[j]),
                                   TUKEY * sqrt(fmax(var, 1e-6)));
    }
    return sum;
}

/* A tile that was mostly out of the heap: has it moved, or was its drift wrong? Whichever of the
 * weighted mean and the plain median explains more of its steps is kept. */
static double doubtful_rate(const struct compare *c, size_t k, size_t lo, size_t hi, double mean)
{
    double work[64];
    size_t n = 0;
    for (size_t j = lo; j < hi && n < 64; j++)
        if (isfinite(c->rel[j * c->tiles + k]))
            work[n++] = (double)c->rel[j * c->tiles + k] /
                        fmax(c->g->time[j + 1] - c->g->time[j], 1e-3);
    if (n == 0)
        return mean;
    double middle = dw_median(work, n);
    return support(c, k, lo, hi, middle) > support(c, k, lo, hi, mean) ? middle : mean;
}

/* Each tile's own drift, stops a second: mean over the window of its departures from v, weighted
 * by how still it was; running sums, tile by tile in steps of time. */
static void find_drift(struct compare *c)
{
    const double *t = c->g->time;
    double half = c->p->drift_window_s / 2;
    for (size_t k = 0; k < c->tiles; k++) {
        size_t lo = 0, hi = 0; /* the window holds steps lo..hi-1 */
        double sum = 0, span = 0, count = 0;
        for (size_t j = 0; j < c->steps; j++) {
            double mid = 0.5 * (t[j] + t[j + 1]);
            /* symmetric about the step, so that a drift that itself drifts is right too */
            double reach = fmin(half, fmin(mid - t[0], t[c->steps] - mid));
            /* in twilight drifts come and go with the light, and light is not what is scarce */
            reach /= 1 + fabs(c->centre[j]) / BRISK;
            reach = fmax(reach, fmin(half, 2.5 * (t[j + 1] - t[j])));
            while (hi < c->steps && 0.5 * (t[hi] + t[hi + 1]) <= mid + reach) {
                double still = (double)c->still[hi * c->tiles + k];
                if (still > 0) {
                    sum += still * (double)c->rel[hi * c->tiles + k];
                    span += still * (t[hi + 1] - t[hi]);
                    count += still;
                }
                hi++;
            }
            while (lo < hi && 0.5 * (t[lo] + t[lo + 1]) < mid - reach) {
                double still = (double)c->still[lo * c->tiles + k];
                if (still > 0) {
                    sum -= still * (double)c->rel[lo * c->tiles + k];
                    span -= still * (t[lo + 1] - t[lo]);
                    count -= still;
                }
                lo++;
            }
            /* a tile that was hardly ever still has no drift to speak of */
            double rate = count > 0.5 && span > 0 ? sum / span * count / (count + 0.25) : 0;
            if (count < 0.6 * (double)(hi - lo))
                rate = doubtful_rate(c, k, lo, hi, rate);
            c->rate[j * c->tiles + k] = (float)rate;
        }
    }
}

/* Excess noise of each tile when it is still: from the lower quartile of |departure|, because a
 * tile under broken cloud is still in some pairs and leaps in others. */
static void find_noise(struct compare *c)
{
    const double quartile = 0.31863936396437514; /* of |normal| */
    double work[2 * BLOCK];
    const struct dw_grids *g = c->g;
    for (size_t block = 0; block * BLOCK < c->steps; block++) {
        size_t first = block * BLOCK > BLOCK / 2 ? block * BLOCK - BLOCK / 2 : 0;
        size_t last = first + 2 * BLOCK < c->steps ? first + 2 * BLOCK : c->steps;
        for (size_t k = 0; k < c->tiles; k++) {
            size_t n = 0;
            double photon = 0;
            for (size_t j = first; j < last; j++) {
                double rel = (double)c->rel[j * c->tiles + k];
                if (!isfinite(rel))
                    continue;
                double own = (double)c->rate[j * c->tiles + k] * (g->time[j + 1] - g->time[j]);
                photon += (double)g->noise[j * c->tiles + k] +
                          (double)g->noise[(j + 1) * c->tiles + k];
                work[n++] = fabs(rel - own);
            }
            float *out = &c->excess[block * c->tiles + k];
            if (n < 4) {
                *out = 1e-4f;
                continue;
            }
            double sigma = dw_quantile(work, n, 0.25) / quartile;
            *out = (float)fmax(0, sigma * sigma - photon / (double)n);
        }
    }
}

/* How much the black level wanders between neighbours, from the steps that can tell (dark tiles
 * beside bright ones). A camera whose level stands still must not pay for one that does not: the
 * second unknown costs half the precision at night. */
static void learn_black(struct compare *c)
{
    size_t n = 0;
    for (size_t j = 0; j < c->steps; j++)
        if (c->wander_var[j] < 1) {
            c->centre[n] = c->wander[j] * c->wander[j] * DW_MAD_TO_SIGMA * DW_MAD_TO_SIGMA -
                           c->wander_var[j];
            n++;
        }
    /* with nothing to learn from, no more than a camera's usual rounding */
    if (n >= 12)
        c->black_var = fmin(fmax(0, dw_median(c->centre, n)), MOST_WANDER * MOST_WANDER);
}

static bool take_room(struct compare *c, struct dw_arena *arena)
{
    size_t all = c->steps * c->tiles, blocks = c->steps / BLOCK + 1;
    c->rate = DW_TAKE(arena, all, float);
    c->still = DW_TAKE(arena, all, float);
    c->rel = DW_TAKE(arena, all, float);
    c->excess = DW_TAKE(arena, blocks * c->tiles, float);
    c->v = DW_TAKE(arena, c->steps, double);
    c->centre = DW_TAKE(arena, c->steps, double);
    c->wander = DW_TAKE(arena, c->steps, double);
    c->wander_var = DW_TAKE(arena, c->steps, double);
    c->region = DW_TAKE(arena, c->tiles, int);
    c->tile = DW_TAKE(arena, c->tiles, int);
    c->d = DW_TAKE(arena, c->tiles, double);
    c->w = DW_TAKE(arena, c->tiles, double);
    c->sigma = DW_TAKE(arena, c->tiles, double);
    c->lever = DW_TAKE(arena, c->tiles, double);
    c->gamma = DW_TAKE(arena, c->tiles, double);
    c->sorted = DW_TAKE(arena, c->tiles, double);
    return c->rate && c->still && c->rel && c->excess && c->v && c->centre && c->wander && c->wander_var && c->region &&
           c->tile && c->d && c->w && c->sigma && c->lever && c->gamma && c->sorted;
}

static void lay_regions(struct compare *c)
{
    int size = REGION;
    while ((c->g->cols + size - 1) / size * ((c->g->rows + size - 1) / size) > MAX_REGIONS)
        size++;
    int across = (c->g->cols + size - 1) / size;
    for (int r = 0; r < c->g->rows; r++)
        for (int k = 0; k < c->g->cols; k++)
            c->region[r * c->g->cols + k] = r / size * across + k / size;
    c->regions = across * ((c->g->rows + size - 1) / size);
}

/* Sliding median of up to MEDIAN_STEPS values: a sorted window. */
#define MEDIAN_STEPS 13
static double slide(double *window, int *n, double out, double in)
{
    int i = 0;
    if (isfinite(out)) {
        while (i < *n && window[i] != out)
            i++;
        memmove(window + i, window + i + 1, (size_t)(--*n - i) * sizeof *window);
    }
    if (isfinite(in)) {
        for (i = (*n)++; i > 0 && window[i - 1] > in; i--)
            window[i] = window[i - 1];
        window[i] = in;
    }
    return *n ? (window[(*n - 1) / 2] + window[*n / 2]) / 2 : 0;
}

/* First drift of each tile: running medians of its departures, which half of the steps may spoil.
 * A weighted mean could not start, because nothing is known yet of which steps were still. */
static void first_drift(struct compare *c)
{
    const double *t = c->g->time;
    size_t reach = MEDIAN_STEPS / 2;
    for (size_t k = 0; k < c->tiles; k++) {
        double window[MEDIAN_STEPS + 1];
        int n = 0;
        for (size_t j = 0; j < c->steps + reach; j++) {
            double in = (double)NAN, out = (double)NAN;
            if (j < c->steps)
                in = (double)c->rel[j * c->tiles + k] / fmax(t[j + 1] - t[j], 1e-3);
            if (j >= MEDIAN_STEPS) {
                size_t o = j - MEDIAN_STEPS;
                out = (double)c->rel[o * c->tiles + k] / fmax(t[o + 1] - t[o], 1e-3);
            }
            double middle = slide(window, &n, out, in);
            if (j >= reach)
                c->rate[(j - reach) * c->tiles + k] = (float)middle;
        }
    }
}

/* A first v for every step: medians, before anything is known of the tiles. */
static void first_look(struct compare *c)
{
    for (size_t k = 0; k < (c->steps / BLOCK + 1) * c->tiles; k++)
        c->excess[k] = 1e-4f; /* a hundredth of a stop */
    for (size_t j = 0; j < c->steps; j++) {
        size_t n = gather(c, j, j + 1);
        memcpy(c->sorted, c->d, n * sizeof(double));
        c->v[j] = n ? dw_median(c->sorted, n) : 0;
        for (size_t k = 0; k < c->tiles; k++)
            c->rel[j * c->tiles + k] = NAN;
        for (size_t k = 0; k < n; k++)
            c->rel[j * c->tiles + (size_t)c->tile[k]] = (float)(c->d[k] - c->v[j]);
    }
    find_centres(c);
    first_drift(c);
}

enum dw_status dw_pairs_compare(const struct dw_grids *grids, const struct dw_pair_params *params,
                                struct dw_arena *arena, struct dw_pair **pairs, size_t *n,
                                struct dw_error *err)
{
    *n = 0;
    *pairs = DW_TAKE(arena, 2 * grids->n + 1, struct dw_pair);
    if (!*pairs)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", grids->n);
    if (grids->n < 2)
        return DW_OK;
    size_t mark = arena->n;
    struct compare c = {.g = grids, .p = params};
    c.tiles = (size_t)(grids->cols * grids->rows);
    c.steps = grids->n - 1;
    c.black_var = params->black_dn * params->black_dn;
    if (!take_room(&c, arena))
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for comparing %zu shots", grids->n);
    lay_regions(&c);
    first_look(&c);
    for (int pass = 0; pass < PASSES; pass++) {
        *n = 0;
        for (size_t j = 0; j < c.steps; j++)
            (*pairs)[(*n)++] = compare_pair(&c, j, j + 1);
        find_drift(&c);
        find_noise(&c);
        learn_black(&c);
        find_centres(&c);
    }
    for (size_t j = 0; j < c.steps; j++)
        (*pairs)[j] = compare_pair(&c, j, j + 1);
    for (size_t j = 0; j + 1 < c.steps; j++)
        (*pairs)[(*n)++] = compare_pair(&c, j, j + 2);
    dw_arena_free_to(arena, mark);
    return DW_OK;
}
