/* SPDX-License-Identifier: MIT */
/*
 * Opening through libsndfile from several threads: its open path writes to globals of its own (libsndfile 1.2,
 * sndfile.c), so that all openings of this program wait for each other. An opened file is its owner's alone.
 */
#ifndef TP_READ_SNDFILE_OPEN_H
#define TP_READ_SNDFILE_OPEN_H

#include <sndfile.h>
#include <takeproof/error.h>

/* As sf_open_virtual(). */
SNDFILE *tp_sndfile_open_virtual(SF_VIRTUAL_IO *io, int mode, SF_INFO *info, void *user);

/* What libsndfile makes of a whole file by itself, header and all. *info is zeroed when it refuses; `why` then holds
 * its words. Give it only files that are RIFF, RF64 or BW64 with PCM or float: others reach parsers that nobody wants
 * near a hostile file. Errors: TP_ERR_OPEN (not openable at all). */
#define TP_SNDFILE_WHY_BYTES 160
enum tp_status tp_sndfile_look(const char *path, SF_INFO *info, char why[TP_SNDFILE_WHY_BYTES],
                               struct tp_error *error) TP_MUST_USE;

#endif
