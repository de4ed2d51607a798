/* SPDX-License-Identifier: MIT */
/*
 * A thread that works through one run of bytes at a time beside its owner: for what waits for nothing but itself, as a
 * hash does, while the owner does something else with the same bytes. Owner and thread share only the bytes, which
 * stay as they are meanwhile, and what `user` points at, which the owner leaves alone until it has waited.
 */
#ifndef TP_BASE_BESIDE_H
#define TP_BASE_BESIDE_H

#include <stddef.h>
#include <stdint.h>

struct tp_beside;

/* NULL when memory is short or there is no thread to be had: the caller then does the work itself. */
struct tp_beside *tp_beside_new(void (*work)(void *user, const uint8_t *bytes, size_t size), void *user);
/* Waits for what was given before, then has these worked through. */
void tp_beside_give(struct tp_beside *beside, const uint8_t *bytes, size_t size);
/* Until what was given is done. */
void tp_beside_wait(struct tp_beside *beside);
/* Waits. NULL is fine. */
void tp_beside_free(struct tp_beside *beside);

#endif
