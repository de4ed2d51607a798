/* SPDX-License-Identifier: MIT */
#include "read/sndfile_open.h"

#include "base/io.h"

#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <unistd.h>

/* Guards libsndfile's globals, not ours. */
static pthread_mutex_t opening = PTHREAD_MUTEX_INITIALIZER;

SNDFILE *tp_sndfile_open_virtual(SF_VIRTUAL_IO *io, int mode, SF_INFO *info, void *user)
{
    pthread_mutex_lock(&opening);
    SNDFILE *file = sf_open_virtual(io, mode, info, user);
    pthread_mutex_unlock(&opening);
    return file;
}

enum tp_status tp_sndfile_look(const char *path, SF_INFO *info, char why[TP_SNDFILE_WHY_BYTES], struct tp_error *error)
{
    int fd;
    uint64_t bytes;
    int64_t modified_s;
    enum tp_status status = tp_file_open(path, &fd, &bytes, &modified_s, error);
    if (status != TP_OK)
        return status;
    *info = (SF_INFO){0};
    why[0] = '\0';
    pthread_mutex_lock(&opening);
    SNDFILE *file = sf_open_fd(fd, SFM_READ, info, SF_FALSE);
    if (file == NULL)
        snprintf(why, TP_SNDFILE_WHY_BYTES, "%s", sf_strerror(NULL));
    pthread_mutex_unlock(&opening);
    if (file == NULL)
        *info = (SF_INFO){0};
    else
        sf_close(file);
    close(fd);
    return TP_OK;
}
