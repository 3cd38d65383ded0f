/* ledger.c: ledger.csv, one row a shot with exactly the columns that outside programs rely on,
 * and judgement.csv beside it with what the program itself thinks, so that a person's change of
 * `use` can be told from the program's own verdict. */
#include "output/tables/c_locale.h"
#include "output/tables/documents.h"
#include "base/when.h"

#include <math.h>

/* log2(N^2/t) - log2(ISO/100) of the values in the row itself (ISO 2720 / APEX), so that a reader
 * can check the row by its own columns. */
static double recorded_ev100(const struct dw_shot *shot)
{
    if (!shot->has_shutter || !shot->has_iso || !(shot->shutter_marked_s > 0) ||
        !(shot->iso_marked > 0))
        return (double)NAN;
    double n = shot->has_aperture && shot->f_marked > 0 ? shot->f_marked : 1;
    return log2(n * n / shot->shutter_marked_s) - log2(shot->iso_marked / 100);
}

static void ledger_line(struct dw_buffer *b, const struct dw_shot *shot,
                        const struct dw_ledger_row *row)
{
    const double unknown = (double)NAN;
    char utc[32], codes[128];
    dw_when_utc(row->utc_s, utc);
    dw_fault_codes(row->faults, codes);
    dw_csv_number(b, row->frame > 0 ? row->frame : unknown, 0);
    dw_csv_text(b, shot->name);
    dw_csv_text(b, utc);
    dw_csv_short(b, shot->has_shutter ? shot->shutter_marked_s : unknown, 9);
    dw_csv_short(b, shot->has_aperture ? shot->f_marked : unknown, 4);
    dw_csv_short(b, shot->has_iso ? shot->iso_marked : unknown, 4);
    dw_csv_number(b, recorded_ev100(shot), 6);
    dw_csv_number(b, row->sun_alt_deg, 5);
    dw_csv_number(b, row->luminance_stops, 6);
    dw_csv_number(b, row->flicker_stops, 6);
    dw_csv_number(b, row->gain_stops, 6);
    dw_csv_number(b, row->day_weight, 6);
    dw_csv_text(b, codes);
    dw_csv_text(b, row->use ? "yes" : "no");
    dw_csv_end_line(b);
}

/* What `use` would say if nobody had edited it. An edit that an option repeats is still an edit. */
static bool unedited(const struct dw_ledger_row *row, enum dw_word edited, enum dw_word asked)
{
    return asked != DW_WORD_NONE && asked != edited ? row->use : row->verdict;
}

static void judgement_line(struct dw_buffer *b, const struct dw_shot *shot,
                           const struct dw_ledger_row *row, enum dw_word edited, enum dw_word asked)
{
    char utc[32];
    dw_when_utc(row->utc_s, utc);
    dw_csv_text(b, shot->name);
    dw_csv_text(b, utc);
    dw_csv_number(b, row->flicker_sigma, 6);
    dw_csv_number(b, row->severity, 4);
    dw_csv_text(b, row->verdict ? "yes" : "no");
    dw_csv_text(b, unedited(row, edited, asked) ? "yes" : "no");
    dw_csv_text(b, row->reason);
    dw_csv_end_line(b);
}

enum dw_status dw_write_ledger(const char *dir, const struct dw_shots *shots,
                               const struct dw_decision *d, const enum dw_word *edited,
                               const enum dw_word *asked, struct dw_error *err)
{
    if (d->n_shots != shots->n)
        return dw_fail(err, DW_ERR_USAGE, "the decision knows %zu shots, the shot table %zu",
                       d->n_shots, shots->n);
    struct dw_c_locale locale = dw_c_locale_enter();
    struct dw_buffer ledger = {0}, judgement = {0};
    dw_buffer_printf(&ledger, "frame,file,utc,shutter_s,f_number,iso,ev100,sun_alt_deg,"
                              "luminance_stops,flicker_stops,gain_stops,day_weight,faults,use\n");
    dw_buffer_printf(&judgement, "file,utc,flicker_sigma_stops,severity,verdict,unedited,reason\n");
    for (size_t i = 0; i < shots->n; i++) {
        ledger_line(&ledger, &shots->shot[i], &d->ledger[i]);
        judgement_line(&judgement, &shots->shot[i], &d->ledger[i],
                       edited ? edited[i] : DW_WORD_NONE, asked ? asked[i] : DW_WORD_NONE);
    }
    dw_c_locale_leave(&locale);
    /* The judgement first: killed between the two, an edited ledger still differs from it. */
    enum dw_status s = dw_document_commit(dir, "judgement.csv", &judgement, err);
    if (s < 0)
        dw_buffer_free(&ledger);
    else
        s = dw_document_commit(dir, "ledger.csv", &ledger, err);
    return s;
}
