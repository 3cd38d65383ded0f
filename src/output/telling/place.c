/* place.c: see place.h. */
#include "output/telling/place.h"

#include "base/text.h"

#include <string.h>

void dw_shoot_folder(const struct dw_shots *shots, char out[200])
{
    out[0] = '\0';
    if (shots->n == 0)
        return;
    const char *path = shots->shot[0].path;
    size_t n = (size_t)(dw_text_basename(path) - path); /* with its slash */
    for (size_t i = 1; i < shots->n; i++) {
        while (n > 0 && strncmp(path, shots->shot[i].path, n) != 0)
            for (n--; n > 0 && path[n - 1] != '/'; n--)
                ;
    }
    if (n == 0)
        return;
    size_t end = n - 1, start = end;
    while (start > 0 && path[start - 1] != '/')
        start--;
    dw_text_clean(out, 200, path + start, end - start);
    if (strcmp(out, ".") == 0 || strcmp(out, "..") == 0)
        out[0] = '\0';
}
