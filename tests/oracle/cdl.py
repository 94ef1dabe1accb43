"""Writes tests/data/cdl.csv: ASC CDL v1.2 in its four styles, twice over.

The formula is written here from the published order of operations and evaluated by numpy in float64; the
other witness is OpenColorIO's CDLTransform. Run by hand, and commit what changed:

    python tests/oracle/cdl.py [FOLDER]

Formula: Pines & Reisner, "ASC CDL Transfer Functions and Interchange Syntax", version 1.2 (2009); the styles
Fwd, Rev, FwdNoClamp and RevNoClamp as the Common LUT Format (Academy S-2014-006) words them.
"""

import datetime
import pathlib
import sys

import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"
REC709 = np.array([0.2126, 0.7152, 0.0722])


def clamped(v):
    return np.minimum(np.maximum(v, 0.0), 1.0)


def raised(v, exponent, clamp):
    if clamp:
        return clamped(v) ** exponent
    return np.where(v < 0.0, v, np.abs(v) ** exponent)


def saturated(v, amount):
    luma = v @ REC709
    return luma[:, None] + amount * (v - luma[:, None])


def forward(v, slope, offset, power, saturation, clamp):
    v = saturated(raised(v * slope + offset, power, clamp), saturation)
    return clamped(v) if clamp else v


def reverse(v, slope, offset, power, saturation, clamp):
    v = saturated(clamped(v) if clamp else v, 1.0 / saturation)
    v = (raised(v, 1.0 / power, clamp) - offset) / slope
    return clamped(v) if clamp else v


def by_ocio(v, slope, offset, power, saturation, style, direction):
    made = ocio.CDLTransform()
    made.setStyle(style)
    made.setDirection(direction)
    made.setSlope(slope), made.setOffset(offset), made.setPower(power), made.setSat(saturation)
    # Above NONE it computes powers fast and roughly, and leaves clamps out.
    run = ocio.Config.CreateRaw().getProcessor(made).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    )
    out = v.astype(np.float32)
    run.applyRGB(out)
    return out


STYLES = {
    "Fwd": (forward, True, ocio.CDL_ASC, ocio.TRANSFORM_DIR_FORWARD),
    "FwdNoClamp": (forward, False, ocio.CDL_NO_CLAMP, ocio.TRANSFORM_DIR_FORWARD),
    "Rev": (reverse, True, ocio.CDL_ASC, ocio.TRANSFORM_DIR_INVERSE),
    "RevNoClamp": (reverse, False, ocio.CDL_NO_CLAMP, ocio.TRANSFORM_DIR_INVERSE),
}

rng = np.random.default_rng(12)
settings = [(np.ones(3), np.zeros(3), np.ones(3), 1.0), (np.ones(3), np.full(3, -0.125), np.ones(3), 1.0)]
for saturation in (1.0, 0.6, 1.7):
    for _ in range(2):
        settings.append(
            (
                np.round(rng.uniform(0.3, 2.5, 3), 3),
                np.round(rng.uniform(-0.4, 0.25, 3), 3),
                np.round(rng.uniform(0.5, 2.0, 3), 3),
                saturation,
            )
        )
# Whole sixty-fourths are the same number in float32 and float64. Far outside, too.
corners = np.array([[0, 0, 0], [64, 64, 64], [-32, 16, 96], [160, -160, 0], [640, 320, 64]], dtype=float)
rows, worst = [], {}
for style, (formula, clamp, *how) in STYLES.items():
    for slope, offset, power, saturation in settings:
        v = np.concatenate([corners, rng.integers(-32, 97, (5, 3))]) / 64.0
        exact = formula(v, slope, offset, power, saturation, clamp)
        single = by_ocio(v, slope, offset, power, saturation, *how)
        largest = np.maximum(np.abs(exact).max(axis=1), 1.0)[:, None]
        worst[style] = max(worst.get(style, 0.0), float((np.abs(single - exact) / largest).max()))
        for i, e, s in zip(v, exact, single):
            rows.append((style, *slope, *offset, *power, saturation, *i, *e, *s))


def text(v):
    if isinstance(v, np.float32):
        return f"{v:.9g}"
    return v if isinstance(v, str) else repr(float(v)).removesuffix(".0")


today = datetime.date.today().isoformat()
three = lambda name: [f"{name}_{c}" for c in "rgb"]
columns = ["style", *three("slope"), *three("offset"), *three("power"), "saturation"]
columns += [*three("in"), *three("formula"), *three("ocio")]
notes = [
    f"formula: ASC CDL v1.2 written out by tests/oracle/cdl.py, numpy {np.__version__}, float64",
    f"ocio: opencolorio {ocio.__version__}, CDLTransform CDL_ASC and CDL_NO_CLAMP, both directions, OPTIMIZATION_NONE, 32-bit float;",
    "its distance from the formula, of the pixel's largest channel or of 1: "
    + ", ".join(f"{style} {w:.1e}" for style, w in worst.items()),
    f"made {today} by tests/oracle/cdl.py",
]
lines = [f"# {note}" for note in notes] + [",".join(columns)]
lines += [",".join(text(v) for v in row) for row in rows]
(OUT / "cdl.csv").write_text("\n".join(lines) + "\n")
print(f"cdl.csv: {len(rows)} rows")
print(notes[2])
