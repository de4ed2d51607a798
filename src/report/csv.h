/* SPDX-License-Identifier: MIT */
/*
 * CSV after RFC 4180: CRLF, a header row, the same number of fields in every row, UTF-8 without a byte order mark.
 *
 * Text from files can be read as a formula by a spreadsheet: a text cell whose first character that is not a space is
 * one of = + - @ TAB CR LF or a full-width form of the first four gets a leading apostrophe (OWASP, CSV injection).
 * Numbers stay bare. Control characters other than TAB, CR and LF are shown as their control pictures (U+2400 block).
 *
 * report.csv, one row a take; an empty cell is "not known" or "does not exist" (digital silence):
 *   source            where the take was found, as given
 *   scene, take       from the metadata, the log or the name
 *   id                unique name of the take in this report
 *   verdict           pass | listen | fail
 *   use_choice        main | safety | splice | none | single
 *   use_file          path relative to the source
 *   use_channel       1-based
 *   use_reason        one sentence
 *   start_timecode, timecode_rate, duration_s
 *   working_level_dbfs, true_peak_dbtp, sample_peak_dbfs, integrated_lufs, noise_floor_dbfs, clip_runs
 *                     of the channel to use, or of the main when there is no clean channel
 *   main_file, main_channel, safety_file, safety_channel, safety_offset_db, safety_lag_samples, safety_polarity
 *                     of the pair; empty for a channel alone
 *   damaged_spots, damaged_spots_covered   of the main, and how many of them the safety covers
 *   more_signals      the use of the further microphones of the take: "Lav: main, channel 3; …"; use_choice to
 *                     damaged_spots_covered are of the most important one: a pair before a channel alone, a microphone
 *                     before a mix
 *   circled           yes | no | no good
 *   findings          codes, worst first, separated by spaces
 *   files             paths, separated by " | "
 *   notes
 *   end_timecode
 *
 * findings.csv, one row a finding, those of the set as a whole last:
 *   source, take_id, scene, take, severity, code, title, file, channel, start_s, end_s, value, limit, unit, message,
 *   channel_name
 */
#ifndef TP_REPORT_CSV_H
#define TP_REPORT_CSV_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

/* A row being written. Start with {.out = file}. */
struct tp_csv {
    FILE *out;
    bool in_row;
    bool lost; /* a cell is not what it should be: memory was short */
};

void tp_csv_text(struct tp_csv *csv, const char *text);             /* guarded and quoted as needed */
void tp_csv_number(struct tp_csv *csv, double value, int decimals); /* NaN is an empty cell */
void tp_csv_count(struct tp_csv *csv, uint64_t count);
void tp_csv_signed(struct tp_csv *csv, int64_t value);
void tp_csv_empty(struct tp_csv *csv);
void tp_csv_end(struct tp_csv *csv);

#endif
