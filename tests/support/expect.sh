# SPDX-License-Identifier: MIT
# For tests in shell: source it from an empty folder.
count=0 failed=0

# expect STATUS WORDS COMMAND…: the exit status, and words that must be in the output ("" = any).
expect() {
    local status=$1 words=$2
    shift 2
    count=$((count + 1))
    "$@" >out 2>err </dev/null
    local got=$?
    if [ $got != "$status" ] || { [ -n "$words" ] && ! grep -qF -- "$words" out err; }; then
        printf 'status %s, expected %s and "%s": %s\n' $got "$status" "$words" "$*"
        tail -n 5 out err
        failed=$((failed + 1))
    fi
}
