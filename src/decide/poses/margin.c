/* margin.c: what is done about displacement: how far each shot is moved back, and what is cropped
 * off all frames so that no border shows. */
#include "decide/steps.h"

#include <math.h>

#define MOST_SHARE 0.02 /* of the frame's width and height: more is not put right */
#define MOST_TURN_DEG 0.5
/* A displacement this close to whole cells, or to whole pixels, is taken as whole: nobody sees the
 * difference, and the picture keeps its own samples. Mosaic pixels. */
#define AS_GOOD_AS_WHOLE_CELLS 0.1
#define AS_GOOD_AS_WHOLE 0.05
#define MOST_SHAPE 0.01 /* of the frame: a crop is rounded up to its shape by no more */
#define STEPS 64.0      /* of a pixel; finer is not known */

static double rounded(double px, int cell)
{
    double whole = cell * round(px / cell);
    if (fabs(px - whole) < AS_GOOD_AS_WHOLE_CELLS)
        return whole;
    return fabs(px - round(px)) < AS_GOOD_AS_WHOLE ? round(px) : round(px * STEPS) / STEPS;
}

static bool too_far(const struct dw_shift *s, const struct dw_facts *f)
{
    return fabs(2 * s->x) > MOST_SHARE * f->mosaic_width ||
           fabs(2 * s->y) > MOST_SHARE * f->mosaic_height ||
           fabs(s->turn) * (180 / M_PI) > MOST_TURN_DEG;
}

/* Grows the crop by what this displacement leaves empty. */
static void make_room(const struct dw_work *w, size_t i, const struct dw_facts *f, double room[4])
{
    double turn = fabs(w->back[i].roll_deg) * M_PI / 180;
    double x = w->back[i].x, y = w->back[i].y;
    double more_x = turn * f->mosaic_height / 2, more_y = turn * f->mosaic_width / 2;
    room[0] = fmax(room[0], more_x - x);
    room[1] = fmax(room[1], more_y - y);
    room[2] = fmax(room[2], more_x + x);
    room[3] = fmax(room[3], more_y + y);
}

static int cells(double px, int unit)
{
    return px > 0 ? unit * (int)ceil(px / unit - 1e-6) : 0;
}

static int common_divisor(int a, int b)
{
    return b ? common_divisor(b, a % b) : a;
}

/* Whole cells off every side, in the frame's own shape, exactly where that is a simple one such as
 * 3:2: the same box is filled as without. */
static void crop(const double room[4], int unit, struct dw_facts *f)
{
    int left = cells(room[0], unit), top = cells(room[1], unit);
    int right = cells(room[2], unit), bottom = cells(room[3], unit);
    int w = f->mosaic_width / unit, h = f->mosaic_height / unit, both = common_divisor(w, h);
    if (left + top + right + bottom == 0 || both == 0)
        return;
    int shape_x = unit * w / both, shape_y = unit * h / both; /* the smallest of this shape */
    double share =
        fmax((double)(left + right) / f->mosaic_width, (double)(top + bottom) / f->mosaic_height);
    int across = cells(share * f->mosaic_width, unit), down = cells(share * f->mosaic_height, unit);
    if (shape_x <= MOST_SHAPE * f->mosaic_width) {
        int times = cells(share * f->mosaic_width / shape_x, 1);
        across = times * shape_x;
        down = times * shape_y;
    }
    int more_x = across - left - right, more_y = down - top - bottom;
    int half_x = more_x / (2 * unit) * unit, half_y = more_y / (2 * unit) * unit;
    f->crop = (struct dw_crop){left + half_x, top + half_y, right + more_x - half_x,
                               bottom + more_y - half_y};
}

enum dw_status dw_margin(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    w->back = DW_TAKE(&w->arena, w->n, struct dw_back);
    if (!w->back)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for %zu shots", w->n);
    double room[4] = {0};
    int unit = 2;
    for (size_t i = 0; i < w->n; i++) {
        const struct dw_shift *s = &w->shift[i];
        enum dw_cfa cfa = w->shots->shot[i].cfa;
        if (w->pose[i] == 0)
            continue;
        if (too_far(s, facts)) {
            w->back[i].too_far = true;
            continue;
        }
        bool turned = s->turn != 0;
        int cell = cfa == DW_CFA_XTRANS ? 6 : 2;
        w->back[i].x = turned ? round(2 * s->x * STEPS) / STEPS : rounded(2 * s->x, cell);
        w->back[i].y = turned ? round(2 * s->y * STEPS) / STEPS : rounded(2 * s->y, cell);
        w->back[i].roll_deg = s->turn * (180 / M_PI);
        unit = cell;
        /* a shake is too short for its border, which is repeated, to be seen */
        if (w->bump[i].kind != DW_SHAKEN)
            make_room(w, i, facts, room);
    }
    crop(room, unit, facts);
    return DW_OK;
}
