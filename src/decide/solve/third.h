/* third.h: third differences, in which slow light and its slow changes are lost. */
#ifndef DW_DECIDE_THIRD_H
#define DW_DECIDE_THIRD_H

/* Weights of the third divided difference of four instants, in stops per unit_s cubed. */
void dw_third_difference(const double time[4], double unit_s, double out[4]);
/* A third difference of levels with such weights, told in the three changes between them. */
static inline double dw_third_of_changes(const double w[4], double first, double second,
                                         double third)
{
    return (w[1] + w[2] + w[3]) * first + (w[2] + w[3]) * second + w[3] * third;
}

#endif
