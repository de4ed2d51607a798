/* SPDX-License-Identifier: MIT */
#include "base/num.h"
#include "base/observe.h"
#include "base/text.h"
#include "measure/fault_parts.h"

#include <kiss_fftr.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* All common practice, no source; the values come from tests/measure/fault_tables.c. */
#define SPECTRA_MIN 5u      /* 3.4 s: a word or two may be as steady as hum */
#define LINE_DB 10.0        /* a line stands this far above the spectrum beside it */
#define SINGLE_LINE_DB 20.0 /* a line without company must stand higher */
#define OFF_HZ 0.5          /* mains wander by 0.2 Hz in 50; the estimate by a little */
#define OFF_SHARE 0.004
#define UNDER_WORKING_DB 50.0
#define LIMIT_DEFAULT_DBFS -65.0
#define LIMIT_LOW_DBFS -85.0
#define LIMIT_HIGH_DBFS -60.0
#define LOBE_BINS 2u /* a Hann window's line spreads over two bins either way */
#define BESIDE_NEAR 4u
#define BESIDE_FAR 8u

/* When the first spectrum is there to be made: short files have none. */
static bool prepare(struct tp_hum *hum)
{
    if (hum->plan != NULL)
        return true;
    hum->plan = kiss_fftr_alloc((int)TP_HUM_FFT, 0, NULL, NULL);
    hum->failed = hum->failed || hum->plan == NULL;
    for (size_t i = 0; i < TP_HUM_FFT; i++)
        hum->window[i] = (float)(0.5 - 0.5 * cos(2.0 * 3.14159265358979323846 * (double)i / TP_HUM_FFT));
    return hum->plan != NULL;
}

void tp_hum_clear(struct tp_hum *hum)
{
    if (hum->plan)
        kiss_fftr_free(hum->plan);
    free(hum->finds);
}

/* Power a bin, so that the bins of one sine's lobe add up to the square of its amplitude (Parseval; Hann: mean square
 * 3/8). */
static void add_spectrum(struct tp_hum *hum)
{
    float windowed[TP_HUM_FFT];
    kiss_fft_cpx bins[TP_HUM_FFT / 2 + 1];
    for (size_t i = 0; i < TP_HUM_FFT; i++)
        windowed[i] = hum->gathered[i] * hum->window[i];
    kiss_fftr(hum->plan, windowed, bins);
    const float scale = 32.0F / 3.0F / ((float)TP_HUM_FFT * (float)TP_HUM_FFT);
    for (size_t k = 0; k < TP_HUM_BINS; k++)
        hum->power[hum->spectra][k] = (bins[k].r * bins[k].r + bins[k].i * bins[k].i) * scale;
    hum->spectra++;
}

