#!/usr/bin/env bash
# Sets up what the tests need and runs all of them. What the README calls the second command.
set -euo pipefail
cd "$(dirname "$0")/.."
tests/setup.sh
export GREYHOLD_REAL_CLIP=$PWD/target/real-clip
exec cargo test --release --features jack "$@"
