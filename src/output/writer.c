/* writer.c: being written. */
#include <daywheel/output.h>
