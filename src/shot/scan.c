/* scan.c: being written. */
#include <daywheel/shot.h>
