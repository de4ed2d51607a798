/* SPDX-License-Identifier: MIT */
/* The words of every finding. Craft advice is our own wording of common practice; each method names its source. */
#include <string.h>
#include <takeproof/findings.h>

#define NAME(suffix, text) static const char name_##suffix[] = text;
TP_FINDING_CODES(NAME)
#undef NAME

/* code and name, family, severity, unit, title, meaning, method, on set, in post */
#define ROW(suffix, ...) [TP_CODE_##suffix] = {TP_CODE_##suffix, name_##suffix, __VA_ARGS__}

static const struct tp_finding_info infos[TP_CODE_COUNT] = {
    /* spec */
    ROW(WRONG_SAMPLE_RATE, TP_FAMILY_SPEC, TP_FAIL, "Hz", "Sample rate is not the agreed one",
        "The file was recorded at another number of samples a second than the production agreed. Played at the agreed "
        "rate it would change pitch and drift away from the picture.",
        "The rate in the file's fmt chunk is compared with sample_rate_hz of the spec. 48,000 Hz is common practice "
        "for picture work, no source. Without a spec, a whole multiple of it that most recordings of a card share is "
        "told once for the card; then only the odd ones are findings.",
        "Set the recorder's rate before the next take and make a short test recording. Tell the editor which takes "
        "differ.",
        "Convert the rate with a good resampler and keep the original. Check sync at both ends of the longest take."),
    ROW(WRONG_BIT_DEPTH, TP_FAMILY_SPEC, TP_FAIL, "bits", "Bit depth is not the agreed one",
        "Each sample is stored with another number of bits than agreed. Fewer bits mean a higher noise floor when a "
        "quiet take is raised later.",
        "The valid bits that the header declares are compared with bit_depth of the spec. 24 bits is common practice "
        "for picture work, no source. Without a spec, more bits that most recordings of a card share are told once for "
        "the card; then only the odd ones are findings.",
        "Set the recorder to the agreed depth before the next take.",
        "The sound can be used as it is; more bits cannot be added afterwards. Listen for noise where quiet takes are "
        "raised."),
    ROW(WRONG_ENCODING, TP_FAMILY_SPEC, TP_FAIL, "", "Sample format is not the agreed one",
        "The samples are floating point where whole numbers (PCM) were agreed, the other way round, or compressed with "
        "a codec that is neither.",
        "The format tag of the fmt chunk is compared with encoding of the spec. Only PCM and IEEE float are decoded; "
        "any other encoding is reported here and cannot be measured. Without a spec, float that most recordings of a "
        "card share is told once for the card; then only the odd ones are findings.",
        "Choose the agreed format in the recorder's menu. For a compressed recording do it at once: it has lost detail "
        "for good.",
        "Float and PCM convert into each other: bring float down below full scale before it becomes PCM."),
    ROW(WRONG_CONTAINER, TP_FAMILY_SPEC, TP_FAIL, "", "File type is not the agreed one",
        "The file is another member of the WAV family (WAV, RF64, BW64) than agreed. Some programs of the chain may "
        "not open it.",
        "The first four bytes are compared with container of the spec. RF64: EBU Tech 3306. BW64: ITU-R BS.2088.",
        "Ask the editor whether the type can be opened. Recorders change to RF64 above 4 GB: shorter takes or fewer "
        "tracks keep a plain WAV.",
        "The sound itself is the same in all three: copy it into the agreed type without touching a sample."),
    ROW(WRONG_CHANNEL_COUNT, TP_FAMILY_SPEC, TP_FAIL, "channels", "Number of channels is not the agreed one",
        "The file has more or fewer channels than agreed: a track was armed or disarmed by mistake, or another track "
        "layout was chosen.",
        "The channel count of the fmt chunk is compared with channel_count of the spec.",
        "Look at which tracks are armed. If a microphone was not recorded, say so now: the take may have to be "
        "repeated.",
        "Take the tracks by name from the report; a track that was not armed cannot be brought back."),
    ROW(MISSING_BEXT, TP_FAMILY_SPEC, TP_FAIL, "", "No broadcast extension chunk",
        "The file carries no bext chunk, so it does not say when it began. It cannot be synced by timecode.",
        "Reported when require_bext is set and the chunk walk finds no bext chunk of at least 602 bytes. Source: EBU "
        "Tech 3285.",
        "Switch the recorder to broadcast WAV. Until then make sure that every take has a clear slate.",
        "Sync by slate or by matching the waveform with the camera's sound."),
    ROW(MISSING_IXML, TP_FAMILY_SPEC, TP_FAIL, "", "No iXML chunk",
        "The file carries no iXML chunk, so scene, take, track names and notes are not inside it.",
        "Reported when require_ixml is set and the chunk walk finds no iXML chunk. Source: iXML specification (open).",
        "Switch metadata on in the recorder. Keep written notes for the takes already made.",
        "Take scene, take and track names from the notes or the file names."),
    ROW(WRONG_TIMECODE_RATE, TP_FAMILY_SPEC, TP_FAIL, "frames/s", "Timecode rate is not the agreed one",
        "The recorder counted timecode at another frame rate than agreed. Times shown by the recorder and the camera "
        "then move apart.",
        "The rate and drop-frame flag in the iXML chunk are compared with timecode_rate of the spec. Where no rate was "
        "agreed, the files are compared with each other, and the odd ones are worth a listen. A file without a rate is "
        "not judged. Counting: SMPTE ST 12-1.",
        "Set recorder and cameras to the same rate, then jam them together again.",
        "The start is stored as a number of samples since midnight and stays right: let the editing program compute "
        "the timecode at the picture's rate."),
    ROW(NAME_OFF_PATTERN, TP_FAMILY_SPEC, TP_FAIL, "", "File name does not follow the pattern",
        "The name is not built as the production agreed, so sorting and matching by name may go wrong.",
        "The name without its extension is compared with pattern of the spec; each {word} stands for one part of the "
        "name. Parts of one recording may carry their number behind the name, such as _0001. A file that begins like a "
        "WAV file and is not called like one is no take and was not checked: that is worth a listen.",
        "Put the recorder's scene and take fields right for the next takes. Do not rename files on the card.",
        "Rename copies, never the originals, and keep a list of old and new names."),
    ROW(TOO_SHORT, TP_FAMILY_SPEC, TP_LISTEN, "s", "Very short take",
        "The take is shorter than the spec allows: a false start, a button pressed by mistake, or a recording that "
        "broke off.",
        "The length of the sound that is really there is compared with duration_min_s of the spec. 1 s is common "
        "practice, no source.",
        "Listen to it. If it should have been a real take, look at the card and the power before going on.",
        "Leave it out once someone has heard it."),
    ROW(PADDED_BITS, TP_FAMILY_SPEC, TP_FAIL, "bits", "Fewer bits of sound than the file claims",
        "The lowest bits of every sample are zero: the sound has fewer bits than the header says, such as 16 bits in a "
        "24-bit file. Somewhere before the file the signal passed through a shorter format.",
        "All samples of the file are joined with OR; the zero bits that remain at the low end were never used. Digital "
        "silence tells nothing and is not judged. Follows from the definition of PCM.",
        "Look for a digital input, a wireless receiver or a recorder menu that works at 16 bits.",
        "The sound can be used; its noise floor is that of the shorter format."),

    /* container */
    ROW(EMPTY_FILE, TP_FAMILY_CONTAINER, TP_FAIL, "", "Empty file",
        "The file has a name but not one byte. The recorder made the entry and never wrote to it, or the copy went "
        "wrong.",
        "The size that the file system gives is 0.",
        "Do not format the card. Look at the card on the recorder itself: the take may be there under another name.",
        "Ask for the card or the first copy. There is nothing in this file to repair."),
    ROW(HEADER_ONLY, TP_FAMILY_CONTAINER, TP_FAIL, "", "Header without sound",
        "The file has a WAV header but holds no sound behind it.",
        "The chunk walk finds a fmt chunk but not one whole frame of sound, neither inside the data chunk nor behind a "
        "data chunk of size 0. Source: RIFF (1991) and EBU Tech 3306.",
        "If a take was meant, record it again. Do not format the card: it may still hold the sound outside this file.",
        "Ask for the card or the first copy; a data-recovery service may find sound that belongs to no file."),
    ROW(NOT_WAV, TP_FAMILY_CONTAINER, TP_FAIL, "", "Not a WAV file inside",
        "The name ends like a WAV file but the contents do not begin like one: another format under a wrong name, or a "
        "damaged beginning.",
        "The first twelve bytes must be RIFF, RF64 or BW64 with the form type WAVE.",
        "Record the take again if you can. Check the card: damaged beginnings often come in groups.",
        "Find out the real format from its first bytes. If the beginning was overwritten, the sound behind it can be "
        "salvaged when its format is known."),
    ROW(UNREADABLE, TP_FAMILY_CONTAINER, TP_FAIL, "bytes", "Cannot be read to its end",
        "The system gave an error while the file or folder was opened or read. What could not be read is not checked.",
        "The error of the operating system is passed on, with the byte where reading stopped.",
        "Stop using the card. Try another reader and another cable, then copy what can be read.",
        "Work from another copy. From a failing card, image the whole card first and work on the image."),
    ROW(UNFINISHED_HEADER, TP_FAMILY_CONTAINER, TP_FAIL, "bytes", "Recording was interrupted: header never finished",
        "The sizes in the header were never filled in, as happens when power or card is lost while recording. The "
        "sound is there, but many programs show the file as empty.",
        "The data size is 0, a placeholder or stale while sound follows to the end of the file. Where that end is "
        "random "
        "bytes, what the card held before, it is said. Interrupted recordings have no standard; common practice, no "
        "source.",
        "Note the take. Check battery and card seat. Do not record on until you know why it stopped.",
        "Make a playable copy with takeproof salvage; the original stays as it is."),
    ROW(TRUNCATED, TP_FAMILY_CONTAINER, TP_FAIL, "bytes", "File ends before its sound does",
        "The header promises more sound than the file holds, or the last stretch was reserved on the card and never "
        "written. The end of the take is missing here, or the copy was cut off.",
        "The declared size of the data chunk is compared with the bytes that are there; a last part of a frame is "
        "named too. Zeros to the end that begin at a block of the card (4,096 bytes) count as never written. Source: "
        "RIFF (1991), EBU Tech 3306; for the zeros common practice, no source.",
        "Compare with the card. If the card's file is short as well, repeat the take.",
        "Copy it again from the card. What is there can be played after takeproof salvage."),
    ROW(SIZE_MISMATCH, TP_FAMILY_CONTAINER, TP_LISTEN, "bytes", "Sizes inside the file disagree",
        "A size in the header does not fit the chunks or the file. The sound was found all the same, but other "
        "programs may read too little or too much.",
        "The chunk walk compares the outer size, the chunk sizes, the block size and the real length of the file, and "
        "trusts none of them. Source: RIFF (1991), EBU Tech 3306, ITU-R BS.2088.",
        "Play the end of the file on the recorder. If it is whole, note it and go on.",
        "Listen to the end. Where a program refuses the file, use a copy made with takeproof salvage."),
    ROW(TRAILING_BYTES, TP_FAMILY_CONTAINER, TP_NOTE, "bytes", "Bytes behind the end",
        "More bytes follow after the end that the header declares. Recorders that reserve space leave such a rest; it "
        "is seldom sound.",
        "The file is longer than its outer size says, and what follows does not read as a chunk. Source: RIFF (1991).",
        "Nothing to do.", "Nothing to do, unless the end of the take is missing: then look there."),
    ROW(METADATA_CONFLICT, TP_FAMILY_CONTAINER, TP_LISTEN, "", "Metadata disagrees",
        "Two places in the file say different things about the same fact, such as start time, rate, bits or track "
        "count, or a metadata chunk is damaged.",
        "Fields of bext (EBU Tech 3285) and iXML (open specification) are compared with each other and with the fmt "
        "chunk. The fmt chunk is believed for the format. That a file was renamed after it was recorded is a note.",
        "Check the recorder's clock and settings at the next pause.",
        "Confirm sync by the slate before trusting the time of this file."),

    /* level */
    ROW(CLIPPED, TP_FAMILY_LEVEL, TP_FAIL, "samples", "Overload: samples at full scale",
        "The signal was larger than the format can store, so its peaks were cut off. It is heard as a crackle or a "
        "hard edge on loud words.",
        "Three or more samples in a row at the format's full scale (for float: at or beyond 1.0) are one run; the "
        "value is the longest. In sound of fewer bits than the file has, full scale is that of the bits in use. Short "
        "and rare runs on a channel without a safety are worth a listen; more of them fail. Float can hold more than "
        "full scale: runs there that go beyond it without a flat top are whole, no damage, and only worth a listen. "
        "Common practice, no source.",
        "Turn the gain down, or move the microphone, and repeat the take if there is no clean safety.",
        "Use the safety over the places named. Without one, a repair tool can only guess the missing peaks. Where the "
        "finding says that float kept the peaks whole, nothing is missing: lower the recording before PCM is made of "
        "it."),
    ROW(FLAT_TOPPED, TP_FAMILY_LEVEL, TP_LISTEN, "dBFS", "Flat tops below full scale",
        "Peaks are cut off at a level below full scale: something before the recorder's converter was overloaded, such "
        "as the microphone, a transmitter or a preamp. Lower gain at the recorder does not cure it.",
        "Peaks that stay level for 0.1 ms or longer, again and again at one height (within 0.35 %) below full scale, "
        "while nothing goes far beyond it and their shoulders are steep. Rounded crests, steady tones and a limiter "
        "that rides the gain do not count; a ceiling that a low cut has tilted is missed. Common practice, no source.",
        "Find the stage that overloads: transmitter gain, a pad at the microphone, the distance. Listen on headphones "
        "at a moderate level while someone speaks loudly.",
        "Listen at the named places. The safety of the same microphone usually carries the same damage."),
    ROW(TRUE_PEAK_OVER, TP_FAMILY_LEVEL, TP_LISTEN, "dBTP", "True peak above the limit",
        "Between the samples the waveform rises higher than the spec allows. The samples may be clean, but a converter "
        "or an encoder can overload later.",
        "The waveform is computed between the samples by over-sampling four times (twice from 192 kHz on), with the "
        "peak between three points found by a parabola. Source: ITU-R BS.1770 Annex 2, with a longer filter than its "
        "table; the limit is true_peak_max_dbtp of the spec.",
        "Leave a little more headroom for the next take.",
        "Lower the take by the excess before anything else is done."),
    ROW(LEVEL_LOW, TP_FAMILY_LEVEL, TP_LISTEN, "dBFS", "Dialogue recorded low",
        "The working level of the speech lies below the window of the spec. The sound is not damaged, but noise comes "
        "up with it when it is raised.",
        "The working level is the median reading, while somebody speaks, of a peak meter that rises at once and falls "
        "by 20 dB in 1.7 s. It is compared with working_level_min_dbfs of the spec. Less than 0.3 s of speech is not "
        "judged. The meter and the window are common practice, no source.",
        "Bring the microphone nearer first, then raise the gain, keeping room for the loudest line.",
        "Raise the level and listen for noise in the pauses."),
    ROW(LEVEL_HIGH, TP_FAMILY_LEVEL, TP_LISTEN, "dBFS", "Dialogue recorded high",
        "The working level of the speech lies above the window of the spec, so little room is left for a raised voice.",
        "The working level is the median reading, while somebody speaks, of a peak meter that rises at once and falls "
        "by 20 dB in 1.7 s. It is compared with working_level_max_dbfs of the spec. Less than 0.3 s of speech is not "
        "judged. The meter and the window are common practice, no source.",
        "Lower the gain by the difference before the next take.",
        "Nothing is lost unless peaks are cut: see the other findings of the take."),
    ROW(SILENT_CHANNEL, TP_FAMILY_LEVEL, TP_LISTEN, "dBFS", "Channel without sound",
        "The channel holds digital silence from its first sample to its last. Nothing was connected, or it was muted.",
        "Every sample is zero. An open input gives noise, which is noise-only. A take in which all channels are silent "
        "fails. Follows from the definition of PCM.",
        "If a microphone should be there: check cable, power, mute and routing, then record a test.",
        "Leave the channel out. If it was the only one, look for another microphone or the camera's sound."),
    ROW(DC_OFFSET, TP_FAMILY_LEVEL, TP_NOTE, "of full scale", "Constant offset",
        "The waveform does not swing around zero. It costs headroom and clicks at cuts.",
        "The mean of all samples is compared with dc_offset_max of the spec. Common practice, no source.",
        "Note the channel. A faulty input or adapter is the usual cause.",
        "A high-pass filter far below the voice removes it. Do that before cutting."),
    ROW(NOISE_HIGH, TP_FAMILY_LEVEL, TP_LISTEN, "dBFS", "Loud background",
        "Even the quietest stretches are loud: wind, traffic, machines, or too much gain in a quiet stage.",
        "The sound is cut into blocks of 0.1 s; the level that one block in ten stays under (RMS where a full-scale "
        "sine reads 0: AES17) is compared with noise_floor_max_dbfs of the spec. A take without a quiet moment reads "
        "high. That limit is common practice, no source.",
        "Find the source while everyone is still there: machines, fans, wind protection, distance. Record room tone.",
        "Room tone helps to cut smoothly. Noise reduction costs voice quality: use little."),

    /* fault */
    ROW(DROPOUT, TP_FAMILY_FAULT, TP_LISTEN, "ms", "Sound breaks off",
        "Inside running sound the signal suddenly becomes exactly zero or stands still, then mostly goes on. A "
        "wireless link, a clock, the recorder or the card failed.",
        "A run of exactly equal samples (zeros, or one value held) of 0.75 ms or longer, 36 samples at the least, with "
        "living signal in the 2 ms right before and after it and at least one edge that no fade would leave. Value: "
        "length; limit: shortest run looked for. Not counted: the head and tail of the file, faded gaps, tops of waves "
        "(see flat-topped), gaps beside sound under -80 dBFS, and gaps over half a second in a file that is over a "
        "quarter silence. Counted even then: a gap of 1 s between sound, or of 2 s to the end of the file, that begins "
        "and ends within a fifth of a second, where the 2 s or more before were never as quiet, unless the file "
        "begins with such a gap or has more than two of them. In tests with real voices every one of 1 ms and longer "
        "was found. Common practice, no source.",
        "Listen at the named places. Repeat the take if a line is hit; check the wireless link, cables and the clock.",
        "Use another microphone or the pair's other channel there, if the gap is not in both."),
    ROW(REPEATED_BLOCK, TP_FAMILY_FAULT, TP_LISTEN, "ms", "The same sound twice",
        "A piece of sound comes again, sample for sample: directly after itself, or in whole sectors of the card at "
        "two places. A buffer was written twice or the card mixed its places up, and the sound that should be there "
        "is lost.",
        "At least 64 samples that equal, to the last bit, those of up to 16,384 samples before: recorded sound never "
        "does that. Value: length of the repetition. Not counted: silence, sound under -70 dBFS, generated tones, and "
        "endless loops. Distances that are a multiple of 32 samples are found from 64 samples on, others surely from "
        "240. Sound that went through a lossy codec can repeat in its quietest places. Whole sectors of 512 bytes are "
        "looked for in about the latest 8 MB, at any level. Common practice, no source.",
        "Listen at the named places. Change the card if it happens again.",
        "Cut the repetition out and check sync from there on."),
    ROW(CLICK, TP_FAMILY_FAULT, TP_LISTEN, "dB", "Clicks",
        "Single jumps in the waveform that no voice makes, or crackles: a loose plug, a worn cable, static, or a clock "
        "that is not locked. Noise over whole sectors of the card: it gave bytes of something else, and the sound that "
        "should be there is lost.",
        "The third difference of the waveform stands out at one place by 14 dB (the limit) from everything else within "
        "48 samples, and from all but four of the 65 stretches of 32 samples around. Value: dB over those. Clicks "
        "under -66 dBFS, in the first and last 1,024 samples, and beside dropouts, repeated blocks and clipping are "
        "not counted. In loud real voices a click of -24 dBFS was always found, of -36 dBFS nine times in ten when it "
        "is "
        "one sample. Hissing sounds hide clicks; a click of the tongue can look like one. "
        "Crackle: white noise of 0.2 to 43 ms (at 48 kHz), 24 dB (then the limit) over the third differences 21 ms "
        "before and after, and under 0.5 ms 30 dB; not much weaker at its end than inside, for what is struck dies "
        "away. "
        "From 32 kHz on. "
        "Noise over whole sectors: 64 samples and more, all of them 18 dB (then the limit) over the third differences "
        "21 ms before and after, with a step at both ends, both where a sector of 512 bytes begins. Not looked for in "
        "frames of more than 32 bytes. Common practice, no source.",
        "Wiggle test: move each plug while listening on headphones at a moderate level. Check that digital devices "
        "share one clock. After noise over whole sectors copy the card again, compare, and take another card.",
        "Single clicks can be repaired well with a declicker or by redrawing a few samples."),
    ROW(HUM, TP_FAMILY_FAULT, TP_LISTEN, "dBFS", "Mains hum",
        "A steady tone at the frequency of the mains (50 or 60 Hz) and its multiples lies under the sound.",
        "Spectra of 0.7 s, in stretches of 11 s (at least 3.4 s). Lines at 50 or 60 Hz and up to six multiples, within "
        "0.5 Hz and 0.4 %, must stand 10 dB over the spectrum 6 to 12 Hz beside them even in the quietest eighth of "
        "the spectra: a voice moves and pauses, mains do not. Two lines are needed, or one at the first two multiples "
        "that stands 20 dB out. Value: level of all lines together, a full-scale sine reads 0 (AES17); limit: 50 dB "
        "under the working level, within -85 and -60. A held bass note can look like it. Common practice, no source.",
        "Keep sound cables away from power cables, cross them at right angles, run from batteries. Never lift a safety "
        "earth: leave mains work to a licensed electrician and follow local rules.",
        "Narrow notches at the named frequency and its multiples remove most of it."),
    ROW(RUMBLE, TP_FAMILY_FAULT, TP_NOTE, "dBFS", "Rumble",
        "Strong sound below the voice: wind, handling, traffic or a bumped stand. It uses headroom and can overload a "
        "preamp without being heard on small loudspeakers.",
        "Stretches of 0.4 s and more with strong sound between 5 and 60 Hz, of which a tenth of the power or more lies "
        "under 30 Hz, where neither voices nor mains reach. Value: highest level over 0.4 s, a full-scale sine reads 0 "
        "(AES17); limit: 12 dB under the working level, within -45 and -14, -32 when there is none. A note, or "
        "something to listen to where the spec says low_cut = yes: then it should not be there. Drums and deep effects "
        "have it too. Common practice, no source.",
        "Better wind protection, a softer mount, hands still. A low cut at the microphone protects the preamp; agree "
        "on it with post first.",
        "A low cut removes it as long as nothing was overloaded."),
    ROW(NOISE_ONLY, TP_FAMILY_FAULT, TP_LISTEN, "dBFS", "Noise but no signal",
        "The channel carries a steady noise and nothing else, from the start or from a moment on. A condenser "
        "microphone without phantom power, an open input, or a cable or capsule that has failed looks like this. Sound "
        "alone cannot tell which.",
        "Over the whole file, of at least 2 s, the level of steps of 0.1 s moves by no more than 3 dB (between the "
        "quietest and the loudest fiftieth), lies under -45 dBFS, and the spectrum is as flat as that of a bare input "
        "(mean square of the difference of neighbouring samples at least half the mean square; white noise: twice). "
        "Or for 2 s and more, up to the end or to an equally abrupt return: noise as flat, of at most -70 dBFS, which "
        "begins within a fifth of a second and lies 15 dB or more under the quietest tenth of the 2 s or more "
        "before (9 dB, when a room was heard then), which must have stood still in pauses; a room in which all fall "
        "silent does neither. Value: level "
        "(AES17); limit: highest level looked for. "
        "Common practice, no source.",
        "Check the cable and that the microphone has its power. Switch phantom power only with the gain down, and "
        "never onto an old or unknown ribbon microphone.",
        "Leave the channel out there; no voice is in it to bring up. Room tone recorded on purpose may look like this, "
        "too."),
    ROW(INTERFERENCE, TP_FAMILY_FAULT, TP_LISTEN, "dBFS", "Buzz of a mobile transmitter",
        "A regular buzz in bursts that is neither mains hum nor voice: a mobile phone or modem sends near the sound "
        "chain.",
        "A train of short pulses at 216.67 a second, the frame rate of second-generation mobile telephony, steady to "
        "about "
        "half a hertz over one second: hardly a voice holds a pitch so well. Value: height of the strongest pulse; "
        "limit: "
        "least height looked for. Other radio noises, dimmers and displays are not looked for (see hum and click). "
        "Needs 25.6 kHz or more. Common practice, no source but the frame rate.",
        "Phones away from cables and receivers, move the cable, try another frequency. Listen again before the next "
        "take.",
        "Narrow notches help against a tone, less against a buzz."),

    /* pair */
    ROW(SECOND_OPINION, TP_FAMILY_FAULT, TP_LISTEN, "LU or dB", "Two measurements of one sound disagree",
        "With --second-opinion the file was also opened and decoded by libsndfile and measured by libebur128, and the "
        "header, a figure or a sample came out different. One of the two is wrong, or the header is damaged and was "
        "mended in two ways.",
        "Format and length that libsndfile reads from the header must be those found here. Samples are compared bit "
        "for "
        "bit. Loudness and range may differ by 0.001 LU, sample peak by 0.001 dB. Their "
        "true "
        "peak may read 0.5 dB lower (their grid of 4 times, measured) or 1.1 dB higher (a file that begins mid-sound). "
        "Common practice, no source; the limits were measured with libebur128 1.2.6. From 192 kHz on true peak is not "
        "compared.",
        "Trust neither figure until it is settled; keep the card and a copy of the file.",
        "Measure the file with a third tool, and report the difference with the file to the authors of this program."),
    ROW(SAFETY_NEEDED, TP_FAMILY_PAIR, TP_LISTEN, "s", "Main is damaged; the safety is clean there",
        "The main is damaged at the named places, but the safety recorded the same moment without damage. The take is "
        "saved if the safety is used there.",
        "Every damaged stretch of the main is looked up in the safety, at the lag between both. Common practice, no "
        "source.",
        "Nothing to repeat. Lower the main's gain if it happens in every take.",
        "Use the safety, raised by the named offset, over the named places; takeproof splice writes that track."),
    ROW(BOTH_CLIPPED, TP_FAMILY_PAIR, TP_FAIL, "s", "Main and safety damaged at the same place",
        "At the named places neither level is clean: both overload, or both break off. No channel holds the sound as "
        "it was.",
        "Damaged stretches of main and safety overlap, at the lag between both. Common practice, no source.",
        "Repeat the take. After an overload lower the gain first, or record the safety lower. Where the sound breaks "
        "off gain does not help: check the link, the card and the recorder.",
        "Look for another microphone or another take. A declipper may hide short places."),
    ROW(PAIR_OFFSET, TP_FAMILY_PAIR, TP_LISTEN, "dB", "Safety is not at the agreed distance",
        "The safety lies nearer to the main, or farther below it, than agreed. Too near gives little protection; too "
        "far brings noise when it is raised.",
        "The gain between both is the median over many stretches of undamaged sound in the whole take, and is compared "
        "with safety_below_min_db and safety_below_max_db of the spec. Common practice, no source.",
        "Set the safety's offset again, then record a short test with normal and loud speech.",
        "Use the measured offset of this take when matching levels, not the agreed one."),
    ROW(PAIR_LAG, TP_FAMILY_PAIR, TP_LISTEN, "samples", "Main and safety are not in step",
        "The safety is earlier or later than the main by the named number of samples. Mixed together they would sound "
        "hollow, and a cut from one to the other jumps.",
        "The shift at which both signals agree best is found by cross-correlation and compared with lag_max_samples of "
        "the spec. Common practice, no source.",
        "Look for a different path of one channel: a digital link, an effect, two recorders.",
        "Shift the safety by the named number of samples before using it; takeproof splice does."),
    ROW(PAIR_POLARITY, TP_FAMILY_PAIR, TP_LISTEN, "", "Safety has the opposite polarity",
        "The safety's waveform is upside down against the main. Mixed together they cancel.",
        "The correlation of both signals at the best shift is negative. Common practice, no source.",
        "Look for a polarity switch or a cable wired the other way round.",
        "Invert the safety before using it; takeproof splice does."),
    ROW(PAIR_LEVEL_CHANGE, TP_FAMILY_PAIR, TP_LISTEN, "dB", "Distance between main and safety changes",
        "The offset between main and safety is not the same in quiet and loud stretches. A limiter or an automatic "
        "gain works on one of them, or someone turned one gain.",
        "The offset of quiet stretches is compared with that of loud ones; a difference of 1 dB or more counts, where "
        "two plain gains stay under 0.2 dB. Common practice, no source.",
        "Switch automatic gain off, leave gains alone during a take, and keep limiters the same on both.",
        "Match levels at each place that is replaced, not once for the take."),
    ROW(CHANNEL_COPY, TP_FAMILY_PAIR, TP_LISTEN, "", "Two channels hold the same samples",
        "Both channels are the same recording at the same level: one microphone written twice. The second channel "
        "protects nothing.",
        "The samples of both are equal. Only a note where nobody took the second for a safety: the names say mix, or "
        "left and right beside other tracks, or the microphone has its pair elsewhere. Common practice, no source.",
        "If a safety was meant, give it its own lower gain before the converter, not after it.",
        "Use either one; do not add them up."),
    ROW(NOT_A_PAIR, TP_FAMILY_PAIR, TP_FAIL, "correlation", "No main and safety pair in this take",
        "The spec demands a pair, or the names promise one, but the signals are not the same microphone at two levels.",
        "The best agreement of the two signals stays below what one microphone gives. The signal decides, never the "
        "name. A wild track, and a take too quiet to show a pair, are only worth a listen where the spec demands one. "
        "Common practice, no source.",
        "Check the routing: does the safety's input take the same microphone? Record a short test.",
        "Treat the channels as separate microphones."),
    ROW(MAIN_SILENT, TP_FAMILY_PAIR, TP_LISTEN, "dBFS", "Main is silent, the safety is not",
        "The main of the pair carries no signal, throughout or at the named place. Only the safety has recorded it.",
        "One of two channels that belong together holds no sound above -75 dBFS while the other carries signal, or is "
        "for a part of the take digital silence or bare noise: 20 dB or more under what it would hold, by the other "
        "one "
        "and the distance between both, and at most -60 dBFS. Common practice, no source.",
        "Check the main's cable, input and routing before the next take.",
        "Use the safety there. Nothing protects its loud places: look at its peaks."),
    ROW(SAFETY_SILENT, TP_FAMILY_PAIR, TP_LISTEN, "dBFS", "Safety is silent, the main is not",
        "The safety of the pair carries no signal, throughout or at the named place. Nothing protects the main there.",
        "One of two channels that belong together holds no sound above -75 dBFS while the other carries signal, or is "
        "for a part of the take digital silence or bare noise: 20 dB or more under what it would hold, by the other "
        "one "
        "and the distance between both, and at most -60 dBFS. Common practice, no source.",
        "Check the safety's cable, input and routing before the next take.", "Use the main; look at its peaks."),

    /* set */
    ROW(SEGMENT_GAP, TP_FAMILY_SET, TP_LISTEN, "s", "Gap between parts of one recording",
        "A recording was split into several files, and the parts do not join without a gap or an overlap, or some of "
        "them are not here.",
        "The start of each part is compared with the start and length of the part before, in samples since midnight. "
        "Source for the start: EBU Tech 3285. How many parts there are is told by the file set of the iXML (open "
        "specification), which one each is by the place it gives or by the running number in the name.",
        "Note where it is. A slow card is the usual cause of a gap: use a faster one. Look for a missing part on the "
        "recorder and on other cards, and copy it before anything is wiped.",
        "Place each part by its own start time instead of end to end. Ask the set for a part that is missing."),
    ROW(TIMECODE_OVERLAP, TP_FAMILY_SET, TP_NOTE, "s", "Two takes claim the same time",
        "Two takes that one recorder made overlap in time, which cannot be. The clock was changed between them, or a "
        "file carries a wrong start.",
        "Start and length of all takes of a source are compared. Source for the start: EBU Tech 3285.",
        "Check the recorder's clock and jam it again.", "Confirm the sync of both takes by slate."),
    ROW(DUPLICATE_CONTENT, TP_FAMILY_SET, TP_LISTEN, "", "The same file twice", "Two files are equal to the last byte.",
        "Their sizes and checksums are equal. Source for SHA-256: FIPS 180-4.",
        "If each should be its own take, one of them is missing: look at the card.", "Use either one."),
    ROW(DUPLICATE_NAME, TP_FAMILY_SET, TP_LISTEN, "", "One name, different recordings",
        "The same file name, or the same scene and take, stands for different recordings in one card, or in several "
        "folders or cards. Files of one name can overwrite each other when they are copied together.",
        "Names are compared without their folders; scene and take as the metadata, the notes or the name give them; "
        "contents by checksum.",
        "On one card: listen to both, note by file name which is which, and set the recorder's take number right. "
        "Never copy folders or cards with equal file names into one folder; give the next card its own name or number "
        "range.",
        "Tell them apart by path and start time, and ask the set which one is meant. Keep the folders apart."),
    ROW(MISSING_TAKE, TP_FAMILY_SET, TP_LISTEN, "take", "A take number is missing",
        "The numbering of the files or takes jumps. A take may have been deleted, never recorded, or be on another "
        "card.",
        "Take numbers of one scene, and counters in file names, are put in order; gaps are reported. A renamed file "
        "counts under the name that it was recorded as, an empty one by its name where its neighbours count takes. "
        "The value is the first take that is missing of a scene. Common practice, no source.",
        "Compare with the notes while the card is still here.",
        "Ask for the other card, or for the note that explains it."),
    ROW(CLOCK_JUMP, TP_FAMILY_SET, TP_NOTE, "s", "The clock jumped between takes",
        "The order of the files and their start times do not agree: the recorder's clock was set, lost or never set.",
        "Start times are compared in the order of the file counters. Source for the start: EBU Tech 3285.",
        "Set the clock and jam timecode again; note the time.",
        "Do not trust timecode across the jump; confirm by slate."),
    ROW(LOG_WITHOUT_FILE, TP_FAMILY_SET, TP_FAIL, "", "In the notes, but not on the card",
        "The set's notes list a take for which no file was found here.",
        "Rows of the log are matched with takes by file name, then by scene and take.",
        "Look for another card, and for a file under another name, before anything is wiped.",
        "Ask the set for the file."),
    ROW(FILE_NOT_IN_LOG, TP_FAMILY_SET, TP_NOTE, "", "On the card, but not in the notes",
        "A take is on the card that the set's notes do not mention.",
        "Takes are matched with rows of the log by file name, then by scene and take.",
        "Add the line to the notes while it is remembered.",
        "Listen to it once: it may be a wild track, room tone or a false start."),

    /* hand-off */
    ROW(COPY_MISSING, TP_FAMILY_HANDOFF, TP_FAIL, "", "A file did not arrive",
        "A file that left the set is not in this folder.",
        "Every entry of the report or manifest is looked for by its path, then by its contents.",
        "Copy it again from the card. Do not wipe the card.", "Ask for the file before the card is used again."),
    ROW(COPY_CHANGED, TP_FAMILY_HANDOFF, TP_FAIL, "", "A file differs from what left the set",
        "The file is there, but not with the bytes that were recorded: damaged on the way, or changed by a program.",
        "Size and checksums are compared with the report or manifest. Source for SHA-256: FIPS 180-4.",
        "Copy it again and compare again. If it differs each time, change cable, reader and disk.",
        "Do not use it. Ask for a new copy."),
    ROW(COPY_EXTRA, TP_FAMILY_HANDOFF, TP_NOTE, "", "A file that was not in the delivery",
        "The folder holds a file that the report or manifest does not list.",
        "Every file of the folder is looked for in the report or manifest.", "Check that it belongs to this delivery.",
        "Find out where it comes from before using it."),
};

const struct tp_finding_info *tp_finding_info(enum tp_code code)
{
    return &infos[code];
}

int tp_finding_code_from_name(const char *name, enum tp_code *code)
{
    for (size_t i = 0; i < TP_CODE_COUNT; i++) {
        if (strcmp(infos[i].name, name) == 0) {
            *code = infos[i].code;
            return 1;
        }
    }
    return 0;
}

const char *tp_family_name(enum tp_family family)
{
    switch (family) {
    case TP_FAMILY_SPEC: return "spec";
    case TP_FAMILY_CONTAINER: return "container";
    case TP_FAMILY_LEVEL: return "level";
    case TP_FAMILY_FAULT: return "fault";
    case TP_FAMILY_PAIR: return "pair";
    case TP_FAMILY_SET: return "set";
    case TP_FAMILY_HANDOFF: return "hand-off";
    }
    return "";
}

const char *tp_severity_name(enum tp_severity severity)
{
    switch (severity) {
    case TP_NOTE: return "note";
    case TP_LISTEN: return "listen";
    case TP_FAIL: return "fail";
    }
    return "";
}
