/* SPDX-License-Identifier: MIT */
#include "read/scan.h"

#include "base/io.h"
#include "base/text.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

/* The folders on the way down to where we are: a link back to one of them is a loop. */
struct way {
    const struct way *up;
    dev_t device;
    ino_t inode;
    unsigned depth;
    const char *skipped; /* why nothing here is checked, NULL where it is */
    bool lost_clusters;
};

struct scanner {
    struct tp_scan *scan;
    size_t capacity;
    size_t source;
    const char *root;
    struct tp_error *error;
};

static enum tp_status out_of_memory(struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory to list the source");
}

static enum tp_status add_entry(struct scanner *scanner, const char *path, const char *opened,
                                const struct stat *status, const char *why, bool unreadable, int os_errno)
{
    struct tp_scan *scan = scanner->scan;
    if (!tp_grow(&scan->entries, &scanner->capacity, scan->count, sizeof *scan->entries))
        return out_of_memory(scanner->error);
    struct tp_scan_entry *entry = &scan->entries[scan->count];
    *entry = (struct tp_scan_entry){
        .source = scanner->source,
        .path = tp_strdup(path),
        .opened = tp_strdup(opened),
        .bytes = status != NULL && S_ISREG(status->st_mode) ? (uint64_t)status->st_size : 0,
        .modified_s = status != NULL ? (int64_t)status->st_mtime : 0,
        .why = why,
        .unreadable = unreadable,
        .os_errno = os_errno,
    };
    scan->count++;
    return entry->path != NULL && entry->opened != NULL ? TP_OK : out_of_memory(scanner->error);
}

static bool has_extension(const char *name, const char *const *extensions)
{
    const char *dot = strrchr(name, '.');
    if (dot == NULL)
        return false;
    for (; *extensions != NULL; extensions++)
        if (strcasecmp(dot + 1, *extensions) == 0)
            return true;
    return false;
}

bool tp_scan_is_wav_name(const char *name)
{
    static const char *const extensions[] = {"wav", "wave", "bwf", "rf64", "bw64", NULL};
    return has_extension(name, extensions);
}

/* NULL for a candidate. */
static const char *why_not_checked(const char *name)
{
    static const char *const other_sound[] = {"mp3",  "m4a", "aac", "flac", "ogg", "opus", "wma", "aif", "aiff",
                                              "aifc", "caf", "w64", "mp2",  "ac3", "amr",  "dsf", "dff", NULL};
    if (strncmp(name, "._", 2) == 0)
        return "AppleDouble companion, holds no sound";
    if (name[0] == '.')
        return "hidden file";
    if (tp_scan_is_wav_name(name))
        return NULL;
    if (has_extension(name, other_sound))
        return "sound in another format than WAV: not checked";
    return "not a WAV file by its name: not checked";
}

static const char *why_never_opened(mode_t mode)
{
    return S_ISFIFO(mode)   ? "named pipe, never opened"
           : S_ISSOCK(mode) ? "socket, never opened"
           : S_ISBLK(mode)  ? "block device, never opened"
           : S_ISCHR(mode)  ? "character device, never opened"
                            : "not a regular file, never opened";
}

/* What an operating system keeps on a card for itself; whether a case matters depends on the card. Wastebaskets and
 * indexes: deleted takes are no takes. */
static const char *why_skipped(const char *name)
{
    static const char *const system[] = {"System Volume Information", "$RECYCLE.BIN", "RECYCLER", "RECYCLED", NULL};
    for (size_t i = 0; system[i] != NULL; i++)
        if (strcasecmp(name, system[i]) == 0)
            return i == 0 ? "in a system folder: not checked" : "in a wastebasket: not checked";
    return name[0] == '.' ? "in a hidden folder: not checked" : NULL;
}

/* Where a repair of the file system puts the pieces that belonged to no file ("FOUND.000", "lost+found"). */
static bool is_lost_and_found(const char *name)
{
    return strcasecmp(name, "lost+found") == 0 || strcasecmp(name, "LOST.DIR") == 0 ||
           (strncasecmp(name, "FOUND.", 6) == 0 && strlen(name) == 9 && strspn(name + 6, "0123456789") == 3);
}

static bool leads_back(const struct way *way, const struct stat *status)
{
    for (; way != NULL; way = way->up)
        if (way->device == status->st_dev && way->inode == status->st_ino)
            return true;
    return false;
}

static enum tp_status scan_folder(struct scanner *scanner, const char *path, const char *opened, const struct way *way);

