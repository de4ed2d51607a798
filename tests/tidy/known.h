/* SPDX-License-Identifier: MIT */
/* What clang-tidy cannot see from one file: tp_error_set() returns the status it is given. Without it every
 * `return tp_error_set(…)` looks as if it might be a success. */
#include <takeproof/error.h>
#define tp_error_set(error, status, ...) ((void)tp_error_set(error, status, __VA_ARGS__), (status))
