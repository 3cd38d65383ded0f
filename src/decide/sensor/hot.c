/* hot.c: the map of hot and dead pixels, learnt from the bright and dark spots of many shots.
 *
 * A hot pixel stands still through the whole night, is one pixel small and has the same excess
 * in every exposure of one length. So do not: stars (they move; spread over the night even one a
 * pixel from the pole does), lamps and edges of roofs (their neighbours of other colours are
 * bright as well), texture of the ground (it is as bright, relative to its surroundings, by
 * day). A dead pixel is dark in whatever light, and single as well. docs/method/light.md gives the
 * rule.
 */
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
    float burnt;          /* a tile with more than this share of saturated samples hides spots */
    double dead_share;    /* of the shots must show a dead pixel dark */
    double dead_depth;    /* and so much of the light must be missing there */
};
static const struct hot_params HOT = {17, 5, 0.6, 0.35, 0.5, 0.0, 1.2, 4.0, 0.2f, 0.8, 0.7};

enum kind { BRIGHT = 1, DARK = -1 };

/* A spot of one shot. */
struct spot {
    uint32_t at;    /* y << 16 | x */
    uint32_t shot;  /* 0..shots-1 */
    float excess;   /* counts above its surroundings; below them if dark */
    float relative; /* excess over the level of its surroundings above black */
};

