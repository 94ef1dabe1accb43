#!/usr/bin/env bash
# Sets up what the tests need on Debian 12 with Rust: system packages, the Python that checks colour, and the
# real clip. Safe to run again: what is there is left alone. Says nothing unless something fails.
#
#   tests/setup.sh && GREYHOLD_REAL_CLIP=target/real-clip cargo test --release
set -euo pipefail
cd "$(dirname "$0")/.."

log=$(mktemp)
trap 'rm -f "$log"' EXIT
quietly() {
    if ! "$@" >"$log" 2>&1; then
        echo "tests/setup.sh: this failed: $*" >&2
        tail -n 40 "$log" >&2
        exit 1
    fi
}

packages=(
    # building
    gcc libc6-dev pkg-config libasound2-dev libavcodec-dev libavformat-dev libavutil-dev libswscale-dev libclang-dev
    # a GPU in software, and windows without a screen
    mesa-vulkan-drivers xvfb libx11-6 libx11-xcb1 libxcursor1 libxi6 libxkbcommon-x11-0
    # driving and looking at those windows
    xdotool openbox imagemagick x11-utils
    # MIDI without a sound card
    jackd2 libjack-jackd2-dev
    # a client's browser
    chromium
    # the clip
    ffmpeg python3-venv
)
command -v npm >"$log" || packages+=(nodejs npm)

missing=()
installed=$(dpkg-query -W -f '${db:Status-Abbrev} ${Package}\n' "${packages[@]}" 2>"$log" | sed -n 's/^ii  *//p' || true)
for package in "${packages[@]}"; do
    grep -qx "$package" <<<"$installed" || missing+=("$package")
done
if ((${#missing[@]})); then
    root=()
    [ "$(id -u)" = 0 ] || root=(sudo)
    quietly "${root[@]}" apt-get update
    quietly "${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "${missing[@]}"
fi

# A stamp holds the list that an environment was made from: another list, another environment.
venv=target/oracle-venv
stamp=$venv/requirements.done
mkdir -p target
if ! cmp -s tests/oracle/requirements.txt "$stamp"; then
    quietly rm -rf "$venv"
    # Debian's own Python: the pinned wheels are for it.
    quietly /usr/bin/python3 -m venv "$venv"
    quietly "$venv/bin/pip" install --disable-pip-version-check -r tests/oracle/requirements.txt
    cp tests/oracle/requirements.txt "$stamp"
fi

# Likewise the clip: it is made anew when what makes it changes.
clip=target/real-clip
made=$clip/made-by
key=$(cat tests/oracle/real_clip.py tests/oracle/requirements.txt | sha256sum)
if [ ! -e "$clip/clip.json" ] || [ "$(cat "$made" 2>"$log")" != "$key" ]; then
    quietly rm -rf "$clip"
    quietly "$venv/bin/python" tests/oracle/real_clip.py target/npm "$clip"
    echo "$key" >"$made"
fi

# And the views of real places.
views=target/panoramas
made=$views/made-by
key=$(cat tests/oracle/panoramas.py tests/oracle/requirements.txt | sha256sum)
if [ ! -e "$views/views.json" ] || [ "$(cat "$made" 2>"$log")" != "$key" ]; then
    quietly rm -rf "$views"
    quietly "$venv/bin/python" tests/oracle/panoramas.py target/npm "$views"
    echo "$key" >"$made"
fi
