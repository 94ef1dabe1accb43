"""Writes tests/data/aces2_inverse.csv, which tests/aces2_inverse.rs reads: the inverse ACES 2.0 output transforms
by OpenColorIO.

Nothing here knows the program. Run by hand, and commit what changed:

    python tests/oracle/aces2_inverse.py [FOLDER]
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
    "pq1000-p3": ("HDR-1000nit-P3-D65_2.0", "P3-D65", 10.0),
}


def run(builtin, direction, on):
    transform = ocio.BuiltinTransform(f"ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {builtin}", direction)
    made = ocio.Config.CreateRaw().getProcessor(transform).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    )
    out = on.astype(np.float32)
    made.applyRGB(out)
    return out.astype(float)


def lights():
    """Display light with peak 1, from BT.1886-like signals, so that dark colours have their share."""
    rows = [("grey", np.full(3, v)) for v in np.linspace(0.0, 1.0, 33)]
    rng = np.random.default_rng(709)
    kinds = {
        "pale": lambda: np.clip(rng.uniform(0.05, 0.95) + rng.uniform(-0.05, 0.05, 3), 0.0, 1.0),
        "any": lambda: rng.uniform(0.0, 1.0, 3),
        # On a face of the cube, where one channel is nothing or full.
        "face": lambda: rng.permutation([rng.integers(0, 2), *rng.uniform(0.0, 1.0, 2)]),
    }
    for kind, draw in kinds.items():
        rows += [(kind, draw()) for _ in range(250)]
    return [(kind, rgb**2.4) for kind, rgb in rows]


def main():
    rows = lights()
    kinds = [kind for kind, _ in rows]
    # Six digits, so that the table says exactly what went in.
    text = [[f"{v:.6g}" for v in rgb] for _, rgb in rows]
    into = np.array([[float(v) for v in row] for row in text])
    columns, values = ["kind", "r", "g", "b"], []
    for name, (builtin, space, peak) in LIGHTS.items():
        space = colour.RGB_COLOURSPACES[space]
        space.use_derived_transformation_matrices(True)
        xyz = (into * peak) @ space.matrix_RGB_to_XYZ.T
        aces = run(builtin, ocio.TRANSFORM_DIR_INVERSE, xyz)
        back = run(builtin, ocio.TRANSFORM_DIR_FORWARD, aces) @ space.matrix_XYZ_to_RGB.T / peak
        values += [aces, back]
        columns += [f"{name}_{c}" for c in ("aces_r", "aces_g", "aces_b", "back_r", "back_g", "back_b")]
        error = np.abs(back - into).max(axis=1)
        print(f"{name}: there and back differs by {error.max():.1e} of peak, median {np.median(error):.1e}")
    notes = [
        f"opencolorio {ocio.__version__}, OPTIMIZATION_NONE, 32-bit float: ACES 2.0 output transforms, inverse",
        "into: display light, peak is 1: greys, and random colours of three kinds (signals to the power 2.4), seed 709",
        *(
            f"{name}: {space} to XYZ by SMPTE RP 177:1993 in float64, times {peak:g}, then the inverse of ACES-OUTPUT -"
            f" ACES2065-1_to_CIE-XYZ-D65 - {builtin}: _aces is ACES2065-1 light, _back what the forward one makes of it"
            for name, (builtin, space, peak) in LIGHTS.items()
        ),
        f"made {datetime.date.today().isoformat()} by tests/oracle/aces2_inverse.py",
    ]
    lines = [f"# {note}" for note in notes] + [",".join(columns)]
    for i, (kind, row) in enumerate(zip(kinds, text)):
        cells = [f"{v:.7g}" for table in values for v in table[i] + 0.0]
        lines.append(",".join([kind, *row, *cells]))
    path = OUT / "aces2_inverse.csv"
    path.write_text("\n".join(lines) + "\n")
    print(f"{path.name}: {len(rows)} rows, {path.stat().st_size} bytes")


main()
