/* survey.c: being written. */
#include <daywheel/survey.h>
