/* steps.h: the steps of a decision, in the order in which decide.c takes them. All return
 * DW_OK, or a negative status with *err filled. */
#ifndef DW_DECIDE_STEPS_H
#define DW_DECIDE_STEPS_H

#include "decide/work.h"

/* when/when.c: site, offset of the clock, mid-exposure times, sun altitudes, interval. */
enum dw_status dw_when(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* record.c: exposure by the record; stands in where there is none. */
enum dw_status dw_record(struct dw_work *w, struct dw_error *err);
/* sensor/levels.c: black and white level per class of settings. */
enum dw_status dw_levels_learn(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* sensor/part.c: levels of its own for every shutter time of a class, where dark current of so many
 * DN/s at ISO 100 parts them by more than least_dn. */
enum dw_status dw_levels_part(const struct dw_work *w, double dn_per_s, double least_dn,
                              struct dw_facts *facts, struct dw_error *err);
/* tiles.c: light of every tile; and the keys. */
enum dw_status dw_tiles(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err);
/* brightness/key.c: of that, the key of shot i, without tiles that lamps light; work: two values a
 * tile. */
void dw_key_of_shot(struct dw_work *w, size_t i, const struct dw_levels *l, double *work);
/* poses/poses.c: where the camera stood, and which shots show it displaced. */
enum dw_status dw_poses(struct dw_work *w, struct dw_error *err);
/* poses/margin.c: how far each shot is moved back; facts->crop. */
enum dw_status dw_margin(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* brightness/lamps.c: which tiles lamps light; and light and keys without them. Before the faults,
 * that no lit room passes for a shot that is too bright. */
enum dw_status dw_lamps(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err);
/* faults/: judges every shot; sets faults, severity, reason and use in the ledger, and w->usable.
 * Before the steadying, so that no spoiled shot pulls it. */
enum dw_status dw_faults(struct dw_work *w, struct dw_ledger_row *ledger, struct dw_error *err);
/* settings/tints.c: colours that change with the settings; from dw_dark on, which measures the
 * tiles anew, they are put right. */
enum dw_status dw_tints(struct dw_work *w, struct dw_decision *out, struct dw_error *err);
/* settings/shading.c: corners that change with the aperture; the same. */
enum dw_status dw_shading(struct dw_work *w, struct dw_decision *out, struct dw_error *err);
/* Stops by which that lifts a tile of shot i; 0 before. */
double dw_lift(const struct dw_work *w, size_t i, int tile);
/* sensor/dark.c: what the black levels are wrong by, as dark tiles show; puts them right in the
 * facts and measures the tiles anew. */
enum dw_status dw_dark(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* brightness/burnt_out.c: how far light that burns out at an edge in a shot may be a lamp's, 0
 * to 1. */
double dw_lamps_burn_out(const struct dw_shot *shot, double sun_alt_deg);
/* steady/steady.c: exposure error of every shot. */
enum dw_status dw_steady(struct dw_work *w, struct dw_error *err);
/* faults/: the faults that only show in steadied light. */
enum dw_status dw_faults_after(struct dw_work *w, struct dw_ledger_row *ledger,
                               struct dw_error *err);
/* brightness/line.c: the smooth brightness line. */
enum dw_status dw_line(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* brightness/give_way.c: how far the line gives way to light that departs from the lawful. rest:
 * that, stops a shot, NAN where a shot has no say; called by dw_line. */
enum dw_status dw_give_way(struct dw_work *w, const double *rest, struct dw_error *err);
/* brightness/calm.c: how much of real fast light is taken out; after the line. */
enum dw_status dw_calm(struct dw_work *w, struct dw_error *err);
/* The line at any instant, and the output level of the key that it asks for. */
double dw_line_at(const struct dw_work *w, double utc, double alt);
double dw_line_key(const struct dw_work *w, double light);
/* That of a frame with the sun at this altitude: under the stars it gives way to their light. */
double dw_key_at(const struct dw_work *w, double light, double alt);
/* colour/colour.c, colour/night.c, sensor/hot.c: what render needs to know of the camera and of the
 * night. */
enum dw_status dw_colour(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
enum dw_status dw_night(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* colour/dusk.c: between which sun altitudes the night's balance comes; after dw_night. */
enum dw_status dw_dusk(struct dw_work *w, const struct dw_ledger_row *ledger,
                       struct dw_facts *facts, struct dw_error *err);
/* brightness/hold.c: light that stays while dusk goes, a town's; after dw_line. */
enum dw_status dw_hold(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* colour/green.c: what green is in twilight's light; after dw_colour. */
enum dw_status dw_green(struct dw_work *w, const struct dw_facts *facts, struct dw_error *err);
/* That at a sun altitude, as in struct dw_source. */
void dw_green_at(const struct dw_work *w, double alt, double out[4]);
enum dw_status dw_hot_pixels(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* aim/: where the camera looked, by how the stars move; after dw_hot_pixels. */
enum dw_status dw_aim_learn(struct dw_work *w, struct dw_facts *facts, struct dw_error *err);
/* frames.c: the frame list; fills frame numbers in the ledger. */
enum dw_status dw_frames(struct dw_work *w, struct dw_decision *out, struct dw_error *err);
/* The gain that brings the key of shot i to 1 on the smooth line. */
double dw_gain(const struct dw_work *w, size_t i);
/* flicker.c: before and after. */
void dw_flicker_measure(const struct dw_work *w, struct dw_decision *out);

/* The sun's altitude at an instant (when/when.c keeps the site and a table of it). */
enum dw_status dw_altitude(const struct dw_site *site, double utc, double *alt,
                           struct dw_error *err);

#endif
