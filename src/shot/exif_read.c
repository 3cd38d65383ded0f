/* exif_read.c: what the collected tags mean; see exif.h. */
#include "shot/exif.h"

#include <ctype.h>
#include <math.h>
#include <string.h>

#define PHOTOMETRIC_CFA 32803u
#define PHOTOMETRIC_LINEAR_RAW 34892u

/* Days from 1970-01-01 to a civil date of the Gregorian calendar.
 * Source: Hinnant, "chrono-compatible low-level date algorithms", days_from_civil. */
static long days_from_civil(int y, int m, int d)
{
    y -= m <= 2;
    long era = y / 400; /* y is never negative here */
    long yoe = y - era * 400;
    long doy = (153 * (m + (m > 2 ? -3 : 9)) + 2) / 5 + d - 1;
    long doe = yoe * 365 + yoe / 4 - yoe / 100 + doy;
    return era * 146097 + doe - 719468;
}

/* n decimal digits; -1 if there are none. */
static int digits(const char *s, int n)
{
    int v = 0;
    for (int i = 0; i < n; i++) {
        if (s[i] < '0' || s[i] > '9')
            return -1;
        v = v * 10 + (s[i] - '0');
    }
    return v;
}

bool dw_exif_time(const char *text, double *unix_s)
{
    if (strlen(text) < 19)
        return false;
    int y = digits(text, 4), mo = digits(text + 5, 2), d = digits(text + 8, 2);
    int h = digits(text + 11, 2), mi = digits(text + 14, 2), s = digits(text + 17, 2);
    static const int length[] = {31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    if (y < 1971 || y > 2199 || mo < 1 || mo > 12 || d < 1 || d > length[mo - 1] || h < 0 ||
        h > 23 || mi < 0 || mi > 59 || s < 0 || s > 60)
        return false;
    bool leap = (y % 4 == 0 && y % 100 != 0) || y % 400 == 0;
    if (mo == 2 && d == 29 && !leap)
        return false;
    *unix_s = (double)days_from_civil(y, mo, d) * 86400 + h * 3600 + mi * 60 + s;
    return true;
}

bool dw_exif_offset(const char *text, int *seconds)
{
    if (strcmp(text, "Z") == 0) {
        *seconds = 0;
        return true;
    }
    if (strlen(text) < 6 || (text[0] != '+' && text[0] != '-') || text[3] != ':')
        return false;
    int h = digits(text + 1, 2), m = digits(text + 4, 2);
    if (h < 0 || h > 15 || m < 0 || m > 59)
        return false;
    *seconds = (text[0] == '-' ? -1 : 1) * (h * 3600 + m * 60);
    return true;
}

double dw_exif_fraction(const char *text)
{
    double v = 0, unit = 0.1;
    for (; *text >= '0' && *text <= '9'; text++, unit /= 10)
        v += unit * (*text - '0');
    return v;
}

bool dw_exif_clock(const struct dw_exif *x, double *clock_s)
{
    if (dw_exif_time(x->original, clock_s))
        *clock_s += dw_exif_fraction(x->subsec_original);
    else if (dw_exif_time(x->digitized, clock_s))
        *clock_s += dw_exif_fraction(x->subsec_digitized);
    else if (dw_exif_time(x->modified, clock_s))
        *clock_s += dw_exif_fraction(x->subsec_modified);
    else
        return false;
    return true;
}

bool dw_exif_clock_offset(const struct dw_exif *x, int *seconds)
{
    const char *own = x->original[0] ? x->original : x->digitized[0] ? x->digitized : x->modified;
    if (own == x->original && dw_exif_offset(x->offset_original, seconds))
        return true;
    /* OffsetTime belongs to ModifyDate, which a converter may have set in another zone */
    if (strcmp(own, x->digitized) == 0 && dw_exif_offset(x->offset_digitized, seconds))
        return true;
    return strcmp(own, x->modified) == 0 && dw_exif_offset(x->offset_modified, seconds);
}

static bool angle(const double v[3], char ref, char positive, char negative, double most,
                  double *deg)
{
    ref = (char)toupper((unsigned char)ref);
    if (isnan(v[0]) || (ref != positive && ref != negative))
        return false;
    double minutes = isnan(v[1]) ? 0 : v[1], seconds = isnan(v[2]) ? 0 : v[2];
    double a = v[0] + minutes / 60 + seconds / 3600; /* seconds of 60 do occur */
    if (!(a >= 0 && a <= most) || minutes < 0 || minutes > 60 || seconds < 0 || seconds > 60)
        return false;
    *deg = ref == negative ? -a : a;
    return true;
}

bool dw_exif_position(const struct dw_exif *x, double *lat, double *lon)
{
    double a, o;
    if (!angle(x->gps_lat, x->gps_lat_ref, 'N', 'S', 90, &a) ||
        !angle(x->gps_lon, x->gps_lon_ref, 'E', 'W', 180, &o))
        return false;
    if (a == 0 && o == 0) /* the gulf of nowhere: what a receiver without a fix writes */
        return false;
    *lat = a;
    *lon = o;
    return true;
}

bool dw_exif_gps_clock(const struct dw_exif *x, double *utc_s)
{
    char text[20];
    if (strlen(x->gps_date) < 10 || isnan(x->gps_time[0]) || isnan(x->gps_time[1]) ||
        isnan(x->gps_time[2]))
        return false;
    memcpy(text, x->gps_date, 10);
    memcpy(text + 10, " 00:00:00", 10);
    double of_day = x->gps_time[0] * 3600 + x->gps_time[1] * 60 + x->gps_time[2];
    if (!dw_exif_time(text, utc_s) || !(of_day >= 0 && of_day <= 86401))
        return false;
    *utc_s += of_day;
    return true;
}

double dw_exif_iso(const struct dw_exif *x)
{
    const double most = 1e8; /* no camera comes near; fuzzed files do */
    if (x->iso > 0 && x->iso < 65535)
        return x->iso;
    static const int best_first[] = {1, 0, 2}; /* recommended index, standard output, ISO speed */
    for (int i = 0; i < 3; i++) {
        double v = x->sensitivity[best_first[i]];
        if (v > 0 && v < most)
            return v;
    }
    return NAN;
}

static bool holds_sensor_data(const struct dw_exif_ifd *d)
{
    return d->photometric == PHOTOMETRIC_CFA || d->photometric == PHOTOMETRIC_LINEAR_RAW;
}

uint64_t dw_exif_promised_end(const struct dw_exif *x, int width, int height)
{
    uint64_t end = 0;
    for (int i = 0; i < DW_EXIF_IFDS; i++) {
        const struct dw_exif_ifd *d = &x->ifd[i];
        bool as_large =
            width > 0 && d->width >= (uint32_t)width && height > 0 && d->height >= (uint32_t)height;
        if ((holds_sensor_data(d) || as_large) && d->end > end)
            end = d->end;
    }
    return end;
}

uint64_t dw_exif_any_end(const struct dw_exif *x)
{
    uint64_t end = 0;
    for (int i = 0; i < DW_EXIF_IFDS; i++) {
        end = x->ifd[i].end > end ? x->ifd[i].end : end;
        end = x->ifd[i].preview_end > end ? x->ifd[i].preview_end : end;
    }
    return end;
}

unsigned dw_exif_compression(const struct dw_exif *x)
{
    for (int i = 0; i < DW_EXIF_IFDS; i++)
        if (holds_sensor_data(&x->ifd[i]))
            return x->ifd[i].compression;
    return 0;
}