/* A place where spots stood. */
struct place {
    uint32_t at;
    uint32_t seen;          /* in how many shots */
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

/* All spots of one kind in the picked shots, sorted by place. *spots is malloc'd. */
static enum dw_status gather(const struct dw_work *w, const uint32_t *picked, size_t n,
                             enum kind kind, struct spot **spots, size_t *count,
                             struct dw_error *err)
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
            float excess = (float)kind * (spike[i].value - spike[i].median);
            if (!(excess > 0))
                continue;
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

/* The strongest of the eight neighbours, of whatever colour, that stand out as well; how many. */
static const struct place *bright_beside(const struct place *place, size_t n, const struct place *p,
                                         int *count)
{
    const struct place *most = NULL;
    *count = 0;
    for (int dy = -1; dy <= 1; dy++)
        for (int dx = -1; dx <= 1; dx++) {
            int x = (int)(p->at & 0xffff) + dx, y = (int)(p->at >> 16) + dy;
            if ((dx == 0 && dy == 0) || x < 0 || y < 0)
                continue;
            const struct place *q = find(place, n, (uint32_t)y << 16 | (uint32_t)x);
            if (!q || q->seen < HOT.neighbour * p->seen || !(q->excess > 0.05f * p->excess))
                continue;
            ++*count;
            most = !most || q->excess > most->excess ? q : most;
        }
    return most;
}

/* The spots of one kind in some shots, and the places where they stood. */
struct seen {
    struct spot *spot;
    struct place *place;
    size_t n;
};

static void free_seen(struct seen *s)
{
    free(s->spot);
    free(s->place);
}

static enum dw_status look(const struct dw_work *w, const uint32_t *picked, size_t n,
                           enum kind kind, struct seen *out, struct dw_error *err)
{
    size_t spots = 0;
    double work[2 * 32];
    enum dw_status s = gather(w, picked, n, kind, &out->spot, &spots, err);
    if (s < 0)
        return s;
    out->place = malloc((spots + 1) * sizeof *out->place);
    if (!out->place)
        return dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for %zu places", spots);
    out->n = join(out->spot, spots, out->place, work);
    return DW_OK;
}

/* Adds a place to the map. False without memory. */
static bool add(struct dw_facts *facts, size_t *room, const struct place *p)
{
    if (facts->n_hot == *room) {
        size_t more = *room ? 2 * *room : 1024;
        void *v = realloc(facts->hot, more * sizeof *facts->hot);
        if (!v)
            return false;
        facts->hot = v;
        *room = more;
    }
    facts->hot[facts->n_hot++] =
        (struct dw_hot){(uint16_t)(p->at & 0xffff), (uint16_t)(p->at >> 16)};
    return true;
}

/* In how many of the shots a spot could be told at this place: where a lit room about a window is
 * burnt out, a hot pixel is hidden until the lamp goes off. */
static size_t open_shots(const struct dw_work *w, const uint32_t *picked, size_t n,
                         const struct place *p)
{
    size_t open = 0;
    for (size_t k = 0; k < n; k++) {
        const struct dw_measure *m = &w->survey->measure[picked[k]];
        int col = (int)((long)(p->at & 0xffff) * w->survey->cols / m->width),
            row = (int)((long)(p->at >> 16) * w->survey->rows / m->height);
        open += m->tile[row * w->survey->cols + col].clipped <= HOT.burnt;
    }
    return open < HOT.least ? HOT.least : open;
}

/* What hot pixels are told by: the dark of the night's shots and the light of the day's. */
struct glows {
    const struct dw_work *w;
    const uint32_t *picked; /* n_night shots */
    size_t n_night, n_day;
    struct seen night, day;
};

/* Steady, in most shots, and not as bright beside its surroundings by day. */
static bool stands(const struct glows *g, const struct place *p)
{
    size_t open = open_shots(g->w, g->picked, g->n_night, p);
    if ((double)p->seen < HOT.share * (double)open || !p->steady)
        return false;
    const struct place *q = find(g->day.place, g->day.n, p->at);
    return !q || q->seen * 2 < g->n_day ||
           (double)p->relative >= HOT.day_ratio * (double)q->relative;
}

/* One pixel small; or two side by side that are both hot, with nothing else about them. A star or a
 * lamp spreads to all sides. */
static bool is_hot(const struct glows *g, const struct place *p)
{
    int own, others = 0;
    if (!stands(g, p))
        return false;
    const struct place *beside = bright_beside(g->night.place, g->night.n, p, &own);
    if (own == 1)
        bright_beside(g->night.place, g->night.n, beside, &others);
    return own == 0 || (own == 1 && others <= 1 && stands(g, beside));
}

static bool is_dead(const struct place *p, const struct seen *lit, size_t n_lit)
{
    int beside;
    bright_beside(lit->place, lit->n, p, &beside);
    return (double)p->seen >= HOT.dead_share * (double)n_lit &&
           (double)p->relative >= HOT.dead_depth && beside == 0;
}

static int by_row(const void *a, const void *b)
{
    const struct dw_hot *p = a, *q = b;
    if (p->y != q->y)
        return p->y < q->y ? -1 : 1;
    return p->x < q->x ? -1 : p->x > q->x;
}

static enum dw_status add_hot(struct dw_work *w, double most, const uint32_t *day, size_t n_day,
                              struct dw_facts *facts, size_t *room, struct dw_error *err)
{
    uint32_t night[32];
    size_t n_night = pick(w, most - HOT.exposure_span, most, night);
    if (!(most >= HOT.least_glow) || n_night < HOT.least)
        return DW_OK; /* what stands still in brief exposures is the scene */
    struct glows g = {w, night, n_night, n_day, {0}, {0}};
    enum dw_status s = look(w, night, n_night, BRIGHT, &g.night, err);
    if (s >= 0)
        s = look(w, day, n_day, BRIGHT, &g.day, err);
    for (size_t i = 0; s >= 0 && i < g.night.n; i++)
        if (is_hot(&g, &g.night.place[i]) && !add(facts, room, &g.night.place[i]))
            s = dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for the map");
    free_seen(&g.day);
    free_seen(&g.night);
    return s;
}

/* In the brightest light there is: there little is missed. */
static enum dw_status add_dead(struct dw_work *w, double most, const uint32_t *day, size_t n_day,
                               struct dw_facts *facts, size_t *room, struct dw_error *err)
{
    uint32_t any[32];
    size_t n = n_day;
    if (n_day < HOT.least) {
        n = pick(w, -HUGE_VAL, most, any);
        day = any;
    }
    if (n < HOT.least)
        return DW_OK;
    struct seen lit = {0};
    enum dw_status s = look(w, day, n, DARK, &lit, err);
    for (size_t i = 0; s >= 0 && i < lit.n; i++)
        if (is_dead(&lit.place[i], &lit, n) && !add(facts, room, &lit.place[i]))
            s = dw_fail(err, DW_ERR_MEMORY, "hot pixels: no memory for the map");
    free_seen(&lit);
    return s;
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
    uint32_t day[32];
    size_t room = 0, n_day = pick(w, -HUGE_VAL, most - 6, day); /* glow too faint to be seen */
    enum dw_status s = add_hot(w, most, day, n_day, facts, &room, err);
    if (s >= 0)
        s = add_dead(w, most, day, n_day, facts, &room, err);
    if (facts->n_hot > 0)
        qsort(facts->hot, facts->n_hot, sizeof *facts->hot, by_row);
    return s;
}
