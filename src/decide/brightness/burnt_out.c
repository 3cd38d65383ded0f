/* burnt_out.c: whose light burns out. By day what does is a white thing in the sun, a bright sky or
 * a window, and as white as it looks; from dusk on it is a lamp or what one lights, and warm. The
 * exposure tells which, for it says at what luminance the sensor is full: by ISO 12232 (speed by
 * saturation) at 78 / (0.65 S) N^2 / t cd/m^2, which is 1.2 * 2^EV100. A white wall in daylight has
 * 2000 and more, a lit room some tens. */
#include "decide/steps.h"

#include <math.h>

struct burnt_out_params {
    double none_ev, all_ev;   /* EV100 from which on no lamp burns out, and below which it does */
    double none_deg, all_deg; /* sun altitudes, for shots that do not tell their exposure */
    double usual_stop;        /* f-number of lenses that do not tell theirs */
};
/* 2000 and 250 cd/m^2; f/4: common practice, no source */
static const struct burnt_out_params BURNT_OUT = {10.7, 7.7, 1, -3, 4};

double dw_lamps_burn_out(const struct dw_shot *shot, double sun_alt_deg)
{
    const struct burnt_out_params *p = &BURNT_OUT;
    if (!isfinite(shot->ev100))
        return dw_crossover(sun_alt_deg, p->none_deg, p->all_deg);
    double ev = shot->ev100 + (shot->has_aperture ? 0 : 2 * log2(p->usual_stop));
    return dw_crossover(ev, p->none_ev, p->all_ev);
}
