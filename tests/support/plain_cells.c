/* SPDX-License-Identifier: MIT */
/* src/measure/cells.c without choice of instruction set: see plain.h. */
#include "support/plain.h"

#define TP_PLAIN
#define tp_cells_make plain_cells_make
#include "../src/measure/cells.c"
