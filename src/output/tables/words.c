/* words.c: what a person said in the ledger. A word is where `use` differs from what judgement.csv
 * says it would be unedited, so that an untouched ledger says nothing and the program
 * stays free to change its mind about shots that nobody spoke about. */
#include "output/tables/c_locale.h"
#include "output/tables/documents.h"
#include "base/when.h"

#include "base/robust.h"
#include "base/search.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Two rows of one name are the same shot if their times agree to this. */
#define SAME_TIME_S 0.6

/* One row of a table, or one shot: a file name at an instant. rank: which of its name in time. */
struct item {
    const char *name;
    double at;
    size_t index, rank, of; /* own row; from 0; how many share the name */
    bool use;
};

struct list {
    struct item *v;
    size_t n;
};

static int by_name_and_time(const void *a, const void *b)
{
    const struct item *p = a, *q = b;
    int c = strcmp(p->name, q->name);
    if (c == 0)
        c = (p->at > q->at) - (p->at < q->at);
    return c ? c : (p->index > q->index) - (p->index < q->index);
}

static void rank(struct list *l)
{
    qsort(l->v, l->n, sizeof *l->v, by_name_and_time);
    for (size_t i = 0, first = 0; i < l->n; i++) {
        if (strcmp(l->v[i].name, l->v[first].name) != 0)
            first = i;
        l->v[i].rank = i - first;
        if (i + 1 == l->n || strcmp(l->v[i + 1].name, l->v[i].name) != 0)
            for (size_t k = first; k <= i; k++)
                l->v[k].of = i - first + 1;
    }
}

static int compare_name(const void *name, const void *item)
{
    return strcmp(name, ((const struct item *)item)->name);
}

/* The items of one name: *first .. *first + count - 1. */
static size_t of_name(const struct list *l, const char *name, size_t *first)
{
    size_t at = dw_lower_bound(name, l->v, l->n, sizeof *l->v, compare_name);
    *first = at;
    return at < l->n && strcmp(l->v[at].name, name) == 0 ? l->v[at].of : 0;
}

/* The item of `in` that is the same shot as x, where times in `in` are x's plus shift (NAN:
 * unknown). Equal counts go by order; else only a time that agrees will do. */
static const struct item *match(const struct list *in, const struct item *x, double shift)
{
    size_t first, n = of_name(in, x->name, &first);
    if (n == 0)
        return NULL;
    if (n == x->of && n == 1)
        return &in->v[first];
    if (isnan(shift) || isnan(x->at))
        return n == x->of ? &in->v[first + x->rank] : NULL;
    const struct item *best = NULL;
    for (size_t i = first; i < first + n; i++)
        if (fabs(in->v[i].at - x->at - shift) < SAME_TIME_S &&
            (!best || fabs(in->v[i].at - x->at - shift) < fabs(best->at - x->at - shift)))
            best = &in->v[i];
    return best || n != x->of ? best : &in->v[first + x->rank];
}

/* How far the clocks of two lists are apart: the median over names that stand once in both. It
 * is the camera's offset from UTC, which this stage need not know. */
static double clock_shift(const struct list *from, const struct list *to)
{
    double *v = malloc((from->n ? from->n : 1) * sizeof *v);
    size_t n = 0, first;
    if (!v)
        return (double)NAN;
    for (size_t i = 0; i < from->n; i++)
        if (from->v[i].of == 1 && of_name(to, from->v[i].name, &first) == 1 &&
            isfinite(to->v[first].at - from->v[i].at))
            v[n++] = to->v[first].at - from->v[i].at;
    double shift = n ? dw_median(v, n) : (double)NAN;
    free(v);
    return shift;
}

/* yes, y, true, 1 and their opposites, in any case. */
static bool read_use(const char *text, bool *use)
{
    static const char *const yes[] = {"yes", "y", "1", "true"}, *const no[] = {"no", "n", "0",
                                                                               "false"};
    char clean[16];
    dw_text_clean(clean, sizeof clean, text, strlen(text));
    for (int i = 0; i < 4; i++) {
        if (dw_text_same(clean, yes[i]) || dw_text_same(clean, no[i])) {
            *use = dw_text_same(clean, yes[i]);
            return true;
        }
    }
    return false;
}

