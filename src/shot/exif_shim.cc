// exif_shim.cc: the one line of C++ in the project. LibRaw hands its Exif callback a C++ stream
// that C cannot read (the C interface of version 0.20 has no function for it).
#include <libraw/libraw.h>

extern "C" size_t dw_exif_read(void *stream, void *dst, size_t n);

// Reads up to n bytes from the stream's present place; LibRaw seeks back by itself.
extern "C" size_t dw_exif_read(void *stream, void *dst, size_t n)
{
    int got = static_cast<LibRaw_abstract_datastream *>(stream)->read(dst, 1, n);
    return got > 0 ? static_cast<size_t>(got) : 0;
}
