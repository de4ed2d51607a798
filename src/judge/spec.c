/* SPDX-License-Identifier: MIT */
#include "base/io.h"
#include "base/num.h"
#include "base/text.h"
#include "judge/spec_table.h"

#include <stdlib.h>
#include <string.h>

#define RATE_WORDS "any, 23.976, 24, 25, 29.97, 29.97df, 30, 48, 50, 59.94, 60, or a fraction such as 24000/1001"

/* X(section, key, type, minimum, maximum, values, comment); the minimum and maximum are literal numbers. */
#define RANGE(minimum, maximum) #minimum " to " #maximum
#define SPEC_ROWS(X)                                                                                                   \
    X(production, title, TEXT, 0, 0, "text", "Title of the production, for the head of the reports.")                  \
    X(production, recordist, TEXT, 0, 0, "text", "Who records the sound.")                                             \
    X(production, roll, TEXT, 0, 0, "text", "Name of this sound roll or card.")                                        \
    X(production, date, TEXT, 0, 0, "text", "Shooting day, written as the production writes it.")                      \
    X(production, scene, TEXT, 0, 0, "text", "Scene to show where neither the metadata nor the file name gives one.")  \
    X(format, sample_rate_hz, COUNT_OR_ANY, 8000, 768000, "any, or " RANGE(8000, 768000),                              \
      "Sample rate in Hz that every file must have.")                                                                  \
    X(format, bit_depth, COUNT_OR_ANY, 8, 64, "any, or " RANGE(8, 64),                                                 \
      "Bits of each sample that carry sound: 8 to 32 for PCM, 32 or 64 for float. Padding does not count.")            \
    X(format, encoding, ENCODING, 0, 0, "any, pcm or float", "Whole numbers (pcm) or floating point (float).")         \
    X(format, container, CONTAINER, 0, 0, "any, wav, rf64 or bw64",                                                    \
      "Member of the WAV family. With 'any', a recorder may change to RF64 above 4 GB.")                               \
    X(format, channel_count, COUNT_OR_ANY, 1, 256, "any, or " RANGE(1, 256), "Channels that every file must have.")    \
    X(format, require_bext, YES_NO, 0, 0, "yes or no",                                                                 \
      "Whether every file must carry a bext chunk, which holds its start time for syncing.")                           \
    X(format, require_ixml, YES_NO, 0, 0, "yes or no",                                                                 \
      "Whether every file must carry an iXML chunk, which holds scene, take and track names.")                         \
    X(format, timecode_rate, RATE, 0, 0, RATE_WORDS,                                                                   \
      "Frames per second of the timecode, also for showing times where a file names no rate (25 when 'any').")         \
    X(level, working_level_min_dbfs, NUMBER, -80, 0, RANGE(-80, 0),                                                    \
      "Lowest working level of dialogue on the main channel, in dBFS.")                                                \
    X(level, working_level_max_dbfs, NUMBER, -80, 0, RANGE(-80, 0),                                                    \
      "Highest working level of dialogue on the main channel, in dBFS.")                                               \
    X(level, true_peak_max_dbtp, NUMBER, -40, 6, RANGE(-40, 6), "Highest true peak of the channel to use, in dBTP.")   \
    X(level, noise_floor_max_dbfs, NUMBER, -140, 0, RANGE(-140, 0),                                                    \
      "Highest noise floor in the quiet stretches, in dBFS RMS where a full-scale sine reads 0.")                      \
    X(level, dc_offset_max, NUMBER, 0, 1, RANGE(0, 1), "Largest constant offset, as a part of full scale.")            \
    X(pair, pair, PAIR, 0, 0, "auto, required or off",                                                                 \
      "Main and safety pairs: found where the signal shows them (auto), demanded of every take (wild and quiet ones "  \
      "are only worth a listen), or not looked for.")                                                                  \
    X(pair, safety_below_min_db, NUMBER, 0, 60, RANGE(0, 60), "Least distance of the safety below the main, in dB.")   \
    X(pair, safety_below_max_db, NUMBER, 0, 60, RANGE(0, 60),                                                          \
      "Greatest distance of the safety below the main, in dB.")                                                        \
    X(pair, lag_max_samples, COUNT, 0, 48000, RANGE(0, 48000), "Largest delay between main and safety, in samples.")   \
    X(take, duration_min_s, NUMBER, 0, 86400, RANGE(0, 86400), "Shortest length of a take, in seconds.")               \
    X(take, low_cut, YES_NO, 0, 0, "yes or no",                                                                        \
      "Whether the production records with the low cut on; then rumble shows that it was not.")                        \
    X(names, pattern, PATTERN, 0, 0, "text with {scene} {take} {track} {date} {n}",                                    \
      "What file names look like without their extension, such as {scene}_T{take}; empty for any name.")

