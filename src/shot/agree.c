/* agree.c: one shoot is one camera, one size, one orientation. */
#include "shot/scan.h"

#include "base/buffers.h"

#include <string.h>

enum { MOST_GROUPS = 16, MOST_NAMES = 5 };

struct group {
    const struct dw_find *like; /* its first frame */
    size_t n;
};

static bool same_camera(const struct dw_shot *a, const struct dw_shot *b)
{
    bool serials = a->serial[0] && b->serial[0];
    return strcmp(a->make, b->make) == 0 && strcmp(a->model, b->model) == 0 &&
           (!serials || strcmp(a->serial, b->serial) == 0);
}

/* White levels a factor of two apart are 12 bits against 14, or another ISO base: small
 * differences between ISO settings are normal. */
static bool same_scale(const struct dw_find *a, const struct dw_find *b)
{
    return a->white < 1.9 * b->white && b->white < 1.9 * a->white;
}

static bool alike(const struct dw_find *a, const struct dw_find *b)
{
    return same_camera(&a->shot, &b->shot) && a->shot.width == b->shot.width &&
           a->shot.height == b->shot.height && a->shot.turn_deg == b->shot.turn_deg &&
           a->shot.cfa == b->shot.cfa && memcmp(a->pattern, b->pattern, sizeof a->pattern) == 0 &&
           same_scale(a, b);
}

static void describe(struct dw_buffer *b, const struct group *g, const struct dw_find *against)
{
    const struct dw_shot *s = &g->like->shot, *t = &against->shot;
    dw_buffer_printf(b, "%zu of %s %s, %dx%d", g->n, s->make, s->model, s->width, s->height);
    if (s->turn_deg != t->turn_deg)
        dw_buffer_printf(b, ", turned by %d degrees", s->turn_deg);
    if (strcmp(s->model, t->model) == 0 && !same_camera(s, t))
        dw_buffer_printf(b, ", serial number %s", s->serial);
    if (!same_scale(g->like, against))
        dw_buffer_printf(b, ", white level %.0f", g->like->white);
    if (s->cfa != t->cfa || memcmp(g->like->pattern, against->pattern, sizeof against->pattern))
        dw_buffer_printf(b, ", another colour pattern");
}

static void name_the_odd(struct dw_buffer *b, const struct dw_find *find, size_t n,
                         const struct dw_find *usual, size_t odd)
{
    size_t named = 0;
    for (size_t i = 0; i < n && named < MOST_NAMES; i++)
        if (find[i].state == DW_FIND_FRAME && !alike(&find[i], usual))
            dw_buffer_printf(b, "%s%.60s", named++ ? ", " : "", find[i].shot.name);
    if (odd > named)
        dw_buffer_printf(b, " and %zu more", odd - named);
}

/* A damaged record may hold anything, which stands there escaped; nobody can type that. */
static bool can_be_typed(const char *model)
{
    bool good = *model != '\0';
    for (const char *c = model; *c; c++)
        good = good && *c >= ' ' && *c <= '~' && !strchr("'\\", *c);
    return good;
}

/* What to do about it: a model can be chosen, anything else must be moved away. */
static void remedy(struct dw_buffer *b, const struct group *g, size_t groups)
{
    bool by_model = true;
    for (size_t i = 1; i < groups; i++)
        by_model = by_model && strcmp(g[i].like->shot.model, g[0].like->shot.model) != 0;
    size_t k = 0; /* groups come with the largest first */
    while (k < groups && !can_be_typed(g[k].like->shot.model))
        k++;
    if (by_model && k < groups)
        dw_buffer_printf(b,
                         ". One shoot is one camera: choose it with --only '%s', or give the "
                         "folders apart",
                         g[k].like->shot.model);
    else
        dw_buffer_printf(b, ". One shoot is one camera at one size and orientation: move the odd "
                            "files elsewhere");
}

enum dw_status dw_agree(const struct dw_find *find, size_t n, struct dw_error *err)
{
    struct group g[MOST_GROUPS] = {{NULL, 0}};
    size_t groups = 0, total = 0;
    for (size_t i = 0; i < n; i++) {
        if (find[i].state != DW_FIND_FRAME)
            continue;
        total++;
        size_t k = 0;
        while (k < groups && !alike(g[k].like, &find[i]))
            k++;
        if (k == groups && groups < MOST_GROUPS)
            g[groups++].like = &find[i];
        if (k == groups)
            continue; /* so many kinds that the rest adds nothing to the message */
        g[k].n++;
        if (!g[k].like->shot.serial[0] && find[i].shot.serial[0])
            g[k].like = &find[i]; /* one that can tell two bodies apart */
    }
    if (groups < 2)
        return DW_OK;
    for (size_t k = 1; k < groups; k++)
        if (g[k].n > g[0].n) {
            struct group t = g[0];
            g[0] = g[k];
            g[k] = t;
        }
    struct dw_buffer b = {0};
    dw_buffer_printf(&b, "the frames do not belong together: ");
    describe(&b, &g[0], g[1].like);
    for (size_t k = 1; k < groups && k < 4; k++) {
        dw_buffer_printf(&b, "; ");
        describe(&b, &g[k], g[0].like);
    }
    dw_buffer_printf(&b, "; the odd ones: ");
    name_the_odd(&b, find, n, g[0].like, total - g[0].n);
    remedy(&b, g, groups);
    dw_fail(err, DW_ERR_MIXED, "%s", b.data ? b.data : "the frames do not belong together");
    dw_buffer_free(&b);
    return DW_ERR_MIXED;
}
