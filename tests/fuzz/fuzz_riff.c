/* SPDX-License-Identifier: MIT */
/* The chunk walk: for any bytes, offsets stay inside the file and frames fit into the bytes of sound. */
#include "harness.h"

#include "read/riff.h"
#include "result.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tp_file file = {0};
    struct tp_stream *stream;
    struct tp_riff *riff;
    FUZZ_MUST(tp_stream_open(&stream, fuzz_file(data, size, ".wav"), NULL, 0, NULL) == TP_OK);
    file.bytes = tp_stream_bytes(stream);
    FUZZ_MUST(tp_riff_new(&riff, stream, &file, NULL) == TP_OK);
    bool has_audio = false;
    FUZZ_MUST(tp_riff_walk_to_audio(riff, &has_audio, NULL) == TP_OK);
    if (has_audio) {
        size_t frame_bytes = (size_t)file.channel_count * (file.bit_depth / 8);
        FUZZ_MUST(frame_bytes > 0 && frame_bytes <= TP_STREAM_PEEK_MAX);
        FUZZ_MUST(file.encoding != TP_ENCODING_NONE && file.sample_rate_hz > 0);
        uint64_t left = 0;
        while (tp_riff_audio_remaining(riff, &left, NULL) == TP_OK && left > 0) {
            FUZZ_MUST(left % frame_bytes == 0);
            FUZZ_MUST(left <= tp_stream_remaining(stream));
            const uint8_t *bytes;
            size_t got;
            FUZZ_MUST(tp_stream_peek(stream, frame_bytes, &bytes, &got, NULL) == TP_OK);
            if (got > left)
                got = (size_t)left;
            got -= got % frame_bytes;
            FUZZ_MUST(got > 0);
            tp_stream_consume(stream, got);
            tp_riff_audio_consumed(riff, got);
        }
    }
    FUZZ_MUST(tp_riff_walk_rest(riff, NULL) == TP_OK);
    FUZZ_MUST(tp_stream_remaining(stream) == 0);
    FUZZ_MUST(file.audio_offset <= size && file.audio_bytes <= size - file.audio_offset);
    FUZZ_MUST(file.chunk_count <= TP_CHUNKS_MAX);
    for (size_t i = 0; i < file.chunk_count; i++)
        FUZZ_MUST(file.chunks[i].offset <= size);
    tp_riff_free(riff);
    tp_stream_close(stream);
    tp_file_clear(&file);
    return 0;
}
