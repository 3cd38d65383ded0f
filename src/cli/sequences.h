/* sequences.h: the folders of pictures that one run fills: the mixed one, and the clean ones that
 * --also asks for. */
#ifndef DW_CLI_SEQUENCES_H
#define DW_CLI_SEQUENCES_H

#include "cli/job.h"

struct dw_sequences {
    struct dw_writer *writer[DW_RENDERINGS];
    struct dw_sink sink[DW_RENDERINGS];
    size_t n;
};

/* How many there are by these settings. */
size_t dw_sequences_count(const struct dw_settings *s);
/* Opens the folders for the job's decision; errors are left in job->error. */
enum dw_status dw_sequences_open(struct dw_sequences *q, struct dw_job *job,
                                 const struct dw_render_params *params);
/* Removes what earlier runs left behind in them, and gives how many frames of another format stay;
 * see dw_writer_tidy. */
size_t dw_sequences_tidy(struct dw_sequences *q);
void dw_sequences_close(struct dw_sequences *q);

#endif