static enum dw_status read_list(const char *dir, const char *name, const struct dw_csv *t,
                                const char *use_column, struct list *l, struct dw_error *err)
{
    int file = dw_csv_column(t, "file"), utc = dw_csv_column(t, "utc"),
        use = dw_csv_column(t, use_column);
    if (file < 0 || use < 0) {
        bool semicolons = t->cols == 1 && strchr(t->cell[0], ';');
        return dw_fail(err, DW_ERR_FORMAT,
                       "%s/%s: the first line names no column \"%s\"%s; expected the columns as "
                       "they were written%s",
                       dir, name, file < 0 ? "file" : use_column,
                       semicolons ? ", its fields are separated by semicolons" : "",
                       semicolons ? ", separated by commas: save it so, or remove it"
                                  : "; remove the file to begin anew");
    }
    l->v = calloc(t->rows ? t->rows : 1, sizeof *l->v);
    if (!l->v)
        return dw_fail(err, DW_ERR_MEMORY, "%s/%s: no memory for %zu rows", dir, name, t->rows);
    for (size_t i = 0; i < t->rows; i++) {
        struct item *x = &l->v[l->n];
        const char *word = dw_csv_field(t, i, use);
        x->name = dw_csv_field(t, i, file);
        x->index = i;
        if (!dw_when_parse(dw_csv_field(t, i, utc), &x->at))
            x->at = (double)NAN;
        if (*x->name == '\0' && *word == '\0')
            continue;
        if (!read_use(word, &x->use))
            return dw_fail(err, DW_ERR_FORMAT,
                           "%s/%s: line %zu (%s): \"%s\" in the column \"%s\"; expected yes or no",
                           dir, name, i + 2, x->name, word, use_column);
        l->n++;
    }
    rank(l);
    return DW_OK;
}

static bool list_shots(const struct dw_shots *shots, struct list *l)
{
    l->v = calloc(shots->n ? shots->n : 1, sizeof *l->v);
    if (!l->v)
        return false;
    l->n = shots->n;
    for (size_t i = 0; i < shots->n; i++) {
        const struct dw_shot *s = &shots->shot[i];
        l->v[i] = (struct item){.name = s->name, .index = i, .at = (double)NAN};
        if (s->has_clock || s->clock_guessed) /* the ledger speaks of mid-exposure */
            l->v[i].at = s->clock_s + (s->has_shutter ? s->shutter_s / 2 : 0);
    }
    rank(l);
    return true;
}

static void take_words(const struct list *ledger, const struct list *judgement,
                       const struct list *shots, enum dw_word *word)
{
    double shift = clock_shift(ledger, shots);
    for (size_t i = 0; i < ledger->n; i++) {
        const struct item *row = &ledger->v[i];
        const struct item *own = judgement->v ? match(judgement, row, 0) : NULL;
        if (judgement->v && (!own || own->use == row->use))
            continue;
        const struct item *shot = match(shots, row, shift);
        if (shot)
            word[shot->index] = row->use ? DW_WORD_USE : DW_WORD_DROP;
    }
}

enum dw_status dw_read_words(const char *dir, const struct dw_shots *shots, enum dw_word *word,
                             struct dw_error *err)
{
    for (size_t i = 0; i < shots->n; i++)
        word[i] = DW_WORD_NONE;
    struct dw_csv ledger_table, judgement_table = {0};
    struct list ledger = {0}, judgement = {0}, table = {0};
    enum dw_status s = dw_document_table(dir, "ledger.csv", &ledger_table, err);
    if (s != DW_OK)
        return s == DW_WARN ? DW_OK : s;
    struct dw_c_locale locale = dw_c_locale_enter();
    bool warn = false;
    s = read_list(dir, "ledger.csv", &ledger_table, "use", &ledger, err);
    if (s < 0)
        goto out;
    s = dw_document_table(dir, "judgement.csv", &judgement_table, err);
    if (s < 0)
        goto out;
    warn = s == DW_WARN;
    if (!warn) {
        bool has =
            dw_csv_column(&judgement_table, "unedited") >= 0; /* not in those of version 0.1 */
        s = read_list(dir, "judgement.csv", &judgement_table, has ? "unedited" : "verdict",
                      &judgement, err);
        if (s < 0)
            goto out;
    }
    if (!list_shots(shots, &table)) {
        s = dw_fail(err, DW_ERR_MEMORY, "%s/ledger.csv: no memory for %zu shots", dir, shots->n);
        goto out;
    }
    take_words(&ledger, &judgement, &table, word);
    s = DW_OK;
    if (warn)
        s = dw_fail(err, DW_WARN,
                    "%s/judgement.csv: is not there, so every `use` in ledger.csv is taken as your "
                    "word; remove ledger.csv too to let the program judge anew",
                    dir);
out:
    dw_c_locale_leave(&locale);
    free(ledger.v);
    free(judgement.v);
    free(table.v);
    dw_csv_free(&ledger_table);
    dw_csv_free(&judgement_table);
    return s;
}
