/* SPDX-License-Identifier: MIT */
#include "base/beside.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>

struct tp_beside {
    void (*work)(void *user, const uint8_t *bytes, size_t size);
    void *user;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    /* Guarded by the lock: */
    const uint8_t *bytes; /* NULL: nothing to do */
    size_t size;
    bool ends;
};

static void *work_through(void *argument)
{
    struct tp_beside *beside = argument;
    pthread_mutex_lock(&beside->lock);
    for (;;) {
        while (beside->bytes == NULL && !beside->ends)
            pthread_cond_wait(&beside->changed, &beside->lock);
        if (beside->bytes == NULL)
            break;
        const uint8_t *bytes = beside->bytes;
        size_t size = beside->size;
        pthread_mutex_unlock(&beside->lock);
        beside->work(beside->user, bytes, size);
        pthread_mutex_lock(&beside->lock);
        beside->bytes = NULL;
        pthread_cond_signal(&beside->changed);
    }
    pthread_mutex_unlock(&beside->lock);
    return NULL;
}

struct tp_beside *tp_beside_new(void (*work)(void *user, const uint8_t *bytes, size_t size), void *user)
{
    struct tp_beside *made = calloc(1, sizeof *made);
    if (made == NULL)
        return NULL;
    made->work = work;
    made->user = user;
    bool has_lock = pthread_mutex_init(&made->lock, NULL) == 0;
    bool has_condition = has_lock && pthread_cond_init(&made->changed, NULL) == 0;
    if (has_condition && pthread_create(&made->thread, NULL, work_through, made) == 0)
        return made;
    if (has_condition)
        pthread_cond_destroy(&made->changed);
    if (has_lock)
        pthread_mutex_destroy(&made->lock);
    free(made);
    return NULL;
}

/* With the lock held. Owner and thread never wait at the same time, so one condition serves both. */
static void wait_locked(struct tp_beside *beside)
{
    while (beside->bytes != NULL)
        pthread_cond_wait(&beside->changed, &beside->lock);
}

void tp_beside_give(struct tp_beside *beside, const uint8_t *bytes, size_t size)
{
    pthread_mutex_lock(&beside->lock);
    wait_locked(beside);
    beside->bytes = bytes;
    beside->size = size;
    pthread_cond_signal(&beside->changed);
    pthread_mutex_unlock(&beside->lock);
}

void tp_beside_wait(struct tp_beside *beside)
{
    pthread_mutex_lock(&beside->lock);
    wait_locked(beside);
    pthread_mutex_unlock(&beside->lock);
}

void tp_beside_free(struct tp_beside *beside)
{
    if (beside == NULL)
        return;
    pthread_mutex_lock(&beside->lock);
    wait_locked(beside);
    beside->ends = true;
    pthread_cond_signal(&beside->changed);
    pthread_mutex_unlock(&beside->lock);
    pthread_join(beside->thread, NULL);
    pthread_cond_destroy(&beside->changed);
    pthread_mutex_destroy(&beside->lock);
    free(beside);
}
