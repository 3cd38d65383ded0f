/*
 * pool.c - see pool.h.
 */
#include "pool.h"

#include <pthread.h>
#include <stdatomic.h>
#include <unistd.h>

struct pool {
    atomic_int next;
    int end;
    void (*work)(void *arg, int i);
    void *arg;
};

static void *worker(void *p)
{
    struct pool *q = p;
    int i;
    while ((i = atomic_fetch_add(&q->next, 1)) < q->end)
        q->work(q->arg, i);
    return NULL;
}

void dwi_pool(int jobs, int first, int end, void (*work)(void *arg, int i), void *arg)
{
    struct pool q = {.end = end, .work = work, .arg = arg};
    pthread_t t[256];
    int started = 0;
    atomic_init(&q.next, first);
    if (jobs <= 0)
        jobs = (int)sysconf(_SC_NPROCESSORS_ONLN);
    if (jobs > 256)
        jobs = 256;
    /* if no further thread can be had, this one does what is left */
    while (started < jobs - 1 && !pthread_create(&t[started], NULL, worker, &q))
        started++;
    worker(&q);
    while (started)
        pthread_join(t[--started], NULL);
}
