/* heap.c: which tiles are believed. Tiles that move (foliage, cloud, people) are either always
 * noisy, which their own history tells, or sometimes still: then they lie in the narrow heap of
 * still tiles in some pairs and far from it in others. So the common change is the place of the
 * densest heap, weighted by each tile's noise when it is still, within reach of what an exposure
 * error can be. Compiled twice: see compare.h. */
#include "decide/compare/compare.h"

#include <math.h>

#define CLEAR_SHARE 0.8 /* of the weight in one heap: no choice to make */
#define HEAPS 6         /* candidates */
#define BINS 64
#define SHARP 0.01 /* stops: a tile as still as this has a full voice */
#define REGION_VOICE 30.0
#define WRONG_RECORD 40.0 /* nats against any difference, however large */
#define WHOLE_SHARE 0.7   /* of the regions: a wrong record moves them all, but for movers */
#define NOTHING 8.0       /* nats that a heap must bring to be more than chance */
#define TEMPER 0.7        /* regions are not quite independent */

/* Tukey weights about v, */
static void weigh_tiles(const struct dw_compare *c, double v, double b, double widen)
{
    const double *restrict d = c->d, *restrict lever = c->lever, *restrict narrow = c->narrow;
    double *restrict gamma = c->gamma, scale = 1 / widen;
    for (size_t k = 0; k < c->n; k++) {
        double u = (d[k] - v - b * lever[k]) * narrow[k] * scale, t = 1 - u * u;
        t = t > 0 ? t : 0;
        gamma[k] = t * t;
    }
}

/* and the sums with them, each in the order of the tiles. */
static struct dw_heap_sums add_up(const struct dw_compare *c)
{
    struct dw_heap_sums s = {0};
    for (size_t k = 0; k < c->n; k++) {
        double w = c->gamma[k] * c->w[k], l = c->lever[k];
        s.all += c->w[k];
        s.s1 += w;
        s.sl += w * l;
        s.sll += w * l * l;
        s.sd += w * c->d[k];
        s.sld += w * l * c->d[k];
    }
    return s;
}

static void weigh(struct dw_compare *c, double v, double b, double widen)
{
    weigh_tiles(c, v, b, widen);
    c->sums = add_up(c);
}

/* Weighted least squares for v and, with its prior, the black level's wander b. */
static void solve_two(const struct dw_compare *c, double *v, double *b)
{
    const struct dw_heap_sums s = c->sums;
    if (!(s.s1 > 0))
        return;
    double prior = c->black_var > 0 ? 1 / c->black_var : 0;
    double det = s.s1 * (s.sll + prior) - s.sl * s.sl;
    if (prior > 0 && det > 1e-12 * s.s1 * (s.sll + prior)) {
        *v = (s.sd * (s.sll + prior) - s.sl * s.sld) / det;
        *b = (s.s1 * s.sld - s.sl * s.sd) / det;
    } else {
        *v = s.sd / s.s1;
        *b = 0;
    }
}

void dw_heap_wander(const struct dw_compare *c, double *b, double *var)
{
    const struct dw_heap_sums s = c->sums;
    double det = s.s1 * s.sll - s.sl * s.sl;
    *var = det > 1e-9 * s.s1 * s.sll ? s.s1 / det : (double)INFINITY;
    *b = isfinite(*var) ? (s.s1 * s.sld - s.sl * s.sd) / det : 0;
}

/* Refines v from a start; returns the share of the tiles' weight that lies in its heap. */
static double settle(struct dw_compare *c, int rounds, double *v, double *b)
{
    for (int i = 0; i < rounds; i++) {
        weigh(c, *v, *b, i == 0 ? 2 : 1);
        solve_two(c, v, b);
    }
    weigh(c, *v, *b, 1);
    return c->sums.all > 0 ? c->sums.s1 / c->sums.all : 0;
}

/* Do nearly all regions of the picture take part, whatever their weight? At night the sky alone has
 * nine tenths of it. */
static bool whole(const struct dw_compare *c)
{
    double alike[DW_COMPARE_REGIONS] = {0}, all[DW_COMPARE_REGIONS] = {0}, sum = 0, regions = 0;
    for (size_t k = 0; k < c->n; k++) {
        alike[c->region[c->tile[k]]] += c->gamma[k];
        all[c->region[c->tile[k]]]++;
    }
    for (int r = 0; r < c->regions; r++)
        if (all[r] > 0) {
            sum += alike[r] / all[r];
            regions++;
        }
    return sum > WHOLE_SHARE * regions;
}

/* How well a heap explains the pair, in nats. An exposure error moves the whole picture, a shadow
 * only its own part of it, so every region has a voice that grows with the logarithm of how many
 * of its tiles take part; tiles that are noisy even when still have little to say. Against it
 * stands how improbable such a difference of exposure errors is: normal about the slow common
 * change, but never worse than a wrong record, if it moves all regions alike: headlights lift a
 * dark sky as evenly as a longer exposure would, and the ground not. */
