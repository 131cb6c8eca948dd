#!/bin/sh
# A Debian package under target/debian: needs cargo-deb (cargo install cargo-deb --locked) and nothing else of the system
# but a C compiler.
set -eu
cd "$(dirname "$0")/../.."
cargo build --release --locked
rm -rf target/package
sh src/service/files.sh target/release/closerun target/package
cargo deb --locked --no-build
