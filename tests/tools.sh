#!/bin/sh
# Install what the tests need and Python packages cannot bring: ARM, AVR and host compilers, the
# emulators, node, a browser, a reader of its printed pages, and the pinned MicroPython and browser driver.
# Quick when all is there.
set -eu
cd "$(dirname "$0")/.."

missing=""
need() { # command, package
    command -v "$1" >/dev/null 2>&1 || missing="$missing $2"
}
need gcc "gcc libc6-dev"
need cc "gcc libc6-dev"
need clang clang
need clang-tidy clang-tidy
need arm-none-eabi-gcc "gcc-arm-none-eabi libnewlib-arm-none-eabi"
need arm-none-eabi-nm binutils-arm-none-eabi
need qemu-system-arm qemu-system-arm
need avr-gcc "gcc-avr avr-libc"
[ -e /usr/include/simavr/sim_avr.h ] || missing="$missing libsimavr-dev"
need cmake "cmake make"
need node nodejs
need npm npm
need wasm-ld lld
need chromium chromium
need pdftotext poppler-utils

if [ -n "$missing" ]; then
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null 2>&1; then
        echo "tests/tools.sh: not root or no apt-get; install these yourself:$missing" >&2
    else
        apt-get update -qq
        # shellcheck disable=SC2086
        DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends $missing >/dev/null
    fi
fi

for folder in firmware_ref/micropython tests/browser; do
    kept="$folder/node_modules/.installed-lock.json"
    if command -v npm >/dev/null 2>&1 && ! cmp -s "$folder/package-lock.json" "$kept"; then
        (cd "$folder" && npm ci --silent --no-audit --no-fund)
        cp "$folder/package-lock.json" "$kept"
    fi
done
