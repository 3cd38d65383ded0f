/* person.c: see person.h. */
#include "cli/person.h"

#include <stdlib.h>

static enum dw_status pick(const struct dw_shots *shots, const char *option,
                           const struct dw_strings *list, enum dw_pick **how, struct dw_error *err)
{
    *how = calloc(shots->n ? shots->n : 1, sizeof **how);
    if (!*how)
        return dw_fail(err, DW_ERR_MEMORY, "no memory for %zu shots", shots->n);
    return dw_pick_shots(shots, option, (const char *const *)list->v, list->n, *how, err);
}

enum dw_status dw_person_asked(const struct dw_settings *s, const struct dw_shots *shots,
                               enum dw_word **word, struct dw_error *err)
{
    enum dw_pick *drop = NULL, *keep = NULL;
    free(*word);
    *word = calloc(shots->n ? shots->n : 1, sizeof **word);
    enum dw_status status = pick(shots, "drop", &s->drop, &drop, err);
    if (status >= 0)
        status = pick(shots, "keep", &s->keep, &keep, err);
    if (status >= 0 && !*word)
        status = dw_fail(err, DW_ERR_MEMORY, "no memory for %zu shots", shots->n);
    for (size_t i = 0; i < shots->n && status >= 0; i++) {
        if (drop[i] != DW_PICK_NONE && drop[i] == keep[i])
            status = dw_fail(err, DW_ERR_USAGE,
                             "--drop and --keep contradict each other: both mean %s by its %s; "
                             "take it out of one of them",
                             shots->shot[i].name, drop[i] == DW_PICK_BY_NAME ? "name" : "time");
        else if (drop[i] > keep[i])
            (*word)[i] = DW_WORD_DROP;
        else if (keep[i] > drop[i])
            (*word)[i] = DW_WORD_USE;
    }
    free(drop);
    free(keep);
    return status;
}
