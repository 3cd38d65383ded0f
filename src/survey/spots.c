/* spots.c: see spots.h. */
#include "survey/spots.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum dw_status dw_spots_start(struct dw_spots *s, size_t most, size_t core_most,
                              struct dw_error *err)
{
    size_t room = most + most / 4;
    if (!s->list || s->room != room) {
        free(s->list);
        s->list = malloc((room + 1) * sizeof *s->list);
        s->room = room;
        if (!s->list)
            return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu spots", room);
    }
    s->bright = (struct dw_spot_heap){s->list, 0, most};
    s->dark = (struct dw_spot_heap){s->list + most, 0, most / 4};
    s->n = 0;
    s->cores = 0;
    s->core_most = core_most;
    return DW_OK;
}

void dw_spots_free(struct dw_spots *s)
{
    free(s->list);
    free(s->core);
    *s = (struct dw_spots){0};
}

/* Twice the distance from the surroundings. */
static int64_t height2(const struct dw_spot *p)
{
    int64_t d = 2 * (int64_t)p->value - (int64_t)p->median2;
    return d < 0 ? -d : d;
}

/* a is to be thrown out before b: the weaker, of equals the later in the picture. */
static bool weaker(const struct dw_spot *a, const struct dw_spot *b)
{
    int64_t d = height2(a) - height2(b);
    if (d != 0)
        return d < 0;
    return a->y != b->y ? a->y > b->y : a->x > b->x;
}

static void sift_down(struct dw_spot *v, size_t n)
{
    for (size_t i = 0;;) {
        size_t least = i, left = 2 * i + 1, right = left + 1;
        if (left < n && weaker(&v[left], &v[least]))
            least = left;
        if (right < n && weaker(&v[right], &v[least]))
            least = right;
        if (least == i)
            return;
        struct dw_spot t = v[i];
        v[i] = v[least];
        v[least] = t;
        i = least;
    }
}

static void keep(struct dw_spot_heap *h, struct dw_spot p)
{
    struct dw_spot *v = h->v;
    if (h->n < h->most) {
        size_t i = h->n++;
        for (; i > 0 && weaker(&p, &v[(i - 1) / 2]); i = (i - 1) / 2)
            v[i] = v[(i - 1) / 2];
        v[i] = p;
    } else if (h->most > 0 && weaker(&v[0], &p)) {
        v[0] = p;
        sift_down(v, h->n);
    }
}

static enum dw_status add_core(struct dw_spots *s, struct dw_core core, struct dw_error *err)
{
    if (s->cores == s->core_most)
        return DW_OK;
    if (s->cores == s->core_room) {
        size_t room = s->core_room ? 2 * s->core_room : 4096;
        void *v = realloc(s->core, room * sizeof *s->core);
        if (!v)
            return dw_fail(err, DW_ERR_MEMORY, "survey: no memory for %zu star cores", room);
        s->core = v;
        s->core_room = room;
    }
    s->core[s->cores++] = core;
    return DW_OK;
}

static double clamp01(double x)
{
    return fmin(fmax(x, 0), 1);
}

/* How far a spot is kept out. It fades in, for a star at the edge of the rule would else come and
 * go with the noise and take its light along. Among structure nothing is kept out: a gap in the
 * leaves is light of the scene; a star stands on a smooth ground, the three highest neighbours and
 * a share of its height aside, which may be its own wings;
 * and none of them comes near it, as along an edge or about a corner. (A star between two pixels
 * of one colour has its summit in a pixel of another, whose surroundings take these in.) */
static double core_weight(const struct dw_spot_rule *rule, const uint16_t sorted[8], double over,
                          double light, double sigma)
{
    /* Photon noise is skewed: to be as rare as core_sigma is with a normal, a sample must stand
     * k^2/6 electrons higher still (Cornish & Fisher 1938, to the third moment). */
    double skew = rule->core_sigma * rule->core_sigma / 6 * rule->noise.photon;
    double from = fmax(rule->core_sigma * sigma + skew, rule->core_share * fmax(light, 0));
    if (over <= from)
        return 0;
    double uneven = sorted[4] - sorted[0];
    double wings = rule->wing_share * over, allowed = rule->smooth_sigma * sigma + wings;
    double rival = (sorted[7] - 0.5 * ((double)sorted[3] + sorted[4])) / over;
    return clamp01((over - from) / from) * clamp01(1 + (allowed - uneven) / (2 * sigma + wings)) *
           clamp01((rule->rival_share - rival) / 0.2);
}

/* Against the darkest of its neighbours: the foot of an edge is none. */
static bool is_dark(const struct dw_spot_rule *rule, uint16_t darkest, uint32_t value, double black)
{
    double light = (double)darkest - black, below = (double)darkest - (double)value;
    return (double)value - black < rule->dark_share * light &&
           below > rule->list_sigma * sqrt(dw_noise_var(&rule->noise, light));
}

