"""Writes tests/data/aces2.csv, which tests/aces2.rs reads: the ACES 2.0 output transforms by OpenColorIO.

Nothing here knows the program. Run by hand, and commit what changed:

    python tests/oracle/aces2.py [FOLDER]
"""

import datetime
import pathlib
import sys
import warnings

warnings.simplefilter("ignore")

import colour
import numpy as np
import PyOpenColorIO as ocio

colour.utilities.filter_warnings(True)

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"

# Rendering: (built-in, RGB space that its light is given in, peak over 100 cd/m2)
LIGHTS = {
    "rec709": ("SDR-100nit-REC709_2.0", "ITU-R BT.709", 1.0),
    "p3": ("SDR-100nit-P3-D65_2.0", "P3-D65", 1.0),
    "pq1000": ("HDR-1000nit-REC2020_2.0", "ITU-R BT.2020", 10.0),
}
# Signal: (rendering, built-in)
SIGNALS = {
    "rec709": ("rec709", "REC.1886-REC.709"),
    "srgb": ("rec709", "sRGB"),
    "p3-d65": ("p3", "G2.6-P3-D65"),
    "pq1000": ("pq1000", "REC.2100-PQ"),
}


def run(*builtins, on):
    chain = ocio.GroupTransform([ocio.BuiltinTransform(name) for name in builtins])
    made = ocio.Config.CreateRaw().getProcessor(chain).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    )
    out = on.copy()
    made.applyRGB(out)
    return out


def colours():
    space = colour.RGB_COLOURSPACES["ACES2065-1"]
    space.use_derived_transformation_matrices(True)
    checker = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    patches = [
        colour.XYZ_to_RGB(
            colour.xyY_to_XYZ(xyY), space, illuminant=checker.illuminant,
            chromatic_adaptation_transform="Bradford",
        )
        for xyY in checker.data.values()
    ]
    rows = [(f"patch {stops:+d}", rgb * 2.0**stops) for stops in range(-6, 7) for rgb in patches]
    rng = np.random.default_rng(2020)
    ap1 = colour.matrix_RGB_to_RGB(colour.RGB_COLOURSPACES["ACEScg"], space, None)
    kinds = {
        # Pale, about a grey; any within ACEScg; at the border of ACEScg; and outside of it.
        "pale": lambda: ap1 @ (1.0 + rng.uniform(-0.3, 0.3, 3)),
        "any": lambda: ap1 @ rng.uniform(0.0, 1.0, 3),
        "border": lambda: ap1 @ (rng.permutation([0.0, 1.0, rng.uniform(0.0, 1.0)])),
        "outside": lambda: rng.uniform(-0.2, 1.0, 3),
    }
    for kind, draw in kinds.items():
        rows += [(kind, draw() * 2.0 ** rng.uniform(-8.0, 5.0)) for _ in range(500)]
    return rows


def main():
    rows = colours()
    kinds = [kind for kind, _ in rows]
    # Six digits, so that the table says exactly what went in.
    text = [[f"{v:.6g}" for v in rgb] for _, rgb in rows]
    into = np.array([[float(v) for v in row] for row in text], dtype=np.float32)

    columns, values = ["kind", "aces_r", "aces_g", "aces_b"], []
    for name, (builtin, space, peak) in LIGHTS.items():
        space = colour.RGB_COLOURSPACES[space]
        space.use_derived_transformation_matrices(True)
        xyz = run(f"ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {builtin}", on=into)
        values.append((xyz.astype(float) @ space.matrix_XYZ_to_RGB.T / peak, 7))
        columns += [f"{name}_{c}" for c in ("r", "g", "b")]
    for name, (light, builtin) in SIGNALS.items():
        chain = (
            f"ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {LIGHTS[light][0]}",
            f"DISPLAY - CIE-XYZ-D65_to_{builtin}",
        )
        values.append((run(*chain, on=into), 6))
        columns += [f"{name}_signal_{c}" for c in ("r", "g", "b")]

    notes = [
        f"opencolorio {ocio.__version__}, OPTIMIZATION_NONE, 32-bit float: ACES 2.0 output transforms",
        "into: ACES2065-1 light, 24 ColorChecker patches (after November 2014, Bradford to the ACES white)",
        f"by colour-science {colour.__version__} at -6 to +6 stops, and random colours of four kinds, seed 2020",
        *(
            f"light {name}: ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {builtin}, XYZ to {space} by SMPTE RP 177:1993"
            f" in float64, over {peak:g}: peak is 1"
            for name, (builtin, space, peak) in LIGHTS.items()
        ),
        *(f"signal {n}: light {l}, then DISPLAY - CIE-XYZ-D65_to_{b}" for n, (l, b) in SIGNALS.items()),
        f"made {datetime.date.today().isoformat()} by tests/oracle/aces2.py",
    ]
    lines = [f"# {note}" for note in notes] + [",".join(columns)]
    for i, (kind, row) in enumerate(zip(kinds, text)):
        # Minus nought is nought, and a nought before the point says nothing.
        cells = [f"{v:.{digits}f}" for table, digits in values for v in table[i] + 0.0]
        lines.append(",".join([kind, *row, *(c.replace("0.", ".", 1) if c[:2] == "0." else c for c in cells)]))
    path = OUT / "aces2.csv"
    path.write_text("\n".join(lines) + "\n")
    print(f"{path.name}: {len(rows)} rows, {path.stat().st_size} bytes")


main()
