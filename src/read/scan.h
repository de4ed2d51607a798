/* SPDX-License-Identifier: MIT */
/*
 * Sources to an ordered list of what is there, without reading contents: WAV candidates by extension (.wav, .bwf,
 * .rf64, .bw64 in any case), others with the reason (also whatever lies in a hidden folder, a wastebasket or another
 * folder of an operating system), and problems (unreadable folders and entries). Order: source by source, paths
 * bytewise. Symbolic links to files are followed, to folders too unless they lead back (device and inode already on the
 * way down): then they are listed under others. Pipes, sockets and devices are never opened. Hidden files and all that
 * lies in such folders is listed under others. Depth is bounded by TP_SCAN_DEPTH_MAX.
 */
#ifndef TP_READ_SCAN_H
#define TP_READ_SCAN_H

#include <takeproof/result.h>

#define TP_SCAN_DEPTH_MAX 64

struct tp_scan_entry {
    size_t source;
    char *path;   /* relative to the source, raw bytes, '/' separated */
    char *opened; /* what to open: source joined with path */
    uint64_t bytes;
    int64_t modified_s;
    const char *why;    /* NULL for a candidate; else why it is listed under others or as unreadable (static text) */
    bool may_be_wav;    /* listed under others by its name alone: its first bytes may tell of a recording */
    bool is_lost_piece; /* what a repair of the file system found, of some size: it may be a piece of a recording */
    bool unreadable;    /* true: must become a finding, not just a line */
    int os_errno;       /* for unreadable */
};
struct tp_scan {
    struct tp_scan_entry *entries;
    size_t count;
};

/* Errors: TP_ERR_OPEN when a source itself is not there or cannot be listed (the message says what to do),
 * TP_ERR_MEMORY. A source that is one file gives one entry whose path is its base name. */
enum tp_status tp_scan_sources(const char *const *sources, size_t source_count, struct tp_scan *scan,
                               struct tp_error *error) TP_MUST_USE;
void tp_scan_clear(struct tp_scan *scan);

/* Whether the name is that of a candidate, by its extension. */
bool tp_scan_is_wav_name(const char *name);

#endif
