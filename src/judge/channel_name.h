/* SPDX-License-Identifier: MIT */
/*
 * How a finding's sentence names a channel. In a take of one microphone the role says all; where there are several, the
 * number, the track's name and, where channels lie in files of their own, the file stand beside it.
 */
#ifndef TP_JUDGE_CHANNEL_NAME_H
#define TP_JUDGE_CHANNEL_NAME_H

#include <takeproof/result.h>

/* "channel 4 'Boom Safety'"; a name over 40 bytes is cut, never inside of a character. */
struct tp_channel_name {
    char text[128];
};
/* "The safety"; of several microphones "The safety (channel 4 'Boom Safety')". */
struct tp_channel_role {
    char text[160];
};

struct tp_channel_name tp_channel_name_of(const struct tp_report *report, const struct tp_take *take,
                                          struct tp_channel_ref ref);
/* `role`: at most 20 bytes. */
struct tp_channel_role tp_channel_role_of(const struct tp_report *report, const struct tp_take *take,
                                          struct tp_channel_ref ref, const char *role);

#endif
