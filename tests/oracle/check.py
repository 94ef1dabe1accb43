"""Writes tests/data/check.csv: what tests/check.rs holds the look check to.

    python tests/oracle/check.py [FOLDER]

Colours in ICtCp and their differences by colour-science (ITU-R BT.2100-2 PQ, ITU-R BT.2124), and seven
measurements of two looks worked out in numpy: the display by OpenColorIO's ACES 2.0 built-ins (32-bit floats,
OPTIMIZATION_NONE), ACEScct and ICtCp by colour-science. The looks, both in ACEScct: "graded" is contrast 1.15 about
grey, then ASC CDL saturation 1.05; "tinted" is that with red 0.004 up and blue 0.006 down.
"""

import datetime
import pathlib
import sys

import colour
import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"
RNG = np.random.default_rng(2124)
AP1 = colour.RGB_COLOURSPACES["ACEScg"]
BT709 = colour.RGB_COLOURSPACES["ITU-R BT.709"]
BT2020 = colour.RGB_COLOURSPACES["ITU-R BT.2020"]
for space in (AP1, BT709, BT2020):
    space.use_derived_transformation_matrices(True)
WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
GREY = (np.log2(0.18) + 9.72) / 17.52
BLACK = 0.0729055341958355
CODE = 1 / 1023

METHOD = "ITU-R BT.2100-2 PQ"


def encode(x):
    return colour.log_encoding(x, function="ACEScct")


def decode(y):
    return colour.log_decoding(y, function="ACEScct")


def ictcp(light):
    """Of linear BT.709 light, 1 being 100 cd/m²."""
    rgb = colour.RGB_to_RGB(100 * np.asarray(light), BT709, BT2020, None)
    return colour.RGB_to_ICtCp(np.maximum(rgb, 0), method=METHOD, L_p=10000)


def difference(a, b):
    return colour.delta_E(a, b, method="ITP")


def displayed():
    group = ocio.GroupTransform()
    group.appendTransform(ocio.BuiltinTransform(style="ACEScct_to_ACES2065-1"))
    group.appendTransform(
        ocio.BuiltinTransform(style="ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - SDR-100nit-REC709_2.0")
    )
    processor = ocio.Config.CreateRaw().getProcessor(group).getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE)

    def light(acescct):
        flat = np.ascontiguousarray(np.asarray(acescct).reshape(-1, 3), dtype=np.float32)
        processor.applyRGB(flat)
        rgb = flat.astype(float) @ np.linalg.inv(BT709.matrix_RGB_to_XYZ).T
        return np.clip(rgb, 0, 1).reshape(np.shape(acescct))

    return light


LIGHT = displayed()


def signal(acescct):
    return LIGHT(acescct) ** (1 / 2.4)


def graded(x):
    v = GREY + 1.15 * (x - GREY)
    luma = (v @ WEIGHTS)[..., None]
    return luma + 1.05 * (v - luma)


LOOKS = {"graded": graded, "tinted": lambda x: graded(x) + np.array([0.004, 0.0, -0.006])}


def patches():
    """Scene-linear ACEScg, as tables.py writes them."""
    rows = (HERE.parent / "data" / "patches.csv").read_text().splitlines()
    rows = [r.split(",") for r in rows if r.startswith("acescct,")]
    return np.array([[float(v) for v in r[-3:]] for r in rows])


def at_limit(s):
    return np.any((s <= 0.5 * CODE) | (s >= 1 - 0.5 * CODE), axis=-1)


def clipped(look):
    x = encode(patches()[:, None, :] * 2.0 ** np.arange(-3, 3)[None, :, None])
    return 100 * at_limit(signal(look(x))).mean()


def skins(look):
    x = encode(patches()[:2, None, :] * 2.0 ** np.arange(-2, 2)[None, :, None])

    def angle(s):
        y = s @ WEIGHTS
        return np.degrees(np.arctan2((s[..., 0] - y) / 1.5748, (s[..., 2] - y) / 1.8556))

    drift = angle(signal(look(x))) - angle(signal(x))
    return np.abs(drift).max(), np.ptp(drift, axis=1).max()


def ramp_steps(look):
    on = np.array([[1, 1, 1], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]])
    count = int((GREY + 8 / 17.52 - BLACK) / CODE)
    t = BLACK + np.arange(count + 1) * CODE
    x = t[None, :, None] - (1 - on[:, None, :]) * 2 / 17.52
    seen = ictcp(LIGHT(look(x)))
    return difference(seen[:, :-1], seen[:, 1:]).max()


def measured(look):
    grey = look(np.full(3, GREY))
    weights = AP1.matrix_RGB_to_XYZ[1]
    yield "grey-shift", np.log2(decode(grey) @ weights / 0.18)
    t = np.repeat(np.linspace(BLACK, GREY + 8 / 17.52, 400)[:, None], 3, axis=1)
    light = LIGHT(look(t))
    neutral = np.repeat((light @ BT709.matrix_RGB_to_XYZ[1])[:, None], 3, axis=1)
    yield "toning-most", difference(ictcp(light), ictcp(neutral)).max()
    yield "step", ramp_steps(look)
    yield "step-ratio", ramp_steps(look) / ramp_steps(lambda x: x)
    yield "skin-drift", skins(look)[0]
    yield "skin-spread", skins(look)[1]
    yield "clip-excess", clipped(look) - clipped(lambda x: x)
    # The look is affine, so one place tells its derivatives.
    jacobian = np.stack([look(np.full(3, GREY) + e) - grey for e in np.eye(3)], axis=1)
    yield "noise-gain-neutral", np.linalg.svd(jacobian, compute_uv=False)[0]
    yield "noise-gain", np.linalg.svd(jacobian, compute_uv=False)[0]
    yield "noise-rms", np.linalg.norm(jacobian) / np.sqrt(3)
    yield "det-least", np.linalg.det(jacobian)


def main():
    lines = [
        f"# Written by tests/oracle/check.py on {datetime.date.today()} with colour-science {colour.__version__}, "
        f"opencolorio {ocio.__version__}",
        "# itp: linear BT.709 light of two colours, 1 being 100 cd/m²; I, C_T, C_P of each; delta E ITP",
        "# look, measurement, value",
    ]
    greys = np.repeat(np.array([0.0, 0.001, 0.1, 1.0])[:, None], 3, axis=1)
    first = np.concatenate([greys, 10.0 ** RNG.uniform(-4, 0, (24, 3))])
    second = np.clip(first * (1 + 0.2 * RNG.standard_normal(first.shape)), 0, 1)
    for a, b, ia, ib in zip(first, second, ictcp(first), ictcp(second)):
        row = np.concatenate([a, b, ia, ib, [difference(ia, ib)]])
        lines.append(",".join(["itp"] + [f"{v:.17g}" for v in row]))
    for name, look in LOOKS.items():
        lines += [f"{name},{key},{value:.17g}" for key, value in measured(look)]
    (OUT / "check.csv").write_text("\n".join(lines) + "\n")


main()
