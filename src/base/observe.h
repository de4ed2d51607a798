/* SPDX-License-Identifier: MIT */
/* The list of raw observations that reading and measuring hand to the rules. */
#ifndef TP_BASE_OBSERVE_H
#define TP_BASE_OBSERVE_H

#include <takeproof/result.h>

#define TP_OBSERVATIONS_PER_CODE 1000

/* Appends one observation; detail is a printf sentence, or NULL to let the rule word it. Past TP_OBSERVATIONS_PER_CODE
 * of a code only `total` grows, so that a file full of clicks stays bounded. False when memory is short. */
bool tp_observe(struct tp_observations *observations, enum tp_code code, uint32_t channel, double start_s, double end_s,
                double value, double limit, const char *detail_format, ...) TP_PRINTF(8, 9);

/* How many of a code are kept. */
size_t tp_observations_count(const struct tp_observations *observations, enum tp_code code);

/* Frees the list and returns it to {0}. */
void tp_observations_clear(struct tp_observations *observations);

#endif
