/* small.c: see small.h. */
#include "output/paper/small.h"

#include "base/pool.h"
#include "output/formats/encode.h"
#include "output/paper/picture.h"

#include <stdlib.h>

struct making {
    const struct dw_shots *shots;
    const struct dw_survey *survey;
    const struct dw_decision *d;
    const struct dw_look_params *look;
    struct dw_small *item;
};

static enum dw_status make_one(void *ctx, void *state, size_t i, struct dw_error *err)
{
    const struct making *m = ctx;
    struct dw_small *s = &m->item[i];
    struct dw_image picture;
    (void)state;
    if (s->longest == 0 || !dw_sheet_picture(m->shots, m->survey, m->d, s->shot, s->like, m->look,
                                             s->longest, &picture, s->why))
        return DW_OK;
    s->width = picture.width;
    s->height = picture.height;
    enum dw_status status = dw_encode_small_jpeg(&picture, s->quality, &s->jpeg, &s->n, err);
    dw_image_free(&picture);
    return status;
}

enum dw_status dw_small_make(const struct dw_shots *shots, const struct dw_survey *survey,
                             const struct dw_decision *d, const struct dw_look_params *look,
                             const struct dw_run *run, struct dw_small *item, size_t n,
                             struct dw_error *err)
{
    struct making m = {shots, survey, d, look, item};
    const struct dw_pool_work work = {.item = make_one, .ctx = &m, .stage = "making the report"};
    return dw_pool_run(&work, n, run, err);
}

void dw_small_free(struct dw_small *item, size_t n)
{
    for (size_t i = 0; item && i < n; i++)
        free(item[i].jpeg);
    free(item);
}
