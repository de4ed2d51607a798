/* SPDX-License-Identifier: MIT */
/*
 * Which of many pairs of channels have something in common in one excerpt: the same question as tp_lag_find(), whether
 * the correlation (Pearson over the overlap) reaches a value at any lag, for all pairs of a group at once.
 *
 * The excerpt is cut into blocks of 2880 frames, X = sum over blocks j of conj(A[j]) (B[j] + B[j+1]) is the
 * cross-spectrum of a pair for the lags from 0 on, and one short inverse FFT gives the products at these lags; those
 * before 0 are the products of b and a. Most pairs need none: no product is larger than the mean of |X|, and in sound
 * that has nothing in common X is small, as the blocks do not agree on its phase. So the FFTs are a channel, not a
 * pair.
 *
 * Memory: 9 bytes a channel and frame, and 20 KB a channel. Not thread-safe per screen.
 */
#ifndef TP_TAKE_PAIR_SCREEN_H
#define TP_TAKE_PAIR_SCREEN_H

#include "take/plans.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Frames: an excerpt up to here is one block, which holds the lags on both sides. */
#define TP_SCREEN_ONE_BLOCK 4096

struct tp_screen;

/* `frames` of an excerpt, even. `plans` outlive the screen; NULL = plans of its own. NULL when memory is short. */
struct tp_screen *tp_screen_new(size_t frames, uint32_t channel_count, struct tp_plans *plans);
void tp_screen_free(struct tp_screen *screen); /* NULL is fine */

/* The excerpt's samples of one channel: full scale 1.0, finite. */
void tp_screen_set(struct tp_screen *screen, uint32_t channel, const float *samples);
/* pairs[a * channel_count + b], a < b: those asked about, whose channels were set. Those remain true whose
 * |correlation| reaches `least` (above 0) at a lag of at most TP_LAG_SEARCH_FRAMES. */
void tp_screen_keep(struct tp_screen *screen, bool *pairs, double least);

#endif
