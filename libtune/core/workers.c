/* workers.c - run independent items on a few threads.
 * SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/workers.h"

#include <pthread.h>
#include <stdlib.h>
#include <unistd.h>

struct pool {
    pthread_mutex_t lock;
    size_t n, next;
    tune_work *work;
    void *user;
    size_t failed_item; /* n: none failed */
    enum tune_status status;
    struct tune_error error;
};

size_t tune_workers_available(void)
{
    const long count = sysconf(_SC_NPROCESSORS_ONLN);
    return count > 1 ? (size_t)count : 1;
}

static void note_failure(struct pool *pool, size_t item, enum tune_status status,
                         const struct tune_error *error)
{
    if (item >= pool->failed_item) return;
    pool->failed_item = item;
    pool->status = status;
    pool->error = *error;
}

static void *worker(void *arg)
{
    struct pool *pool = arg;
    for (;;) {
        struct tune_error error;
        (void)pthread_mutex_lock(&pool->lock);
        /* items are handed out in order, so every item below a failed one has started */
        const size_t item = pool->status == TUNE_OK ? pool->next++ : pool->n;
        (void)pthread_mutex_unlock(&pool->lock);
        if (item >= pool->n) return NULL;
        tune_error_clear(&error);
        const enum tune_status status = pool->work(pool->user, item, &error);
        if (status != TUNE_OK) {
            (void)pthread_mutex_lock(&pool->lock);
            note_failure(pool, item, status, &error);
            (void)pthread_mutex_unlock(&pool->lock);
        }
    }
}

enum tune_status tune_workers_run(size_t n, size_t threads, tune_work *work, void *user,
                                  struct tune_error *err)
{
    struct pool pool = {.n = n, .work = work, .user = user, .failed_item = n};
    pthread_t *thread = NULL;
    size_t started = 0;

    if (threads == 0) threads = tune_workers_available();
    if (threads > n) threads = n;
    if (threads > 1) thread = calloc(threads - 1, sizeof *thread);
    (void)pthread_mutex_init(&pool.lock, NULL);
    /* the calling thread works too: with no memory or no threads to be had it does it all */
    while (thread && started + 1 < threads &&
           pthread_create(&thread[started], NULL, worker, &pool) == 0)
        started++;
    (void)worker(&pool);
    for (size_t i = 0; i < started; i++)
        (void)pthread_join(thread[i], NULL);
    (void)pthread_mutex_destroy(&pool.lock);
    free(thread);
    if (pool.status != TUNE_OK && err) *err = pool.error;
    return pool.status;
}
