/* hot.c: the map of hot pixels, learnt from the bright spots of many shots.
 *
 * A hot pixel stands still through the whole night, is one pixel small and has the same excess
 * in every exposure of one length. So do not: stars (they move; spread over the night even one a
 * pixel from the pole does), lamps and edges of roofs (their neighbours of other colours are
 * bright as well), texture of the ground (it is as bright, relative to its surroundings, by
 * day). docs/method.md gives the rule. */
#include "decide/steps.h"

#include "base/robust.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct hot_params {
    size_t shots;         /* long exposures looked at, spread over the night */
    size_t least;         /* fewer than these say nothing */
    double share;         /* of them must hold the spot */
    double scatter;       /* of its excess, share of the excess (MAD sigma), at most */
    double neighbour;     /* a neighbour seen in this share of the spot's shots: not one pixel */
    double least_glow;    /* log2 of seconds x ISO/100: shorter exposures show no hot pixels */
    double exposure_span; /* shots within this factor of the longest exposure x gain count, stops */
    double day_ratio;     /* relative excess must be so many times that in short exposures */
};
static const struct hot_params HOT = {17, 5, 0.6, 0.35, 0.5, 0.0, 1.2, 4.0};

/* A bright spot of one shot. */
struct spot {
    uint32_t at;     /* y << 16 | x */
    uint32_t shot;   /* 0..shots-1 */
    float excess;    /* counts above its surroundings */
    float relative;  /* excess over the level of its surroundings above black */
};

/* A place where spots stood. */
struct place {
    uint32_t at;
    uint32_t seen; /* in how many shots */
    float excess, relative; /* medians */
    bool steady;
};

static int by_place(const void *a, const void *b)
{
    const struct spot *p = a, *q = b;
    if (p->at != q->at)
        return p->at < q->at ? -1 : 1;
    return p->shot < q->shot ? -1 : p->shot > q->shot;
}

/* Exposure time x gain of a shot in stops: hot pixels glow in proportion to it. */
static double glow(const struct dw_shot *s)
{
    return s->has_shutter && s->has_iso && s->shutter_s > 0 && s->iso > 0
               ? log2(s->shutter_s * s->iso / 100)
               : (double)NAN;
}

/* Picks at most HOT.shots usable shots with glow in [least, most], evenly over time. */
static size_t pick(const struct dw_work *w, double least, double most, uint32_t *picked)
{
    size_t all = 0, n = 0, k = 0;
    for (size_t i = 0; i < w->n; i++) {
        double g = glow(&w->shots->shot[i]);
        all += w->usable[i] && g >= least && g <= most;
    }
    for (size_t i = 0; i < w->n && n < HOT.shots; i++) {
        double g = glow(&w->shots->shot[i]);
        if (!w->usable[i] || !(g >= least && g <= most))
            continue;
        if (k * HOT.shots >= n * all) /* spread the picks over all candidates */
            picked[n++] = (uint32_t)i;
        k++;
    }
    return n;
}

/* All spots of the picked shots, sorted by place. *spots is malloc'd. */
static enum dw_status gather(const struct dw_work *w, const uint32_t *picked, size_t n,
                             struct spot **spots, size_t *count, struct dw_error *err)
{
    size_t room = 0, used = 0;
    *spots = NULL;
    for (size_t k = 0; k < n; k++)
        room += w->survey->measure[picked[k]].n_spikes;
    struct spot *all = malloc((room + 1) * sizeof *all);
    if (!all)
        return dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for %zu bright spots", room);
    for (size_t k = 0; k < n; k++) {
        const struct dw_measure *m = &w->survey->measure[picked[k]];
        struct dw_spike *spike;
        if (m->n_spikes == 0)
            continue;
        enum dw_status s = dw_survey_spikes(w->survey, picked[k], &spike, err);
        if (s < 0) {
            free(all);
            return s;
        }
        for (size_t i = 0; i < m->n_spikes; i++) {
            float excess = spike[i].value - spike[i].median;
            float level = fmaxf(spike[i].median - m->black[1], 1.0f);
            all[used++] = (struct spot){(uint32_t)spike[i].y << 16 | spike[i].x, (uint32_t)k,
                                        excess, excess / level};
        }
        free(spike);
    }
    qsort(all, used, sizeof *all, by_place);
    *spots = all;
    *count = used;
    return DW_OK;
}

