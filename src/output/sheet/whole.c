/* whole.c: the whole shoot on a sheet: a timeline of the sky and the faults, and one frame
 * every quarter of an hour, a row for three hours. See sheet.h. */
#include "output/sheet/sheet.h"

#include "output/telling/kinds.h"
#include "output/paper/picture.h"
#include "base/when.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SLOT_S 900
#define COLUMNS 12
#define ROW_S (SLOT_S * COLUMNS)
#define ROWS 9 /* a page: 27 hours */
#define LEFT (DW_SHEET_MARGIN + 92)
#define GUTTER 8
#define TIMELINE_TOP 150
#define TIMELINE_FOOT 300
#define LANE 9 /* pixels of one kind of fault, at the timeline's foot */
#define TOP 336
#define ROW_HEIGHT 113
#define PICTURE_HEIGHT 86
#define LONGEST 240 /* pixels; as much as print shows of so small a picture */

static const struct dw_ink part_ink[DW_SKY_PARTS] = {{0.70, 0.74, 0.82},
                                                     {0.78, 0.81, 0.87},
                                                     {0.85, 0.88, 0.92},
                                                     {0.92, 0.94, 0.96},
                                                     {0.98, 0.97, 0.94}},
                           sun_ink = {0.66, 0.36, 0}, moon_ink = {0.29, 0.35, 0.45};
static const struct dw_letters tiny = {17, false, {0.25, 0.25, 0.27}},
                               bold = {19, true, {0.09, 0.09, 0.1}};

/* Local time at which the first row begins: a full hour. */
static double first_row(const struct dw_sheet *s)
{
    return floor((s->day.first_s + s->day.offset_s) / 3600) * 3600;
}

static size_t row_count(const struct dw_sheet *s)
{
    return (size_t)fmin(floor((s->day.last_s + s->day.offset_s - first_row(s)) / ROW_S) + 1, 900);
}

size_t dw_sheet_whole_pages(const struct dw_sheet *s)
{
    return (row_count(s) + ROWS - 1) / ROWS;
}

int dw_sheet_whole_height(const struct dw_sheet *s, size_t page)
{
    size_t rows = row_count(s) - page * ROWS;
    return DW_SHEET_HEIGHT - (rows < ROWS ? ROWS - (int)rows : 0) * ROW_HEIGHT;
}

static double across(const struct dw_sheet *s, double t)
{
    double x = (t - s->day.first_s) / (s->day.last_s - s->day.first_s);
    return DW_SHEET_MARGIN + (DW_SHEET_WIDTH - 2.0 * DW_SHEET_MARGIN) * fmin(fmax(x, 0), 1);
}

static void draw_body(struct dw_paper *p, const struct dw_sheet *s, const double *deg, double foot,
                      bool dashed, struct dw_ink ink)
{
    double *x = calloc(2 * s->day.n, sizeof *x);
    for (size_t i = 0; x && i < s->day.n; i++) {
        x[i] = across(s, s->day.t[i]);
        x[s->day.n + i] = foot - (foot - TIMELINE_TOP) * (fmin(fmax(deg[i], -60), 75) + 60) / 135;
    }
    if (x)
        dw_paper_curve(p, x, x + s->day.n, s->day.n, 3, dashed, ink);
    free(x);
}

static void draw_hours(struct dw_paper *p, const struct dw_sheet *s)
{
    double t, step = dw_day_step(&s->day, 24, &t);
    for (; t <= s->day.last_s; t += step) {
        char when[32];
        double x = across(s, t);
        dw_when_local(t, s->day.offset_s, when);
        dw_paper_box(p, x - 0.75, TIMELINE_TOP, 1.5, TIMELINE_FOOT - TIMELINE_TOP + 4,
                     dw_sheet_rule);
        bool midnight = strlen(when) == 19 && strncmp(when + 11, "00:00", 5) == 0;
        if (strlen(when) == 19)
            when[midnight ? 10 : 16] = '\0';
        if (x > DW_SHEET_MARGIN + 30 && x < DW_SHEET_WIDTH - DW_SHEET_MARGIN - 30)
            dw_paper_line(p, x, TIMELINE_FOOT + 22, 120, DW_CENTRE, &tiny,
                          strlen(when) > 10 ? when + 11
                          : midnight        ? when + 5
                                            : when);
    }
}

static size_t lanes_of(const struct dw_sheet *s, uint32_t *all)
{
    size_t n = 0;
    *all = 0;
    for (size_t i = 0; i < s->d->n_shots; i++)
        *all |= s->d->ledger[i].faults;
    for (int k = 0; k < DW_FAULT_COUNT; k++)
        n += *all >> k & 1;
    return n;
}

