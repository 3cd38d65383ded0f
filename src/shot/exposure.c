/* exposure.c: marks and the true steps behind them.
 *
 * Cameras are built to powers of 2^(1/3) and mark rounded names (the Annex C of Exif calls 1/60 s
 * "Tv 6", which is 1/64 s). The tables name the marks, because a free-running electronic shutter
 * may write 1/59 s and mean it: only a mark, or the step itself, is taken to be a step. */
#include "shot/exposure.h"

#include <math.h>
#include <stddef.h>

#define MARK_TOLERANCE 0.012 /* stop: rounding of rationals and of APEX codes in 1/32 stop */
#define STEP_TOLERANCE 0.006 /* stop: the true value itself, rounded */
#define ISO_TOLERANCE 0.03   /* stop: the largest rounding in ISO marks is 0.0228 */
#define F_TOLERANCE 0.02     /* stop */
#define TELLING 0.03         /* stop between mark and step that an APEX value must resolve */

#define LONGEST_STEP_S 33 /* longer ones are timed by hand or by a clock */

struct mark {
    double mark;
    int k; /* thirds of a stop from 1 s, or sixths of a doubling from f/1 */
};

static const struct mark shutter_marks[] = {
    {30, 15},
    {25, 14},
    {20, 13},
    {15, 12},
    {13, 11},
    {10, 10},
    {8, 9},
    {6, 8},
    {5, 7},
    {4, 6},
    {3.2, 5},
    {3, 5},
    {2.5, 4},
    {2, 3},
    {1.6, 2},
    {1.3, 1},
    {1, 0},
    {0.8, -1},
    {1 / 1.3, -1},
    {0.6, -2},
    {1 / 1.6, -2},
    {0.5, -3},
    {0.4, -4},
    {0.3, -5},
    {1 / 3., -5},
    {1 / 4., -6},
    {1 / 5., -7},
    {1 / 6., -8},
    {1 / 8., -9},
    {1 / 10., -10},
    {1 / 13., -11},
    {1 / 15., -12},
    {1 / 20., -13},
    {1 / 25., -14},
    {1 / 30., -15},
    {1 / 40., -16},
    {1 / 50., -17},
    {1 / 60., -18},
    {1 / 80., -19},
    {1 / 100., -20},
    {1 / 125., -21},
    {1 / 160., -22},
    {1 / 200., -23},
    {1 / 250., -24},
    {1 / 320., -25},
    {1 / 400., -26},
    {1 / 500., -27},
    {1 / 640., -28},
    {1 / 800., -29},
    {1 / 1000., -30},
    {1 / 1250., -31},
    {1 / 1600., -32},
    {1 / 2000., -33},
    {1 / 2500., -34},
    {1 / 3200., -35},
    {1 / 4000., -36},
    {1 / 5000., -37},
    {1 / 6400., -38},
    {1 / 8000., -39},
    {1 / 10000., -40},
    {1 / 12800., -41},
    {1 / 16000., -42},
    {1 / 20000., -43},
    {1 / 25600., -44},
    {1 / 32000., -45},
};

static const struct mark f_marks[] = {
    {1.0, 0},  {1.1, 1},  {1.2, 2},  {1.4, 3},  {1.6, 4},  {1.8, 5},  {2.0, 6},
    {2.2, 7},  {2.5, 8},  {2.8, 9},  {3.2, 10}, {3.5, 11}, {4.0, 12}, {4.5, 13},
    {5.0, 14}, {5.6, 15}, {6.3, 16}, {7.1, 17}, {8.0, 18}, {9.0, 19}, {10, 20},
    {11, 21},  {13, 22},  {14, 23},  {16, 24},  {18, 25},  {20, 26},  {22, 27},
    {25, 28},  {29, 29},  {32, 30},  {36, 31},  {40, 32},  {45, 33},
};

/* The step of a mark, 2^(k / per_doubling); the value itself if it is no mark and no step. */
static double step_behind(double v, const struct mark *marks, size_t n, double stops_per_doubling,
                          double per_doubling, double tolerance, double largest)
{
    if (!(v > 0) || !isfinite(v))
        return v;
    for (size_t i = 0; i < n; i++)
        if (fabs(log2(v / marks[i].mark)) * stops_per_doubling < tolerance)
            return exp2(marks[i].k / per_doubling);
    double step = exp2(round(log2(v) * per_doubling) / per_doubling);
    return step < largest && fabs(log2(v / step)) * stops_per_doubling < STEP_TOLERANCE ? step : v;
}

double dw_true_shutter_s(double marked_s)
{
    return step_behind(marked_s, shutter_marks, sizeof shutter_marks / sizeof *shutter_marks, 1, 3,
                       MARK_TOLERANCE, LONGEST_STEP_S);
}

double dw_true_f_number(double marked)
{
    return step_behind(marked, f_marks, sizeof f_marks / sizeof *f_marks, 2, 6, F_TOLERANCE,
                       INFINITY);
}

double dw_true_iso(double marked)
{
    if (!(marked > 0) || !isfinite(marked))
        return marked;
    double k = round(3 * log2(marked / 100));
    double step = 100 * exp2(k / 3);
    return fabs(log2(marked / step)) < ISO_TOLERANCE ? step : marked;
}

bool dw_exposure_on_series(double shutter_s)
{
    if (!(shutter_s > 0))
        return false;
    double step = dw_true_shutter_s(shutter_s);
    return step != shutter_s || fabs(3 * log2(step) - round(3 * log2(step))) < 1e-9;
}

int dw_exposure_hint(const struct dw_exposure_record *r)
{
    if (!(r->shutter_s > 0) || !isfinite(r->tv) || r->tv == 0)
        return 0;
    double by_mark = -log2(r->shutter_s), by_step = -log2(dw_true_shutter_s(r->shutter_s));
    if (fabs(by_mark - by_step) < TELLING || fabs(r->tv - by_step) > 0.3)
        return 0;
    return fabs(r->tv - by_step) < fabs(r->tv - by_mark) ? 1 : -1;
}

static bool within(double v, double least, double most)
{
    return v >= least && v <= most; /* false for NAN */
}

void dw_exposure_fill(struct dw_shot *shot, const struct dw_exposure_record *r,
                      enum dw_timing timing)
{
    double t = r->shutter_s;
    if (!(t > 0) && isfinite(r->tv) && r->tv != 0)
        t = exp2(-r->tv); /* "0" may be a blank: blank records hold 0/1 */
    shot->has_shutter = within(t, 1e-7, 1e6);
    shot->shutter_marked_s = shot->has_shutter ? t : (double)NAN;
    shot->shutter_s = !shot->has_shutter          ? (double)NAN
                      : timing == DW_TIMING_EXACT ? t
                                                  : dw_true_shutter_s(t);

    shot->has_iso = within(r->iso, 0.1, 1e8);
    shot->iso_marked = shot->has_iso ? r->iso : (double)NAN;
    shot->iso = shot->has_iso ? dw_true_iso(r->iso) : (double)NAN;

    double f = r->f_number;
    shot->has_aperture = within(f, 0.3, 512);
    shot->f_marked = shot->has_aperture ? f : (double)NAN;
    shot->f_number = shot->has_aperture ? dw_true_f_number(f) : 1;

    shot->ev100 = (double)NAN;
    if (shot->has_shutter && shot->has_iso)
        shot->ev100 =
            log2(shot->f_number * shot->f_number / shot->shutter_s) - log2(shot->iso / 100);
}