static const struct tp_spec_key keys[] = {
#define KEY_ROW(section, key, type, minimum, maximum, values, comment) {#section, #key, values, comment},
    SPEC_ROWS(KEY_ROW)
#undef KEY_ROW
        {NULL, NULL, NULL, NULL}};

static const struct tp_spec_row rows[] = {
#define VALUE_ROW(section, key, type, minimum, maximum, values, comment)                                               \
    {TP_SPEC_##type, offsetof(struct tp_spec, key), minimum, maximum},
    SPEC_ROWS(VALUE_ROW)
#undef VALUE_ROW
};

#define ROW_COUNT (sizeof rows / sizeof rows[0])

static const char *const encoding_words[] = {"any", "pcm", "float"};
static const char *const container_words[] = {"any", "wav", "rf64", "bw64"};
static const char *const pair_words[] = {"auto", "required", "off"};
#define WORD_COUNT(words) (sizeof(words) / sizeof(words)[0])

/* The first row of a value is the one printed. */
static const struct {
    const char *word;
    struct tp_timecode_rate rate;
} rate_words[] = {
    {"any", {0, 0, false}},           {"23.976", {24000, 1001, false}}, {"23.98", {24000, 1001, false}},
    {"24", {24, 1, false}},           {"25", {25, 1, false}},           {"29.97", {30000, 1001, false}},
    {"29.97df", {30000, 1001, true}}, {"30", {30, 1, false}},           {"47.952", {48000, 1001, false}},
    {"48", {48, 1, false}},           {"50", {50, 1, false}},           {"59.94", {60000, 1001, false}},
    {"59.94df", {60000, 1001, true}}, {"60", {60, 1, false}},
};

const struct tp_spec_key *tp_spec_keys(void)
{
    return keys;
}
const struct tp_spec_row *tp_spec_row(size_t index)
{
    return &rows[index];
}
size_t tp_spec_row_count(void)
{
    return ROW_COUNT;
}

static bool is_text(size_t index)
{
    return rows[index].type == TP_SPEC_TEXT || rows[index].type == TP_SPEC_PATTERN;
}
static void *member(struct tp_spec *spec, size_t index)
{
    return (char *)spec + rows[index].offset;
}
static const void *member_of(const struct tp_spec *spec, size_t index)
{
    return (const char *)spec + rows[index].offset;
}

/* Gives every text member of *spec its own copy of what `from` holds ("" when from is NULL). */
static enum tp_status own_texts(struct tp_spec *spec, const struct tp_spec *from, struct tp_error *error)
{
    for (size_t i = 0; i < ROW_COUNT; i++) {
        if (is_text(i))
            *(char **)member(spec, i) = NULL;
    }
    for (size_t i = 0; i < ROW_COUNT; i++) {
        if (!is_text(i))
            continue;
        char *const *text = from != NULL ? member_of(from, i) : NULL;
        char *copy = tp_strdup(text != NULL ? *text : "");
        if (copy == NULL) {
            tp_spec_clear(spec);
            return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the spec");
        }
        *(char **)member(spec, i) = copy;
    }
    return TP_OK;
}

enum tp_status tp_spec_init(struct tp_spec *spec, struct tp_error *error)
{
    /* Common practice for picture work, no source. */
    *spec = (struct tp_spec){
        .sample_rate_hz = 48000,
        .bit_depth = 24,
        .encoding = TP_ENCODING_PCM,
        .working_level_min_dbfs = -16,
        .working_level_max_dbfs = -12,
        .true_peak_max_dbtp = -1,
        .noise_floor_max_dbfs = -50,
        .dc_offset_max = 0.01,
        .pair = TP_PAIR_AUTO,
        .safety_below_min_db = 6,
        .safety_below_max_db = 20,
        .lag_max_samples = 1,
        .duration_min_s = 1,
        .is_default = true,
    };
    return own_texts(spec, NULL, error);
}

enum tp_status tp_spec_copy(struct tp_spec *to, const struct tp_spec *from, struct tp_error *error)
{
    *to = *from;
    return own_texts(to, from, error);
}

void tp_spec_clear(struct tp_spec *spec)
{
    if (spec == NULL)
        return;
    for (size_t i = 0; i < ROW_COUNT; i++) {
        if (is_text(i))
            free(*(char **)member(spec, i));
    }
    *spec = (struct tp_spec){0};
}

static enum tp_status wrong_value(size_t index, const char *text, struct tp_error *error)
{
    return tp_error_set(error, TP_ERR_SPEC, 0, "'%s' is no value for %s: it takes %s", text, keys[index].key,
                        keys[index].values);
}

static enum tp_status read_count(uint32_t *value, size_t index, const char *text, struct tp_error *error)
{
    uint64_t number;
    bool may_be_any = rows[index].type == TP_SPEC_COUNT_OR_ANY;
    if (may_be_any && (strcmp(text, "any") == 0 || strcmp(text, "0") == 0)) {
        *value = 0;
        return TP_OK;
    }
    if (!tp_u64_read(text, &number) || (double)number < rows[index].min || (double)number > rows[index].max)
        return wrong_value(index, text, error);
    *value = (uint32_t)number;
    return TP_OK;
}

static enum tp_status read_number(double *value, size_t index, const char *text, struct tp_error *error)
{
    double number;
    if (!tp_number_read(text, &number) || number < rows[index].min || number > rows[index].max)
        return wrong_value(index, text, error);
    *value = tp_number_round(number, TP_SPEC_DECIMALS);
    return TP_OK;
}

static enum tp_status read_yes_no(bool *value, size_t index, const char *text, struct tp_error *error)
{
    static const char *const yes[] = {"yes", "true", "on"};
    static const char *const no[] = {"no", "false", "off"};
    for (size_t i = 0; i < WORD_COUNT(yes); i++) {
        if (strcmp(text, yes[i]) == 0 || strcmp(text, no[i]) == 0) {
            *value = strcmp(text, yes[i]) == 0;
            return TP_OK;
        }
    }
    return wrong_value(index, text, error);
}

static bool find_word(const char *const *words, size_t count, const char *text, size_t *found)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(words[i], text) == 0) {
            *found = i;
            return true;
        }
    }
    return false;
}

