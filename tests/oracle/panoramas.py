"""Makes views of real places under their own light, scene-linear, for the tests of what a picture says of its light.

    python tests/oracle/panoramas.py CACHE OUT

The pictures are the CC0 panoramas of the npm package @pmndrs/assets, fetched into CACHE. From each, four views to the four
sides, 80 degrees wide, 160 by 90 pixels, bilinear, in ACEScg (colour-science's matrix; the files name no primaries, and OpenEXR's
default is BT.709). OUT gets views.f32 (little-endian, interleaved) and views.json, which says what they are.
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

PACKAGE, VERSION = "@pmndrs/assets", "1.7.0"
WIDTH, HEIGHT, ANGLE, SIDES = 160, 90, 80.0, 4


def archive(cache):
    cache.mkdir(parents=True, exist_ok=True)
    path = cache / f"pmndrs-assets-{VERSION}.tgz"
    if not path.exists():
        subprocess.run(
            ["npm", "pack", "--silent", f"{PACKAGE}@{VERSION}"],
            cwd=cache, check=True, stdout=subprocess.DEVNULL,
        )
    return path


def panoramas(path):
    with tarfile.open(path) as tar:
        names = sorted(n for n in tar.getnames() if re.fullmatch(r"package/hdri/\w+\.exr\.js", n))
        for name in names:
            text = tar.extractfile(name).read().decode()
            exr = base64.b64decode(re.search(r"base64,([A-Za-z0-9+/=]+)", text).group(1))
            with tempfile.NamedTemporaryFile(suffix=".exr") as file:
                file.write(exr)
                file.flush()
                pixels = OpenEXR.File(file.name).channels()["RGB"].pixels
            yield name.split("/")[-1].removesuffix(".exr.js"), np.asarray(pixels, dtype=np.float64)


def view(picture, turn):
    height, width, _ = picture.shape
    reach = np.tan(np.radians(ANGLE / 2))
    across = ((np.arange(WIDTH) + 0.5) / WIDTH * 2 - 1) * reach
    down = -((np.arange(HEIGHT) + 0.5) / HEIGHT * 2 - 1) * reach * HEIGHT / WIDTH
    x, y = np.meshgrid(across, down)
    ray = np.stack([x, y, np.ones_like(x)], axis=-1)
    ray /= np.linalg.norm(ray, axis=-1, keepdims=True)
    longitude = np.arctan2(ray[..., 0], ray[..., 2]) + turn
    column = (longitude / (2 * np.pi) + 0.5) * width - 0.5
    row = np.arccos(np.clip(ray[..., 1], -1, 1)) / np.pi * height - 0.5
    left, top = np.floor(column).astype(int), np.clip(np.floor(row).astype(int), 0, height - 2)
    u, v = (column - left)[..., None], np.clip(row - top, 0, 1)[..., None]
    at = lambda c, r: picture[r, c % width]
    upper = at(left, top) * (1 - u) + at(left + 1, top) * u
    lower = at(left, top + 1) * (1 - u) + at(left + 1, top + 1) * u
    return upper * (1 - v) + lower * v


def main(cache, out):
    out.mkdir(parents=True, exist_ok=True)
    names, views = [], []
    source, target = colour.RGB_COLOURSPACES["ITU-R BT.709"], colour.RGB_COLOURSPACES["ACEScg"]
    for name, picture in panoramas(archive(cache)):
        # Their compression left small negatives, which no camera records.
        light = np.maximum(colour.RGB_to_RGB(picture, source, target, "Bradford"), 0.0)
        for side in range(SIDES):
            names.append(f"{name} {90 * side}")
            views.append(view(light, np.pi / 2 * side))
    np.stack(views).astype("<f4").tofile(out / "views.f32")
    about = {
        "source": f"npm {PACKAGE} {VERSION}, package/hdri, CC0",
        "made with": f"colour-science {colour.__version__}, numpy {np.__version__}",
        "width": WIDTH,
        "height": HEIGHT,
        "names": names,
    }
    # Last, so that its presence says that everything else is there.
    (out / "views.json").write_text(json.dumps(about, indent=2) + "\n")


if __name__ == "__main__":
    if len(sys.argv) != 3:
        raise SystemExit("usage: panoramas.py CACHE OUT")
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
