/* SPDX-License-Identifier: MIT */
/*
 * Structure-aware mutations of healthy files through the whole check, in process: no crash (build it with the
 * sanitizers), no file over two seconds, no memory over 256 MB, and above all no `pass` for a file whose sound was cut,
 * zeroed, repeated or replaced. Usage: mutations COUNT [SEED]. Prints a table of damage against what was found; fails
 * on a wrong pass.
 *
 * The healthy files are invented speech (support/voice.h) over room tone, as a recorder would write them. Damage comes
 * in runs of whole 512-byte sectors, the unit a card loses.
 *
 * What nobody could find is not among the damage: a repeat inside digital silence changes nothing, and a mutation that
 * leaves the file as it was is not counted. Seconds are of the processor: others may be at work on the machine.
 */
#include "support/voice.h"
#include "support/wavgen.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <takeproof/takeproof.h>
#include <time.h>
#include <unistd.h>

enum { RATE_HZ = 48000, FRAMES = RATE_HZ, SECTOR = 512 };

struct base {
    uint8_t *bytes;
    size_t size, audio_offset, audio_bytes;
};

static uint64_t state = 1;

static uint32_t random_below(uint32_t limit)
{
    state = state * 6364136223846793005u + 1442695040888963407u;
    return limit == 0 ? 0 : (uint32_t)((state >> 33) % limit);
}

/* --- healthy files --- */

static void make_bases(struct base *bases, size_t count)
{
    double *speech = malloc(FRAMES * sizeof *speech);
    double *both = malloc(FRAMES * 2 * sizeof *both);
    struct voice_line line = {.start_s = 0.2, .length_s = 0.6, .level_db = 0.0, .effort = 0.2};
    struct voice_script script = {
        .seed = 3, .rate_hz = RATE_HZ, .level_dbfs = -26.0, .room_dbfs = -62.0, .lines = &line, .line_count = 1};
    if (speech == NULL || both == NULL)
        exit(3);
    voice_render(&script, speech, FRAMES);
    for (size_t i = 0; i < FRAMES; i++) {
        both[2 * i] = speech[i];
        both[2 * i + 1] = speech[i] * 0.25118864315; /* -12 dB */
    }
    struct wavgen_bext bext = {.description = "12A take 3",
                               .originator = "mutations",
                               .date = "2026-05-04",
                               .time = "10:11:12",
                               .time_reference = 480000,
                               .version = 1};
    const struct wavgen kinds[] = {
        {.channels = 1, .frames = FRAMES, .reals = speech, .bext = &bext},
        {.channels = 2, .frames = FRAMES, .reals = both, .bext = &bext},
        {.channels = 1, .frames = FRAMES, .reals = speech, .sample = WAVGEN_PCM16},
        {.channels = 2, .frames = FRAMES, .reals = both, .container = WAVGEN_RF64},
        {.channels = 1, .frames = FRAMES, .reals = speech, .sample = WAVGEN_FLOAT32},
    };
    for (size_t i = 0; i < count; i++) {
        const struct wavgen *kind = &kinds[i % (sizeof kinds / sizeof *kinds)];
        bases[i].bytes = wavgen_bytes(kind, &bases[i].size);
        bases[i].audio_offset = wavgen_audio_offset(kind);
        bases[i].audio_bytes =
            (size_t)kind->frames * (kind->channels == 0 ? 1 : kind->channels) * wavgen_sample_bytes(kind->sample);
    }
    free(speech);
    free(both);
}

/* --- mutations: each returns the new size --- */

struct place {
    size_t at, length;
};
static struct place damaged; /* what the newest mutation damaged, to be told */

/* Whole sectors inside the sound; at most 32 of them. */
static struct place sectors_of_sound(const struct base *base, uint32_t most)
{
    size_t first = (base->audio_offset + SECTOR - 1) / SECTOR;
    size_t last = (base->audio_offset + base->audio_bytes) / SECTOR;
    size_t length = 1 + random_below(most);
    size_t at = first + random_below((uint32_t)(last - first - length));
    damaged = (struct place){at * SECTOR, length * SECTOR};
    return damaged;
}

static size_t cut(uint8_t *bytes, const struct base *base)
{
    (void)bytes;
    size_t end = base->audio_offset + random_below((uint32_t)base->audio_bytes - 1);
    damaged = (struct place){end, base->size - end};
    return end;
}

