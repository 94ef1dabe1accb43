"""Makes a camera-like clip from a real picture, and the picture that a grade of it has to give.

    python tests/oracle/real_clip.py CACHE OUT

The picture is a CC0 scene-linear panorama from the npm package @pmndrs/assets, fetched into CACHE. OUT gets
raw planes (yuv444p10le, yuv422p10le), the same in FFV1 with colour tags, expected frames (R'G'B' display
signal, interleaved little-endian f32) and clip.json, which says what was done.

The expected side shares no code with the program: curves and matrices are colour-science's, the rest is
written out below in float64 from the formulas that the program's documents state.
"""

import base64
import json
import pathlib
import re
import subprocess
import sys
import tarfile
import tempfile
import warnings

warnings.simplefilter("ignore")

import colour
import numpy as np
import OpenEXR

PACKAGE, VERSION, PICTURE = "@pmndrs/assets", "1.7.0", "package/hdri/city.exr.js"
WIDTH, HEIGHT, FRAMES, PAN = 480, 256, 24, 4
EXPECTED = (0, 11, 23)

BALANCE = {"exposure": -0.35, "offset-r": 2.5, "offset-g": -0.75, "offset-b": -3.0}
LOOK_STRENGTH = 0.9
STAGES = [
    {
        "key": "contrast",
        "strength": 0.85,
        "parameters": {"slope": 1.22, "toe": 0.35, "shoulder": 0.45},
    },
    {
        "key": "split-tone",
        "strength": 1.2,
        "parameters": {
            "shadow-hue": 230.0,
            "shadow-amount": 8.0,
            "highlight-hue": 110.0,
            "highlight-amount": 6.0,
            "width": 1.8,
        },
    },
]

colour.utilities.filter_warnings(True)
for space in colour.RGB_COLOURSPACES.values():
    space.use_derived_transformation_matrices(True)
BT709 = colour.RGB_COLOURSPACES["ITU-R BT.709"]
CAMERA = colour.RGB_COLOURSPACES["ARRI Wide Gamut 4"]
ACESCG = colour.RGB_COLOURSPACES["ACEScg"]
CAMERA_CAT = "CAT02"


def convert(rgb, source, target, cat):
    return colour.RGB_to_RGB(rgb, source, target, chromatic_adaptation_transform=cat)


def panorama(cache):
    cache.mkdir(parents=True, exist_ok=True)
    archive = cache / f"pmndrs-assets-{VERSION}.tgz"
    if not archive.exists():
        subprocess.run(
            ["npm", "pack", "--silent", f"{PACKAGE}@{VERSION}"],
            cwd=cache, check=True, stdout=subprocess.DEVNULL,
        )
    with tarfile.open(archive) as tar:
        text = tar.extractfile(PICTURE).read().decode()
    exr = base64.b64decode(re.search(r"base64,([A-Za-z0-9+/=]+)", text).group(1))
    with tempfile.NamedTemporaryFile(suffix=".exr") as file:
        file.write(exr)
        file.flush()
        pixels = OpenEXR.File(file.name).channels()["RGB"].pixels
    # The file names no chromaticities; OpenEXR's default is BT.709, and nothing below depends on it.
    rgb = np.asarray(pixels, dtype=np.float64)
    # Its compression left small negatives, which no camera records.
    rgb = np.maximum(rgb, 0.0)
    return rgb * (0.18 / np.median(rgb @ [0.2126, 0.7152, 0.0722]))


def round_half_up(v):
    return np.floor(v + 0.5)


def camera_codes(linear709):
    """Scene-linear BT.709 to ten-bit Y', C_B, C_R before chroma is rounded: (Y' codes, C_B, C_R)."""
    log = colour.log_encoding(convert(linear709, BT709, CAMERA, CAMERA_CAT), function="ARRI LogC4")
    r, g, b = np.moveaxis(round_half_up(np.clip(log, 0.0, 1.0) * 1023.0) / 1023.0, -1, 0)
    # BT.709-6, items 3.2 to 3.5: weights, and narrow range 64–940, 64–960.
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    return round_half_up(876 * y + 64), 896 * (b - y) / 1.8556 + 512, 896 * (r - y) / 1.5748 + 512


def halved(chroma):
    """Chroma on every second column, co-sited with it, after a [1 2 1]/4 filter; edges are repeated."""
    p = np.pad(chroma, ((0, 0), (1, 1)), mode="edge")
    return ((p[:, :-2] + 2 * p[:, 1:-1] + p[:, 2:]) / 4)[:, ::2]


def doubled(chroma):
    """Back to every column: the sample itself, and half way between two; the last is repeated."""
    out = np.repeat(chroma, 2, axis=1)
    out[:, 1:-1:2] = (chroma[:, :-1] + chroma[:, 1:]) / 2
    return out


def contrast(x, p):
    """Ratio about grey in ACEScct; either half bends to a limit of six stops ÷ toe or shoulder."""
    grey = (np.log2(0.18) + 9.72) / 17.52
    t = p["slope"] * (x - grey)
    reach = np.where(t < 0, p["toe"], p["shoulder"]) * 17.52 / 6.0
    return grey + t / np.sqrt(1.0 + (reach * t) ** 2)


