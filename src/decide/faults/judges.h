/* judges.h: one judge a file. Each looks at all shots for its own codes and blames those that have
 * them; faults.c calls them in order and decides what becomes of a blamed shot.
 *
 * Two passes. Before the steadying: what would pull it (record.c, level.c, flash.c); these know the
 * light by the camera's record only. After it: what needs the light itself.
 * A new judge is a file here, a prototype below and a line in one of the two lists of faults.c. */
#ifndef DW_DECIDE_FAULTS_JUDGES_H
#define DW_DECIDE_FAULTS_JUDGES_H

#include "decide/steps.h"

/* Codes whose shots are no use: left out and, in short runs, bridged from their neighbours. What
 * creeps on and goes (soft, haze, cloud) stays in: a true picture of a worse hour is better than an
 * invented one. `gap` and `no-exposure` say something about a shot that is sound. */
#define DW_SPOILED ((uint32_t)(DW_UNREADABLE | DW_BRIGHT | DW_DARK | DW_FLASH))

/* Adds a fault to a shot; severity 0..1, a plain sentence with the figures behind it (no full
 * stop). A shot keeps the sentence of its worst fault. */
void dw_blame(struct dw_ledger_row *row, enum dw_fault fault, double severity, const char *fmt, ...)
    DW_PRINTF(4, 5);

/* record.c: unreadable, no-exposure, gap. */
enum dw_status dw_judge_record(struct dw_work *w, struct dw_ledger_row *ledger,
                               struct dw_error *err);
/* level.c: bright, dark; flash where light came over the whole picture. */
enum dw_status dw_judge_level(struct dw_work *w, struct dw_ledger_row *ledger,
                              struct dw_error *err);
/* moved.c: moved. */
enum dw_status dw_judge_moved(struct dw_work *w, struct dw_ledger_row *ledger,
                              struct dw_error *err);
/* flash.c: flash. */
enum dw_status dw_judge_flash(struct dw_work *w, struct dw_ledger_row *ledger,
                              struct dw_error *err);
/* soft_stars.c: soft, by night. */
enum dw_status dw_judge_soft_stars(struct dw_work *w, struct dw_ledger_row *ledger,
                                   struct dw_error *err);
/* reflection.c: reflection. */
enum dw_status dw_judge_reflection(struct dw_work *w, struct dw_ledger_row *ledger,
                                   struct dw_error *err);
/* soft.c: soft. haze.c: haze. cloud.c: cloud. After the steadying, in this order: soft explains
 * haze, both explain cloud. */
enum dw_status dw_judge_soft(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err);
enum dw_status dw_judge_haze(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err);
enum dw_status dw_judge_cloud(struct dw_work *w, struct dw_ledger_row *ledger,
                              struct dw_error *err);

#endif
