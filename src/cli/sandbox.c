/* SPDX-License-Identifier: MIT */
#include "cli/sandbox.h"

/* Coverage is written beside the objects when the program ends. */
#if defined(__linux__) && __has_include(<linux/landlock.h>) && !defined(TP_NO_SANDBOX)

#include <fcntl.h>
#include <linux/landlock.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* Of later kernels than the headers may be: values from the kernel's own header, include/uapi/linux/landlock.h. */
#define RIGHT_REFER (UINT64_C(1) << 13)    /* version 2 */
#define RIGHT_TRUNCATE (UINT64_C(1) << 14) /* version 3 */
#define RIGHT_BIND_TCP (UINT64_C(1) << 0)  /* version 4 */
#define RIGHT_CONNECT_TCP (UINT64_C(1) << 1)

struct ruleset {
    uint64_t files, net;
};

static const uint64_t writing = LANDLOCK_ACCESS_FS_WRITE_FILE | LANDLOCK_ACCESS_FS_REMOVE_DIR |
                                LANDLOCK_ACCESS_FS_REMOVE_FILE | LANDLOCK_ACCESS_FS_MAKE_CHAR |
                                LANDLOCK_ACCESS_FS_MAKE_DIR | LANDLOCK_ACCESS_FS_MAKE_REG |
                                LANDLOCK_ACCESS_FS_MAKE_SOCK | LANDLOCK_ACCESS_FS_MAKE_FIFO |
                                LANDLOCK_ACCESS_FS_MAKE_BLOCK | LANDLOCK_ACCESS_FS_MAKE_SYM;

/* The folder, or the nearest one above it that is there; -1 when there is none. */
static int open_folder(const char *folder)
{
    char *path = strdup(folder);
    int fd = -1;
    for (char *end = path; path != NULL && fd < 0 && end != NULL;) {
        fd = open(*path != '\0' ? path : "/", O_PATH | O_CLOEXEC | O_DIRECTORY);
        end = strrchr(path, '/');
        if (end != NULL)
            *end = '\0';
    }
    free(path);
    return fd >= 0 || *folder == '/' ? fd : open(".", O_PATH | O_CLOEXEC | O_DIRECTORY);
}

static void allow(int rules, const char *folder, uint64_t rights)
{
    int fd = open_folder(folder);
    struct landlock_path_beneath_attr beneath = {.allowed_access = rights, .parent_fd = fd};
    if (fd < 0)
        return;
    (void)syscall(SYS_landlock_add_rule, rules, LANDLOCK_RULE_PATH_BENEATH, &beneath, 0);
    close(fd);
}

void tp_cli_write_only_below(const char *const *folders, size_t count)
{
    long version = syscall(SYS_landlock_create_ruleset, NULL, 0, LANDLOCK_CREATE_RULESET_VERSION);
    if (version < 1)
        return;
    uint64_t rights = writing | (version >= 2 ? RIGHT_REFER : 0) | (version >= 3 ? RIGHT_TRUNCATE : 0);
    struct ruleset held = {.files = rights | LANDLOCK_ACCESS_FS_EXECUTE, .net = RIGHT_BIND_TCP | RIGHT_CONNECT_TCP};
    int rules = (int)syscall(SYS_landlock_create_ruleset, &held, version >= 4 ? sizeof held : sizeof held.files, 0);
    if (rules < 0)
        return;
    for (size_t i = 0; i < count; i++)
        if (folders[i] != NULL)
            allow(rules, folders[i], rights);
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0)
        (void)syscall(SYS_landlock_restrict_self, rules, 0);
    close(rules);
}

#else

void tp_cli_write_only_below(const char *const *folders, size_t count)
{
    (void)folders;
    (void)count;
}

#endif
