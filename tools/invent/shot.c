/*
 * shot.c - see shot.h.
 */
#include "shot.h"

#include "drops.h"
#include "exposure.h"
#include "ghost.h"
#include "ground.h"
#include "rng.h"
#include "sky.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

double dwi_shot_error(const struct dwi_shot *s)
{
    return s->shutter_error + s->iso_error + s->aperture_error + s->jitter;
}

double dwi_shot_vignetting(const struct dwi_params *p, const struct dwi_shot *s)
{
    return p->vignetting * (0.4 + 0.6 * exp2(-s->closed_k / 3.0));
}

double dwi_shot_share(const struct dwi_shot *s)
{
    return s->time_s * dwi_iso_true(s->iso_k) / (120 * s->n_true * s->n_true) *
           exp2(dwi_shot_error(s));
}

/* What the meter sees: mean of log2 luminance over a few sky directions and the ground. */
static double meter(const struct dwi_params *p, const struct dwi_lens_map *m,
                    const struct dwi_sky *sky)
{
    double sum = 0, n = 0, rgb[3], d[3];
    for (int j = 0; j < 6; j++)
        for (int i = 0; i < 8; i++) {
            dwi_lens_direction(m, (i + 0.5) / 8 * p->width, (j + 0.5) / 6 * p->height, d);
            if (d[2] < 0.05) {
                for (int c = 0; c < 3; c++)
                    rgb[c] = 0.12 / M_PI *
                             (sky->sky_rgb[c] + 0.5 * sky->sun_rgb[c] * fmax(sky->a.sun[2], 0.05));
            } else {
                dwi_sky_radiance(sky, d, rgb);
            }
            double y = 0.21263901 * rgb[0] + 0.71516868 * rgb[1] + 0.07219232 * rgb[2];
            sum += log2(fmax(y, 1e-6));
            n++;
        }
    return sum / n;
}

static void name_file(const struct dwi_params *p, int i, char *out, size_t size)
{
    int number = p->first_number + i;
    number = number > 9999 ? (number - 10000) % 9999 + 1 : number;
    int second = p->cards == 2 && i >= p->frames / 2;
    snprintf(out, size, "%sDW_%04d.DNG", p->cards == 1 ? "" : second ? "card2/" : "card1/", number);
}

/* Error of a colour (0 red, 1 blue) beside green, of the settings and of this exposure. */
static double colour_error(const struct dwi_params *p, const struct dwi_shot *s, int colour)
{
    uint64_t c = (uint64_t)colour;
    return p->setting_colour *
               (dwi_normal(dwi_key(p->seed, DWI_S_COLOUR, 2 * (uint64_t)(s->shutter_k + 100) + c)) +
                dwi_normal(dwi_key(p->seed, DWI_S_COLOUR, 2 * (uint64_t)(s->iso_k + 500) + c))) +
           p->colour_jitter *
               dwi_normal(dwi_key(p->seed, DWI_S_COLJIT, 2 * (uint64_t)s->index + c));
}

/* Share 0..1 of the largest shift of black, some seconds after the start, for the k-th exposure. */
static double black_level(const struct dwi_params *p, double seconds, uint64_t k)
{
    if (p->black_hours <= 0)
        return dwi_uniform(dwi_key(p->seed, DWI_S_BLACK, k));
    uint32_t key = (uint32_t)dwi_key(p->seed, DWI_S_BLACK, 0);
    return (double)dwi_noise2((float)(seconds / 3600 / p->black_hours), 0.5f, key);
}

