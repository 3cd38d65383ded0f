/*
 * truth.c - see truth.h; every column is explained in README.md.
 */
#include "truth.h"

#include "colour.h"
#include "exposure.h"
#include "light.h"
#include "movers.h"
#include "target.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static FILE *table(const char *folder, const char *name)
{
    char path[1100];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return fopen(path, "w");
}

static int done(FILE *f)
{
    int bad = !f || ferror(f);
    if (f && fclose(f))
        bad = 1;
    return bad ? -1 : 0;
}

static void iso8601(double utc, char out[32])
{
    int c[6];
    double f;
    dwi_time_calendar(utc, c, &f);
    snprintf(out, 32, "%04u-%02u-%02uT%02u:%02u:%02u.%03uZ", c[0] % 10000u, c[1] % 100u,
             c[2] % 100u, c[3] % 100u, c[4] % 100u, c[5] % 100u, (unsigned)(f * 1000) % 1000u);
}

static int write_shots(const char *folder, const struct dwi_stage *st, const struct dwi_shot *shots)
{
    const struct dwi_params *p = st->p;
    FILE *f = table(folder, "shots.csv");
    if (!f)
        return -1;
    fprintf(
        f,
        "index,file,start_utc,mid_utc,mid_unix,sun_alt_deg,sun_az_deg,moon_alt_deg,"
        "moon_az_deg,shutter_k,marked_num,marked_den,true_s,iso_k,marked_iso,f_number,"
        "true_f_number,ev100_true,error_stops,shutter_error,iso_error,aperture_error,"
        "jitter,red_error,blue_error,vignetting,light_stops,sun_lux,moon_lux,gain_dn_per_e,"
        "e_per_cdm2,read_dn,black_shift,"
        "shift_x,shift_y,written,soft_px,haze,cloud,flash,off_stops,ghost,drops,movers,faults\n");
    for (int i = 0, gap = 0; i < p->frames; i++) {
        const struct dwi_shot *s = &shots[i];
        char start[32], mid[32], faults[128];
        int num, den;
        double h = s->sky.sun_alt * 180 / M_PI;
        dwi_shutter_marked(s->shutter_k, &num, &den);
        iso8601(s->start_utc, start);
        iso8601(s->mid_utc, mid);
        dwi_faults_names(&s->fault, gap && !s->fault.missing, faults, sizeof faults);
        gap = s->fault.missing;
        double ev = log2(s->n_true * s->n_true / dwi_shutter_true(s->shutter_k)) - s->iso_k / 3.0;
        fprintf(f, "%d,%s,%s,%s,%.4f,%.5f,%.5f,%.4f,%.4f,%d,%d,%d,%.9g,%d,%d,%.3g,%.7g,%.6f,",
                i + 1, s->file, start, mid, s->mid_utc, h, s->sky.sun_az * 180 / M_PI,
                s->sky.moon_alt * 180 / M_PI, s->sky.moon_az * 180 / M_PI, s->shutter_k, num, den,
                s->time_s, s->iso_k, dwi_iso_marked(s->iso_k),
                p->contacts ? dwi_aperture_closed(p->f_number, s->closed_k) : 0, s->n_true, ev);
        fprintf(
            f,
            "%.6f,%.6f,%.6f,%.6f,%.6f,%.6f,%.6f,%.5f,%.5f,%.6g,%.6g,%.7g,%.7g,%.5f,%.4f,%.9g,"
            "%.9g,%d,%.3f,%.3f,%.3f,%.2f,%.2f,%.4g,%.4f,%s%s,%s\n",
            dwi_shot_error(s), s->shutter_error, s->iso_error, s->aperture_error, s->jitter,
            s->red_error, s->blue_error, dwi_shot_vignetting(p, s), s->light_stops, dwi_sun_lux(h),
            p->moon ? dwi_moon_lux(s->sky.moon_alt * 180 / M_PI, s->sky.moon_elongation,
                                   s->sky.moon_parallax)
                    : 0,
            dwi_sensor_gain(p, s), dwi_sensor_electrons(p, s), dwi_sensor_read_dn(p, s),
            s->black_shift, s->shift_x + s->part_x, s->shift_y + s->part_y, !s->fault.missing,
            s->fault.soft_px, s->fault.haze, s->fault.cloud, s->fault.flash, s->fault.off_stops,
            s->fault.ghost_share, s->fault.drops_cover, dwi_has_aircraft(p, s) ? "aircraft " : "",
            dwi_has_headlights(p, s) ? "headlights" : "", faults);
    }
    return done(f);
}