/* Joins spots to places. place: room for as many as there are spots. Returns their number. */
static size_t join(const struct spot *spot, size_t n, struct place *place, double *work)
{
    size_t places = 0;
    for (size_t i = 0, end; i < n; i = end) {
        size_t k = 0; /* shots, each once, whatever a survey file says */
        for (end = i; end < n && spot[end].at == spot[i].at; end++)
            if (end == i || spot[end].shot != spot[end - 1].shot)
                work[k++] = (double)spot[end].relative;
        double relative = dw_median(work, k);
        k = 0;
        for (size_t j = i; j < end; j++)
            if (j == i || spot[j].shot != spot[j - 1].shot)
                work[k++] = (double)spot[j].excess;
        double excess = dw_median(work, k);
        double scatter = dw_mad_sigma(work, k, excess, work + k);
        place[places++] = (struct place){spot[i].at, (uint32_t)k, (float)excess, (float)relative,
                                         scatter <= HOT.scatter * excess};
    }
    return places;
}

static const struct place *find(const struct place *place, size_t n, uint32_t at)
{
    size_t lo = 0, hi = n;
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        if (place[mid].at < at)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo < n && place[lo].at == at ? &place[lo] : NULL;
}

/* One pixel small: the eight neighbours, of whatever colour, are not bright as well. */
static bool alone(const struct place *place, size_t n, const struct place *p)
{
    for (int dy = -1; dy <= 1; dy++)
        for (int dx = -1; dx <= 1; dx++) {
            int x = (int)(p->at & 0xffff) + dx, y = (int)(p->at >> 16) + dy;
            if ((dx == 0 && dy == 0) || x < 0 || y < 0)
                continue;
            const struct place *q = find(place, n, (uint32_t)y << 16 | (uint32_t)x);
            if (q && q->seen >= HOT.neighbour * p->seen && q->excess > 0.05f * p->excess)
                return false;
        }
    return true;
}

enum dw_status dw_hot_pixels(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    facts->n_hot = 0;
    double most = -HUGE_VAL;
    for (size_t i = 0; i < w->n; i++) {
        double g = glow(&w->shots->shot[i]);
        if (w->usable[i] && g > most)
            most = g;
    }
    if (!(most >= HOT.least_glow))
        return DW_OK; /* what stands still in brief exposures is the scene */
    uint32_t night[32], day[32];
    size_t n_night = pick(w, most - HOT.exposure_span, most, night);
    size_t n_day = pick(w, -HUGE_VAL, most - 6, day); /* glow too faint to be seen */
    if (n_night < HOT.least)
        return DW_OK;
    struct spot *spot = NULL, *by_day = NULL;
    struct place *place = NULL, *day_place = NULL;
    double *work = NULL;
    size_t n = 0, n_by_day = 0;
    enum dw_status s = gather(w, night, n_night, &spot, &n, err);
    if (s >= 0)
        s = gather(w, day, n_day, &by_day, &n_by_day, err);
    if (s < 0)
        goto out;
    place = malloc((n + 1) * sizeof *place);
    day_place = malloc((n_by_day + 1) * sizeof *day_place);
    work = malloc(2 * (HOT.shots + 1) * sizeof *work);
    if (!place || !day_place || !work) {
        s = dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for %zu places", n);
        goto out;
    }
    size_t places = join(spot, n, place, work);
    size_t day_places = join(by_day, n_by_day, day_place, work);
    facts->hot = malloc((places + 1) * sizeof *facts->hot);
    if (!facts->hot) {
        s = dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for the map");
        goto out;
    }
    for (size_t i = 0; i < places; i++) { /* in order of y, then x */
        const struct place *p = &place[i];
        if ((double)p->seen < HOT.share * (double)n_night || !p->steady ||
            !alone(place, places, p))
            continue;
        const struct place *q = find(day_place, day_places, p->at);
        if (q && q->seen * 2 >= n_day &&
            (double)p->relative < HOT.day_ratio * (double)q->relative)
            continue;
        facts->hot[facts->n_hot++] =
            (struct dw_hot){(uint16_t)(p->at & 0xffff), (uint16_t)(p->at >> 16)};
    }
out:
    free(work);
    free(day_place);
    free(place);
    free(by_day);
    free(spot);
    return s;
}
