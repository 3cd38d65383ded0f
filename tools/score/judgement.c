/* judgement.c: sun angles and fault codes against the truth. */
#include "score.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const codes[] = {"unreadable", "no-exposure", "gap",       "bright",
                                    "dark",       "flash",       "soft",      "haze",
                                    "cloud",      "moved",       "reflection"};
#define CODES (sizeof codes / sizeof *codes)
/* Codes that creep on: a run's first frame is compared as well. */
#define CREEPS(code)                                                                               \
    (strcmp(code, "soft") == 0 || strcmp(code, "haze") == 0 || strcmp(code, "cloud") == 0 ||       \
     strcmp(code, "reflection") == 0)

/* True if `code` stands in a list of codes separated by blanks. */
static bool has(const char *list, const char *code)
{
    size_t n = strlen(code);
    for (const char *p = list; (p = strstr(p, code)) != NULL; p += n)
        if ((p == list || p[-1] == ' ' || p[-1] == ';') &&
            (p[n] == '\0' || p[n] == ' ' || p[n] == ';'))
            return true;
    return false;
}

/* What cannot be decoded has no other fault: nobody sees it. A truth beside `unreadable` does not
 * count, unless the file is sound enough to tell (its record, its place in the row). */
static bool planted(const struct score_shot *s, const char *code)
{
    bool seen = strcmp(code, "unreadable") == 0 || strcmp(code, "no-exposure") == 0 ||
                strcmp(code, "gap") == 0;
    return has(s->faults, code) && (seen || !has(s->faults, "unreadable"));
}

/* Headlights are a brief light too, planted without a code: neither asked for nor wrong. */
static bool excused(const struct score_shot *s, const char *code)
{
    return strcmp(code, "flash") == 0 && s->headlights;
}

/* Frames between the first planted and the first found of a run, at the run's start and end;
 * runs are told apart by three shots without. *missed counts runs without any right flag. */
static double onset(const struct score_truth *t, const char *code, double *end, size_t *missed)
{
    double worst = 0;
    *end = 0;
    *missed = 0;
    for (size_t a = 0, b; a < t->n_shots; a = b) {
        b = a + 1;
        if (!planted(&t->shot[a], code))
            continue;
        size_t last = a;
        for (; b < t->n_shots && b <= last + 3; b++)
            if (planted(&t->shot[b], code))
                last = b;
        size_t from = a > 20 ? a - 20 : 0, to = last + 20 < t->n_shots ? last + 20 : t->n_shots - 1;
        size_t first = t->n_shots, final = 0;
        for (size_t i = from; i <= to; i++)
            if (has(t->shot[i].found, code)) {
                first = i < first ? i : first;
                final = i;
            }
        if (first == t->n_shots) {
            ++*missed;
            continue;
        }
        worst = fmax(worst, fabs((double)first - (double)a));
        *end = fmax(*end, fabs((double) final - (double)last));
    }
    return worst;
}

static double share(size_t part, size_t whole)
{
    return whole ? (double)part / (double)whole : (double)NAN;
}

void score_judgement(const struct score_truth *t)
{
    double worst = 0;
    size_t missing = 0, all_planted = 0, all_found = 0, all_hit = 0, clean = 0, flagged = 0;
    for (size_t i = 0; i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        if (s->in_ledger && isfinite(s->ledger_alt) && !has(s->faults, "unreadable"))
            worst = fmax(worst, fabs(s->ledger_alt - s->alt_deg));
        if (!s->in_ledger)
            missing++;
    }
    printf("shots %zu, not in the ledger %zu; sun altitude off by %.5f degrees at most\n",
           t->n_shots, missing, worst);
    for (size_t k = 0; k < CODES; k++) {
        size_t is = 0, said = 0, hit = 0, used = 0;
        for (size_t i = 0; i < t->n_shots; i++) {
            const struct score_shot *s = &t->shot[i];
            if (!s->in_ledger || excused(s, codes[k]))
                continue;
            bool true_one = planted(s, codes[k]), found = has(s->found, codes[k]);
            is += true_one;
            said += found;
            hit += true_one && found;
            used += true_one && s->use;
        }
        all_planted += is;
        all_found += said;
        all_hit += hit;
        if (is + said == 0)
            continue;
        printf(
            "  %-12s planted %4zu, found %4zu, false %3zu, precision %.3f, recall %.3f, used %zu",
            codes[k], is, hit, said - hit, share(hit, said), share(hit, is), used);
        if (CREEPS(codes[k]) && is > 0) {
            size_t missed;
            double end, start = onset(t, codes[k], &end, &missed);
            printf("; onset off by %.0f frames at most, end by %.0f, runs missed %zu", start, end,
                   missed);
        }
        printf("\n");
    }
    for (size_t i = 0; i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        /* clean: nothing planted, not even too little for a code */
        if (!s->in_ledger || s->faults[0] || s->slight || excused(s, "flash"))
            continue;
        clean++;
        flagged += s->found[0] != '\0';
    }
    printf("  all          planted %4zu, found %4zu, false %3zu, precision %.3f, recall %.3f; "
           "clean shots %zu, flagged %zu\n",
           all_planted, all_hit, all_found - all_hit, share(all_hit, all_found),
           share(all_hit, all_planted), clean, flagged);
}
