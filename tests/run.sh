#!/bin/sh
# All tests: formatting, lints, unit, property, capability and end-to-end tests. Installs what they need through apt and
# into target/, where it can; a test that still misses something says so and is skipped, except under CI=true.
set -eu
cd "$(dirname "$0")/.."

# Debian packages: the other end of a TCP link, another time for one process, system-call faults, compilers for the
# fault shim and libFuzzer, Python for the independent recomputation of the hash chain and of adjustments, a browser and
# curl for the live page, readers of PDF and of spreadsheets for the reports, and of the unit, the manual and the
# completions of an installed program, and a D-Bus daemon for Bluetooth without a radio.
wanted=""
have() { command -v "$1" >/dev/null 2>&1; }
have socat || wanted="$wanted socat"
have faketime || wanted="$wanted faketime"
have strace || wanted="$wanted strace"
have cc || wanted="$wanted gcc libc6-dev"
have c++ || wanted="$wanted g++"
have python3 || wanted="$wanted python3"
have curl || wanted="$wanted curl"
have chromium || wanted="$wanted chromium"
have chromedriver || wanted="$wanted chromium-driver"
have mkfs.ext4 || wanted="$wanted e2fsprogs"
have systemd-analyze || wanted="$wanted systemd"
have groff || wanted="$wanted groff-base"
have bash || wanted="$wanted bash"
have dbus-daemon || wanted="$wanted dbus"
have pdftotext || wanted="$wanted poppler-utils"
have soffice || wanted="$wanted libreoffice-calc"
if [ -n "$wanted" ]; then
    if [ "$(id -u)" = 0 ] && have apt-get; then
        # shellcheck disable=SC2086 # a list of packages
        { apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $wanted; } \
            >/dev/null || echo "could not install:$wanted"
    else
        echo "missing, some tests will be skipped:$wanted"
    fi
fi

# NumPy and SciPy, the independent computation of adjustments, in a Python of their own.
venv=target/test-python
if ! python3 -c 'import numpy, scipy' 2>/dev/null; then
    if [ ! -x "$venv/bin/python3" ]; then
        python3 -m venv "$venv" 2>/dev/null || {
            [ "$(id -u)" = 0 ] && apt-get install -q -y python3-venv >/dev/null && python3 -m venv "$venv"
        } || echo "no Python environment for NumPy and SciPy"
    fi
    if "$venv/bin/python3" -m pip install -q --disable-pip-version-check numpy scipy; then
        PATH="$(pwd)/$venv/bin:$PATH"
        export PATH
    else
        echo "could not install NumPy and SciPy: the tests that need them will say so"
    fi
fi

# The accessibility checker of the page's tests: axe-core, MPL-2.0, no part of the program.
axe=target/axe
if [ ! -f "$axe/node_modules/axe-core/axe.min.js" ]; then
    have npm || { [ "$(id -u)" = 0 ] && apt-get install -q -y --no-install-recommends npm >/dev/null; } || true
    mkdir -p "$axe"
    npm install --no-audit --no-fund --silent --prefix "$axe" axe-core@4 >/dev/null ||
        echo "could not install axe-core: the page's own checks stand alone"
fi

cargo fmt --check
cargo fmt --check --manifest-path fuzz/Cargo.toml
cargo clippy --all-targets --locked -- -D warnings
cargo test --locked --no-fail-fast
if have cargo-deny; then
    cargo deny --locked check licenses bans sources
else
    echo "no cargo-deny: the licences were looked at by the tests, for this machine's kind only"
fi
if have c++; then
    sh fuzz/run.sh
else
    echo "no C++ compiler for libFuzzer: the fuzz targets were not run"
    [ "${CI:-}" != true ]
fi
