/* SPDX-License-Identifier: MIT */
/* src/measure/kernels.c without choice of instruction set: see plain.h. */
#include "support/plain.h"

#define TP_PLAIN
#define tp_kernel_largest plain_kernel_largest
#define tp_kernel_sums(samples, frames) plain_kernel_sums(samples, frames) /* not the struct */
#include "../src/measure/kernels.c"
