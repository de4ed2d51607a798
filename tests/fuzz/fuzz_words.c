/* SPDX-License-Identifier: MIT */
/* Short texts from files: a rate and a label of timecode, and a file name with its pattern. The input is four lines:
 * rate, label, pattern, name. */
#include "harness.h"

#include "read/timecode.h"
#include "take/names.h"

#include <string.h>

#define LINE_BYTES 300

static void split(const uint8_t *data, size_t size, char lines[4][LINE_BYTES])
{
    size_t line = 0, at = 0;
    for (size_t i = 0; i < size && line < 4; i++) {
        if (data[i] == '\n') {
            line++;
            at = 0;
        } else if (at < LINE_BYTES - 1) {
            lines[line][at++] = (char)data[i];
        }
    }
}

/* A label that is read prints as itself but for the sign before the frames, and a name that is printed reads back. */
static void timecode(const char *rate_text, const char *label)
{
    struct tp_timecode_rate rate, again;
    uint64_t frame, frame_again;
    char text[TP_TIMECODE_SIZE];
    if (!tp_timecode_rate_read(rate_text, NULL, &rate))
        return;
    FUZZ_MUST(tp_timecode_rate_is_known(rate));
    FUZZ_MUST(tp_timecode_rate_read(tp_timecode_rate_name(rate), NULL, &again));
    FUZZ_MUST(memcmp(&rate, &again, sizeof rate) == 0);
    if (!tp_timecode_read(label, rate, &frame))
        return;
    FUZZ_MUST(tp_timecode_read(tp_timecode_text(text, frame, rate), rate, &frame_again));
    FUZZ_MUST(frame_again == frame);
}

static void must_be_part(const char *part)
{
    FUZZ_MUST(memchr(part, '\0', TP_NAME_PART) != NULL);
}

static void file_name(const char *pattern, const char *name)
{
    struct tp_name_fields fields;
    bool follows = tp_name_read(pattern, name, &fields);
    FUZZ_MUST(follows || pattern[0] != '\0' || strlen(name) > 255);
    must_be_part(fields.scene);
    must_be_part(fields.take);
    must_be_part(fields.track);
    must_be_part(fields.date);
    if (fields.has_number)
        FUZZ_MUST(fields.number_digits > 0 && fields.number_at + fields.number_digits <= strlen(name));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char lines[4][LINE_BYTES] = {{0}};
    split(data, size, lines);
    timecode(lines[0], lines[1]);
    file_name(lines[2], lines[3]);
    return 0;
}
