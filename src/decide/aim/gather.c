/* gather.c: see aim.h. */
#include "decide/aim/aim.h"

#include "base/sort.h"
#include "decide/faults/judges.h"

#include <math.h>
#include <stdlib.h>

static const struct gather_params {
    double dark_deg;       /* the sun must be below */
    size_t least_shots;    /* of such a night */
    double step_px;        /* stars of a lens as wide as the frame move about that in a step */
    double later_deg;      /* turning to the last of a group */
    int cell;              /* mosaic pixels: spots in the same cell stand in the same place */
    double standing_share; /* of the shots in which a cell is lit: hot pixels, lamps */
} params = {-9, 12, 12, 3, 3, 0.2};

#define TURN_A_SECOND (2 * M_PI / DW_SIDEREAL_DAY_S)

static int by_number(const void *a, const void *b)
{
    uint32_t p = *(const uint32_t *)a, q = *(const uint32_t *)b;
    return (p > q) - (p < q);
}

static uint32_t cell_of(const struct dw_spike *s)
{
    return (uint32_t)(s->y / params.cell) << 16 | (uint32_t)(s->x / params.cell);
}

static int by_excess(const void *a, const void *b)
{
    const struct dw_aim_spot *p = a, *q = b;
    if (p->excess != q->excess)
        return p->excess > q->excess ? -1 : 1;
    if (p->y != q->y)
        return p->y < q->y ? -1 : 1;
    return (p->x > q->x) - (p->x < q->x);
}

static bool is_hot(const struct dw_facts *f, const struct dw_spike *s)
{
    size_t lo = 0, hi = f->n_hot;
    while (lo < hi) {
        size_t mid = lo + (hi - lo) / 2;
        const struct dw_hot *h = &f->hot[mid];
        if (h->y < s->y || (h->y == s->y && h->x < s->x))
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo < f->n_hot && f->hot[lo].x == s->x && f->hot[lo].y == s->y;
}

void dw_aim_night(const struct dw_work *w, size_t *night, size_t *n)
{
    *n = 0;
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->pose[i] == 0 && w->bump[i].kind == DW_STILL &&
            w->alt[i] < params.dark_deg && w->survey->measure[i].n_spikes > 0)
            night[(*n)++] = i;
    if (*n < params.least_shots)
        *n = 0;
}

/* The four of each group; gives how many groups. */
static size_t pick(const struct dw_work *w, const struct dw_facts *facts, const size_t *night,
                   size_t n, size_t *picked)
{
    size_t groups = 0, tail = n - 1;
    double step = params.step_px / fmax(facts->mosaic_width, facts->mosaic_height) / TURN_A_SECOND;
    double later = params.later_deg / 360 * DW_SIDEREAL_DAY_S;
    const double wait[DW_AIM_GROUP] = {0, step, 2 * step, later};
    while (tail > 0 && w->utc[night[n - 1]] - w->utc[night[tail]] < later)
        tail--;
    for (size_t g = 0; g < DW_AIM_GROUPS; g++) {
        size_t first = tail * g / (DW_AIM_GROUPS - 1), at = first;
        for (size_t k = 0; k < DW_AIM_GROUP; k++) {
            at += k > 0 && at + 1 < n;
            while (at + 1 < n && w->utc[night[at + 1]] - w->utc[night[first]] <= wait[k])
                at++;
            picked[groups * DW_AIM_GROUP + k] = night[at];
        }
        const size_t *p = picked + groups * DW_AIM_GROUP;
        groups += p[0] < p[1] && p[1] < p[2] && p[2] < p[3];
    }
    return groups;
}

static size_t find_standing(uint32_t *all, size_t n, size_t shots, uint32_t *room)
{
    size_t kept = 0;
    double most = fmax(3, params.standing_share * (double)shots);
    dw_sort_numbers(all, n, room);
    for (size_t a = 0, b; a < n; a = b) {
        for (b = a; b < n && all[b] == all[a]; b++)
            ;
        if ((double)(b - a) > most)
            all[kept++] = all[a];
    }
    return kept;
}