static size_t zero(uint8_t *bytes, const struct base *base)
{
    struct place place = sectors_of_sound(base, 32);
    memset(bytes + place.at, 0, place.length);
    return base->size;
}

static size_t zero_tail(uint8_t *bytes, const struct base *base)
{
    size_t end = base->audio_offset + base->audio_bytes;
    size_t start =
        (end - SECTOR * (8 + random_below(64))) / SECTOR * SECTOR; /* what a medium loses begins at a sector */
    damaged = (struct place){start, end - start};
    memset(bytes + start, 0, end - start);
    return base->size;
}

static size_t repeat(uint8_t *bytes, const struct base *base)
{
    struct place place = sectors_of_sound(base, 16);
    size_t end = base->audio_offset + base->audio_bytes;
    if (place.at + 2 * place.length > end)
        place.at = (end - 2 * place.length) / SECTOR * SECTOR;
    damaged = place;
    memmove(bytes + place.at + place.length, bytes + place.at, place.length);
    return base->size;
}

static size_t replace_by_noise(uint8_t *bytes, const struct base *base)
{
    struct place place = sectors_of_sound(base, 32);
    for (size_t i = 0; i < place.length; i++)
        bytes[place.at + i] = (uint8_t)random_below(256);
    return base->size;
}

static size_t replace_by_one_byte(uint8_t *bytes, const struct base *base)
{
    struct place place = sectors_of_sound(base, 32);
    memset(bytes + place.at, random_below(2) ? 0xFF : (int)(1 + random_below(254)), place.length);
    return base->size;
}

static size_t flip_in_header(uint8_t *bytes, const struct base *base)
{
    for (uint32_t i = 1 + random_below(4); i > 0; i--)
        bytes[random_below((uint32_t)base->audio_offset)] ^= (uint8_t)(1u << random_below(8));
    return base->size;
}

static size_t lie_in_header(uint8_t *bytes, const struct base *base)
{
    static const uint32_t lies[] = {0, 1, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000, 44, 0xFFFFFFF0};
    uint32_t lie = lies[random_below(sizeof lies / sizeof *lies)];
    size_t at = 4 * random_below((uint32_t)base->audio_offset / 4);
    for (size_t i = 0; i < 4; i++)
        bytes[at + i] = (uint8_t)(lie >> (8 * i));
    return base->size;
}

static size_t scramble(uint8_t *bytes, const struct base *base)
{
    size_t size = random_below((uint32_t)base->size);
    for (uint32_t i = random_below(64); i > 0; i--)
        bytes[random_below((uint32_t)base->size)] = (uint8_t)random_below(256);
    return size;
}

static const struct mutation {
    const char *name;
    size_t (*apply)(uint8_t *bytes, const struct base *base);
    bool hurts_sound;        /* must not pass */
    unsigned missed_percent; /* a gap of today's detectors that is known and told, in percent; 0 = none may pass */
} mutations[] = {
    {"cut: file ends early", cut, true, 0},
    {"zeroed: 1 to 32 sectors", zero, true, 0},
    {"zeroed: tail of 8 to 71 sectors", zero_tail, true, 0},
    {"repeated: 1 to 16 sectors written twice", repeat, true, 10},
    {"replaced: sectors of random bytes", replace_by_noise, true, 0},
    {"replaced: sectors of one byte", replace_by_one_byte, true, 0},
    {"header: flipped bits", flip_in_header, false, 0},
    {"header: wrong numbers", lie_in_header, false, 0},
    {"anything: cut and scattered bytes", scramble, false, 0},
};
enum { MUTATIONS = sizeof mutations / sizeof *mutations };

/* --- running --- */

static enum tp_verdict check(const char *path, const struct tp_spec *spec, const uint8_t *bytes, size_t size)
{
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(bytes, 1, size, file) != size || fclose(file) != 0)
        exit(3);
    struct tp_check_options options = {.sources = &path, .source_count = 1, .spec = spec, .jobs = 1};
    struct tp_report *report;
    struct tp_error error = {0};
    if (tp_check(&options, &report, &error) != TP_OK) {
        printf("the check stopped: %s\n", tp_error_text(&error));
        exit(1);
    }
    enum tp_verdict verdict = report->verdict;
    if (getenv("MUTATIONS_TELL") != NULL) {
        struct tp_text_options text = {.columns = 100};
        (void)!tp_report_write_text(report, &text, stdout, NULL);
    }
    tp_report_free(report);
    return verdict;
}

static double now_s(void)
{
    struct timespec time;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return (double)time.tv_sec + 1e-9 * (double)time.tv_nsec;
}

