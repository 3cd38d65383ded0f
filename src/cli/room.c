/* room.c: see room.h. */
#include "cli/room.h"

#include "cli/sequences.h"

#include <sys/statvfs.h>

/* Bytes of one shot in the survey file: 141 kB measured on noisy frames of 900 x 600, where the
 * thumbnail packs worst. */
#define SURVEY_BYTES 180e3

size_t dw_share_of(size_t n, const int part[2])
{
    size_t parts = (size_t)part[1], k = (size_t)part[0];
    return n / parts + (k <= n % parts);
}

/* Bytes of a picture's pixel as a rule: JPEG of quality 92 takes 0.3 to 0.6 (measured on invented
 * frames), losslessly packed 16-bit colour five of its six, half floats three. */
static double bytes_per_pixel(const struct dw_settings *s)
{
    if (s->format == DW_JPEG)
        return 0.6;
    if (s->format == DW_EXR)
        return 3.5;
    return s->compression == DW_COMPRESS_NONE ? 6 : 5;
}

double dw_room_for_frames(const struct dw_settings *s, size_t n, int width, int height)
{
    return (double)dw_share_of(n, s->part) * width * height * bytes_per_pixel(s) *
           (double)dw_sequences_count(s);
}

double dw_room_for_results(const struct dw_job *job)
{
    const struct dw_settings *s = job->settings;
    double bytes = 2 * SURVEY_BYTES * (double)job->shots.n;
    struct dw_error ignored;
    int w, h;
    for (size_t i = 0; i < job->shots.n && job->renders; i++) {
        const struct dw_shot *shot = &job->shots.shot[i];
        if (!shot->readable)
            continue;
        if (dw_output_size(shot->width, shot->height, shot->turn_deg, shot->cfa, &s->size, &w, &h,
                           &ignored) >= 0)
            bytes += dw_room_for_frames(s, job->shots.n, w, h);
        break;
    }
    return bytes;
}

void dw_room_check(struct dw_job *job, int width, int height)
{
    struct statvfs fs;
    if (statvfs(job->settings->output, &fs) != 0)
        return;
    double need = dw_room_for_frames(job->settings, job->decision.n_frames, width, height);
    double have = (double)fs.f_bavail * (double)fs.f_frsize;
    char needed[40], left[40];
    dw_bytes_text(need, needed, sizeof needed);
    dw_bytes_text(have, left, sizeof left);
    if (need > have) /* no failure: frames that are there already need no room */
        dw_say(&job->run, DW_WARNING,
               "%s: all frames together need about %s, and the disk has %s left; if it gets full "
               "the run stops, and the same command goes on once there is room",
               job->settings->output, needed, left);
}
