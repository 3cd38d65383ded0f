/* version.c: which libraries this program runs with; the first thing to ask for in a report. */
#include "cli/help.h"

#include <daywheel/base.h>

#include <cairo.h>
#include <erfaextra.h>
#include <jansson.h>
#include <jpeglib.h>
#include <lapacke.h>
#include <lcms2.h>
#include <libraw/libraw.h>
#include <openexr.h>
#include <string.h>
#include <tiffio.h>
#include <zstd.h>

#define TEXT_OF(x) #x
#define TEXT(x) TEXT_OF(x)

void dw_help_version(FILE *out)
{
    int lcms = cmsGetEncodedCMMversion(); /* 2140 for 2.14 */
    const char *tiff = TIFFGetVersion();  /* a paragraph; its first line ends in the version */
    size_t line = strcspn(tiff, "\n"), start = line;
    while (start > 0 && tiff[start - 1] != ' ')
        start--;
    fprintf(out, "daywheel %s\n\n", dw_version());
    fprintf(out, "LibRaw         %s\n", libraw_version());
    fprintf(out, "libtiff        %.*s\n", (int)(line - start), tiff + start);
#ifdef LIBJPEG_TURBO_VERSION
    fprintf(out, "libjpeg-turbo  %s (built with)\n", TEXT(LIBJPEG_TURBO_VERSION));
#else
    fprintf(out, "libjpeg        %d (built with)\n", JPEG_LIB_VERSION);
#endif
    fprintf(out, "lcms2          %d.%d\n", lcms / 1000, lcms % 1000 / 10);
    int exr[3];
    const char *extra;
    exr_get_library_version(&exr[0], &exr[1], &exr[2], &extra);
    fprintf(out, "OpenEXRCore    %d.%d.%d\n", exr[0], exr[1], exr[2]);
    fprintf(out, "cairo          %s\n", cairo_version_string());
    fprintf(out, "zstd           %s\n", ZSTD_versionString());
    fprintf(out, "ERFA           %s\n", eraVersion());
    fprintf(out, "jansson        %s\n", jansson_version_str());
    lapack_int major, minor, patch;
    LAPACKE_ilaver(&major, &minor, &patch);
    fprintf(out, "LAPACK         %d.%d.%d\n", (int)major, (int)minor, (int)patch);
    fprintf(out, "\nMIT licence. There is no warranty.\n");
}
