/* c_locale.h: numbers with a point, whatever the host program's locale says. The locale of this
 * thread alone is changed, and put back. */
#ifndef DW_OUTPUT_C_LOCALE_H
#define DW_OUTPUT_C_LOCALE_H

#include <locale.h>

struct dw_c_locale {
    locale_t ours, before;
};

static inline struct dw_c_locale dw_c_locale_enter(void)
{
    struct dw_c_locale l = {newlocale(LC_ALL_MASK, "C", (locale_t)0), (locale_t)0};
    if (l.ours)
        l.before = uselocale(l.ours);
    return l;
}

static inline void dw_c_locale_leave(struct dw_c_locale *l)
{
    if (l->ours) {
        uselocale(l->before);
        freelocale(l->ours);
    }
}

#endif