static int write_stars(const char *folder, const struct dwi_stage *st, const struct dwi_shot *s0)
{
    FILE *f = table(folder, "stars.csv");
    if (!f)
        return -1;
    fprintf(f, "id,name,ra_deg,dec_deg,mag,b_v,x_first,y_first\n");
    for (int i = 0; i < st->stars.n; i++) {
        const struct dwi_star *s = &st->stars.star[i];
        double x, y, alt;
        fprintf(f, "%d,%s,%.7f,%.7f,%.3f,%.2f,", s->id,
                s->id <= dwi_catalogue_count ? dwi_catalogue[s->id - 1].name : "",
                s->ra * 180 / M_PI, s->dec * 180 / M_PI, s->mag, s->b_v);
        if (dwi_star_place(st->p, &st->lens, &s0->sky, s->dir, &x, &y, &alt))
            fprintf(f, ",\n");
        else
            fprintf(f, "%.3f,%.3f\n", x, y);
    }
    return done(f);
}

static int write_hot(const char *folder, const struct dwi_sensor *s)
{
    FILE *f = table(folder, "hot.csv");
    if (!f)
        return -1;
    fprintf(f, "x,y,electrons_per_s\n");
    for (int i = 0; i < s->n_hot; i++)
        fprintf(f, "%d,%d,%.4f\n", s->hot[i].x, s->hot[i].y, (double)s->hot[i].rate);
    return done(f);
}

static int write_dead(const char *folder, const struct dwi_sensor *s)
{
    FILE *f = table(folder, "dead.csv");
    if (!f)
        return -1;
    fprintf(f, "x,y\n");
    for (int i = 0; i < s->n_dead; i++)
        fprintf(f, "%d,%d\n", s->dead[i][0], s->dead[i][1]);
    return done(f);
}

static int write_patches(const char *folder, const struct dwi_stage *st,
                         const struct dwi_shot *shots, const struct dwi_patch *q, int n,
                         const struct dwi_patch_truth *t)
{
    FILE *f = table(folder, "patches.csv");
    if (!f)
        return -1;
    fprintf(f, "patch,kind,x,y,w,h\n");
    for (int i = 0; i < n; i++)
        fprintf(f, "%d,%s,%d,%d,%d,%d\n", i + 1, q[i].kind, q[i].x, q[i].y, q[i].w, q[i].h);
    if (done(f) || !(f = table(folder, "patch_light.csv")))
        return -1;
    fprintf(f, "index,file,patch,light_r,light_g1,light_g2,light_b,dn_r,dn_g1,dn_g2,dn_b,"
               "var_r,var_g1,var_g2,var_b,clipped\n");
    for (int i = 0; i < st->p->frames; i++)
        for (int j = 0; j < n; j++) {
            const struct dwi_patch_truth *v = &t[i * n + j];
            if (v->light[0] < 0)
                continue;
            fprintf(f, "%d,%s,%d", i + 1, shots[i].file, j + 1);
            for (int c = 0; c < 4; c++)
                fprintf(f, ",%.7g", (double)v->light[c]);
            for (int c = 0; c < 4; c++)
                fprintf(f, ",%.7g", (double)v->dn[c]);
            for (int c = 0; c < 4; c++)
                fprintf(f, ",%.5g", (double)v->variance[c]);
            fprintf(f, ",%.4f\n", (double)v->clipped);
        }
    return done(f);
}