enum dw_status dw_spots_look(struct dw_spots *s, const struct dw_layout *l,
                             const struct dw_mosaic *m, const struct dw_spot_rule *rule, int sample,
                             int y, struct dw_error *err)
{
    const uint16_t *p = m->px + (size_t)y * (size_t)l->stride + sample;
    const struct dw_spot_sides b = dw_spot_sides(l, sample, y);
    /* The neighbours before the sample in reading order, then those behind it. */
    const uint16_t around[8] = {
        p[b.up + b.left],   p[b.up],   p[b.up + b.right],  p[b.left], p[b.right],
        p[b.down + b.left], p[b.down], p[b.down + b.right]};
    const uint32_t value = *p;
    const int c = l->colour[y % l->vp][sample % l->hp];

    uint16_t sorted[8] = {0};
    bool highest = true, lowest = true;
    for (int i = 0; i < 8; i++) {
        /* Of equal neighbours the first counts as the summit. */
        highest = highest && (i < 4 ? around[i] < value : around[i] <= value);
        lowest = lowest && around[i] > value;
        int k = i;
        for (; k > 0 && sorted[k - 1] > around[i]; k--)
            sorted[k] = sorted[k - 1];
        sorted[k] = around[i];
    }
    const uint32_t median2 = (uint32_t)sorted[3] + sorted[4];
    int x = sample / l->spp;
    /* Without a mosaic a spot shows in all three colours: green alone is listed. */
    const bool listed = l->spp == 1 || c == 1;
    const struct dw_spot spot = {(uint16_t)x, (uint16_t)y, (uint16_t)value, median2, {0}};
    if (2 * value <= median2) {
        if (lowest && listed && is_dark(rule, sorted[0], value, rule->black[c]))
            keep(&s->dark, spot);
        return DW_OK;
    }
    const double over = 0.5 * (double)(2 * value - median2);
    const double light = 0.5 * median2 - rule->black[c];
    const double sigma = sqrt(dw_noise_var(&rule->noise, light));

    if (highest && listed && over > fmax(rule->list_sigma * sigma, rule->list_share * light))
        keep(&s->bright, spot);
    int weight = (int)rint(256 * core_weight(rule, sorted, over, light, sigma));
    if (weight > 0)
        return add_core(s, (struct dw_core){(uint16_t)x, (uint16_t)y, (uint16_t)weight}, err);
    return DW_OK;
}

enum { NEAR = 2, RING = 4, MOST_RING = 8 * RING };
#define SATURATED 0.98 /* of white */

static double median_of(uint16_t *v, size_t n)
{
    for (size_t i = 1; i < n; i++) {
        uint16_t own = v[i];
        size_t k = i;
        for (; k > 0 && v[k - 1] > own; k--)
            v[k] = v[k - 1];
        v[k] = own;
    }
    return 0.5 * ((double)v[(n - 1) / 2] + v[n / 2]);
}

static void measure_light(struct dw_spot *s, const struct dw_layout *l, const struct dw_mosaic *m)
{
    uint16_t ring[3][MOST_RING];
    size_t n[3] = {0};
    double sum[3] = {0}, count[3] = {0};
    if (l->spp != 1 || s->x < RING || s->y < RING || s->x + RING >= l->width ||
        s->y + RING >= l->height)
        return;
    for (int dy = -RING; dy <= RING; dy++)
        for (int dx = -RING; dx <= RING; dx++) {
            int x = s->x + dx, y = s->y + dy, far = abs(dx) > abs(dy) ? abs(dx) : abs(dy);
            uint16_t v = m->px[(size_t)y * (size_t)l->stride + (size_t)x];
            int c = l->colour[y % l->vp][x % l->hp];
            if (far <= NEAR) {
                if ((double)v >= SATURATED * (double)m->white)
                    return;
                sum[c] += v;
                count[c]++;
            } else if (far == RING)
                ring[c][n[c]++] = v;
        }
    for (int c = 0; c < 3; c++)
        if (n[c] > 0)
            s->light[c] = (int32_t)rint(sum[c] - count[c] * median_of(ring[c], n[c]));
}

void dw_spots_colour(struct dw_spots *s, const struct dw_layout *l, const struct dw_mosaic *m)
{
    for (size_t i = 0; i < s->bright.n; i++)
        measure_light(&s->bright.v[i], l, m);
}

static int by_place(const void *a, const void *b)
{
    const struct dw_spot *p = a, *q = b;
    if (p->y != q->y)
        return p->y < q->y ? -1 : 1;
    return p->x < q->x ? -1 : p->x > q->x;
}

static int by_weight(const void *a, const void *b)
{
    const struct dw_core *p = a, *q = b;
    if (p->weight != q->weight)
        return p->weight > q->weight ? -1 : 1;
    if (p->y != q->y)
        return p->y < q->y ? -1 : 1;
    return p->x < q->x ? -1 : p->x > q->x;
}

void dw_spots_sort(struct dw_spots *s)
{
    s->n = s->bright.n + s->dark.n;
    memmove(s->list + s->bright.n, s->dark.v, s->dark.n * sizeof *s->list);
    if (s->n > 0)
        qsort(s->list, s->n, sizeof *s->list, by_place);
    if (s->cores > 0)
        qsort(s->core, s->cores, sizeof *s->core, by_weight);
}
