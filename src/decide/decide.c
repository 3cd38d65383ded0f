/* decide.c: being written. */
#include <daywheel/decide.h>