static const char spec_text[] = "[format]\nsample_rate_hz = 48000\nbit_depth = any\nencoding = any\n"
                                "[level]\nworking_level_min_dbfs = -60\nworking_level_max_dbfs = 0\n"
                                "noise_floor_max_dbfs = -30\n";

int main(int argc, char **argv)
{
    enum { BASES = 5 };
    struct base bases[BASES];
    size_t found[MUTATIONS][3] = {{0}};
    size_t count = argc > 1 ? (size_t)atol(argv[1]) : 500;
    state = argc > 2 ? (uint64_t)atol(argv[2]) * 2 + 1 : 1;
    struct tp_spec spec;
    struct tp_error error = {0};
    if (tp_spec_read_bytes(&spec, spec_text, sizeof spec_text - 1, "mutations", &error) != TP_OK) {
        printf("%s\n", tp_error_text(&error));
        return 3;
    }
    char path[64];
    snprintf(path, sizeof path, "%s/tp-mutation-%ld.wav", access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp",
             (long)getpid());
    make_bases(bases, BASES);
    for (size_t i = 0; i < BASES; i++)
        if (check(path, &spec, bases[i].bytes, bases[i].size) != TP_VERDICT_PASS) {
            printf("healthy file %zu does not pass: the test proves nothing\n", i);
            return 1;
        }
    double slowest_s = 0.0;
    size_t told = 0;
    for (size_t i = 0; i < count; i++) {
        const struct base *base = &bases[random_below(BASES)];
        size_t kind = i % MUTATIONS;
        uint64_t seed = state;
        uint8_t *bytes = malloc(base->size);
        if (bytes == NULL)
            return 3;
        memcpy(bytes, base->bytes, base->size);
        size_t size = mutations[kind].apply(bytes, base);
        double start_s = now_s();
        /* A mutation that changes nothing is no damage. */
        bool same = size == base->size && memcmp(bytes, base->bytes, size) == 0;
        enum tp_verdict verdict = check(path, &spec, bytes, size);
        double took_s = now_s() - start_s;
        slowest_s = took_s > slowest_s ? took_s : slowest_s;
        if (!same)
            found[kind][verdict]++;
        if (!same && verdict == TP_VERDICT_PASS && mutations[kind].hurts_sound) {
            if (told++ < 12 || getenv("MUTATIONS_KEEP") != NULL)
                printf("wrong pass: %s, mutation %zu, base %d, state %llu: %zu bytes at %zu of the sound\n",
                       mutations[kind].name, i, (int)(base - bases), (unsigned long long)seed, damaged.length,
                       damaged.at - base->audio_offset);
            const char *keep = getenv("MUTATIONS_KEEP");
            if (keep != NULL) {
                char kept[256];
                snprintf(kept, sizeof kept, "%s/wrong-pass-%zu.wav", keep, i);
                (void)!rename(path, kept);
            }
        }
        free(bytes);
    }
    unlink(path);
    size_t wrong = 0;
    bool beyond_gap = false;
    printf("%-44s %9s %9s %9s\n", "damage", "fail", "listen", "pass");
    for (size_t k = 0; k < MUTATIONS; k++) {
        printf("%-44s %9zu %9zu %9zu%s\n", mutations[k].name, found[k][TP_VERDICT_FAIL], found[k][TP_VERDICT_LISTEN],
               found[k][TP_VERDICT_PASS], mutations[k].hurts_sound ? "" : "   (a pass may be right)");
        size_t passed = mutations[k].hurts_sound ? found[k][TP_VERDICT_PASS] : 0;
        size_t all = passed + found[k][TP_VERDICT_LISTEN] + found[k][TP_VERDICT_FAIL];
        wrong += passed;
        beyond_gap = beyond_gap || passed * 100 > all * mutations[k].missed_percent;
    }
    struct rusage usage = {0};
    getrusage(RUSAGE_SELF, &usage);
    double memory_mb = (double)usage.ru_maxrss / 1024.0; /* Linux counts in KiB */
    printf("%zu of %zu mutations without a wrong pass; slowest file %.3f s, peak memory %.0f MB\n", count - wrong,
           count, slowest_s, memory_mb);
    for (size_t i = 0; i < BASES; i++)
        free(bases[i].bytes);
    tp_spec_clear(&spec);
    return beyond_gap || slowest_s > 2.0 || memory_mb > 256.0 ? 1 : 0;
}
