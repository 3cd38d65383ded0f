/* key.c: see key.h. */
#include "survey/key.h"

#include <string.h>

struct dw_hash128 dw_shot_key(const struct dw_shot *shot)
{
    struct dw_hash128 h = dw_hash128_start();
    dw_hash128_add(&h, &shot->id.size, sizeof shot->id.size);
    dw_hash128_add(&h, &shot->id.mtime_ns, sizeof shot->id.mtime_ns);
    dw_hash128_add(&h, &shot->id.head_hash, sizeof shot->id.head_hash);
    dw_hash128_add(&h, shot->name, strlen(shot->name) + 1);
    return h;
}
