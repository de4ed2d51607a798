/* SPDX-License-Identifier: MIT */
#include "base/beside.h"

#include <pthread.h>
#include <sched.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>

/* Looks at what the other does before going to sleep for it: to be woken takes as long as to hash half a block. */
#define LOOKS 200

struct tp_beside {
    void (*work)(void *user, const uint8_t *bytes, size_t size);
    void *user;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t changed;
    atomic_bool is_busy; /* as `bytes` says, for those who look without the lock */
    /* Guarded by the lock: */
    const uint8_t *bytes; /* NULL: nothing to do */
    size_t size;
    bool ends;
};

static void look(struct tp_beside *beside, bool busy)
{
    for (int i = 0; i < LOOKS && atomic_load(&beside->is_busy) != busy; i++)
        sched_yield();
}

static void set_bytes(struct tp_beside *beside, const uint8_t *bytes)
{
    beside->bytes = bytes;
    atomic_store(&beside->is_busy, bytes != NULL);
    pthread_cond_signal(&beside->changed);
}

static void *work_through(void *argument)
{
    struct tp_beside *beside = argument;
    for (;;) {
        look(beside, true);
        pthread_mutex_lock(&beside->lock);
        while (beside->bytes == NULL && !beside->ends)
            pthread_cond_wait(&beside->changed, &beside->lock);
        const uint8_t *bytes = beside->bytes;
        size_t size = beside->size;
        pthread_mutex_unlock(&beside->lock);
        if (bytes == NULL)
            return NULL;
        beside->work(beside->user, bytes, size);
        pthread_mutex_lock(&beside->lock);
        set_bytes(beside, NULL);
        pthread_mutex_unlock(&beside->lock);
    }
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

/* Comes back with the lock. Owner and thread never wait at the same time, so one condition serves both. */
static void lock_idle(struct tp_beside *beside)
{
    look(beside, false);
    pthread_mutex_lock(&beside->lock);
    while (beside->bytes != NULL)
        pthread_cond_wait(&beside->changed, &beside->lock);
}

void tp_beside_give(struct tp_beside *beside, const uint8_t *bytes, size_t size)
{
    lock_idle(beside);
    beside->size = size;
    set_bytes(beside, bytes);
    pthread_mutex_unlock(&beside->lock);
}

void tp_beside_wait(struct tp_beside *beside)
{
    lock_idle(beside);
    pthread_mutex_unlock(&beside->lock);
}

void tp_beside_free(struct tp_beside *beside)
{
    if (beside == NULL)
        return;
    lock_idle(beside);
    beside->ends = true;
    pthread_cond_signal(&beside->changed);
    pthread_mutex_unlock(&beside->lock);
    pthread_join(beside->thread, NULL);
    pthread_cond_destroy(&beside->changed);
    pthread_mutex_destroy(&beside->lock);
    free(beside);
}
