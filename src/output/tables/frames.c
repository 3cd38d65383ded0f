/* frames.c: frames.csv, one row an output frame, written so that reading it gives back the very
 * same numbers: frames can be made from it on another machine. */
#include "output/tables/c_locale.h"
#include "output/tables/documents.h"
#include "base/when.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define HEADER "number,utc,utc_s,sun_alt_deg,key,day,balance,stars,sources,files"

/* One source: shot:weight:gain:turn:red:green:blue, and behind it in this order, each only where it
 * does something, :mRIGHT:DOWN:ROLL (the camera was moved), :sTWO:FOUR (the lens' shading is evened
 * out), :bDN (its black is its own), :kDEG (how the sky stands), :gSHARE:AT:SLOPE:BEND (green of
 * twilight's light is known), :lSHARE (burnt-out light may be a lamp's); `shot` counts the ledger's
 * rows from 1. */
static void add_source(struct dw_buffer *b, const struct dw_source *s)
{
    dw_buffer_printf(b, "%lu:%.9g:%.17g:%.17g:%.9g:%.9g:%.9g", (unsigned long)s->shot + 1,
                     (double)s->weight, s->gain_stops, s->turn_deg, (double)s->chroma[0],
                     (double)s->chroma[1], (double)s->chroma[2]);
    if (s->shift_x != 0 || s->shift_y != 0 || s->roll_deg != 0)
        dw_buffer_printf(b, ":m%.17g:%.17g:%.17g", s->shift_x, s->shift_y, s->roll_deg);
    if (s->shade[0] != 0 || s->shade[1] != 0)
        dw_buffer_printf(b, ":s%.17g:%.17g", s->shade[0], s->shade[1]);
    if (s->black_dn != 0)
        dw_buffer_printf(b, ":b%.17g", s->black_dn);
    if (isfinite(s->sky_deg))
        dw_buffer_printf(b, ":k%.17g", s->sky_deg);
    if (s->green[0] != 0)
        dw_buffer_printf(b, ":g%.17g:%.17g:%.17g:%.17g", s->green[0], s->green[1], s->green[2],
                         s->green[3]);
    if (s->lamps != 0)
        dw_buffer_printf(b, ":l%.17g", s->lamps);
}

/* The names of a frame's sources, for people; also guards against a table of other shots. */
static void add_names(struct dw_buffer *b, const struct dw_shots *shots,
                      const struct dw_frame *frame)
{
    for (int i = 0; i < frame->n_sources; i++) {
        uint32_t k = frame->source[i].shot;
        dw_buffer_printf(b, "%s%s", i ? " + " : "", k < shots->n ? shots->shot[k].name : "?");
    }
}

void dw_frames_line(struct dw_buffer *b, const struct dw_shots *shots, const struct dw_frame *frame)
{
    struct dw_buffer sources = {0}, names = {0};
    char utc[32];
    for (int i = 0; i < frame->n_sources; i++) {
        if (i)
            dw_buffer_add(&sources, " ", 1);
        add_source(&sources, &frame->source[i]);
    }
    add_names(&names, shots, frame);
    dw_when_utc(frame->utc_s, utc);
    dw_csv_number(b, frame->number, 0);
    dw_csv_text(b, utc);
    dw_csv_exact(b, frame->utc_s);
    dw_csv_exact(b, frame->sun_alt_deg);
    dw_csv_exact(b, frame->key);
    dw_csv_exact(b, frame->day);
    dw_csv_exact(b, frame->balance);
    dw_csv_exact(b, frame->stars);
    dw_csv_text(b, sources.data ? sources.data : "");
    dw_csv_text(b, names.data ? names.data : "");
    if (sources.failed || names.failed)
        b->failed = true;
    dw_buffer_free(&sources);
    dw_buffer_free(&names);
}

enum dw_status dw_write_frames(const char *dir, const struct dw_shots *shots,
                               const struct dw_decision *d, struct dw_error *err)
{
    struct dw_c_locale locale = dw_c_locale_enter();
    struct dw_buffer b = {0};
    dw_buffer_printf(&b, HEADER "\n");
    for (size_t i = 0; i < d->n_frames; i++) {
        dw_frames_line(&b, shots, &d->frame[i]);
        dw_csv_end_line(&b);
    }
    dw_c_locale_leave(&locale);
    return dw_document_commit(dir, "frames.csv", &b, err);
}

/* Reads n numbers with colons between them; *text moves behind the last. */
static bool take_numbers(const char **text, size_t n, double *out)
{
    for (size_t i = 0; i < n; i++) {
        char *end;
        if (i > 0 && *(*text)++ != ':')
            return false;
        out[i] = strtod(*text, &end);
        if (end == *text)
            return false;
        *text = end;
    }
    return true;
}

/* The same behind a colon and a letter. That the part is not there is no error. */
static bool take_part(const char **text, char letter, size_t n, double *out)
{
    if ((*text)[0] != ':' || (*text)[1] != letter)
        return true;
    *text += 2;
    return take_numbers(text, n, out);
}

