/* setting.c: see setting.h. */
#include "decide/settings/setting.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static int number_of(struct dw_settings *known, int kind, double stops, double value)
{
    int step = (int)lround(stops * 24);
    for (int c = 0; c < known->n; c++)
        if (known->kind[c] == kind && known->step[c] == step)
            return c;
    if (known->n == DW_MOST_SETTINGS)
        return -1;
    known->step[known->n] = step;
    known->kind[known->n] = kind;
    known->value[known->n] = value;
    return known->n++;
}

void dw_settings_of(struct dw_settings *known, const struct dw_shot *shot, unsigned kinds,
                    int number[DW_SETTING_KINDS])
{
    const bool has[DW_SETTING_KINDS] = {shot->has_shutter, shot->has_iso, shot->has_aperture};
    const double value[DW_SETTING_KINDS] = {shot->shutter_s, shot->iso, shot->f_number},
                 stops[DW_SETTING_KINDS] = {log2(shot->shutter_s), log2(shot->iso / 100),
                                            2 * log2(shot->f_number)};
    for (int k = 0; k < DW_SETTING_KINDS; k++)
        number[k] = has[k] && (kinds >> k & 1) ? number_of(known, k, stops[k], value[k]) : -1;
}

struct dw_setting_error *dw_setting_entry(struct dw_decision *d, const struct dw_settings *known,
                                          int c)
{
    for (size_t i = 0; i < d->n_settings; i++)
        if ((int)d->setting[i].kind == known->kind[c] && d->setting[i].value == known->value[c])
            return &d->setting[i];
    struct dw_setting_error *more = realloc(d->setting, (d->n_settings + 1) * sizeof *d->setting);
    if (!more)
        return NULL;
    d->setting = more;
    more[d->n_settings] = (struct dw_setting_error){.kind = (enum dw_setting_kind)known->kind[c],
                                                    .value = known->value[c]};
    return &more[d->n_settings++];
}

enum dw_status dw_set_shots_find(struct dw_work *w, unsigned kinds, struct dw_set_shots *out,
                                 struct dw_error *err)
{
    memset(out, 0, sizeof *out);
    out->shot = DW_TAKE(&w->arena, w->n, size_t);
    out->time = DW_TAKE(&w->arena, w->n, double);
    out->setting = dw_arena_take(&w->arena, w->n, sizeof *out->setting);
    out->every = dw_arena_take(&w->arena, w->n, sizeof *out->every);
    if (!out->shot || !out->time || !out->setting || !out->every)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for the settings of %zu frames", w->n);
    for (size_t i = 0; i < w->n; i++) {
        dw_settings_of(&out->known, &w->shots->shot[i], w->recorded[i] ? kinds : 0, out->every[i]);
        if (!w->usable[i] || !w->recorded[i])
            continue;
        out->shot[out->n] = i;
        out->time[out->n] = w->utc[i];
        memcpy(out->setting[out->n++], out->every[i], sizeof *out->every);
    }
    return DW_OK;
}

#define ABOUT_CHANGE 6 /* shots: as far as what is known there of light reaches into a change */

void dw_set_shots_change(const struct dw_set_shots *p, bool *asked)
{
    memset(asked, 0, p->n * sizeof *asked);
    for (size_t i = 1; i < p->n; i++) {
        if (!memcmp(p->setting[i - 1], p->setting[i], sizeof p->setting[i]))
            continue;
        for (size_t k = i > ABOUT_CHANGE ? i - ABOUT_CHANGE : 0;
             k < i + ABOUT_CHANGE - 3 && k < p->n; k++)
            asked[k] = true;
    }
}