static int ascending(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static float quiet_eighth(float *values, size_t count)
{
    qsort(values, count, sizeof *values, ascending);
    return values[count / 8];
}

struct line {
    double power, beside, off_hz;
};

static float line_of(const float *power, size_t bin)
{
    float sum = 0.0F;
    for (size_t k = bin - LOBE_BINS; k <= bin + LOBE_BINS; k++)
        sum += power[k];
    return sum;
}

static float beside_of(const float *power, size_t bin)
{
    float sum = 0.0F;
    for (size_t d = BESIDE_NEAR; d <= BESIDE_FAR; d++)
        sum += power[bin - d] + power[bin + d];
    return sum * (2 * LOBE_BINS + 1) / (2 * (BESIDE_FAR - BESIDE_NEAR + 1));
}

/* The spectra of a chunk at one frequency, in their quiet eighth. */
static struct line measure_line(const struct tp_hum *hum, size_t bin, double frequency_hz, double bin_hz)
{
    float lines[TP_HUM_SPECTRA], besides[TP_HUM_SPECTRA], sorted[TP_HUM_SPECTRA];
    for (size_t s = 0; s < hum->spectra; s++) {
        lines[s] = line_of(hum->power[s], bin);
        besides[s] = beside_of(hum->power[s], bin);
    }
    memcpy(sorted, lines, sizeof sorted);
    struct line line = {0};
    line.power = (double)quiet_eighth(sorted, hum->spectra);
    double weight = 0.0, moment = 0.0;
    for (size_t s = 0; s < hum->spectra; s++) {
        double floor = (double)besides[s] / (2 * LOBE_BINS + 1);
        for (size_t k = bin - LOBE_BINS; (double)lines[s] <= line.power && k <= bin + LOBE_BINS; k++) {
            double over = fmax((double)hum->power[s][k] - floor, 0.0);
            weight += over;
            moment += over * (double)k;
        }
    }
    line.off_hz = weight > 0.0 ? moment / weight * bin_hz - frequency_hz : (double)INFINITY;
    line.beside = (double)quiet_eighth(besides, hum->spectra);
    return line;
}

static struct tp_hum_find measure_mains(const struct tp_hum *hum, const struct tp_low *low, unsigned mains_hz)
{
    struct tp_hum_find find = {.mains_hz = mains_hz, .prominence_db = -INFINITY};
    double bin_hz = low->rate_hz / TP_HUM_FFT, power = 0.0;
    for (unsigned h = 1; h <= TP_HUM_LINES; h++) {
        double frequency_hz = (double)mains_hz * h;
        size_t bin = (size_t)(frequency_hz / bin_hz + 0.5);
        if (frequency_hz > 0.42 * low->rate_hz || bin <= BESIDE_FAR || bin + BESIDE_FAR >= TP_HUM_BINS)
            break;
        struct line line = measure_line(hum, bin, frequency_hz, bin_hz);
        double over_db = 10.0 * log10((line.power + 1e-20) / (line.beside + 1e-20));
        if (over_db < LINE_DB || fabs(line.off_hz) > OFF_HZ + OFF_SHARE * frequency_hz)
            continue;
        find.lines |= 1u << (h - 1);
        find.prominence_db = fmax(find.prominence_db, over_db);
        power += (line.power - line.beside) / tp_low_power_gain(low, frequency_hz);
    }
    find.level_dbfs = power > 0.0 ? 10.0 * log10(power) : -INFINITY;
    return find;
}

static bool is_hum(const struct tp_hum_find *find)
{
    unsigned lines = find->lines, others = lines & (lines - 1);
    if ((lines & 7u) == 0 || find->level_dbfs < LIMIT_LOW_DBFS)
        return false;
    return others != 0 || ((lines & 3u) != 0 && find->prominence_db >= SINGLE_LINE_DB);
}

static void keep(struct tp_hum *hum, struct tp_hum_find find)
{
    struct tp_hum_find *last = hum->find_count > 0 ? &hum->finds[hum->find_count - 1] : NULL;
    if (last && last->mains_hz == find.mains_hz && last->end_frame == find.start_frame) {
        last->end_frame = find.end_frame;
        if (find.level_dbfs > last->level_dbfs) {
            last->level_dbfs = find.level_dbfs;
            last->prominence_db = find.prominence_db;
        }
        last->lines |= find.lines;
        return;
    }
    hum->total++;
    if (hum->find_count >= TP_OBSERVATIONS_PER_CODE || hum->failed)
        return;
    if (!tp_grow(&hum->finds, &hum->find_capacity, hum->find_count, sizeof *hum->finds)) {
        hum->failed = true;
        return;
    }
    hum->finds[hum->find_count++] = find;
}

static void judge_chunk(struct tp_hum *hum, const struct tp_low *low, uint64_t end_frame)
{
    if (hum->spectra >= SPECTRA_MIN) {
        struct tp_hum_find fifty = measure_mains(hum, low, 50), sixty = measure_mains(hum, low, 60);
        bool is_fifty = is_hum(&fifty), is_sixty = is_hum(&sixty);
        struct tp_hum_find *find = is_fifty && (!is_sixty || fifty.level_dbfs >= sixty.level_dbfs) ? &fifty : &sixty;
        find->start_frame = hum->start_frame;
        find->end_frame = end_frame;
        if (is_fifty || is_sixty)
            keep(hum, *find);
    }
    hum->spectra = 0;
    hum->start_frame = end_frame;
}

void tp_hum_block(struct tp_hum *hum, const struct tp_low *low, uint64_t end_frame)
{
    uint64_t per_sample = (uint64_t)TP_FAULT_CELL << low->stages;
    for (size_t i = 0; i < low->count;) {
        size_t room = TP_HUM_FFT - hum->gathered_count, take = low->count - i < room ? low->count - i : room;
        memcpy(hum->gathered + hum->gathered_count, low->samples + i, take * sizeof *hum->gathered);
        hum->gathered_count += take;
        i += take;
        if (hum->gathered_count < TP_HUM_FFT)
            return;
        hum->gathered_count = 0;
        uint64_t at = (low->made - low->count + i) * per_sample;
        if (at > end_frame) /* padding */
            return;
        if (!prepare(hum))
            return;
        add_spectrum(hum);
        if (hum->spectra == TP_HUM_SPECTRA)
            judge_chunk(hum, low, at);
    }
}

static double limit_dbfs(const struct tp_channel *levels)
{
    if (!tp_exists(levels->working_level_dbfs))
        return LIMIT_DEFAULT_DBFS;
    return fmin(fmax(levels->working_level_dbfs - UNDER_WORKING_DB, LIMIT_LOW_DBFS), LIMIT_HIGH_DBFS);
}

static void name_lines(const struct tp_hum_find *find, struct tp_text *text)
{
    for (unsigned h = 1; h <= TP_HUM_LINES; h++) {
        if (find->lines >> (h - 1) & 1u)
            tp_text_format(text, "%s%u", text->length > 0 ? ", " : "", h * find->mains_hz);
    }
}

static bool observe(const struct tp_fault_out *out, const struct tp_hum_find *find, double limit)
{
    struct tp_text lines = {0};
    name_lines(find, &lines);
    char *names = tp_text_take(&lines);
    char level[TP_NUMBER_SIZE], over[TP_NUMBER_SIZE], from[TP_NUMBER_SIZE], to[TP_NUMBER_SIZE];
    double start_s = tp_fault_seconds(out->signal, find->start_frame),
           end_s = tp_fault_seconds(out->signal, find->end_frame);
    bool kept =
        names &&
        tp_observe(out->observations, TP_CODE_HUM, out->channel, start_s, end_s, find->level_dbfs, limit,
                   "%u Hz mains hum at %s dBFS from %s to %s: lines at %s Hz, up to %s dB over the "
                   "sound beside them",
                   find->mains_hz, tp_number_text(level, find->level_dbfs, 1), tp_duration_text(from, start_s, 0),
                   tp_duration_text(to, end_s, 0), names, tp_number_text(over, find->prominence_db, 0));
    free(names);
    return kept;
}

bool tp_hum_finish(struct tp_hum *hum, const struct tp_low *low, const struct tp_fault_out *out)
{
    uint64_t per_sample = (uint64_t)TP_FAULT_CELL << low->stages;
    judge_chunk(hum, low, hum->start_frame + hum->spectra * per_sample * TP_HUM_FFT);
    double limit = limit_dbfs(out->levels);
    for (size_t i = 0; i < hum->find_count; i++) {
        if (hum->finds[i].level_dbfs >= limit && !observe(out, &hum->finds[i], limit))
            return false;
    }
    return !hum->failed;
}
