/*
 * run.h - makes a whole shoot.
 */
#ifndef DWI_RUN_H
#define DWI_RUN_H

#include "params.h"

/** Writes frames and truth below p->out. Status: 0; -1 with a message in err. */
int dwi_run(const struct dwi_params *p, char *err, int err_size);

#endif