static double evidence(const struct dw_compare *c, double centre, bool free, double v)
{
    double in[DW_COMPARE_REGIONS] = {0}, all[DW_COMPARE_REGIONS] = {0}, sum = 0;
    for (size_t k = 0; k < c->n; k++) {
        int r = c->region[c->tile[k]];
        in[r] += c->gamma[k] * fmin(1, SHARP / c->sigma[k]);
        all[r]++;
    }
    const double half = DW_COMPARE_REGION * DW_COMPARE_REGION / 2.0;
    for (int r = 0; r < c->regions; r++)
        sum += log1p(REGION_VOICE * in[r] / fmax(all[r], half));
    if (free)
        return sum;
    double off = (v - centre) / c->reach * 3, against = 0.5 * off * off;
    return sum - (against > WRONG_RECORD && whole(c) ? WRONG_RECORD : against);
}

/* Densest places of the differences near the expected one, by a histogram; returns how many. */
static int dense_places(const struct dw_compare *c, double centre, double place[HEAPS])
{
    double bin[BINS] = {0}, height[HEAPS] = {0}, width = 4 * c->p->reach_stops / BINS;
    for (size_t k = 0; k < c->n; k++) {
        double x = (c->d[k] - centre) / width + BINS / 2;
        if (x >= 0 && x < BINS)
            bin[(int)x] += fmin(1, SHARP / c->sigma[k]);
    }
    int found = 0;
    for (int i = 1; i + 1 < BINS; i++) {
        double h = bin[i - 1] + 2 * bin[i] + bin[i + 1];
        if (bin[i] <= 0 || bin[i] < bin[i - 1] || bin[i] < bin[i + 1])
            continue;
        /* kept in order of height; the lowest falls off the end */
        int at = found < HEAPS ? found++ : HEAPS;
        for (; at > 0 && height[at - 1] < h; at--)
            if (at < HEAPS) {
                height[at] = height[at - 1];
                place[at] = place[at - 1];
            }
        if (at < HEAPS) {
            height[at] = h;
            place[at] = centre + (i + 0.5 - BINS / 2) * width;
        }
    }
    return found;
}

/* When tiles disagree: the heap with the best evidence. */
static double best_heap(struct dw_compare *c, double centre, bool free, double *v, double *b)
{
    double place[HEAPS + 1], found_v[HEAPS + 1] = {0}, found_b[HEAPS + 1] = {0};
    double score[HEAPS + 1] = {0};
    int places = dense_places(c, centre, place), best = 0;
    place[places++] = *v;
    for (int i = 0; i < places; i++) {
        found_v[i] = place[i];
        found_b[i] = 0;
        settle(c, 5, &found_v[i], &found_b[i]);
        score[i] = evidence(c, centre, free, found_v[i]);
        if (score[i] > score[best])
            best = i;
    }
    *v = found_v[best];
    *b = found_b[best];
    /* a rival without a heap: no tile was still, and the common change can be anything usual */
    double usual = c->reach / 3;
    double doubt = usual * usual * fmin(1, exp(-TEMPER * (score[best] - NOTHING)));
    if (score[best] < NOTHING && !free) {
        *v = centre;
        *b = 0;
    }
    for (int i = 0; i < places; i++) {
        double apart = found_v[i] - *v;
        doubt = fmax(doubt, apart * apart * exp(-TEMPER * (score[best] - score[i])));
    }
    return doubt;
}

double dw_heap_find(struct dw_compare *c, double centre, bool free, double *v, double *b,
                    bool *agree)
{
    double doubt = 0;
    *agree =
        settle(c, 3, v, b) >= CLEAR_SHARE && (free || fabs(*v - centre) < c->reach || whole(c));
    if (!*agree) {
        doubt = best_heap(c, centre, free, v, b);
        weigh(c, *v, *b, 1);
    }
    return doubt;
}

/* Regions of the picture are taken to err independently: a sandwich estimate by clusters (Liang &
 * Zeger 1986), never below what photon noise alone allows. */
double dw_heap_variance(const struct dw_compare *c, double v, double b)
{
    double sum[DW_COMPARE_REGIONS] = {0}, weight = 0, squares = 0;
    for (size_t k = 0; k < c->n; k++) {
        double w = c->gamma[k] * c->w[k];
        sum[c->region[c->tile[k]]] += w * (c->d[k] - v - b * c->lever[k]);
        weight += w;
    }
    if (!(weight > 0))
        return 100;
    for (int g = 0; g < c->regions; g++)
        squares += sum[g] * sum[g];
    return fmax(squares / (weight * weight), 1 / weight);
}
