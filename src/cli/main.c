/* main.c: being written. */
#include <daywheel/daywheel.h>

int main(void)
{
    return 0;
}