static enum dw_status keep_strongest(struct dw_work *w, const struct dw_facts *facts,
                                     const struct dw_spike *spike, size_t spikes,
                                     const uint32_t *standing, size_t n_standing, size_t most,
                                     struct dw_aim_spot *work, struct dw_aim_shot *out,
                                     struct dw_error *err)
{
    size_t kept = 0;
    for (size_t j = 0; j < spikes; j++) {
        const struct dw_spike *p = &spike[j];
        uint32_t at = cell_of(p);
        if (p->value > p->median && !is_hot(facts, p) &&
            !bsearch(&at, standing, n_standing, sizeof at, by_number))
            work[kept++] = (struct dw_aim_spot){p->x,
                                                p->y,
                                                (double)(p->value - p->median),
                                                {p->light[0], p->light[1], p->light[2]}};
    }
    if (kept > 0)
        qsort(work, kept, sizeof *work, by_excess);
    out->n = kept < most ? kept : most;
    out->spot = DW_TAKE(&w->arena, out->n, struct dw_aim_spot);
    if (!out->spot)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for %zu spots", out->n);
    for (size_t j = 0; j < out->n; j++)
        out->spot[j] = work[j];
    return DW_OK;
}

enum dw_status dw_aim_read(struct dw_work *w, const struct dw_facts *facts, const size_t *shot,
                           size_t n, size_t most, struct dw_aim_shot *out, struct dw_error *err)
{
    size_t room = 0, largest = 0, cells = 0;
    for (size_t k = 0; k < n; k++) {
        size_t spots = w->survey->measure[shot[k]].n_spikes;
        room += spots;
        largest = spots > largest ? spots : largest;
    }
    struct dw_spike **spike = calloc(n + 1, sizeof *spike);
    uint32_t *cell = malloc((2 * room + 1) * sizeof *cell); /* the second half: to sort them */
    struct dw_aim_spot *work = malloc((largest + 1) * sizeof *work);
    enum dw_status status = spike && cell && work
                                ? DW_OK
                                : dw_fail(err, DW_ERR_MEMORY, "no memory for %zu spots", room);
    for (size_t k = 0; k < n && status >= 0; k++) {
        status = dw_survey_spikes(w->survey, shot[k], &spike[k], err);
        for (size_t j = 0; status >= 0 && j < w->survey->measure[shot[k]].n_spikes; j++)
            cell[cells++] = cell_of(&spike[k][j]);
    }
    size_t standing = status >= 0 ? find_standing(cell, cells, n, cell + cells) : 0;
    for (size_t k = 0; k < n && status >= 0; k++) {
        out[k].utc_s = w->utc[shot[k]];
        out[k].turned = (out[k].utc_s - w->utc[shot[0]]) * TURN_A_SECOND;
        status = keep_strongest(w, facts, spike[k], w->survey->measure[shot[k]].n_spikes, cell,
                                standing, most, work, &out[k], err);
    }
    for (size_t k = 0; k < n && spike; k++)
        free(spike[k]);
    free(spike);
    free(cell);
    free(work);
    return status;
}

enum dw_status dw_aim_gather(struct dw_work *w, const struct dw_facts *facts, const size_t *night,
                             size_t n, struct dw_aim_shots *out, struct dw_error *err)
{
    *out = (struct dw_aim_shots){.width = facts->mosaic_width, .height = facts->mosaic_height};
    size_t picked[DW_AIM_SHOTS];
    size_t groups = n > 0 ? pick(w, facts, night, n, picked) : 0;
    out->shot = DW_TAKE(&w->arena, groups * DW_AIM_GROUP, struct dw_aim_shot);
    if (!out->shot)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots of the night",
                       groups * DW_AIM_GROUP);
    out->n_groups = (int)groups;
    return groups > 0
               ? dw_aim_read(w, facts, picked, groups * DW_AIM_GROUP, DW_AIM_SPOTS, out->shot, err)
               : DW_OK;
}