def split_tone(x, p):
    """A push along a (C_B, C_R) direction, at constant luma, by distance of the luma from grey."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    grey = (np.log2(0.18) + 9.72) / 17.52

    def push(which):
        angle = np.radians(p[f"{which}-hue"])
        reach = p[f"{which}-amount"] * point
        cb, cr = reach * np.cos(angle), reach * np.sin(angle)
        # The Y'CbCr matrix with Y' = 0: R' = 1.5748 C_R, B' = 1.8556 C_B, G' so that luma is 0.
        green = -(0.2126 * 1.5748 * cr + 0.0722 * 1.8556 * cb) / 0.7152
        return np.array([1.5748 * cr, green, 1.8556 * cb])

    d = (x @ weights - grey)[..., None]
    share = 1.0 - 1.0 / (1.0 + (d * 17.52 / p["width"]) ** 2)
    return x + share * np.where(d < 0, push("shadow"), push("highlight"))


# 0.025 of log10 exposure, in ACEScct.
point = 0.025 * np.log2(10.0) / 17.52
CALCULATION = {"contrast": contrast, "split-tone": split_tone}


def tone_scale(x, peak=100.0):
    """The ACES 2 tone scale (Academy documentation, Output Transforms, Tone Mapping), peak at 1."""
    n, g, t1 = peak / 100.0, 1.15, 0.04
    hit = 128.0 + 768.0 * np.log(n) / np.log(100.0)

    def unflared(v):
        return (v + np.sqrt(v * (v + 4.0 * t1))) / 2.0

    m1 = unflared(n)
    m = m1 * ((hit / m1 + 1.0) / (hit / m1)) ** g
    grey = unflared(0.10013 * (1.0 + 0.14 * np.log2(n)))
    k = (grey / m) ** (1.0 / g)
    w2 = 0.18 * (1.0 - k) / (m1 * k)
    m2 = m1 * ((hit / m1 + w2) / (hit / m1)) ** g
    x = np.maximum(x, 0.0)
    f = m2 * (x / (x + w2 * m1)) ** g
    return f * f / (f + t1) / n


def expected(y, cb, cr):
    """The graded picture of full-size planes of codes."""
    y, cb, cr = (y - 64) / 876, (cb - 512) / 896, (cr - 512) / 896
    r, b = y + 1.5748 * cr, y + 1.8556 * cb
    signal = np.stack([r, (y - 0.2126 * r - 0.0722 * b) / 0.7152, b], axis=-1)
    light = convert(colour.log_decoding(signal, function="ARRI LogC4"), CAMERA, ACESCG, CAMERA_CAT)
    x = colour.log_encoding(light * 2.0 ** BALANCE["exposure"], function="ACEScct")
    x = x + point * np.array([BALANCE[f"offset-{c}"] for c in "rgb"])
    for stage in STAGES:
        strength = stage["strength"] * LOOK_STRENGTH
        x = x + strength * (CALCULATION[stage["key"]](x, stage["parameters"]) - x)
    light = tone_scale(colour.log_decoding(x, function="ACEScct"))
    shown = np.clip(convert(light, ACESCG, BT709, "Bradford"), 0.0, 1.0)
    # BT.1886 with black at 0.
    return shown ** (1 / 2.4)


def wrap(raw, pixels, out):
    """Into FFV1 with colour tags, and proof that it is lossless."""
    size = f"{WIDTH}x{HEIGHT}"
    tags = "setparams=range=tv:color_primaries=bt709:color_trc=bt709:colorspace=bt709"
    ffmpeg = ["ffmpeg", "-v", "error", "-nostdin", "-y"]
    source = ["-f", "rawvideo", "-pix_fmt", pixels, "-s", size, "-r", "24", "-i", raw]
    coded = ["-c:v", "ffv1", "-level", "3", "-slicecrc", "1", "-chroma_sample_location", "left"]
    coded += ["-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"]
    subprocess.run([*ffmpeg, *source, "-vf", tags, *coded, out], check=True)
    back = subprocess.run(
        [*ffmpeg, "-i", out, "-f", "rawvideo", "-pix_fmt", pixels, "-"], check=True, capture_output=True
    ).stdout
    if back != raw.read_bytes():
        raise SystemExit(f"{out}: not the frames that went in")


def main(cache, out):
    out.mkdir(parents=True, exist_ok=True)
    picture = panorama(cache)
    raw = {"444": out / "clip_444.yuv", "422": out / "clip_422.yuv"}
    files = {s: open(path, "wb") for s, path in raw.items()}
    for frame in range(FRAMES):
        y, cb, cr = camera_codes(np.roll(picture, -PAN * frame, axis=1)[:, :WIDTH])
        small = [round_half_up(halved(c)) for c in (cb, cr)]
        full = [round_half_up(c) for c in (cb, cr)]
        for sampling, chroma in (("444", full), ("422", small)):
            for plane in (y, *chroma):
                assert plane.min() >= 4 and plane.max() <= 1019, "outside the codes that carry picture"
                files[sampling].write(plane.astype("<u2").tobytes())
        if frame in EXPECTED:
            for sampling, chroma in (("444", full), ("422", [doubled(c) for c in small])):
                path = out / f"expected_{sampling}_{frame:02}.f32"
                expected(y, *chroma).astype("<f4").tofile(path)
    for file in files.values():
        file.close()
    for sampling, path in raw.items():
        wrap(path, f"yuv{sampling}p10le", out / f"clip_{sampling}.mkv")
    about = {
        "source": f"npm {PACKAGE} {VERSION}, {PICTURE}, CC0",
        "made with": f"colour-science {colour.__version__}, numpy {np.__version__}",
        "width": WIDTH,
        "height": HEIGHT,
        "frames": FRAMES,
        "rate": 24,
        "encoding": "logc4",
        "codes": "10 bit, narrow range, BT.709 matrix, chroma on the left column where it is halved",
        "balance": BALANCE,
        "look strength": LOOK_STRENGTH,
        "stages": STAGES,
        "transform": "plain",
        "display": "rec709",
        "expected": list(EXPECTED),
    }
    # Last, so that its presence says that everything else is there.
    (out / "clip.json").write_text(json.dumps(about, indent=2) + "\n")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        raise SystemExit("usage: real_clip.py CACHE OUT")
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