int dwi_plan(const struct dwi_params *p, const struct dwi_lens_map *m, struct dwi_shot *shots,
             char *err, int err_size)
{
    double start, axis_az = m->axis_az;
    int n = p->frames, total = 0;
    if (dwi_time_parse(p->start, &start)) {
        snprintf(err, (size_t)err_size, "option start: '%s' is not like 2025-03-28T12:00:00Z",
                 p->start);
        return -1;
    }
    struct dwi_faults *f = malloc((size_t)n * sizeof *f);
    if (!f || dwi_faults_parse(p->faults, n, f, err, err_size)) {
        if (!f)
            snprintf(err, (size_t)err_size, "out of memory");
        free(f);
        return -1;
    }
    for (int i = 0; i < n; i++) {
        struct dwi_shot *s = &shots[i];
        struct dwi_sky sky;
        uint64_t k = (uint64_t)i;
        *s = (struct dwi_shot){.index = i, .fault = f[i]};
        name_file(p, i, s->file, sizeof s->file);
        s->start_utc = start + i * p->interval_s +
                       p->start_jitter * dwi_uniform(dwi_key(p->seed, DWI_S_CLOCK, k));
        if (dwi_astro(s->start_utc, p->lat_deg * M_PI / 180, p->lon_deg * M_PI / 180, p->height_m,
                      &s->sky)) {
            snprintf(err, (size_t)err_size, "option start: no ephemeris for '%s'", p->start);
            free(f);
            return -1;
        }
        dwi_sky_at_time(&sky, p, &s->sky, axis_az);
        double light = meter(p, m, &sky);
        if (f[i].ghost > 0)
            s->fault.ghost_share = dwi_ghost_share(p, m, &sky, f[i].ghost_id, f[i].ghost);
        s->fault.drops_cover = dwi_drops_cover(p, f[i].drops, f[i].drops_amount);
        double n2 = 2 * log2(dwi_aperture_true(p->f_number));
        /* t S / N^2 = K / L, in stops; K = 12.5 */
        double want = 3 * (log2(12.5 / 100) - light + n2 + p->bias +
                           p->meter_noise * dwi_normal(dwi_key(p->seed, DWI_S_METER, k)));
        if (i == 0)
            total = (int)lround(want);
        if (fabs(want - total) > 3 * p->hysteresis)
            total = (int)lround(want);
        int low = p->fastest_k, high = p->slowest_k + p->iso_max_k;
        total = total < low ? low : total > high ? high : total;
        int use = p->camera_program ? total : p->slowest_k;
        use += (int)lround(3 * f[i].off_stops);
        s->closed_k = dwi_program_close(use, (int)lround(3 * p->stop_down));
        dwi_program_split(use + s->closed_k, p->fastest_k, p->slowest_k, p->iso_max_k,
                          &s->shutter_k, &s->iso_k);
        s->time_s = dwi_shutter_true(s->shutter_k);
        if (!p->true_times) {
            int a, b;
            dwi_shutter_marked(s->shutter_k, &a, &b);
            s->time_s = (double)a / b;
        }
        s->n_true = dwi_aperture_true(p->f_number) * exp2(s->closed_k / 6.0);
        s->mid_utc = s->start_utc + s->time_s / 2;
        dwi_astro(s->mid_utc, p->lat_deg * M_PI / 180, p->lon_deg * M_PI / 180, p->height_m,
                  &s->sky);
        s->light_stops = light;
        s->shutter_error = p->setting_error * dwi_normal(dwi_key(p->seed, DWI_S_SHUTTER,
                                                                 (uint64_t)(s->shutter_k + 100)));
        s->iso_error =
            p->setting_error * dwi_normal(dwi_key(p->seed, DWI_S_ISO, (uint64_t)s->iso_k));
        s->aperture_error =
            p->setting_error * dwi_normal(dwi_key(p->seed, DWI_S_APERTURE, (uint64_t)s->closed_k));
        s->red_error = colour_error(p, s, 0);
        s->blue_error = colour_error(p, s, 1);
        s->jitter = p->jitter * dwi_normal(dwi_key(p->seed, DWI_S_JITTER, k)) +
                    p->aperture_jitter * dwi_normal(dwi_key(p->seed, DWI_S_APJIT, k));
        s->black_shift = p->black_drift * black_level(p, s->start_utc - start, k);
        s->shift_x = (int)lround(f[i].moved_x);
        s->shift_y = (int)lround(f[i].moved_y);
        s->part_x = f[i].moved_x - s->shift_x;
        s->part_y = f[i].moved_y - s->shift_y;
        if (abs(s->shift_x) > DWI_MARGIN - 2 || abs(s->shift_y) > DWI_MARGIN - 2) {
            snprintf(err, (size_t)err_size, "option faults: moved by more than %d pixels",
                     DWI_MARGIN - 2);
            free(f);
            return -1;
        }
    }
    free(f);
    return 0;
}