static enum tp_status read_rate(struct tp_timecode_rate *rate, size_t index, const char *text, struct tp_error *error)
{
    for (size_t i = 0; i < WORD_COUNT(rate_words); i++) {
        if (strcmp(rate_words[i].word, text) == 0) {
            *rate = rate_words[i].rate;
            return TP_OK;
        }
    }
    uint64_t numerator, denominator;
    const char *slash = strchr(text, '/');
    char *above = slash != NULL ? tp_strndup(text, (size_t)(slash - text)) : NULL;
    bool good = above != NULL && tp_u64_read(above, &numerator) && tp_u64_read(slash + 1, &denominator) &&
                (denominator == 1 || denominator == 1001) && numerator >= denominator && numerator <= 120 * denominator;
    free(above);
    if (!good)
        return wrong_value(index, text, error);
    *rate = (struct tp_timecode_rate){(uint32_t)numerator, (uint32_t)denominator, false};
    return TP_OK;
}

static bool pattern_is_known(const char *text)
{
    static const char *const words[] = {"{scene}", "{take}", "{track}", "{date}", "{n}"};
    while ((text = strpbrk(text, "{}")) != NULL) {
        size_t length = 0;
        for (size_t i = 0; i < WORD_COUNT(words); i++) {
            if (strncmp(text, words[i], strlen(words[i])) == 0)
                length = strlen(words[i]);
        }
        if (length == 0)
            return false;
        text += length;
    }
    return true;
}

static enum tp_status read_text(char **value, size_t index, const char *text, struct tp_error *error)
{
    if (rows[index].type == TP_SPEC_PATTERN && !pattern_is_known(text))
        return wrong_value(index, text, error);
    char *copy = tp_utf8_from_any(text, strlen(text));
    if (copy == NULL)
        return tp_error_set(error, TP_ERR_MEMORY, 0, "not enough memory for the spec");
    free(*value);
    *value = copy;
    return TP_OK;
}

