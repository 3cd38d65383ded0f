/* frame.c: head and foot of a sheet's page. See sheet.h. */
#include "output/sheet/sheet.h"

#include "output/telling/kinds.h"
#include "output/telling/place.h"
#include "base/when.h"

#include <stdio.h>

const struct dw_ink dw_sheet_black = {0.09, 0.09, 0.1}, dw_sheet_rule = {0.8, 0.8, 0.81},
                    dw_sheet_mat = {0.9, 0.9, 0.905}, dw_sheet_hatch = {0.8, 0.8, 0.81};
const struct dw_letters dw_sheet_note = {19, false, {0.38, 0.38, 0.4}},
                        dw_sheet_small = {18, false, {0.38, 0.38, 0.4}};
static const struct dw_letters title_letters = {34, true, {0.09, 0.09, 0.1}};

/* Small squares with code and count, from right to left. */
static void draw_counts(struct dw_paper *p, const struct dw_sheet *s, double right, double y)
{
    for (int i = DW_FAULT_COUNT - 1; i >= 0; i--) {
        size_t count = 0;
        for (size_t k = 0; k < s->d->n_shots; k++)
            count += s->d->ledger[k].faults >> i & 1;
        if (count == 0 || !dw_fault_name(i))
            continue;
        char text[60];
        snprintf(text, sizeof text, "%s %zu", dw_fault_name(i), count);
        struct dw_letters l = dw_sheet_note;
        l.ink = dw_sheet_black;
        right -= dw_paper_line(p, right, y, 300, DW_RIGHT, &l, text) + 22;
        dw_paper_box(p, right, y - 14, 14, 14, dw_kind(i)->ink);
        right -= 22;
    }
}

void dw_sheet_frame(struct dw_paper *p, const struct dw_sheet *s, const char *title,
                    const char *aside, const char *foot, size_t page, size_t pages)
{
    const double left = DW_SHEET_MARGIN, right = DW_SHEET_WIDTH - DW_SHEET_MARGIN;
    char folder[200], span[80], offset[16], text[400];
    dw_shoot_folder(s->shots, folder);
    dw_when_span(s->day.first_s, s->day.last_s, s->day.offset_s, span);
    dw_when_offset(s->day.offset_s, offset);
    double used = dw_paper_line(p, left, 78, 700, DW_LEFT, &title_letters, title) + 30;
    double wide = dw_paper_line(p, right, 78, 600, DW_RIGHT, &dw_sheet_note, aside) + 30;
    snprintf(text, sizeof text, "%s, %s%s%s", span, offset, folder[0] ? "  \xc2\xb7  " : "",
             folder);
    dw_paper_line(p, left + used, 78, right - left - used - wide, DW_LEFT, &dw_sheet_note, text);
    draw_counts(p, s, right, 112);
    dw_paper_box(p, left, 132, right - left, 1.5, dw_sheet_rule);
    dw_paper_line(p, left, p->height - 36, 1500, DW_LEFT, &dw_sheet_small, foot);
    snprintf(text, sizeof text, "page %zu of %zu", page + 1, pages);
    dw_paper_line(p, right, p->height - 36, 300, DW_RIGHT, &dw_sheet_small, text);
}
