/* mixing.c: see mixing.h. */
#include "decide/share/mixing.h"

#include <string.h>

/* Of the way that factors go in one round: with errors' weights they could swing for ever. */
#define CALM 0.7
/* What passes never asked for less than all of it; a lamp's switch or a moon that rises, taken for
 * a veil, asks for ever brighter light. */
#define LEAST_WAY 0.3

enum { PARTS = DW_MIXTURE_PARTS };

bool dw_mixing_lay_out(struct dw_mixing *m, const struct dw_share *share, struct dw_arena *arena)
{
    size_t n = (size_t)share->mixtures;
    double weight = n > 0 ? 1 / (share->p->follow_stops * share->p->follow_stops) : 0;
    *m = (struct dw_mixing){.mixture = share->mixture,
                            .mixtures = share->mixtures,
                            .factor = DW_TAKE(arena, PARTS * n, double),
                            .lost = DW_TAKE(arena, n, bool),
                            .follows = PARTS * share->mixtures,
                            .follow = DW_TAKE(arena, PARTS * n, struct dw_follow),
                            .fixed = DW_TAKE(arena, n, struct dw_follow),
                            .course = DW_TAKE(arena, (PARTS + 1) * n, double *),
                            .taken = DW_TAKE(arena, share->n, double)};
    if (!m->factor || !m->lost || !m->follow || !m->fixed || !m->course || !m->taken)
        return false;
    for (size_t k = 0; k < n; k++) {
        const struct dw_mixture *mixture = &share->mixture[k];
        memcpy(m->factor + k * PARTS, mixture->guess, sizeof mixture->guess);
        for (size_t p = 0; p <= PARTS; p++) {
            double *x = m->course[k * (PARTS + 1) + p] = DW_TAKE(arena, mixture->n, double);
            if (!x)
                return false;
            *(p < PARTS ? &m->follow[k * PARTS + p] : &m->fixed[k]) =
                (struct dw_follow){mixture->first, mixture->n, x, weight};
        }
    }
    return true;
}

void dw_mix(struct dw_mixing *m, const struct dw_share *share, double *work)
{
    if (m->mixtures == 0)
        return;
    for (int k = 0; k < m->mixtures; k++) {
        double **course = m->course + k * (PARTS + 1);
        for (int p = 0; p <= PARTS && m->lost[k]; p++)
            memset(course[p], 0, m->mixture[k].n * sizeof *course[p]);
        if (!m->lost[k])
            dw_mixture_at(&m->mixture[k], m->factor + k * PARTS, course[PARTS], course);
    }
    for (size_t i = 0; i < share->n; i++) {
        double was = m->taken[i];
        m->taken[i] = 0;
        for (int k = 0; k < m->mixtures; k++)
            m->taken[i] += dw_follow_at(&m->fixed[k], i);
        work[i] = m->taken[i] - was;
    }
    for (size_t k = 0; k < share->n_pairs; k++)
        share->pair[k].v -= work[share->pair[k].b] - work[share->pair[k].a];
}

bool dw_mixing_learn(struct dw_mixing *m, const double *found)
{
    bool kept = true;
    for (int k = 0; k < m->mixtures; k++) {
        if (m->lost[k])
            continue;
        double *from = m->factor + k * PARTS;
        const double *to = found + k * PARTS;
        double way = dw_mixture_way(&m->mixture[k], from, to);
        m->lost[k] = !(way >= LEAST_WAY);
        kept &= !m->lost[k];
        for (int p = 0; p < PARTS && !m->lost[k]; p++)
            from[p] += CALM * way * (to[p] - from[p]);
    }
    return kept;
}

bool dw_mixing_give_up(struct dw_mixing *m)
{
    bool any = false;
    for (int k = 0; k < m->mixtures; k++) {
        any |= !m->lost[k];
        m->lost[k] = true;
    }
    return any;
}

bool dw_mixing_tells(const struct dw_mixing *m, size_t i)
{
    for (int k = 0; k < m->mixtures; k++)
        if (!m->lost[k] && i >= m->mixture[k].first &&
            i + 3 < m->mixture[k].first + m->mixture[k].n)
            return true;
    return false;
}

void dw_unmix(const struct dw_mixing *m, struct dw_share *share)
{
    if (m->mixtures == 0)
        return;
    for (size_t k = 0; k < share->n_pairs; k++)
        share->pair[k].v += m->taken[share->pair[k].b] - m->taken[share->pair[k].a];
    for (size_t i = 0; i < share->n; i++) {
        share->s[i] += m->taken[i];
        for (int f = 0; f < m->follows; f++)
            share->s[i] += share->offset[share->classes + f] * dw_follow_at(&m->follow[f], i);
    }
}
