/* SPDX-License-Identifier: MIT */
/* Where what is written may go: a card is never written to, and what is on it may still be needed. */
#ifndef TP_READ_PLACE_H
#define TP_READ_PLACE_H

#include <stdbool.h>
#include <stdint.h>
#include <takeproof/error.h>

/*
 * TP_ERR_USAGE when `directory` (perhaps not there yet) seems to lie on the card of `source`. For a recording:
 *  - it is the folder of the recording: also with `not_on_card`;
 *  - it lies below that folder;
 *  - it lies in the folder through which the recording is reached from the working folder: with 'card/S01/T1.wav'
 *    nothing goes into 'card'.
 * For a folder:
 *  - it is the folder or lies in it: also with `not_on_card`.
 * For both:
 *  - both are on one file system that is not the one of '/', and its medium is removable or formatted as cards are.
 * A source that is not there is passed over. Nothing is made. Errors: TP_ERR_USAGE, TP_ERR_MEMORY.
 */
enum tp_status tp_place_check(const char *source, const char *directory, bool not_on_card,
                              struct tp_error *error) TP_MUST_USE;

/* Whether recorders use this file system: FAT, exFAT or UDF, by the number that statfs(2) of Linux gives. */
bool tp_is_card_file_system(uint64_t statfs_type);

#endif
