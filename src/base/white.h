/* white.h: the colours of lights that a person may call white, and the way from one to another. */
#ifndef DW_BASE_WHITE_H
#define DW_BASE_WHITE_H

#include <stdbool.h>

/* Where the formulas below hold. Beyond 50 thousandths of Duv no colour temperature is meant any
 * more (CIE 15, on the correlated colour temperature). */
#define DW_WHITE_LEAST_K 1500.0
#define DW_WHITE_MOST_K 25000.0
#define DW_WHITE_MOST_TINT 50.0

/* XYZ, Y = 1, of a light of the colour temperature `kelvin`, `tint` thousandths of Duv beside it.
 *
 * From 4000 K on it is the daylight of that temperature (CIE 15, D series); up to 3500 K a glowing
 * body (Planck's locus by the formula of Krystek 1985, within 8e-5 in u and v). Daylight lies about
 * 3 thousandths greener; between the two, that distance grows smoothly, so that no temperature
 * makes a jump. Duv (ANSI C78.377) is the distance from the locus in the CIE 1960 u, v diagram
 * along the line of equal temperature; positive is greener. kelvin and tint are limited to the
 * range above. */
void dw_white_xyz(double kelvin, double tint, double xyz[3]);

/* u, v (CIE 1960) of a glowing body, 1000 to 15000 K as published. */
void dw_planck_uv(double kelvin, double uv[2]);
/* x, y of daylight, 4000 to 25000 K. */
void dw_daylight_xy(double kelvin, double xy[2]);

/* XYZ under the white `from` as it would look the same under `to`: the linear Bradford adaptation
 * of ICC.1. */
void dw_bradford(const double from[3], const double to[3], double out[9]);

#endif
