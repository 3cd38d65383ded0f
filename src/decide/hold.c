/* hold.c: light that does not go with the sun, above all a town's glow over the horizon. The
 * exposure follows the dusk, so such light would grow in the pictures while all else gets dark, and
 * the evening would turn back. Here it is learnt where it lies, and by how much it rises beside the
 * key from dusk to night; render holds it at the brightness that it had when it was darkest. */
#include "decide/steps.h"
#include "base/robust.h"

#include <math.h>
#include <string.h>

struct hold_params {
    double sunset_deg; /* above it shadows and haze change a place beside the key as much */
    double dusk_deg;   /* below it what is brighter than the night is the moon's, not dusk */
    double near_stops; /* as dark as the darkest of the line to so much: night */
    double quantile;   /* of the night: the moon and the Milky Way pass, the town stays */
    double least_keys; /* stops beside the key: places that are ever darker are ground, which
                        * moonlight raises, and noise */
    double free, soft; /* stops by which light may rise freely, and how softly that ends */
    double least;      /* stops: a shoot in which none rises by more is left as it is */
    double fading;     /* what of it is left a tile farther below the sky */
};
static const struct hold_params HOLD = {0, -15, 0.7, 0.2, -1.5, 0.15, 0.1, 0.5, 0.5};
enum {
    STOPS = 22,
    NONE = 2 * STOPS + 1,
    LEAST_SHOTS = 3,
    COLS = DW_HOLD_COLS,
    ROWS = DW_HOLD_ROWS
};

/* Light of tile k in shot i beside the line. */
static double beside(const struct dw_work *w, size_t i, size_t k)
{
    return (double)w->light[i * (size_t)w->tiles + k] - w->error[i] - w->line[i];
}

/* The shots by how many stops the line lies above its lowest: of bin 0 the night's, then those of
 * whole stops of dusk, then of dawn; NONE for others. NAN if no shot has the sun below the horizon.
 */
static double sort_shots(const struct dw_work *w, int *bin)
{
    double lowest = INFINITY;
    for (size_t i = 0; i < w->n; i++)
        if (w->usable[i] && w->alt[i] < HOLD.sunset_deg)
            lowest = fmin(lowest, w->line[i]);
    for (size_t i = 0; i < w->n; i++) {
        double above = w->line[i] - lowest;
        size_t next = i + 1 < w->n ? i + 1 : i, last = next - 1;
        bool dawn = w->n > 1 && w->alt[next] > w->alt[last];
        bin[i] = NONE;
        if (!w->usable[i] || !(w->alt[i] < HOLD.sunset_deg))
            continue;
        if (above < HOLD.near_stops)
            bin[i] = 0;
        else if (above < STOPS && w->alt[i] > HOLD.dusk_deg)
            bin[i] = (dawn ? STOPS : 0) + (int)fmax(1, round(above));
    }
    return isfinite(lowest) ? lowest : (double)NAN;
}

/* By how many stops tile k rises beside the key from where in dusk it is lowest to the night, and
 * from dawn if that is less: a moon may shine in one of them, and all but its side then lies low.
 * NAN where it is too dark or not known. */
static double rise_of(const struct dw_work *w, const int *bin, size_t k, double *work)
{
    size_t least = w->params->few ? 1 : LEAST_SHOTS;
    double night = (double)NAN, lowest[2] = {INFINITY, INFINITY};
    for (int b = 0; b < NONE; b++) {
        size_t n = 0;
        for (size_t i = 0; i < w->n; i++)
            if (bin[i] == b && isfinite(beside(w, i, k)))
                work[n++] = beside(w, i, k);
        if (n < least)
            continue;
        double *low = &lowest[b > STOPS];
        if (b == 0)
            night = dw_quantile(work, n, HOLD.quantile);
        else
            *low = fmin(*low, dw_median(work, n));
    }
    bool dusk = isfinite(lowest[0]), dawn = isfinite(lowest[1]);
    double low = dusk && dawn ? fmax(lowest[0], lowest[1]) : fmin(lowest[0], lowest[1]);
    bool bright = (dusk || dawn) && fmin(night, low) >= HOLD.least_keys;
    return bright ? night - low : (double)NAN;
}

static bool inside(int x, int y)
{
    return x >= 0 && x < COLS && y >= 0 && y < ROWS;
}

/* What neighbours that are known say, near ones more; NAN where none is. */
static double about(double (*rise)[COLS], int x, int y)
{
    double sum = 0, weight = 0;
    for (int v = y - 1; v <= y + 1; v++)
        for (int u = x - 1; u <= x + 1; u++)
            if (inside(u, v) && isfinite(rise[v][u])) {
                double share = (u == x ? 2 : 1) * (v == y ? 2 : 1);
                sum += share * rise[v][u];
                weight += share;
            }
    return weight > 0 ? sum / weight : (double)NAN;
}

/* Lit houses and paths stand alone in the dark, with fewer bright places than dark ones about them.
 */
static void drop_lone(double (*rise)[COLS])
{
    double was[ROWS][COLS];
    memcpy(was, rise, sizeof was);
    for (int y = 0; y < ROWS; y++)
        for (int x = 0; x < COLS; x++) {
            int open = -1, all = -1; /* itself */
            for (int v = y - 1; v <= y + 1; v++)
                for (int u = x - 1; u <= x + 1; u++) {
                    all += inside(u, v);
                    open += inside(u, v) && isfinite(was[v][u]);
                }
            if (2 * open < all)
                rise[y][x] = (double)NAN;
        }
}

/* Evens what is known, and carries it on into the ground, where it fades. */
static void spread(double (*rise)[COLS])
{
    double was[ROWS][COLS];
    for (int round = 0; round < 2; round++) {
        memcpy(was, rise, sizeof was);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                if (isfinite(was[y][x]))
                    rise[y][x] = about(was, x, y);
    }
    for (int round = 0; round < COLS + ROWS; round++) {
        memcpy(was, rise, sizeof was);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                if (isnan(was[y][x]))
                    rise[y][x] = about(was, x, y) * (round > 0 ? HOLD.fading : 1);
    }
}

enum dw_status dw_hold(struct dw_work *w, struct dw_facts *facts, struct dw_error *err)
{
    int cols = w->survey->cols, rows = w->survey->rows;
    size_t mark = w->arena.n;
    double(*rise)[COLS] = (double(*)[COLS])DW_TAKE(&w->arena, COLS * ROWS, double);
    double *work = DW_TAKE(&w->arena, w->n, double);
    int *bin = DW_TAKE(&w->arena, w->n, int);
    if (!rise || !work || !bin)
        return dw_fail(err, DW_ERR_MEMORY, "out of memory for light that stays by night");
    double lowest = sort_shots(w, bin), most = 0;
    if (isfinite(lowest)) {
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                rise[y][x] =
                    rise_of(w, bin, (size_t)(y * rows / ROWS * cols + x * cols / COLS), work);
        drop_lone(rise);
        spread(rise);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++) {
                double over = ((isfinite(rise[y][x]) ? rise[y][x] : -99) - HOLD.free) / HOLD.soft;
                rise[y][x] = HOLD.soft * (fmax(over, 0) + log1p(exp(-fabs(over))));
                most = fmax(most, rise[y][x]);
            }
    }
    if (most > HOLD.least) {
        facts->hold.night_key = dw_line_key(w, lowest);
        for (int y = 0; y < ROWS; y++)
            for (int x = 0; x < COLS; x++)
                facts->hold.rise[y][x] = (float)(round(rise[y][x] * 1000) / 1000);
    }
    dw_arena_free_to(&w->arena, mark);
    return DW_OK;
}
