#!/bin/sh
# The tests run the real firmware in an emulator: AVR compiler, C library and emulator are needed,
# and a C/C++ compiler. Installs them where it may, else says exactly what to install.
set -u
[ "$(uname -s)" = Linux ] || exit 0   # elsewhere only the Python part is tested
need=""
command -v avr-g++ >/dev/null || need="$need gcc-avr"
command -v avr-objcopy >/dev/null || need="$need binutils-avr"
[ -e /usr/lib/avr/include/avr/io.h ] || need="$need avr-libc"
[ -e /usr/include/simavr/sim_avr.h ] || need="$need libsimavr-dev"
[ -e /usr/include/libelf.h ] || need="$need libelf-dev"
command -v qemu-system-avr >/dev/null || need="$need qemu-system-misc"
command -v avrdude >/dev/null || need="$need avrdude"
command -v cc >/dev/null || need="$need gcc"
command -v g++ >/dev/null || need="$need g++"
command -v make >/dev/null || need="$need make"
[ -z "$need" ] && exit 0
if command -v apt-get >/dev/null; then
  as=""
  [ "$(id -u)" = 0 ] || as="sudo -n"
  if [ -z "$as" ] || sudo -n true 2>/dev/null; then
    echo "installing for the emulated tests:$need"
    $as apt-get update -qq >/dev/null && \
      DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq --no-install-recommends $need >/dev/null && exit 0
    echo "could not install$need" >&2
    exit 2
  fi
  echo "The tests need more tools. Install them, then run make again:" >&2
  echo "  sudo apt-get install$need" >&2
  exit 2
fi
echo "The tests need an AVR compiler with its C library, avrdude, libsimavr with its headers, QEMU for AVR, and a C++ compiler." >&2
echo "On Debian or Ubuntu these are:$need. Install the like of them, then run make again." >&2
exit 2