/* *text moves behind the source and the blank after it. */
static bool read_source(const char **text, size_t n_shots, bool last, struct dw_source *s)
{
    double v[7], moved[3] = {0}, shade[2] = {0}, black = 0, sky = (double)NAN, green[4] = {0},
                 lamps = 0;
    if (!take_numbers(text, 7, v) || !take_part(text, 'm', 3, moved) ||
        !take_part(text, 's', 2, shade) || !take_part(text, 'b', 1, &black) ||
        !take_part(text, 'k', 1, &sky) || !take_part(text, 'g', 4, green) ||
        !take_part(text, 'l', 1, &lamps) || **text != (last ? '\0' : ' '))
        return false;
    *text += !last;
    if (!(v[0] >= 1 && v[0] <= (double)n_shots) || v[0] != floor(v[0]))
        return false;
    *s = (struct dw_source){.shot = (uint32_t)v[0] - 1,
                            .weight = (float)v[1],
                            .gain_stops = v[2],
                            .turn_deg = v[3],
                            .chroma = {(float)v[4], (float)v[5], (float)v[6]},
                            .black_dn = black,
                            .sky_deg = sky,
                            .shift_x = moved[0],
                            .shift_y = moved[1],
                            .roll_deg = moved[2],
                            .shade = {shade[0], shade[1]},
                            .green = {green[0], green[1], green[2], green[3]},
                            .lamps = lamps};
    return true;
}

/* An empty field is NAN, as it was written. */
static bool read_number(const char *field, double *out)
{
    *out = (double)NAN;
    return *field == '\0' || (take_numbers(&field, 1, out) && *field == '\0');
}

struct columns {
    int number, utc_s, sun, key, day, balance, stars, sources, files;
};

static bool read_line(const struct dw_csv *t, size_t row, const struct columns *c,
                      const struct dw_shots *shots, struct dw_frame *f)
{
    double number;
    *f = (struct dw_frame){0};
    if (!read_number(dw_csv_field(t, row, c->number), &number) || number != (double)row + 1 ||
        !read_number(dw_csv_field(t, row, c->utc_s), &f->utc_s) ||
        !read_number(dw_csv_field(t, row, c->sun), &f->sun_alt_deg) ||
        !read_number(dw_csv_field(t, row, c->key), &f->key) ||
        !read_number(dw_csv_field(t, row, c->day), &f->day) ||
        !read_number(dw_csv_field(t, row, c->balance), &f->balance) ||
        !read_number(dw_csv_field(t, row, c->stars), &f->stars))
        return false;
    f->number = (uint32_t)number;
    const char *text = dw_csv_field(t, row, c->sources);
    while (*text) {
        if (f->n_sources == DW_MAX_SOURCES ||
            !read_source(&text, shots->n, strchr(text, ' ') == NULL, &f->source[f->n_sources]))
            return false;
        f->n_sources++;
    }
    return f->n_sources > 0;
}

enum dw_status dw_read_frames(const char *dir, const struct dw_shots *shots,
                              struct dw_frame **frame, size_t *n, struct dw_error *err)
{
    *frame = NULL;
    *n = 0;
    struct dw_csv t;
    enum dw_status s = dw_document_table(dir, "frames.csv", &t, err);
    if (s == DW_WARN)
        return dw_fail(err, DW_ERR_EMPTY,
                       "%s/frames.csv: is not there; run daywheel survey with this output folder "
                       "first",
                       dir);
    if (s < 0)
        return s;
    struct dw_c_locale locale = dw_c_locale_enter();
    struct dw_buffer names = {0};
    struct columns c = {
        dw_csv_column(&t, "number"), dw_csv_column(&t, "utc_s"),   dw_csv_column(&t, "sun_alt_deg"),
        dw_csv_column(&t, "key"),    dw_csv_column(&t, "day"),     dw_csv_column(&t, "balance"),
        dw_csv_column(&t, "stars"),  dw_csv_column(&t, "sources"), dw_csv_column(&t, "files")};
    struct dw_frame *f = calloc(t.rows ? t.rows : 1, sizeof *f);
    if (!f) {
        s = dw_fail(err, DW_ERR_MEMORY, "%s/frames.csv: no memory for %zu frames", dir, t.rows);
        goto out;
    }
    if (c.number < 0 || c.utc_s < 0 || c.sun < 0 || c.key < 0 || c.day < 0 || c.balance < 0 ||
        c.stars < 0 || c.sources < 0 || c.files < 0) {
        s = dw_fail(err, DW_ERR_FORMAT,
                    "%s/frames.csv: the first line does not hold the columns %s", dir, HEADER);
        goto out;
    }
    for (size_t i = 0; i < t.rows; i++) {
        if (!read_line(&t, i, &c, shots, &f[i])) {
            s = dw_fail(err, DW_ERR_FORMAT,
                        "%s/frames.csv: line %zu is not what this program writes; numbers count "
                        "from 1 and sources name rows 1 to %zu of ledger.csv; run daywheel survey "
                        "again",
                        dir, i + 2, shots->n);
            goto out;
        }
        names.n = 0;
        add_names(&names, shots, &f[i]);
        const char *found = dw_csv_field(&t, i, c.files);
        if (names.failed || !names.data || strcmp(names.data, found) != 0) {
            s = dw_fail(err, names.failed ? DW_ERR_MEMORY : DW_ERR_MIXED,
                        "%s/frames.csv: line %zu speaks of %s where the shots have %s: it was made "
                        "for other shots; run daywheel survey again",
                        dir, i + 2, found, names.failed ? "?" : names.data);
            goto out;
        }
    }
    *frame = f;
    *n = t.rows;
    f = NULL;
out:
    dw_c_locale_leave(&locale);
    dw_buffer_free(&names);
    free(f);
    dw_csv_free(&t);
    return s;
}
