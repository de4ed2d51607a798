/* SPDX-License-Identifier: MIT */
/* The public seam of salvage, so that its module has a header among its neighbours. */
#ifndef TP_READ_SALVAGE_H
#define TP_READ_SALVAGE_H

#include <takeproof/salvage.h>

#endif
