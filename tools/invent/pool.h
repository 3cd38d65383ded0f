/*
 * pool.h - runs numbered pieces of work on several threads.
 */
#ifndef DWI_POOL_H
#define DWI_POOL_H

/** Calls work(arg, i) for first <= i < end, each once, on `jobs` threads (0 = all cores). */
void dwi_pool(int jobs, int first, int end, void (*work)(void *arg, int i), void *arg);

#endif
