/* SPDX-License-Identifier: MIT */
/*
 * The words that all writers share: what the verdict means for the card, what a take is called, which channel to use,
 * when and how long. Plain text without escaping and without markup; each writer escapes for its own format.
 *
 * Every number goes through the rounding of report.json first (tp_words_level, tp_words_time), so that a report that
 * was read back from JSON is worded exactly like the one that was measured. Functions that take a struct tp_text append
 * to it.
 */
#ifndef TP_REPORT_WORDS_H
#define TP_REPORT_WORDS_H

#include "base/num.h"
#include "base/text.h"

#include <takeproof/result.h>

#define TP_LEVEL_DECIMALS 2
#define TP_TIME_DECIMALS 3
#define TP_DC_DECIMALS 6

static inline double tp_words_level(double level)
{
    return tp_number_round(level, TP_LEVEL_DECIMALS);
}
static inline double tp_words_time(double seconds)
{
    return tp_number_round(seconds, TP_TIME_DECIMALS);
}

/* A value or limit of a finding: decimals by its unit. NaN stays NaN. */
double tp_words_finding_value(const struct tp_finding *finding, double value);

/* How many a table shows of them: none of what is counted. */
int tp_words_unit_decimals(const char *unit);

/* May the card be wiped? One line, no full stop: "Do not wipe this card: 3 of 12 takes fail"; after an offload
 * "The card may be wiped: each of its 7 files has at least 2 verified copies", and then nothing of the takes; after a
 * comparison what it found; of files and merged reports, the takes. */
void tp_words_headline(const struct tp_report *report, struct tp_text *out);
/* Whether the headline is that of the takes: files named one by one, folders of nothing but salvaged and
 * spliced copies, and reports merged from several, say nothing of cards and copies. */
bool tp_words_takes_alone(const struct tp_report *report);
/* Whether every source is a file that was named by itself. */
bool tp_words_files_alone(const struct tp_report *report);
/* The part before the colon; of reports about cards. Static. */
const char *tp_words_order(const struct tp_report *report);
/* "Do not wipe this card before two copies are verified". Static. */
const char *tp_words_copies_first(const struct tp_report *report);
/* The worst of takes and set, as in the report, but for what a comparison found. */
enum tp_verdict tp_words_takes_verdict(const struct tp_report *report);
/* What is wrong with the takes; nothing when all is well: "3 of 12 takes fail". */
void tp_words_ground(const struct tp_report *report, struct tp_text *out);
/* The same as a sentence without a full stop: "3 of 12 takes fail", "Every take passes". */
void tp_words_takes(const struct tp_report *report, struct tp_text *out);
/* Why the card may be wiped, or not: "each of its 7 files has at least 2 verified copies". */
void tp_words_copies(const struct tp_handoff *handoff, struct tp_text *out);
/* Ends a sentence that has no end yet. */
void tp_words_stop(struct tp_text *out);
/* Where one line must do: the order, and after an offload what is wrong with the takes, so that a card that may be
 * wiped does not read as if all were well. */
void tp_words_title(const struct tp_report *report, struct tp_text *out);
/* What to do next: about the takes, about the copies, and both. May be "". */
const char *tp_words_takes_step(const struct tp_report *report);
const char *tp_words_copies_step(const struct tp_report *report);
void tp_words_next_step(const struct tp_report *report, struct tp_text *out);
/* FAIL: the card may not be wiped; PASS: it may, whatever caution stands beside. */
enum tp_verdict tp_words_handoff_verdict(const struct tp_handoff *handoff);
/* PASS: every file is proven there; else FAIL. */
enum tp_verdict tp_words_destination_verdict(const struct tp_handoff_destination *destination);
/* "7 of 7 files verified (5 copied, 2 there already), read back from the disk itself" */
void tp_words_destination(const struct tp_handoff *handoff, const struct tp_handoff_destination *destination,
                          struct tp_text *out);
/* "12 takes in 14 files, 1:02:03 of sound, 2.1 GB: 8 pass, 1 to listen to, 3 fail" */
void tp_words_totals(const struct tp_report *report, struct tp_text *out);

