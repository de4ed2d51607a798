/* SPDX-License-Identifier: MIT */
#include "read/timecode.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

struct rate_row {
    struct tp_timecode_rate rate;
    const char *name;
};

static const struct rate_row rates[] = {
    {{24000, 1001, false}, "23.976"},  {{24, 1, false}, "24"},           {{25, 1, false}, "25"},
    {{30000, 1001, false}, "29.97ND"}, {{30000, 1001, true}, "29.97DF"}, {{30, 1, false}, "30"},
    {{48000, 1001, false}, "47.952"},  {{48, 1, false}, "48"},           {{50, 1, false}, "50"},
    {{60000, 1001, false}, "59.94ND"}, {{60000, 1001, true}, "59.94DF"}, {{60, 1, false}, "60"},
};
#define RATE_COUNT (sizeof rates / sizeof rates[0])

static const struct rate_row *find_rate(struct tp_timecode_rate rate)
{
    for (size_t i = 0; i < RATE_COUNT; i++)
        if (rates[i].rate.numerator == rate.numerator && rates[i].rate.denominator == rate.denominator &&
            rates[i].rate.drop == rate.drop)
            return &rates[i];
    return NULL;
}

bool tp_timecode_rate_is_known(struct tp_timecode_rate rate)
{
    return find_rate(rate) != NULL;
}

const char *tp_timecode_rate_name(struct tp_timecode_rate rate)
{
    const struct rate_row *row = find_rate(rate);
    return row != NULL ? row->name : "";
}

/* Digits with at most one point. False when there are none; stops at the first other character. */
static bool read_decimal(const char **at, double *value)
{
    double scale = 0.0;
    int digits = 0;
    *value = 0.0;
    for (; digits <= 12 && ((**at >= '0' && **at <= '9') || (**at == '.' && scale == 0.0)); (*at)++) {
        if (**at == '.') {
            scale = 1.0;
            continue;
        }
        *value = *value * 10.0 + (**at - '0');
        scale *= 10.0;
        digits++;
    }
    if (scale > 0.0)
        *value /= scale;
    return digits > 0;
}

static const char *skip_blank(const char *at)
{
    return at + strspn(at, " \t");
}

/* 1 drop, 0 non-drop, -1 not said, -2 something else. */
static int read_flag(const char *text)
{
    static const struct {
        const char *text;
        int drop;
    } flags[] = {{"", -1}, {"DF", 1}, {"D", 1}, {"ND", 0}, {"NDF", 0}, {"N", 0}};
    for (size_t i = 0; i < sizeof flags / sizeof flags[0]; i++)
        if (strcasecmp(text, flags[i].text) == 0)
            return flags[i].drop;
    return -2;
}

bool tp_timecode_rate_read(const char *text, const char *flag, struct tp_timecode_rate *rate)
{
    double frames;
    double seconds = 1.0;
    const char *at = skip_blank(text);
    if (!read_decimal(&at, &frames))
        return false;
    if (*at == '/') {
        at++;
        if (!read_decimal(&at, &seconds) || seconds <= 0.0)
            return false;
    }
    int inside = read_flag(skip_blank(at));
    int beside = flag != NULL ? read_flag(flag) : -1;
    if (inside == -2 || beside == -2 || (inside >= 0 && beside >= 0 && inside != beside))
        return false;
    bool drop = inside == 1 || beside == 1;
    /* Neighbouring rates lie 0.1 % apart; people and recorders write 23.98, 2997/100 and 30000/1001 for the same thing.
     */
    for (size_t i = 0; i < RATE_COUNT; i++) {
        double exact = (double)rates[i].rate.numerator / rates[i].rate.denominator;
        double off = frames / seconds / exact - 1.0;
        if (rates[i].rate.drop == drop && off < 2.5e-4 && off > -2.5e-4) {
            *rate = rates[i].rate;
            return true;
        }
    }
    return false;
}

/* Frames counted in a second's labels: 30 for 29.97. */
static uint64_t nominal(struct tp_timecode_rate rate)
{
    return (rate.numerator + rate.denominator / 2) / rate.denominator;
}

