"""Writes tests/data/framing.csv: frames resampled by cubic convolution, in float64, for tests/framing.rs.

The kernel is the published one (R. G. Keys, "Cubic Convolution Interpolation for Digital Image Processing",
IEEE Trans. ASSP 29(6), 1981, equation for the one free constant a, here -1/2; its text from memory), worked
out as a matrix for each way of the picture, rows normalised. Nothing here knows the program; what it has in
common with it is only what framing is documented to be:

    a raster of W x H, a frame of w x h, both of square pixels; m = min or max of W/w and H/h, times scale;
    the raster pixel x lies at (x + 1/2 - W/2 - pan W) / m + w/2 in the frame, likewise down (pan + is up);
    a frame made smaller is weighed by a kernel that is 1/m times as wide; edges are repeated; outside, nothing.

    python tests/oracle/framing.py [FOLDER]
"""

import pathlib
import sys

import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"

# frame, raster, fitting, pan-x, pan-y, scale
CASES = [
    ((24, 16), (24, 16), "fit", 0.0, 0.0, 1.0),
    ((24, 16), (24, 16), "fit", 0.1, -0.07, 1.0),
    ((24, 16), (36, 24), "fit", 0.0, 0.0, 1.0),
    ((24, 16), (30, 30), "fit", 0.0, 0.0, 1.0),
    ((24, 16), (30, 30), "fill", -0.2, 0.05, 1.0),
    ((17, 23), (32, 18), "fit", 0.013, 0.0, 1.7),
    ((17, 23), (32, 18), "fill", 0.0, 0.21, 0.93),
    ((64, 48), (24, 18), "fit", 0.0, 0.0, 1.0),
    ((64, 48), (24, 18), "fill", 0.031, -0.017, 0.77),
    ((90, 70), (16, 9), "fit", 0.0, 0.0, 1.0),
    ((90, 70), (16, 9), "fill", 0.3, 0.4, 0.6),
    ((24, 16), (40, 30), "fit", -0.11, 0.083, 10.0),
    ((24, 16), (64, 48), "fit", 0.2, 0.1, 0.1),
]


def keys(s, a=-0.5):
    s = np.abs(s)
    near = (a + 2) * s**3 - (a + 3) * s**2 + 1
    far = a * s**3 - 5 * a * s**2 + 8 * a * s - 4 * a
    return np.where(s < 1, near, np.where(s < 2, far, 0.0))


def axis(frame, raster, magnification, pan):
    """Weights of frame pixels for raster pixels, and which raster pixels lie in the frame."""
    at = (np.arange(raster) + 0.5 - raster / 2 - pan * raster) / magnification + frame / 2
    reduction = max(1.0, 1.0 / magnification)
    beyond = int(np.ceil(2 * reduction)) + 1
    pixels = np.arange(-beyond, frame + beyond)
    weights = keys((at[:, None] - 0.5 - pixels[None, :]) / reduction)
    matrix = np.zeros((raster, frame))
    np.add.at(matrix.T, np.clip(pixels, 0, frame - 1), weights.T)
    inside = (at >= 0) & (at < frame)
    return matrix / np.where(inside, matrix.sum(axis=1), 1.0)[:, None], inside


def picture(width, height):
    """Ten-bit codes, as tests/framing.rs makes them."""
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    codes = [(x * 37 + y * 101 + x * y * 7) % 1009, (x * 211 + y * 13) % 1021, (x * x + 3 * y * y) % 997]
    return np.stack(codes, axis=-1) / 1023.0


def main():
    lines = [
        f"# Written by tests/oracle/framing.py, numpy {np.__version__}, float64: Keys 1981, a = -1/2.",
        "frame,raster,fitting,pan-x,pan-y,scale,x,y,r,g,b",
    ]
    for (w, h), (W, H), fitting, pan_x, pan_y, scale in CASES:
        choose = min if fitting == "fit" else max
        magnification = choose(W / w, H / h) * scale
        across, in_x = axis(w, W, magnification, pan_x)
        down, in_y = axis(h, H, magnification, -pan_y)
        made = np.einsum("yj,jic,xi->yxc", down, picture(w, h), across)
        case = f"{w}x{h},{W}x{H},{fitting},{pan_x!r},{pan_y!r},{scale!r}"
        for y in range(H):
            for x in range(W):
                if (3 * x + 5 * y) % 11 == 0:
                    inside = in_x[x] and in_y[y]
                    rgb = ",".join(repr(float(v)) for v in made[y, x]) if inside else ",,"
                    lines.append(f"{case},{x},{y},{rgb}")
    (OUT / "framing.csv").write_text("\n".join(lines) + "\n")


main()
