/* air.c: see air.h. */
#include "render/stars/air.h"

#include "render/stars/open.h"

#include <math.h>

#define LOWEST_M -500.0 /* no land lies lower, and the air below grows without end */

static const struct dw_air_params AIR = DW_AIR_DEFAULTS;

/* Air masses beyond one that are undone. */
static double undone(double alt_deg, double most)
{
    double in = dw_crossover(alt_deg, AIR.least_deg, AIR.full_deg);
    double over = fmax(dw_air_mass(alt_deg) - 1, 0);
    return in * over / pow(1 + pow(over / fmax(most, 1e-3), AIR.sharpness), 1 / AIR.sharpness);
}

float dw_air_dimmed(double alt_deg, double height_m, double most)
{
    double of_green = dw_extinction(DW_GREEN_UM, fmax(height_m, LOWEST_M));
    return (float)(pow(10, 0.4 * undone(alt_deg, most) * of_green) - 1);
}

void dw_air_undo(double alt_deg, double height_m, double most, float *red, float *blue)
{
    height_m = fmax(height_m, LOWEST_M);
    double over = undone(alt_deg, most);
    double of_green = dw_extinction(DW_GREEN_UM, height_m);
    double less_red = of_green - dw_extinction(DW_RED_UM, height_m);
    double more_blue = dw_extinction(DW_BLUE_UM, height_m) - of_green;
    *red = (float)(pow(10, -0.4 * over * less_red) - 1);
    *blue = (float)(pow(10, 0.4 * over * more_blue) - 1);
}

static bool same(const struct dw_geometry *a, const struct dw_geometry *b)
{
    return a->cell == b->cell && a->cells_w == b->cells_w && a->cells_h == b->cells_h;
}

enum dw_status dw_air_make(struct dw_air *a, const struct dw_facts *facts,
                           const struct dw_geometry *g, const struct dw_background *b, float most,
                           struct dw_error *err)
{
    size_t n = (size_t)b->cols * (size_t)b->rows;
    a->known = facts->aim.focal_px > 0 && most > 0;
    if (!a->known || (a->cols == b->cols && a->rows == b->rows && same(&a->of, g) &&
                      a->most >= most && a->most <= most))
        return DW_OK;
    if (!dw_grow(&a->room, 2 * n * sizeof(float)))
        return dw_fail(err, DW_ERR_MEMORY, "no memory for the air before %zu tiles", n);
    a->cols = b->cols;
    a->rows = b->rows;
    a->of = *g;
    a->most = most;
    a->red = a->room.p;
    a->blue = a->red + n;
    for (int y = 0; y < b->rows; y++)
        for (int x = 0; x < b->cols; x++) {
            double at_x = facts->crop.left + g->cell * (x + 0.5) * g->cells_w / b->cols - 0.5;
            double at_y = facts->crop.top + g->cell * (y + 0.5) * g->cells_h / b->rows - 0.5;
            double ray[3];
            int at = y * b->cols + x;
            a->red[at] = a->blue[at] = 0;
            if (dw_open_at(facts, at_x, at_y) && dw_aim_ray(&facts->aim, at_x, at_y, ray))
                dw_air_undo(dw_aim_altitude(&facts->aim, ray), facts->site.height_m, (double)most,
                            &a->red[at], &a->blue[at]);
        }
    return DW_OK;
}

void dw_air_free(struct dw_air *a)
{
    dw_grow_free(&a->room);
    *a = (struct dw_air){0};
}
