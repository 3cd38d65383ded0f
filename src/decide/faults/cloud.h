/* cloud.h: which shots belong to a bank of clouds. */
#ifndef DW_DECIDE_FAULTS_CLOUD_H
#define DW_DECIDE_FAULTS_CLOUD_H

#include <stdbool.h>
#include <stddef.h>

/* A bank hides nearly all stars for several shots in a row. Scattered clouds do so for a moment at
 * most, so it is told whatever the sky's habit is; and its edges, where fewer are hidden, belong to
 * it. ratio: stars seen over stars usual, NAN unknown; lower: where they are fewer than usual by
 * the limit that holds without habit; unknown shots end no bank. Writes bank for all n shots. */
void dw_cloud_bank(const double *ratio, const bool *lower, size_t n, bool *bank);

#endif