uint64_t tp_timecode_frame(uint64_t samples, uint32_t sample_rate_hz, struct tp_timecode_rate rate)
{
    uint64_t divisor = (uint64_t)sample_rate_hz * rate.denominator;
    if (divisor == 0)
        return 0;
    uint64_t whole = samples / divisor;
    uint64_t rest = samples % divisor; /* < 2^32 * 1001, so rest * numerator stays below 2^58 for every known rate */
    if (rate.numerator > 1000000 || rate.denominator > 1001 || whole > (UINT64_MAX >> 1) / (rate.numerator + 1))
        return UINT64_MAX;
    return whole * rate.numerator + rest * rate.numerator / divisor;
}

/* Labels that drop-frame leaves out of each minute but the tenth: 2 at 29.97, 4 at 59.94. */
static uint64_t dropped_per_minute(uint64_t per_second)
{
    return per_second / 15;
}

static uint64_t frames_per_day(struct tp_timecode_rate rate)
{
    uint64_t per_second = nominal(rate);
    uint64_t dropped = rate.drop ? dropped_per_minute(per_second) * (1440 - 144) : 0;
    return per_second * 86400 - dropped;
}

/* SMPTE ST 12-1 drop-frame: label number of a frame number within the day. */
static uint64_t label_from_frame(uint64_t frame, uint64_t per_second)
{
    uint64_t dropped = dropped_per_minute(per_second);
    uint64_t ten_minutes = 600 * per_second - 9 * dropped;
    uint64_t minute = 60 * per_second - dropped;
    uint64_t tens = frame / ten_minutes;
    uint64_t rest = frame % ten_minutes;
    return frame + 9 * dropped * tens + (rest >= dropped ? dropped * ((rest - dropped) / minute) : 0);
}

char *tp_timecode_text(char text[TP_TIMECODE_SIZE], uint64_t frame, struct tp_timecode_rate rate)
{
    text[0] = '\0';
    if (!tp_timecode_rate_is_known(rate))
        return text;
    uint64_t per_second = nominal(rate);
    uint64_t label = frame % frames_per_day(rate);
    if (rate.drop)
        label = label_from_frame(label, per_second);
    unsigned seconds = (unsigned)(label / per_second); /* below 86400 */
    snprintf(text, TP_TIMECODE_SIZE, "%02u:%02u:%02u%c%02u", seconds / 3600 % 24, seconds / 60 % 60, seconds % 60,
             rate.drop ? ';' : ':', (unsigned)(label % per_second) % 100);
    return text;
}

static bool two_digits(const char *at, uint64_t *value)
{
    if (at[0] < '0' || at[0] > '9' || at[1] < '0' || at[1] > '9')
        return false;
    *value = (uint64_t)(at[0] - '0') * 10 + (uint64_t)(at[1] - '0');
    return true;
}

bool tp_timecode_read(const char *text, struct tp_timecode_rate rate, uint64_t *frame)
{
    uint64_t hours, minutes, seconds, frames;
    if (!tp_timecode_rate_is_known(rate) || strlen(text) != 11)
        return false;
    bool separated = text[2] == ':' && text[5] == ':' && (text[8] == ':' || (rate.drop && text[8] == ';'));
    if (!separated || !two_digits(text, &hours) || !two_digits(text + 3, &minutes) || !two_digits(text + 6, &seconds) ||
        !two_digits(text + 9, &frames))
        return false;
    uint64_t per_second = nominal(rate);
    if (hours > 23 || minutes > 59 || seconds > 59 || frames >= per_second)
        return false;
    uint64_t number = (3600 * hours + 60 * minutes + seconds) * per_second + frames;
    if (rate.drop) {
        uint64_t dropped = dropped_per_minute(per_second);
        uint64_t minute = 60 * hours + minutes;
        if (seconds == 0 && frames < dropped && minute % 10 != 0)
            return false;
        number -= dropped * (minute - minute / 10);
    }
    *frame = number;
    return true;
}
