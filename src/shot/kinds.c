/* kinds.c: see kinds.h. */
#include "shot/kinds.h"

#include "base/text.h"

#include <string.h>

static const char raw[] =
    " 3fr ari arw bay cap cr2 cr3 crw cs1 dc2 dcr dcs dng drf eip erf fff gpr "
    "iiq k25 kc2 kdc mdc mef mos mrw nef nrw orf ori pef ptx pxn qtk raf raw "
    "rdc rw2 rwl rwz sr2 srf srw sti x3f ";
static const char picture[] = " jpg jpeg jpe jps mpo heic heif hif avif png tif tiff bmp gif webp "
                              "jxl jp2 psd exr ";
static const char sidecar[] = " xmp thm wav xml ";
static const char video[] = " mov mp4 m4v avi mts m2ts mpg mpeg mxf mkv 3gp lrv webm insv wmv ";

static bool listed(const char *list, const char *suffix)
{
    size_t n = strlen(suffix);
    if (n < 2 || n > 6)
        return false;
    char word[10] = " ";
    for (size_t i = 1; i < n; i++)
        word[i] = suffix[i] >= 'A' && suffix[i] <= 'Z' ? (char)(suffix[i] + 32) : suffix[i];
    word[n] = ' ';
    word[n + 1] = '\0';
    return strstr(list, word) != NULL;
}

const char *dw_kind_suffix(const char *name)
{
    const char *dot = strrchr(name, '.');
    return dot && dot != name ? dot : name + strlen(name);
}

size_t dw_kind_stem(const char *name)
{
    return (size_t)(dw_kind_suffix(name) - name);
}

enum dw_kind dw_kind_of(const char *name)
{
    const char *suffix = dw_kind_suffix(name);
    if (listed(raw, suffix))
        return DW_KIND_RAW;
    if (listed(picture, suffix))
        return DW_KIND_PICTURE;
    if (listed(sidecar, suffix))
        return DW_KIND_SIDECAR;
    if (listed(video, suffix))
        return DW_KIND_VIDEO;
    return DW_KIND_OTHER;
}

bool dw_kind_is_system(const char *name)
{
    static const char *const names[] = {"Thumbs.db",  "desktop.ini",  "System Volume Information",
                                        "lost+found", "$RECYCLE.BIN", "__MACOSX",
                                        "@eaDir",     "ehthumbs.db"};
    if (name[0] == '.')
        return true;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (dw_text_same(name, names[i]))
            return true;
    return false;
}

long dw_kind_number(const char *name)
{
    size_t end = dw_kind_stem(name), begin = end;
    while (begin > 0 && name[begin - 1] >= '0' && name[begin - 1] <= '9')
        begin--;
    if (begin == end)
        return -1;
    if (end - begin > 9)
        begin = end - 9;
    long v = 0;
    for (size_t i = begin; i < end; i++)
        v = v * 10 + (name[i] - '0');
    return v;
}
