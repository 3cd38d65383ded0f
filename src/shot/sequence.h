/* sequence.h: the counting of file numbers over a whole shoot. */
#ifndef DW_SHOT_SEQUENCE_H
#define DW_SHOT_SEQUENCE_H

#include <daywheel/shot.h>

/* Fills count[i] with the unwrapped file number of shot i: a counter that goes from 9999 to 0001
 * goes on to 10001 here. -1 for names without a number. Returns false when the numbers do not
 * count one series: two files share one, or most files have none. Also without memory. */
bool dw_sequence_count(const struct dw_shot *shot, size_t n, long *count);

/* Distance from number a to number b of a counter that wraps after 9999, at most half a round;
 * positive when b comes later. */
long dw_sequence_distance(long a, long b);

#endif
