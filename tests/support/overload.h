/* SPDX-License-Identifier: MIT */
/* Sound as an overloaded preamp in front of a converter makes it. */
#ifndef TESTS_SUPPORT_OVERLOAD_H
#define TESTS_SUPPORT_OVERLOAD_H

#include "support/tones.h"

/* Noise of a preamp: triangular, `level` peak; a pure function of its arguments. */
double overload_hiss(uint64_t i, double level);

/* Real voice `index` (real_voice.h), its largest sample raised to `gain` times the ceiling, through a stage that clips
 * at
 * +-ceiling; at 16 times the rate (linear interpolation is enough: what it adds lies far down), then low-passed and
 * decimated as a converter does, with hiss of -80 dBFS, 24 bit, 48 kHz. Ends the process when the recording is not
 * there. */
struct plane overload_voice(size_t index, double gain, double ceiling_lin);

#endif
