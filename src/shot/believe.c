/* believe.c: being written. */
#include "shot/believe.h"

#include <stdio.h>

bool dw_believe(const struct dw_mosaic *m, char *why, size_t why_size)
{
    for (size_t i = 0; i < m->samples; i++)
        if (m->px[i] != m->px[0])
            return true;
    snprintf(why, why_size, "every pixel has the same value (%u)", (unsigned)m->px[0]);
    return false;
}
