/* sequences.c: see sequences.h. */
#include "cli/sequences.h"

#include "base/atomic_file.h"

#include <stdlib.h>

static bool is_wanted(const struct dw_settings *s, unsigned rendering)
{
    return rendering == DW_MIX || (s->also >> rendering & 1) != 0;
}

size_t dw_sequences_count(const struct dw_settings *s)
{
    size_t n = 0;
    for (unsigned r = 0; r < DW_RENDERINGS; r++)
        n += is_wanted(s, r);
    return n;
}

static enum dw_status open_one(struct dw_sequences *q, struct dw_job *job,
                               const struct dw_render_params *params, enum dw_rendering rendering)
{
    const struct dw_settings *s = job->settings;
    struct dw_writer_params files = DW_WRITER_DEFAULTS;
    char *dir = dw_join_path(s->output, dw_frames_folder(rendering));
    if (!dir)
        return dw_fail(&job->error, DW_ERR_MEMORY, "no memory for the name of the frames' folder");
    files.dir = dir;
    files.rendering = rendering;
    files.format = (enum dw_format)s->format;
    files.compression = (enum dw_compression)s->compression;
    enum dw_status status =
        dw_writer_new(&files, params, &job->shots, &job->decision, &q->writer[q->n], &job->error);
    if (status >= 0) {
        q->sink[q->n] = dw_writer_sink(q->writer[q->n]);
        q->n++;
    }
    free(dir);
    return status;
}

enum dw_status dw_sequences_open(struct dw_sequences *q, struct dw_job *job,
                                 const struct dw_render_params *params)
{
    enum dw_status status = DW_OK;
    *q = (struct dw_sequences){.n = 0};
    for (unsigned r = 0; r < DW_RENDERINGS && status >= 0; r++)
        if (is_wanted(job->settings, r))
            status = open_one(q, job, params, (enum dw_rendering)r);
    if (status < 0)
        dw_sequences_close(q);
    return status;
}

size_t dw_sequences_tidy(struct dw_sequences *q)
{
    size_t others = 0;
    for (size_t i = 0; i < q->n; i++)
        others += dw_writer_tidy(q->writer[i]);
    return others;
}

void dw_sequences_close(struct dw_sequences *q)
{
    for (size_t i = 0; i < q->n; i++)
        dw_writer_free(q->writer[i]);
    q->n = 0;
}
