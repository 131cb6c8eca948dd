#!/bin/sh
# Builds the fuzz targets with libFuzzer's instrumentation, on stable Rust, and runs them from their kept corpus.
#
#   sh fuzz/run.sh                       every target, a bounded number of runs each: what tests/run.sh does
#   sh fuzz/run.sh TARGET [FLAG...]      one target, optimised, with libFuzzer's own flags: -max_total_time=600
#
# Where cargo-fuzz is installed, `cargo fuzz run TARGET` does the same, with an address sanitizer on a nightly Rust.
set -eu
cd "$(dirname "$0")"

# Inputs beyond the kept ones: some seconds a target.
runs=${FUZZ_RUNS:-1500}

# What cargo-fuzz passes, without a sanitizer: our code is safe Rust, so assertions and overflow checks find what is
# wrong with it.
RUSTFLAGS="--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4
    -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table
    -Cllvm-args=-sanitizer-coverage-trace-compares"
export RUSTFLAGS

# The target is named so that what runs while building (build scripts, derives) is not instrumented.
host=$(rustc -vV | sed -n 's/^host: //p')

fuzz() {
    built=$1 target=$2
    shift 2
    mkdir -p "target/found/$target" "artifacts/$target"
    "target/$host/$built/$target" -timeout=5 -rss_limit_mb=512 -dict=words.dict \
        -artifact_prefix="artifacts/$target/" "$@" "target/found/$target" "corpus/$target"
}

if [ $# -gt 0 ]; then
    cargo build --quiet --locked --release --bin "$1" --target "$host"
    fuzz release "$@"
    exit
fi
cargo build --quiet --locked --bins --target "$host"
for target in drafts format_file frames; do
    # The same seed from the same corpus: a run does the same each time, and what it finds new is not kept.
    rm -rf "target/found/$target"
    mkdir -p target/found
    log=target/found/$target.log
    # A draft follows many ways through its capture: one takes as long as twenty frames.
    case $target in
    drafts) count=$((runs / 20)) ;;
    *) count=$runs ;;
    esac
    if ! fuzz debug "$target" -seed=1 -runs="$count" >"$log" 2>&1; then
        tail -40 "$log"
        echo "fuzz $target: failed; the input is in fuzz/artifacts/$target"
        exit 1
    fi
    echo "fuzz $target: $(ls "corpus/$target" | wc -l) kept inputs; $(grep '^Done' "$log")"
done
