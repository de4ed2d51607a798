/* SPDX-License-Identifier: MIT */
#include "handoff/c4.h"

#include <openssl/evp.h>
#include <stdint.h>

enum tp_status tp_c4(const void *bytes, size_t size, char c4[TP_C4_SIZE], struct tp_error *error)
{
    static const char digits[] = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz";
    uint8_t number[EVP_MAX_MD_SIZE];
    size_t length = 0;
    if (EVP_Q_digest(NULL, "SHA2-512", NULL, bytes, size, number, &length) != 1 || length != 64)
        return tp_error_set(error, TP_ERR_UNSUPPORTED, 0,
                            "cannot compute SHA-512: the library that computes it failed");
    c4[0] = 'c';
    c4[1] = '4';
    c4[TP_C4_SIZE - 1] = '\0';
    /* Long division of the 512-bit number, a digit a round. */
    for (size_t at = TP_C4_SIZE - 2; at >= 2; at--) {
        unsigned rest = 0;
        for (size_t i = 0; i < length; i++) {
            unsigned value = rest << 8 | number[i];
            number[i] = (uint8_t)(value / 58);
            rest = value % 58;
        }
        c4[at] = digits[rest];
    }
    return TP_OK;
}
