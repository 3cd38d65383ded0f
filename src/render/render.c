/* render.c: being written. */
#include <daywheel/render.h>
