/* SPDX-License-Identifier: MIT */
/* src/measure/true_peak.c without choice of instruction set: see plain.h. */
#include "support/plain.h"

#define TP_PLAIN
#define tp_true_peak_init plain_true_peak_init
#define tp_true_peak_push plain_true_peak_push
#define tp_true_peak_push_cells plain_true_peak_push_cells
#define tp_true_peak_finish plain_true_peak_finish
#include "../src/measure/true_peak.c"
