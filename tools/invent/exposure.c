/*
 * exposure.c - see exposure.h. Marked times and ISO as engraved on cameras (common practice; ISO
 * 516 and 12232 from memory).
 */
#include "exposure.h"

#include <math.h>

static const struct {
    short num, den;
} marks[] = {
    /* k = -39 .. 15 */
    {1, 8000}, {1, 6400}, {1, 5000}, {1, 4000}, {1, 3200}, {1, 2500}, {1, 2000}, {1, 1600},
    {1, 1250}, {1, 1000}, {1, 800},  {1, 640},  {1, 500},  {1, 400},  {1, 320},  {1, 250},
    {1, 200},  {1, 160},  {1, 125},  {1, 100},  {1, 80},   {1, 60},   {1, 50},   {1, 40},
    {1, 30},   {1, 25},   {1, 20},   {1, 15},   {1, 13},   {1, 10},   {1, 8},    {1, 6},
    {1, 5},    {1, 4},    {3, 10},   {4, 10},   {5, 10},   {6, 10},   {8, 10},   {1, 1},
    {13, 10},  {16, 10},  {2, 1},    {25, 10},  {32, 10},  {4, 1},    {5, 1},    {6, 1},
    {8, 1},    {10, 1},   {13, 1},   {15, 1},   {20, 1},   {25, 1},   {30, 1},
};

double dwi_shutter_true(int k)
{
    return exp2(k / 3.0);
}

void dwi_shutter_marked(int k, int *num, int *den)
{
    if (k >= -39 && k <= 15) {
        *num = marks[k + 39].num;
        *den = marks[k + 39].den;
    } else if (k > 15) {
        *num = (int)lround(exp2(k / 3.0));
        *den = 1;
    } else {
        *num = 1;
        *den = (int)lround(exp2(-k / 3.0) / 100) * 100;
    }
}

double dwi_iso_true(int k)
{
    return 100 * exp2(k / 3.0);
}

int dwi_iso_marked(int k)
{
    static const int mark[] = {100,   125,   160,   200,   250,   320,   400,   500,  640,  800,
                               1000,  1250,  1600,  2000,  2500,  3200,  4000,  5000, 6400, 8000,
                               10000, 12800, 16000, 20000, 25600, 32000, 40000, 51200};
    int last = (int)(sizeof mark / sizeof mark[0]) - 1;
    return mark[k < 0 ? 0 : k > last ? last : k];
}

double dwi_aperture_true(double marked)
{
    return exp2(round(6 * log2(marked)) / 6);
}

double dwi_aperture_closed(double marked, int k)
{
    static const double mark[] = {1,   1.1, 1.2, 1.4, 1.6, 1.8, 2,  2.2, 2.5, 2.8, 3.2, 3.5, 4,
                                  4.5, 5,   5.6, 6.3, 7.1, 8,   9,  10,  11,  13,  14,  16,  18,
                                  20,  22,  25,  29,  32,  36,  40, 45,  51,  57,  64};
    int at = (int)lround(6 * log2(marked)) + k, last = (int)(sizeof mark / sizeof mark[0]) - 1;
    return k == 0 ? marked : mark[at < 0 ? 0 : at > last ? last : at];
}

int dwi_program_close(int total, int most)
{
    int k = (-12 - total) / 2;
    return k < 0 ? 0 : k > most ? most : k;
}

void dwi_program_split(int total, int fastest_k, int slowest_k, int iso_max_k, int *shutter_k,
                       int *iso_k)
{
    int s = total < fastest_k ? fastest_k : total > slowest_k ? slowest_k : total;
    int i = total > slowest_k ? total - slowest_k : 0;
    *shutter_k = s;
    *iso_k = i > iso_max_k ? iso_max_k : i;
}
