/* SPDX-License-Identifier: MIT */
/*
 * The operating system's files: opening a source without touching it, and writing a file whole or not at all.
 * The only folder that calls POSIX file functions besides read/ and handoff/.
 */
#ifndef TP_BASE_IO_H
#define TP_BASE_IO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <takeproof/error.h>

/* macOS has its own names for these members of struct stat. */
#ifdef __APPLE__
#define st_mtim st_mtimespec
#define st_atim st_atimespec
#endif

/* Opens a regular file read-only (O_NOFOLLOW is not used: a link to a file is the file; O_NONBLOCK so that a pipe never
 * hangs; no access time change where the system allows) and checks that it is still regular after opening.
 * *fd is owned by the caller. Errors: TP_ERR_OPEN. */
enum tp_status tp_file_open(const char *path, int *fd, uint64_t *bytes, int64_t *modified_s,
                            struct tp_error *error) TP_MUST_USE;

/* Reads up to `size` bytes at `offset` until the buffer is full or the file ends; retries EINTR and short reads.
 * *got is what arrived, also on failure. Errors: TP_ERR_READ with the offset of the first byte not read. */
enum tp_status tp_file_read_at(int fd, const char *path, uint64_t offset, void *buffer, size_t size, size_t *got,
                               struct tp_error *error) TP_MUST_USE;

/* Reads a whole small file into *bytes (NUL-terminated, owned by the caller). More than `limit` is TP_ERR_FORMAT. */
enum tp_status tp_file_read_all(const char *path, size_t limit, char **bytes, size_t *size,
                                struct tp_error *error) TP_MUST_USE;

/* What a writer of `what` reports at its end: TP_ERR_MEMORY when a part of it was `lost`, TP_ERR_WRITE when the stream
 * has failed. */
enum tp_status tp_written(FILE *out, bool lost, const char *what, struct tp_error *error) TP_MUST_USE;

/* a/b; NULL when memory is short. */
char *tp_path_join(const char *folder, const char *name);

/* Makes a folder and its parents. Errors: TP_ERR_WRITE, TP_ERR_MEMORY. */
enum tp_status tp_folder_make(const char *path, struct tp_error *error) TP_MUST_USE;
/* True when `path` is `folder` or lies inside it (both must exist). */
bool tp_path_is_inside(const char *path, const char *folder);

/* The part of `path` that exists already ("." and "/" always do), owned by the caller, and in *rest what follows it in
 * `path`. NULL when memory is short. */
char *tp_path_existing(const char *path, const char **rest);
/* Goes back with ".."? Of a path that is still to be made nobody can say where it leads then. */
bool tp_path_goes_back(const char *path);

/* How two folders lie, `other` existing, `path` perhaps not yet. */
enum tp_overlap {
    TP_OVERLAP_NONE,
    TP_OVERLAP_INSIDE, /* path is other or lies in it */
    TP_OVERLAP_AROUND, /* other lies in path */
    TP_OVERLAP_UNCLEAR /* path is not there and goes back with ".."; or no memory */
};
enum tp_overlap tp_folders_overlap(const char *path, const char *other);

/*
 * A file that appears under its name only when complete: written beside it under a temporary name, flushed, fsynced,
 * renamed, and the folder fsynced. `replace` false makes an existing target TP_ERR_EXISTS at open and at commit.
 *
 *     struct tp_whole_file f;
 *     if (tp_whole_file_open(&f, path, true, error) != TP_OK) …
 *     fputs(…, f.stream);
 *     return tp_whole_file_commit(&f, error);      // or tp_whole_file_abandon(&f)
 */
struct tp_whole_file {
    FILE *stream;
    char *path, *temporary;
    bool replace;
};
enum tp_status tp_whole_file_open(struct tp_whole_file *file, const char *path, bool replace,
                                  struct tp_error *error) TP_MUST_USE;
/* Always releases the file. On failure the temporary is gone and the target is as it was.
 * Errors: TP_ERR_WRITE, TP_ERR_SPACE, TP_ERR_EXISTS. */
enum tp_status tp_whole_file_commit(struct tp_whole_file *file, struct tp_error *error) TP_MUST_USE;
void tp_whole_file_abandon(struct tp_whole_file *file);

/* All of it: DIRECTORY/NAME, with what `write` puts into the stream from `user`; replaces an old one. Errors: those of
 * `write` (then the old one stays), and as above; TP_ERR_MEMORY. */
typedef enum tp_status tp_write_fn(const void *user, FILE *out, struct tp_error *error);
enum tp_status tp_whole_file_write(const char *directory, const char *name, tp_write_fn *write, const void *user,
                                   struct tp_error *error) TP_MUST_USE;

#endif
