/* measure.h: runs a command and reads what it cost from the operating system. */
#ifndef DW_BENCHMARK_MEASURE_H
#define DW_BENCHMARK_MEASURE_H

struct cost {
    int status; /* exit status, -1 if it did not end by itself */
    double wall_s, cpu_s;
    double peak_mb; /* largest resident set */
};

/* Runs argv (NULL-terminated) with its output thrown away unless the environment holds
 * DAYWHEEL_BENCHMARK_VERBOSE. */
struct cost measure(const char *const argv[]);

#endif
