/* sun.c: being written. */
#include <daywheel/sky.h>
