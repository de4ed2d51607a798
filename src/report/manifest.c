/* SPDX-License-Identifier: MIT */
#include <stdio.h>
#include <string.h>
#include <takeproof/takeproof.h>

/*
 * GNU coreutils 9 sha256sum: a line is "hash  name"; when the name holds a backslash, a newline or a carriage return, the line
 * starts with a backslash and those characters are written \\ \n \r. The bytes of the name are otherwise as on disk.
 */
static void write_line(const struct tp_file *file, FILE *out)
{
    const char *name = file->path_raw;
    if (strpbrk(name, "\\\n\r") != NULL)
        putc('\\', out);
    fprintf(out, "%s  ", file->sha256);
    for (const char *at = name; *at != '\0'; at++) {
        if (*at == '\\')
            fputs("\\\\", out);
        else if (*at == '\n')
            fputs("\\n", out);
        else if (*at == '\r')
            fputs("\\r", out);
        else
            putc((unsigned char)*at, out);
    }
    putc('\n', out);
}

void tp_report_write_manifest(const struct tp_report *report, size_t source, FILE *out)
{
    for (size_t i = 0; i < report->file_count; i++)
        if (report->files[i].source == source && report->files[i].sha256[0] != '\0')
            write_line(&report->files[i], out);
}
