/* SPDX-License-Identifier: MIT */
#include "base/num.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const uint64_t powers_of_ten[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000, 1000000000};

char *tp_number_text(char text[TP_NUMBER_SIZE], double value, int decimals)
{
    text[0] = '\0';
    if (!isfinite(value) || fabs(value) >= 1e15 || decimals < 0 || decimals > 9)
        return text;
    uint64_t unit = powers_of_ten[decimals];
    double scaled = round(fabs(value) * (double)unit);
    if (scaled >= 18e18)
        return text;
    uint64_t digits = (uint64_t)scaled;
    const char *sign = value < 0.0 && digits != 0 ? "-" : "";
    if (decimals == 0)
        snprintf(text, TP_NUMBER_SIZE, "%s%" PRIu64, sign, digits);
    else
        snprintf(text, TP_NUMBER_SIZE, "%s%" PRIu64 ".%0*" PRIu64, sign, digits / unit, decimals, digits % unit);
    return text;
}

double tp_number_round(double value, int decimals)
{
    if (!isfinite(value))
        return (double)NAN;
    double unit = (double)powers_of_ten[decimals < 0 ? 0 : decimals > 9 ? 9 : decimals];
    double rounded = round(fabs(value) * unit) / unit;
    return value < 0.0 && rounded != 0.0 ? -rounded : rounded;
}

char *tp_duration_text(char text[TP_NUMBER_SIZE], double seconds, int decimals)
{
    text[0] = '\0';
    if (!isfinite(seconds) || seconds < 0.0 || seconds >= 1e12 || decimals < 0 || decimals > 6)
        return text;
    uint64_t unit = powers_of_ten[decimals];
    uint64_t ticks = (uint64_t)floor(seconds * (double)unit + 0.5);
    uint64_t whole = ticks / unit;
    char fraction[24] = "";
    if (decimals > 0)
        snprintf(fraction, sizeof fraction, ".%0*u", decimals, (unsigned)(ticks % unit));
    if (whole >= 3600)
        snprintf(text, TP_NUMBER_SIZE, "%" PRIu64 ":%02d:%02d%s", whole / 3600, (int)(whole / 60 % 60),
                 (int)(whole % 60), fraction);
    else
        snprintf(text, TP_NUMBER_SIZE, "%d:%02d%s", (int)(whole / 60), (int)(whole % 60), fraction);
    return text;
}

bool tp_number_read(const char *text, double *out)
{
    const char *at = text;
    bool negative = *at == '-';
    if (*at == '-' || *at == '+')
        at++;
    double value = 0.0;
    int digits = 0;
    for (; isdigit((unsigned char)*at); at++, digits++)
        value = value * 10.0 + (*at - '0');
    if (*at == '.') {
        double place = 1.0;
        double fraction = 0.0;
        for (at++; isdigit((unsigned char)*at); at++, digits++) {
            fraction = fraction * 10.0 + (*at - '0');
            place *= 10.0;
        }
        value += fraction / place;
    }
    if (digits == 0 || digits > 30 || *at != '\0' || !isfinite(value))
        return false;
    *out = negative ? -value : value;
    return true;
}

bool tp_u64_read(const char *text, uint64_t *out)
{
    uint64_t value = 0;
    if (*text == '\0')
        return false;
    for (const char *at = text; *at != '\0'; at++) {
        if (!isdigit((unsigned char)*at))
            return false;
        uint64_t digit = (uint64_t)(*at - '0');
        if (value > (UINT64_MAX - digit) / 10)
            return false;
        value = value * 10 + digit;
    }
    *out = value;
    return true;
}

/* One or two digits; NULL when there are none, or more. */
static const char *read_clock_part(const char *at, double *value)
{
    size_t digits = strspn(at, "0123456789");
    if (digits < 1 || digits > 2)
        return NULL;
    *value = digits == 2 ? (at[0] - '0') * 10 + (at[1] - '0') : at[0] - '0';
    return at + digits;
}

double tp_clock_read(const char *text)
{
    double parts[4] = {0.0};
    size_t count = 0;
    const char *at = text;
    while (count < 4 && (at = read_clock_part(at, &parts[count])) != NULL) {
        count++;
        if (*at != ':' && !(count == 3 && *at == ';'))
            break;
        at++;
    }
    if (at == NULL || count < 2)
        return (double)NAN;
    if (count == 3 && *at == '.')
        at += 1 + strspn(at + 1, "0123456789");
    bool fits = *at == '\0' && parts[0] < 24.0 && parts[1] < 60.0 && parts[2] < 60.0;
    return fits ? parts[0] * 3600.0 + parts[1] * 60.0 + parts[2] : (double)NAN;
}
