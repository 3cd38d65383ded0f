/* decode.c: one file to one mosaic, or a clear refusal. */
#include <daywheel/shot.h>

#include "shot/believe.h"
#include "shot/input.h"
#include "shot/raw_libraw.h"

#include <stdio.h>
#include <stdlib.h>

struct dw_decoder {
    struct dw_raw *raw;
    struct dw_raw_record record;
};

struct dw_decoder *dw_decoder_new(void)
{
    if (dw_raw_check_version(NULL) != DW_OK)
        return NULL;
    struct dw_decoder *d = calloc(1, sizeof *d);
    if (!d)
        return NULL;
    d->raw = dw_raw_new();
    if (!d->raw) {
        free(d);
        return NULL;
    }
    return d;
}

void dw_decoder_free(struct dw_decoder *d)
{
    if (!d)
        return;
    dw_raw_free(d->raw);
    free(d);
}

static enum dw_status status_of(enum dw_raw_refusal refusal)
{
    return refusal == DW_RAW_MEMORY ? DW_ERR_MEMORY : DW_ERR_FORMAT;
}

/* Opens and unpacks. The input is still held afterwards. */
static enum dw_status unpack(struct dw_decoder *d, const struct dw_input *in, const char *path,
                             struct dw_error *err)
{
    struct dw_raw_record *rec = &d->record;
    dw_raw_open_bytes(d->raw, in->data, in->n, rec);
    if (rec->refusal != DW_RAW_OPENED)
        return dw_fail(err, status_of(rec->refusal), "%s: %s", path, rec->why);
    if (rec->promised_end > in->n)
        return dw_fail(err, DW_ERR_FORMAT,
                       "%s: is cut short: its pixels reach to byte %llu, the file ends at %zu",
                       path, (unsigned long long)rec->promised_end, in->n);
    char why[160];
    int data_errors;
    enum dw_raw_refusal refusal = dw_raw_unpack(d->raw, why, sizeof why, &data_errors);
    if (refusal != DW_RAW_OPENED)
        return dw_fail(err, status_of(refusal), "%s: %s", path, why);
    if (data_errors > 0)
        return dw_fail(err, DW_ERR_FORMAT,
                       "%s: is damaged: the decoder met senseless data in %d place%s", path,
                       data_errors, data_errors == 1 ? "" : "s");
    return DW_OK;
}

enum dw_status dw_decode(struct dw_decoder *d, const struct dw_shot *shot, struct dw_mosaic *out,
                         struct dw_error *err)
{
    struct dw_input in;
    struct dw_error inner = {0};
    char why[160];
    enum dw_status s = dw_input_read(&in, shot->path, err);
    if (s != DW_OK)
        return s;
    s = unpack(d, &in, shot->path, err);
    dw_raw_forget_input(d->raw);
    dw_input_free(&in); /* before the copy is made: never three pictures in memory */
    if (s == DW_OK) {
        s = dw_raw_copy(d->raw, out, &inner);
        if (s != DW_OK)
            dw_fail(err, s, "%s: %s", shot->path, inner.text);
    }
    dw_raw_recycle(d->raw);
    if (s == DW_OK && !dw_believe(out, why, sizeof why))
        s = dw_fail(err, DW_ERR_FORMAT, "%s: %s", shot->path, why);
    return s;
}
