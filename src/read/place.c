/* SPDX-License-Identifier: MIT */
#include "read/place.h"

#include "base/io.h"
#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#ifdef __linux__
#include <sys/statfs.h>
#include <sys/sysmacros.h>
#endif
#include <unistd.h>

/* Values: statfs(2) of the Linux man-pages, and linux/magic.h for exFAT. */
bool tp_is_card_file_system(uint64_t statfs_type)
{
    return statfs_type == 0x4D44 || statfs_type == 0x2011BAB0 || statfs_type == 0x15013346;
}

#ifdef __linux__
/* The kernel tells it of a whole disk; of a partition it is told one folder up. */
static bool is_removable(dev_t device)
{
    static const char *const places[] = {"/sys/dev/block/%u:%u/removable", "/sys/dev/block/%u:%u/../removable"};
    for (size_t i = 0; i < sizeof places / sizeof places[0]; i++) {
        char name[80];
        snprintf(name, sizeof name, places[i], major(device), minor(device));
        FILE *file = fopen(name, "re");
        if (file == NULL)
            continue;
        bool removable = getc(file) == '1';
        fclose(file);
        return removable;
    }
    return false;
}

static bool is_card_medium(const char *folder, dev_t device)
{
    struct statfs medium;
    return (statfs(folder, &medium) == 0 && tp_is_card_file_system((uint64_t)medium.f_type)) || is_removable(device);
}
#else
static bool is_card_medium(const char *folder, dev_t device)
{
    (void)folder;
    (void)device;
    return false;
}
#endif

/* The folder of a path; owned by the caller. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    if (slash == NULL)
        return tp_strdup(".");
    return tp_strndup(path, slash == path ? 1 : (size_t)(slash - path));
}

static bool is_on_one_card(const char *folder, const char *directory)
{
    const char *rest;
    char *target = tp_path_existing(directory, &rest);
    struct stat card, there, root;
    bool one = target != NULL && stat(folder, &card) == 0 && stat(target, &there) == 0 && stat("/", &root) == 0 &&
               card.st_dev == there.st_dev && card.st_dev != root.st_dev && is_card_medium(folder, card.st_dev);
    free(target);
    return one;
}

/* The folder just below the working folder that leads to the recording, when one does; owned by the caller. */
static char *way_from_here(const char *folder)
{
    char *here = realpath(".", NULL), *there = realpath(folder, NULL), *way = NULL;
    size_t length = here != NULL ? strlen(here) : 0;
    if (here != NULL && there != NULL && length > 1 && strncmp(there, here, length) == 0 && there[length] == '/') {
        size_t first = strcspn(there + length + 1, "/");
        way = tp_strndup(there, length + 1 + first);
    }
    free(here);
    free(there);
    return way;
}

/* The words of the refusal; NULL when there is none. */
static const char *objection(const char *folder, const char *directory)
{
    char *way = way_from_here(folder);
    enum tp_overlap below = tp_folders_overlap(directory, folder);
    const char *words = NULL;
    if (below == TP_OVERLAP_UNCLEAR)
        words = "is not there yet and its path goes back with '..': name it without";
    else if (below == TP_OVERLAP_INSIDE)
        words = "lies below the folder of the recording";
    else if (way != NULL && tp_folders_overlap(directory, way) == TP_OVERLAP_INSIDE)
        words = "lies in the folder that holds the recording";
    else if (is_on_one_card(folder, directory))
        words = "lies on the removable disk or card that holds the recording";
    free(way);
    return words;
}

static enum tp_status refuse(const char *directory, const char *words, struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_USAGE, 0,
                        "'%s' %s, and a card is never written to: choose a folder elsewhere, or say --not-on-card when "
                        "this is no card",
                        directory, words);
}

static enum tp_status check_folder_of_file(const char *folder, const char *directory, bool not_on_card,
                                           struct tp_error *error)
{
    if (tp_path_is_inside(directory, folder) && tp_path_is_inside(folder, directory))
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "'%s' is the folder of the recording itself, which is never written to; choose another",
                            directory);
    const char *words = not_on_card ? NULL : objection(folder, directory);
    return words == NULL ? TP_OK : refuse(directory, words, error);
}

static enum tp_status check_folder(const char *source, const char *directory, bool not_on_card, struct tp_error *error)
{
    switch (tp_folders_overlap(directory, source)) {
    case TP_OVERLAP_INSIDE:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "'%s' lies inside the source '%s', which is never written to; choose a folder elsewhere",
                            directory, source);
    case TP_OVERLAP_UNCLEAR:
        return tp_error_set(error, TP_ERR_USAGE, 0,
                            "'%s' is not there yet and its path goes back with '..': name it without", directory);
    case TP_OVERLAP_NONE:
    case TP_OVERLAP_AROUND: break;
    }
    return not_on_card || !is_on_one_card(source, directory)
               ? TP_OK
               : refuse(directory, "lies on the removable disk or card that holds the source", error);
}

static enum tp_status check_file(const char *path, const char *directory, bool not_on_card, struct tp_error *error)
{
    char *folder = folder_of(path), *real = realpath(path, NULL), *real_folder = real != NULL ? folder_of(real) : NULL;
    enum tp_status status = TP_OK;
    if (folder == NULL || (real != NULL && real_folder == NULL))
        status = tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory");
    if (status == TP_OK)
        status = check_folder_of_file(folder, directory, not_on_card, error);
    /* A link to a file is the file: its own folder counts too. */
    if (status == TP_OK && real_folder != NULL)
        status = check_folder_of_file(real_folder, directory, not_on_card, error);
    free(folder);
    free(real);
    free(real_folder);
    return status;
}

enum tp_status tp_place_check(const char *source, const char *directory, bool not_on_card, struct tp_error *error)
{
    struct stat found;
    if (stat(source, &found) != 0)
        return TP_OK;
    return S_ISDIR(found.st_mode) ? check_folder(source, directory, not_on_card, error)
                                  : check_file(source, directory, not_on_card, error);
}