enum tp_status tp_spec_value_read(struct tp_spec *spec, size_t index, const char *text, struct tp_error *error)
{
    size_t word;
    void *value = member(spec, index);
    switch (rows[index].type) {
    case TP_SPEC_TEXT:
    case TP_SPEC_PATTERN: return read_text(value, index, text, error);
    case TP_SPEC_COUNT:
    case TP_SPEC_COUNT_OR_ANY: return read_count(value, index, text, error);
    case TP_SPEC_NUMBER: return read_number(value, index, text, error);
    case TP_SPEC_YES_NO: return read_yes_no(value, index, text, error);
    case TP_SPEC_RATE: return read_rate(value, index, text, error);
    case TP_SPEC_ENCODING:
        if (!find_word(encoding_words, WORD_COUNT(encoding_words), text, &word))
            return wrong_value(index, text, error);
        spec->encoding = (enum tp_encoding)word;
        return TP_OK;
    case TP_SPEC_CONTAINER:
        if (!find_word(container_words, WORD_COUNT(container_words), text, &word))
            return wrong_value(index, text, error);
        spec->container = (enum tp_container)word;
        return TP_OK;
    case TP_SPEC_PAIR:
        if (!find_word(pair_words, WORD_COUNT(pair_words), text, &word))
            return wrong_value(index, text, error);
        spec->pair = (enum tp_pair_policy)word;
        return TP_OK;
    }
    return wrong_value(index, text, error);
}

/* "-16", "0.01": no zeros at the end. */
static void number_text(struct tp_text *out, double value)
{
    char text[TP_NUMBER_SIZE];
    tp_number_text(text, value, TP_SPEC_DECIMALS);
    size_t length = strlen(text);
    while (length > 0 && text[length - 1] == '0')
        length--;
    if (length > 0 && text[length - 1] == '.')
        length--;
    tp_text_append(out, text, length);
}

static void rate_text(struct tp_text *out, const struct tp_timecode_rate *rate)
{
    for (size_t i = 0; i < WORD_COUNT(rate_words); i++) {
        const struct tp_timecode_rate *known = &rate_words[i].rate;
        if (known->numerator == rate->numerator && known->denominator == rate->denominator &&
            known->drop == rate->drop) {
            tp_text_add(out, rate_words[i].word);
            return;
        }
    }
    tp_text_format(out, "%u/%u", (unsigned)rate->numerator, (unsigned)rate->denominator);
}

/* Text as one line that an INI reader gives back: line breaks become spaces, and a ';' after a space, which would start
 * a comment, becomes a comma. What was read from an INI file holds neither. */
static void line_text(struct tp_text *out, const char *text)
{
    for (const char *at = text; *at != '\0'; at++) {
        bool blank_before = at == text || at[-1] == ' ' || at[-1] == '\t';
        char c = *at;
        if ((unsigned char)c < 0x20)
            c = ' ';
        else if (c == ';' && blank_before)
            c = ',';
        tp_text_append(out, &c, 1);
    }
}

char *tp_spec_value_text(const struct tp_spec *spec, size_t index)
{
    struct tp_text out = {0};
    const void *value = member_of(spec, index);
    uint32_t count;
    switch (rows[index].type) {
    case TP_SPEC_TEXT:
    case TP_SPEC_PATTERN: line_text(&out, *(char *const *)value); break;
    case TP_SPEC_COUNT:
    case TP_SPEC_COUNT_OR_ANY:
        count = *(const uint32_t *)value;
        if (count == 0 && rows[index].type == TP_SPEC_COUNT_OR_ANY)
            tp_text_add(&out, "any");
        else
            tp_text_format(&out, "%u", (unsigned)count);
        break;
    case TP_SPEC_NUMBER: number_text(&out, *(const double *)value); break;
    case TP_SPEC_YES_NO: tp_text_add(&out, *(const bool *)value ? "yes" : "no"); break;
    case TP_SPEC_ENCODING: tp_text_add(&out, encoding_words[spec->encoding]); break;
    case TP_SPEC_CONTAINER: tp_text_add(&out, container_words[spec->container]); break;
    case TP_SPEC_PAIR: tp_text_add(&out, pair_words[spec->pair]); break;
    case TP_SPEC_RATE: rate_text(&out, value); break;
    }
    return tp_text_take(&out);
}

enum tp_status tp_spec_print(const struct tp_spec *spec, FILE *out, struct tp_error *error)
{
    bool lost = false;
    const char *section = "";
    fputs("# The production's spec: every line may be left out or changed.\n", out);
    for (size_t i = 0; i < ROW_COUNT; i++) {
        if (strcmp(section, keys[i].section) != 0) {
            section = keys[i].section;
            fprintf(out, "\n[%s]\n", section);
        }
        char *value = tp_spec_value_text(spec, i);
        const char *text = value != NULL ? value : "";
        lost = lost || value == NULL;
        fprintf(out, "# %s\n# Values: %s.\n%s =%s%s\n", keys[i].comment, keys[i].values, keys[i].key,
                *text != '\0' ? " " : "", text);
        free(value);
    }
    return tp_written(out, lost, "the spec", error);
}