static enum tp_status scan_entry(struct scanner *scanner, const char *name, const char *path, const char *opened,
                                 const struct way *way)
{
    struct stat status;
    if (stat(opened, &status) != 0) {
        int cause = errno;
        struct stat link;
        bool dangling = lstat(opened, &link) == 0 && S_ISLNK(link.st_mode);
        /* A link that leads nowhere is no recording; anything else that cannot be looked at might be one. */
        bool lost = !dangling || tp_scan_is_wav_name(name);
        const char *why = !dangling        ? "cannot be looked at"
                          : cause == ELOOP ? "symbolic link that leads back to itself"
                                           : "symbolic link that leads nowhere";
        return add_entry(scanner, path, opened, NULL, why, lost, cause);
    }
    if (S_ISDIR(status.st_mode)) {
        if (leads_back(way, &status))
            return add_entry(scanner, path, opened, &status, "link back to a folder above, not followed again", false,
                             0);
        if (way->depth >= TP_SCAN_DEPTH_MAX)
            return add_entry(scanner, path, opened, &status, "folder nested too deeply: not looked into", true, 0);
        struct way here = {.up = way,
                           .device = status.st_dev,
                           .inode = status.st_ino,
                           .depth = way->depth + 1,
                           .skipped = way->skipped != NULL ? way->skipped : why_skipped(name),
                           .lost_clusters = way->lost_clusters || is_lost_and_found(name)};
        return scan_folder(scanner, path, opened, &here);
    }
    if (!S_ISREG(status.st_mode))
        return add_entry(scanner, path, opened, &status, why_never_opened(status.st_mode), false, 0);
    const char *why = way->skipped != NULL ? way->skipped : why_not_checked(name);
    bool is_piece = way->skipped == NULL && why != NULL && way->lost_clusters;
    enum tp_status added =
        add_entry(scanner, path, opened, &status,
                  is_piece ? "found by a repair of the file system (lost clusters): not checked" : why, false, 0);
    if (added == TP_OK) {
        struct tp_scan_entry *entry = &scanner->scan->entries[scanner->scan->count - 1];
        entry->may_be_wav = why != NULL && way->skipped == NULL && strncmp(name, "._", 2) != 0;
        entry->is_lost_piece = is_piece && entry->bytes > 0;
    }
    return added;
}

static enum tp_status scan_names(struct scanner *scanner, DIR *folder, const char *path, const char *opened,
                                 const struct way *way)
{
    for (;;) {
        errno = 0;
        const struct dirent *found = readdir(folder);
        if (found == NULL) {
            if (errno == 0)
                return TP_OK;
            return add_entry(scanner, path, opened, NULL, "folder could be listed only in part", true, errno);
        }
        if (strcmp(found->d_name, ".") == 0 || strcmp(found->d_name, "..") == 0)
            continue;
        char *inner = *path == '\0' ? tp_strdup(found->d_name) : tp_path_join(path, found->d_name);
        char *inner_opened = tp_path_join(opened, found->d_name);
        enum tp_status status = inner != NULL && inner_opened != NULL
                                    ? scan_entry(scanner, found->d_name, inner, inner_opened, way)
                                    : out_of_memory(scanner->error);
        free(inner);
        free(inner_opened);
        if (status != TP_OK)
            return status;
    }
}

static enum tp_status scan_folder(struct scanner *scanner, const char *path, const char *opened, const struct way *way)
{
    DIR *folder = opendir(opened);
    if (folder == NULL) {
        if (*path == '\0')
            return tp_error_set(scanner->error, TP_ERR_OPEN, errno, "cannot list '%s': %s", opened, strerror(errno));
        return add_entry(scanner, path, opened, NULL, "folder cannot be listed", true, errno);
    }
    enum tp_status status = scan_names(scanner, folder, path, opened, way);
    closedir(folder);
    return status;
}

static enum tp_status scan_source(struct scanner *scanner)
{
    struct stat status;
    if (stat(scanner->root, &status) != 0)
        return tp_error_set(scanner->error, TP_ERR_OPEN, errno,
                            "cannot find '%s': %s; is the card mounted and the path right?", scanner->root,
                            strerror(errno));
    if (S_ISDIR(status.st_mode)) {
        struct way here = {.device = status.st_dev, .inode = status.st_ino};
        return scan_folder(scanner, "", scanner->root, &here);
    }
    if (!S_ISREG(status.st_mode))
        return tp_error_set(scanner->error, TP_ERR_OPEN, 0, "cannot check '%s': %s", scanner->root,
                            why_never_opened(status.st_mode));
    const char *slash = strrchr(scanner->root, '/');
    const char *name = slash != NULL ? slash + 1 : scanner->root;
    /* A file named by hand is checked whatever it is called. */
    return add_entry(scanner, name, scanner->root, &status, NULL, false, 0);
}

static int compare_entries(const void *a, const void *b)
{
    const struct tp_scan_entry *first = a;
    const struct tp_scan_entry *second = b;
    if (first->source != second->source)
        return first->source < second->source ? -1 : 1;
    return strcmp(first->path, second->path);
}

enum tp_status tp_scan_sources(const char *const *sources, size_t source_count, struct tp_scan *scan,
                               struct tp_error *error)
{
    *scan = (struct tp_scan){0};
    struct scanner scanner = {.scan = scan, .error = error};
    for (size_t i = 0; i < source_count; i++) {
        scanner.source = i;
        scanner.root = sources[i];
        enum tp_status status = scan_source(&scanner);
        if (status != TP_OK) {
            tp_scan_clear(scan);
            return status;
        }
    }
    if (scan->count > 0)
        qsort(scan->entries, scan->count, sizeof *scan->entries, compare_entries);
    return TP_OK;
}

void tp_scan_clear(struct tp_scan *scan)
{
    for (size_t i = 0; i < scan->count; i++) {
        free(scan->entries[i].path);
        free(scan->entries[i].opened);
    }
    free(scan->entries);
    *scan = (struct tp_scan){0};
}
