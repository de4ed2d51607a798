/* SPDX-License-Identifier: MIT */
#include "judge/channel_name.h"

#include "result.h"

#include <stdio.h>
#include <string.h>

#define SHOWN_BYTES 40

static int shown_bytes(const char *name)
{
    size_t length = strnlen(name, SHOWN_BYTES + 1);
    if (length > SHOWN_BYTES)
        for (length = SHOWN_BYTES; length > 0 && ((unsigned char)name[length] & 0xC0) == 0x80;)
            length--;
    return (int)length;
}

struct tp_channel_name tp_channel_name_of(const struct tp_report *report, const struct tp_take *take,
                                          struct tp_channel_ref ref)
{
    struct tp_channel_name named;
    const struct tp_file *file = &report->files[ref.file];
    const char *name = file->channels[ref.channel].name, *slash = strrchr(file->path, '/');
    const char *base = slash != NULL ? slash + 1 : file->path;
    bool many = tp_take_has_many_microphones(take), has_name = many && name != NULL && name[0] != '\0';
    bool many_files = many && take->file_count > take->part_count;
    snprintf(named.text, sizeof named.text, "channel %u%s%.*s%s%s%.*s%s", ref.channel + 1, has_name ? " '" : "",
             has_name ? shown_bytes(name) : 0, has_name ? name : "", has_name ? "'" : "", many_files ? " of '" : "",
             many_files ? shown_bytes(base) : 0, many_files ? base : "", many_files ? "'" : "");
    return named;
}

struct tp_channel_role tp_channel_role_of(const struct tp_report *report, const struct tp_take *take,
                                          struct tp_channel_ref ref, const char *role)
{
    struct tp_channel_role named;
    if (tp_take_has_many_microphones(take))
        snprintf(named.text, sizeof named.text, "%.20s (%s)", role, tp_channel_name_of(report, take, ref).text);
    else
        snprintf(named.text, sizeof named.text, "%.20s", role);
    return named;
}
