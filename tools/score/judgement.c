/* judgement.c: sun angles and fault codes against the truth. */
#include "score.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* True if `code` stands in a list of codes separated by blanks. */
static bool has(const char *codes, const char *code)
{
    size_t n = strlen(code);
    for (const char *p = codes; (p = strstr(p, code)) != NULL; p += n)
        if ((p == codes || p[-1] == ' ' || p[-1] == ';') &&
            (p[n] == '\0' || p[n] == ' ' || p[n] == ';'))
            return true;
    return false;
}

void score_judgement(const struct score_truth *t)
{
    static const char *const code[] = {"unreadable", "no-exposure", "gap",  "bright", "dark",
                                       "flash",      "soft",        "haze", "cloud",  "moved"};
    double worst = 0;
    size_t missing = 0;
    for (size_t i = 0; i < t->n_shots; i++) {
        const struct score_shot *s = &t->shot[i];
        if (s->in_ledger && isfinite(s->ledger_alt) && !has(s->faults, "unreadable"))
            worst = fmax(worst, fabs(s->ledger_alt - s->alt_deg));
        if (!s->in_ledger)
            missing++;
    }
    printf("shots %zu, not in the ledger %zu; sun altitude off by %.5f degrees at most\n",
           t->n_shots, missing, worst);
    for (size_t k = 0; k < sizeof code / sizeof *code; k++) {
        size_t planted = 0, found = 0, hit = 0, used = 0;
        for (size_t i = 0; i < t->n_shots; i++) {
            const struct score_shot *s = &t->shot[i];
            if (!s->in_ledger)
                continue;
            bool is = has(s->faults, code[k]), said = has(s->found, code[k]);
            planted += is;
            found += said;
            hit += is && said;
            used += is && s->use;
        }
        if (planted + found > 0)
            printf("  %-12s planted %zu, flagged %zu, rightly %zu; planted ones used %zu\n",
                   code[k], planted, found, hit, used);
    }
}