/* How much of each of 30 x 20 tiles is the lit room about the window. */
static int write_room(const char *folder, const struct dwi_stage *st)
{
    enum { COLS = 30, ROWS = 20 };
    const struct dwi_world *w = &st->world;
    FILE *f = table(folder, "room.csv");
    if (!f)
        return -1;
    fprintf(f, "column,row,share\n");
    for (int r = 0; r < ROWS; r++)
        for (int c = 0; c < COLS; c++) {
            long room = 0, all = 0;
            for (int y = r * st->p->height / ROWS; y < (r + 1) * st->p->height / ROWS; y++)
                for (int x = c * st->p->width / COLS; x < (c + 1) * st->p->width / COLS; x++) {
                    size_t at = (size_t)(y + DWI_MARGIN) * (size_t)w->w + (size_t)(x + DWI_MARGIN);
                    room += w->material[at] == DWI_ROOM;
                    all++;
                }
            fprintf(f, "%d,%d,%.4f\n", c, r, (double)room / (double)(all ? all : 1));
        }
    return done(f);
}

static int write_target(const char *folder, const struct dwi_params *p)
{
    FILE *f = table(folder, "target.csv");
    if (!f)
        return -1;
    fprintf(f, "patch,x,y,w,h,X,Y,Z\n");
    for (int i = 0; i < 24; i++) {
        int r[4];
        double v[3];
        dwi_target_place(p, i, r);
        dwi_target_xyz(i, v);
        fprintf(f, "%d,%d,%d,%d,%d,%.6f,%.6f,%.6f\n", i + 1, r[0], r[1], r[2], r[3], v[0], v[1],
                v[2]);
    }
    return done(f);
}

static int write_camera(const char *folder, const struct dwi_stage *st)
{
    const struct dwi_params *p = st->p;
    const struct dwi_lens_map *m = &st->lens;
    FILE *f = table(folder, "camera.ini");
    if (!f)
        return -1;
    fprintf(f, "[options]\n");
    dwi_params_print(p, f);
    double pole[3] = {0, cos(p->lat_deg * M_PI / 180), sin(p->lat_deg * M_PI / 180)}, x, y;
    if (p->lat_deg < 0)
        pole[1] = -pole[1], pole[2] = -pole[2];
    fprintf(f, "\n[lens]\nfocal_px=%.6f\ncx=%.3f\ncy=%.3f\n", m->focal_px, m->cx, m->cy);
    fprintf(f, "axis_enu=%.9f,%.9f,%.9f\nright_enu=%.9f,%.9f,%.9f\ndown_enu=%.9f,%.9f,%.9f\n",
            m->axis[0], m->axis[1], m->axis[2], m->right[0], m->right[1], m->right[2], m->down[0],
            m->down[1], m->down[2]);
    if (!dwi_lens_project(m, pole, &x, &y))
        fprintf(f, "pole_x=%.4f\npole_y=%.4f\n", x, y);
    if (p->refraction) {
        dwi_refract(pole);
        if (!dwi_lens_project(m, pole, &x, &y))
            fprintf(f, "pole_refracted_x=%.4f\npole_refracted_y=%.4f\n", x, y);
    }
    fprintf(f, "\n[colour]\n");
    for (int i = 0; i < 3; i++)
        fprintf(f, "color_matrix_%d=%.4f,%.4f,%.4f\n", i, dwi_color_matrix[i][0],
                dwi_color_matrix[i][1], dwi_color_matrix[i][2]);
    double n[3];
    dwi_camera_neutral(n);
    fprintf(f, "neutral=%.6f,%.6f,%.6f\n", n[0], n[1], n[2]);
    return done(f);
}

int dwi_truth_write(const char *folder, const struct dwi_stage *st, const struct dwi_sensor *sensor,
                    const struct dwi_shot *shots, const struct dwi_patch *patch, int n_patches,
                    const struct dwi_patch_truth *truth)
{
    if (write_shots(folder, st, shots) || write_stars(folder, st, shots) ||
        write_hot(folder, sensor) || write_dead(folder, sensor) || write_camera(folder, st) ||
        write_patches(folder, st, shots, patch, n_patches, truth) ||
        (st->p->view == DWI_WINDOW && write_room(folder, st)) ||
        (st->p->view == DWI_TARGET && write_target(folder, st->p)))
        return -1;
    return 0;
}
