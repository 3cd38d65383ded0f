/* made_details.h: what a survey keeps on disk of every shot, for a made shoot that has tiles alone:
 * patches of ground that stands still under photon noise, and bright spots, most of which go with
 * the sky by night. */
#ifndef DW_BENCHMARK_MADE_DETAILS_H
#define DW_BENCHMARK_MADE_DETAILS_H

#include "fake_shoot.h"

/* Writes them to a survey file at `path` and hangs it onto the shoot's survey, whose measures then
 * say how many there are. False, with *err filled, when the file cannot be written. */
bool made_details_add(struct fake_shoot *shoot, const char *path, struct dw_error *err);
/* Closes the file and takes it away. */
void made_details_remove(struct fake_shoot *shoot, const char *path);

#endif
