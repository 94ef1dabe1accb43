"""Compares finished frames with what real_clip.py expects of them.

    python tests/oracle/compare.py CLIP {444|422} FRAME=FILE...  [--limit CODES]

CLIP is the folder that real_clip.py made; a FILE is a 16-bit RGB PNG, or raw display signal in interleaved
little-endian f32 (.f32). Prints the differences in ten-bit codes as JSON. Exits 1 when a 99th percentile
is over the limit (1 code unless said), 2 when a file cannot be compared.
"""

import argparse
import json
import pathlib
import subprocess
import sys

import numpy as np


def fail(message):
    print(message, file=sys.stderr)
    sys.exit(2)


def read(path, width, height):
    """A frame's signal, height × width × 3."""
    if path.suffix == ".f32":
        values = np.fromfile(path, dtype="<f4").astype(np.float64)
        if values.size != width * height * 3:
            fail(f"{path}: {values.size} numbers, {width * height * 3} are needed")
        return values.reshape(height, width, 3)
    probe = ["ffprobe", "-v", "error", "-select_streams", "v:0", "-of", "csv=p=0"]
    probe += ["-show_entries", "stream=width,height,pix_fmt", str(path)]
    found = subprocess.run(probe, capture_output=True, text=True)
    about = found.stdout.strip()
    if about not in (f"{width},{height},rgb48be", f"{width},{height},rgba64be"):
        fail(f"{path}: {about or found.stderr.strip()}; a 16-bit RGB PNG of {width}x{height} is needed")
    # Only the byte order changes here; nothing is scaled.
    shape, pixels = ((height, width, 3), "rgb48le") if "rgb48" in about else ((height, width, 4), "rgba64le")
    command = ["ffmpeg", "-v", "error", "-nostdin", "-i", str(path), "-f", "rawvideo", "-pix_fmt", pixels, "-"]
    data = subprocess.run(command, check=True, capture_output=True).stdout
    return np.frombuffer(data, dtype="<u2").reshape(shape)[..., :3] / 65535.0


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("clip", type=pathlib.Path)
    parser.add_argument("sampling", choices=("444", "422"))
    parser.add_argument("frames", nargs="+", metavar="FRAME=FILE")
    parser.add_argument("--limit", type=float, default=1.0)
    given = parser.parse_args()
    about = json.loads((given.clip / "clip.json").read_text())
    width, height = about["width"], about["height"]
    report, good = {}, True
    for pair in given.frames:
        number, _, name = pair.partition("=")
        if not name or not number.isdigit() or int(number) not in about["expected"]:
            fail(f"{pair}: FRAME=FILE with a frame of {about['expected']} is needed")
        wanted = read(given.clip / f"expected_{given.sampling}_{int(number):02}.f32", width, height)
        codes = np.abs(read(pathlib.Path(name), width, height) - wanted) * 1023.0
        # A NaN compares as no difference at all; it must count as the greatest.
        codes = np.where(np.isfinite(codes), codes, 1023.0)
        p99, p999 = np.percentile(codes, [99, 99.9])
        report[number] = {"max": codes.max(), "p99": p99, "p99.9": p999, "mean": codes.mean()}
        good &= bool(p99 <= given.limit)
    print(json.dumps({"sampling": given.sampling, "limit": given.limit, "good": good, "frames": report}, indent=2))
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
