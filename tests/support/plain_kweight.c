/* SPDX-License-Identifier: MIT */
/* src/measure/kweight.c without choice of instruction set: see plain.h. */
#include "support/plain.h"

#define TP_PLAIN
#define tp_kweight_design plain_kweight_design
#define tp_kweight_init plain_kweight_init
#define tp_kweight_clear plain_kweight_clear
#define tp_kweight_energy plain_kweight_energy
#define tp_kweight_parts plain_kweight_parts
#include "../src/measure/kweight.c"
