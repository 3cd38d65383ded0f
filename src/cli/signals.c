/* signals.c: see signals.h. The one place with a variable of its own, because a signal handler
 * is told nothing else. */
#include "cli/signals.h"

#include <signal.h>
#include <stddef.h>
#include <string.h>
#include <unistd.h>

static atomic_int stop_signal;

static void on_signal(int number)
{
    static const char text[] = "\ndaywheel: stopping after the frames in hand; once more ends at "
                               "once\n";
    if (atomic_load(&stop_signal) != 0) {
        signal(number, SIG_DFL); /* async-signal-safe, as are raise and write */
        raise(number);
        return;
    }
    atomic_store(&stop_signal, number);
    if (write(STDERR_FILENO, text, strlen(text)) < 0)
        return; /* nobody is there to be told */
}

void dw_signals_open(void)
{
    struct sigaction action = {.sa_handler = on_signal};
    sigemptyset(&action.sa_mask);
    static const int numbers[] = {SIGINT, SIGTERM, SIGHUP};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        struct sigaction before;
        if (sigaction(numbers[i], NULL, &before) == 0 && before.sa_handler != SIG_IGN)
            sigaction(numbers[i], &action, NULL); /* no SA_RESTART: waits end early */
    }
    signal(SIGPIPE, SIG_IGN);
    signal(SIGXFSZ, SIG_IGN); /* a file beyond the shell's limit: writing fails with a message */
}

const atomic_int *dw_signals_stop(void)
{
    return &stop_signal;
}

void dw_signals_reraise(void)
{
    int number = atomic_load(&stop_signal);
    if (number == 0)
        return;
    signal(number, SIG_DFL);
    raise(number);
}
