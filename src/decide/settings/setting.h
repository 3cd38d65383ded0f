/* setting.h: the settings of a shot as numbers. A camera's every shutter time, ISO and aperture has
 * small errors of its own, the same whenever it is used. */
#ifndef DW_DECIDE_SETTING_H
#define DW_DECIDE_SETTING_H

#include "decide/work.h"

#define DW_MOST_SETTINGS 256

/* All settings met so far, of all kinds, in the order in which they were met. */
struct dw_settings {
    int n, kind[DW_MOST_SETTINGS];
    int step[DW_MOST_SETTINGS];     /* twenty-fourths of a stop, which tells them apart */
    double value[DW_MOST_SETTINGS]; /* seconds, ISO or f-number of the first shot with it */
};

/* Numbers of a shot's settings by kind; -1 where it records none, or there are too many, or the
 * kind is not asked for (kinds: bits 1 << kind). */
void dw_settings_of(struct dw_settings *known, const struct dw_shot *shot, unsigned kinds,
                    int number[DW_SETTING_KINDS]);
/* The entry of known setting c in the decision's list of what settings do; NULL: no memory. */
struct dw_setting_error *dw_setting_entry(struct dw_decision *d, const struct dw_settings *known,
                                          int c);
#define DW_ALL_SETTINGS ((1u << DW_SETTING_KINDS) - 1)

/* The shots of a shoot that may teach what their settings do, in order of time: usable, and with a
 * record. */
struct dw_set_shots {
    size_t n, *shot; /* of the shot table */
    double *time;    /* s */
    int (*setting)[DW_SETTING_KINDS];
    int (*every)[DW_SETTING_KINDS]; /* of every shot of the table; -1 without a record */
    struct dw_settings known;
};
/* Which four shots in a row (n-3 of them) lie about a change of settings: elsewhere the picture
 * says nothing of them. asked: n values. */
void dw_set_shots_change(const struct dw_set_shots *p, bool *asked);
/* kinds: bits 1 << kind of those that count; the others are -1. Arrays come from the arena.
 * Errors: DW_ERR_MEMORY. */
enum dw_status dw_set_shots_find(struct dw_work *w, unsigned kinds, struct dw_set_shots *out,
                                 struct dw_error *err);

#endif
