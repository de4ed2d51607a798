/* SPDX-License-Identifier: MIT */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <takeproof/error.h>

const char *tp_status_words(enum tp_status status)
{
    switch (status) {
    case TP_OK: return "no error";
    case TP_ERR_MEMORY: return "not enough memory";
    case TP_ERR_USAGE: return "wrong usage";
    case TP_ERR_OPEN: return "cannot open";
    case TP_ERR_READ: return "cannot read";
    case TP_ERR_WRITE: return "cannot write";
    case TP_ERR_EXISTS: return "already exists";
    case TP_ERR_SPACE: return "no space left";
    case TP_ERR_SPEC: return "error in the spec";
    case TP_ERR_FORMAT: return "not in the expected format";
    case TP_ERR_CANCELLED: return "stopped on request";
    case TP_ERR_UNSUPPORTED: return "not supported here";
    }
    return "unknown error";
}

const char *tp_error_text(const struct tp_error *error)
{
    if (error == NULL)
        return tp_status_words(TP_OK);
    return error->message != NULL ? error->message : tp_status_words(error->status);
}

void tp_error_clear(struct tp_error *error)
{
    if (error == NULL)
        return;
    free(error->message);
    *error = (struct tp_error){0};
}

enum tp_status tp_error_set(struct tp_error *error, enum tp_status status, int os_errno, const char *format, ...)
{
    if (error == NULL)
        return status;
    /* Build first: a value may be the message that is about to be replaced. */
    va_list values;
    va_start(values, format);
    va_list again;
    va_copy(again, values);
    int length = vsnprintf(NULL, 0, format, values);
    va_end(values);
    char *message = length >= 0 ? malloc((size_t)length + 1) : NULL;
    if (message != NULL)
        vsnprintf(message, (size_t)length + 1, format, again);
    va_end(again);
    tp_error_clear(error);
    error->status = status;
    error->os_errno = os_errno;
    error->message = message;
    return status;
}