/* "12A take 3", or the id when scene and take are not known. */
void tp_words_take(const struct tp_take *take, struct tp_text *out);
/* What tells a take from others of the same scene and take, and of the same card where that is named: its first path,
 * or its id where that is the same too; NULL when there are no others. Of `report`. */
const char *tp_words_apart(const struct tp_report *report, const struct tp_take *take);
/* The source a take is from, by its last part where that tells it from the others, when the report is about several and
 * this one is no file; else NULL. */
const char *tp_words_card(const struct tp_report *report, const struct tp_take *take);
/* "12A take 3", "12A take 3 'B/12A-T03.wav'" when there is another 12A take 3, "12A take 3 on S01" when there are
 * several cards. */
void tp_words_take_apart(const struct tp_report *report, const struct tp_take *take, struct tp_text *out);
/* "main, channel 1"; "main, channel 1 of 'S01T01_1.wav'" when the take has several files;
 * "main, channel 1, with the safety, channel 2, over 2 spots"; "no clean channel". */
void tp_words_use(const struct tp_report *report, const struct tp_take *take, const struct tp_signal *signal,
                  struct tp_text *out);
/* How many signals from `index` on are one track in all parts of the take, to be used alike: their words are those of
 * the first with ", in all 3 parts" behind. 1 when this one stands alone. */
size_t tp_words_same_track(const struct tp_take *take, size_t index);
void tp_words_use_alike(const struct tp_report *report, const struct tp_take *take, size_t index, struct tp_text *out);
/* Of all signals of a take, named and joined with "; ". */
void tp_words_uses(const struct tp_report *report, const struct tp_take *take, struct tp_text *out);
/* "channel 2 'Boom'" */
void tp_words_channel(const struct tp_report *report, size_t file, uint32_t channel, struct tp_text *out);
/* "0:12.3", "0:12.3 to 0:14.0"; "from 0:12.3" for the first of several places that the sentence lists; nothing when the
 * finding has no place in time. */
void tp_words_place(const struct tp_finding *finding, struct tp_text *out);
/* The same behind the channel, where the sound of one channel of several is meant: "channel 2, 0:12.3 to 0:14.0"; in a
 * take of several microphones "channel 2 'Boom', …". Findings of pairs name their channels in their sentence. */
void tp_words_spot(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                   struct tp_text *out);
/* The same without that sentence: of a pair's finding the channel, too, in a take of several microphones. */
void tp_words_spot_alone(const struct tp_report *report, const struct tp_take *take, const struct tp_finding *finding,
                         struct tp_text *out);
/* "48,000 Hz, 24-bit PCM, 2 channels, WAV"; "not readable as WAV". */
void tp_words_format(const struct tp_file *file, struct tp_text *out);

/* "25", "29.97DF", "23.976"; "" for 0/0. The inverse reads what the first wrote, and "30000/1001". */
void tp_words_rate(struct tp_timecode_rate rate, struct tp_text *out);
bool tp_words_rate_read(const char *text, struct tp_timecode_rate *rate);

/* "1,234,567" */
void tp_words_count(uint64_t count, struct tp_text *out);
/* "3 takes", "1 take" */
void tp_words_plural(uint64_t count, const char *one, const char *many, struct tp_text *out);
/* "2.1 GB" in powers of 1000 */
void tp_words_bytes(uint64_t bytes, struct tp_text *out);

const char *tp_words_encoding(enum tp_encoding encoding);     /* "PCM" */
const char *tp_words_container(enum tp_container container);  /* "WAV" */
const char *tp_words_pair_policy(enum tp_pair_policy policy); /* "auto" */

/* The last part of a path. */
const char *tp_words_base_name(const char *path);
/* The file's path, or "" when there is none. */
const char *tp_words_path(const struct tp_report *report, size_t file);
/* Worst severity among the findings of a take; TP_NOTE when there are none. */
enum tp_severity tp_words_worst(const struct tp_take *take);

#endif
