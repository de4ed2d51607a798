/* SPDX-License-Identifier: MIT */
/*
 * Numbers: checked sizes, decibels, and text that does not depend on the locale.
 * Pure functions; any thread.
 */
#ifndef TP_BASE_NUM_H
#define TP_BASE_NUM_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Checked arithmetic on sizes that come from files: false (and *out untouched) on overflow. */
static inline bool tp_size_mul(size_t a, size_t b, size_t *out)
{
    if (b != 0 && a > SIZE_MAX / b)
        return false;
    *out = a * b;
    return true;
}
static inline bool tp_u64_add(uint64_t a, uint64_t b, uint64_t *out)
{
    if (a > UINT64_MAX - b)
        return false;
    *out = a + b;
    return true;
}

/* 20 log10(|lin|); NaN for 0 and for non-finite values: such a level does not exist. */
static inline double tp_db_from_lin(double lin)
{
    double magnitude = fabs(lin);
    return magnitude > 0.0 && isfinite(magnitude) ? 20.0 * log10(magnitude) : (double)NAN;
}
/* 10 log10(power); NaN for 0, negative and non-finite. */
static inline double tp_db_from_power(double power)
{
    return power > 0.0 && isfinite(power) ? 10.0 * log10(power) : (double)NAN;
}
static inline double tp_lin_from_db(double db)
{
    return pow(10.0, db / 20.0);
}
static inline double tp_power_from_db(double db)
{
    return pow(10.0, db / 10.0);
}

/* AES17: a full-scale sine reads 0 dBFS, so 10 log10(2) is added to plain RMS. */
#define TP_AES17_DB 3.0102999566398120

/* "-23.02": value rounded half away from zero to `decimals` (0…9), '.' in every locale, never "-0.0".
 * Not finite gives "" . `text` must hold TP_NUMBER_SIZE. Returns text. |value| must be below 1e15. */
#define TP_NUMBER_SIZE 48
char *tp_number_text(char text[TP_NUMBER_SIZE], double value, int decimals);
/* The same rounding as a number: what report.json carries. NaN stays NaN. */
double tp_number_round(double value, int decimals);

/* "1:02:03.5" / "0:12.3": hours only when there are any. NaN gives "". */
char *tp_duration_text(char text[TP_NUMBER_SIZE], double seconds, int decimals);

/* Reads a whole decimal number ("-16.5") independent of locale; false when anything is left over or it is not finite.
 */
bool tp_number_read(const char *text, double *out);
bool tp_u64_read(const char *text, uint64_t *out);

/* Little-endian fields. */
static inline uint16_t tp_le16(const uint8_t *b)
{
    return (uint16_t)(b[0] | b[1] << 8);
}
static inline uint32_t tp_le32(const uint8_t *b)
{
    return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}
static inline uint64_t tp_le64(const uint8_t *b)
{
    return (uint64_t)tp_le32(b) | (uint64_t)tp_le32(b + 4) << 32;
}
static inline void tp_put_le16(uint8_t *b, uint16_t v)
{
    b[0] = (uint8_t)v;
    b[1] = (uint8_t)(v >> 8);
}
static inline void tp_put_le32(uint8_t *b, uint32_t v)
{
    tp_put_le16(b, (uint16_t)v);
    tp_put_le16(b + 2, (uint16_t)(v >> 16));
}
static inline void tp_put_le64(uint8_t *b, uint64_t v)
{
    tp_put_le32(b, (uint32_t)v);
    tp_put_le32(b + 4, (uint32_t)(v >> 32));
}

/* A time of day or timecode, "10:20", "10:20:30", "10:20:30.5" or "10:20:30:12", in seconds without the fraction or the
 * frames; NaN when it is none: hours to 23, minutes and seconds to 59, frames of one or two digits. */
double tp_clock_read(const char *text);

#endif