static void draw_timeline(struct dw_paper *p, const struct dw_sheet *s)
{
    uint32_t all;
    size_t n = lanes_of(s, &all);
    double foot = TIMELINE_FOOT - (double)n * LANE;
    for (size_t i = 0; i < s->day.n_stretches; i++) {
        const struct dw_sky_stretch *k = &s->day.stretch[i];
        double x = across(s, k->from_s);
        dw_paper_box(p, x, TIMELINE_TOP, across(s, k->to_s) - x, TIMELINE_FOOT - TIMELINE_TOP,
                     part_ink[k->part]);
    }
    draw_hours(p, s);
    double horizon = foot - (foot - TIMELINE_TOP) * 60 / 135;
    dw_paper_box(p, DW_SHEET_MARGIN, horizon, DW_SHEET_WIDTH - 2.0 * DW_SHEET_MARGIN, 1.5,
                 dw_sheet_hatch);
    draw_body(p, s, s->day.moon_deg, foot, true, moon_ink);
    draw_body(p, s, s->day.sun_deg, foot, false, sun_ink);
    double y = foot;
    for (int k = 0; k < DW_FAULT_COUNT; k++) {
        if (!(all >> k & 1))
            continue;
        for (size_t i = 0; i < s->d->n_shots; i++)
            if (s->d->ledger[i].faults >> k & 1) {
                double x = across(s, s->d->ledger[i].utc_s);
                double to = across(s, s->d->ledger[i].utc_s + s->d->facts.interval_s);
                dw_paper_box(p, x, y + 1, fmax(to - x, 3), LANE - 2, dw_kind(k)->ink);
            }
        y += LANE;
    }
}

/* The shot that stands for a slot: its first that can be shown; n_shots if there is none. *faults:
 * of all its shots. */
static size_t shot_of(const struct dw_sheet *s, double from_s, uint32_t *faults)
{
    size_t best = s->d->n_shots;
    *faults = 0;
    for (size_t i = 0; i < s->d->n_shots; i++) {
        double t = s->d->ledger[i].utc_s;
        if (!(t >= from_s && t < from_s + SLOT_S))
            continue;
        *faults |= s->d->ledger[i].faults;
        if (i < s->survey->n && s->survey->measure[i].usable &&
            (best == s->d->n_shots || t < s->d->ledger[best].utc_s))
            best = i;
    }
    return best;
}

static void draw_slot(struct dw_paper *p, const struct dw_sheet *s, double from_s, double x,
                      double y, double w)
{
    struct dw_image picture;
    uint32_t faults;
    char why[80], when[32];
    if (from_s + SLOT_S <= s->day.first_s || from_s > s->day.last_s)
        return; /* beyond the shoot the sheet stays white */
    size_t shot = shot_of(s, from_s, &faults);
    if (shot < s->d->n_shots &&
        dw_sheet_picture(s->shots, s->survey, s->d, shot, shot, s->look, LONGEST, &picture, why)) {
        dw_paper_picture(p, x, y, w, PICTURE_HEIGHT, &picture, dw_sheet_mat);
        dw_image_free(&picture);
    } else {
        dw_paper_hatch(p, x, y, w, PICTURE_HEIGHT, dw_sheet_mat, dw_sheet_hatch);
    }
    dw_when_minute(shot < s->d->n_shots ? s->d->ledger[shot].utc_s : from_s, s->day.offset_s, when);
    double at = x + dw_paper_line(p, x, y + PICTURE_HEIGHT + 17, w, DW_LEFT, &tiny, when + 11) + 8;
    for (int k = 0; k < DW_FAULT_COUNT && at < x + w - 12; k++)
        if (faults >> k & 1) {
            dw_paper_box(p, at, y + PICTURE_HEIGHT + 5, 12, 12, dw_kind(k)->ink);
            at += 16;
        }
}

/* first: of the page. */
static void draw_row(struct dw_paper *p, const struct dw_sheet *s, double local_s, bool first,
                     double y)
{
    const double w = (DW_SHEET_WIDTH - DW_SHEET_MARGIN - LEFT - (COLUMNS - 1.0) * GUTTER) / COLUMNS;
    char when[32];
    dw_when_local(local_s, 0, when);
    if (strlen(when) == 19) {
        bool new_day = first || fmod(local_s, 86400) < ROW_S;
        when[10] = when[16] = '\0';
        dw_paper_line(p, DW_SHEET_MARGIN, y + 20, 84, DW_LEFT, &bold, when + 11);
        if (new_day)
            dw_paper_line(p, DW_SHEET_MARGIN, y + 44, 84, DW_LEFT, &dw_sheet_small, when + 5);
    }
    for (int k = 0; k < COLUMNS; k++)
        draw_slot(p, s, local_s - s->day.offset_s + k * SLOT_S, LEFT + k * (w + GUTTER), y, w);
}

void dw_sheet_draw_whole(struct dw_paper *p, void *ctx, size_t page)
{
    const struct dw_sheet *s = ctx;
    char aside[120];
    snprintf(aside, sizeof aside, "%zu shots  \xc2\xb7  moon %.0f %% lit", s->shots->n,
             100 * s->day.moon_lit_share);
    dw_sheet_frame(p, s, "The whole shoot", aside,
                   "One frame every 15 minutes, a square below for a fault in them. Above: the sun "
                   "(full line), the moon (broken), night and twilights, faults by kind.",
                   page, s->whole_pages);
    draw_timeline(p, s);
    size_t rows = row_count(s);
    for (size_t k = 0; k < ROWS && page * ROWS + k < rows; k++)
        draw_row(p, s, first_row(s) + (double)(page * ROWS + k) * ROW_S, k == 0,
                 TOP + (double)k * ROW_HEIGHT);
}
