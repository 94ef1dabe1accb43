"""Writes tests/data/d60.csv, show_lut.cube and show_lut.csv, which tests/outputs.rs reads: D60 white on other displays,
and a show's own table ahead of several displays, by OpenColorIO.

Nothing here knows the program. Run by hand, and commit what changed:

    python tests/oracle/outputs.py [FOLDER]
"""

import datetime
import pathlib
import sys
import warnings

warnings.simplefilter("ignore")

import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"

# Display: (rendering, encoding)
D60 = {
    "rec709": ("SDR-100nit-REC709-D60-in-REC709-D65_2.0", "REC.1886-REC.709"),
    "p3": ("SDR-100nit-P3-D60-in-P3-D65_2.0", "G2.6-P3-D65"),
    "rec709-in-p3": ("SDR-100nit-REC709-D60-in-P3-D65_2.0", "G2.6-P3-D65"),
    "pq1000-p3": ("HDR-1000nit-P3-D60-in-REC2020-D65_2.0", "REC.2100-PQ"),
}
# What a table's REC.1886-REC.709 signal becomes.
DISPLAYS = {"rec709": None, "srgb": "sRGB", "p3-d65": "G2.6-P3-D65", "pq": "REC.2100-PQ"}


def builtin(name, inverse=False):
    way = ocio.TRANSFORM_DIR_INVERSE if inverse else ocio.TRANSFORM_DIR_FORWARD
    return ocio.BuiltinTransform(name, way)


def run(transforms, on):
    config = ocio.Config.CreateRaw()
    made = config.getProcessor(ocio.GroupTransform(transforms)).getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    )
    out = on.copy()
    made.applyRGB(out)
    return out


def write(name, notes, columns, rows):
    lines = [f"# {n}" for n in notes] + [",".join(columns)] + [",".join(f"{v:.9g}" for v in r) for r in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")
    print(f"{name}: {len(rows)} rows")


def colours(rng, count):
    """ACES2065-1 light: neutrals, then colours of ACEScg, from pale to pure, over 13 stops."""
    neutral = 0.18 * 2.0 ** np.linspace(-6.0, 7.0, 40)[:, None] * np.ones(3)
    pale = rng.uniform(0.0, 1.0, (count, 1))
    any_colour = rng.uniform(0.0, 1.0, (count, 3)) * (1.0 - pale) + pale
    acescg = np.vstack([neutral, any_colour * 2.0 ** rng.uniform(-8.0, 5.0, (count, 1))])
    return run([builtin("ACEScg_to_ACES2065-1")], acescg.astype(np.float32))


def six_digits(values):
    return np.array([[float(f"{v:.6g}") for v in row] for row in values], dtype=np.float32)


def main():
    rng = np.random.default_rng(60)
    made = f"made {datetime.date.today().isoformat()} by tests/oracle/outputs.py"
    version = f"opencolorio {ocio.__version__}, OPTIMIZATION_NONE, 32-bit float"

    into = six_digits(colours(rng, 400))
    columns, tables = ["aces_r", "aces_g", "aces_b"], [into]
    for name, (rendering, encoding) in D60.items():
        chain = [
            builtin(f"ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {rendering}"),
            builtin(f"DISPLAY - CIE-XYZ-D65_to_{encoding}"),
        ]
        tables.append(run(chain, into))
        columns += [f"{name}_{c}" for c in "rgb"]
    notes = [f"{version}: signal of ACES 2.0 with D60 white on displays with D65 white, from ACES2065-1 light"]
    notes += [f"{n}: ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {r}, then DISPLAY - CIE-XYZ-D65_to_{e}" for n, (r, e) in D60.items()]
    write("d60.csv", [*notes, made], columns, np.hstack(tables))

    # Contrast on the log signal, a little colour across, and a toe and shoulder: what a print might do.
    size = 17
    place = np.linspace(0.0, 1.0, size)
    b, g, r = np.meshgrid(place, place, place, indexing="ij")
    log = np.stack([r, g, b], axis=-1).reshape(-1, 3)
    mixed = log @ np.array([[1.1, -0.07, -0.03], [-0.05, 1.08, -0.03], [0.0, -0.1, 1.1]]).T
    signal = 1.0 / (1.0 + np.exp(-7.0 * (mixed - 0.36)))
    text = [f"TITLE \"log to display\"\nLUT_3D_SIZE {size}"] + [" ".join(f"{v:.6f}" for v in row) for row in signal]
    cube = OUT / "show_lut.cube"
    cube.write_text("\n".join(text) + "\n")

    into = six_digits(colours(rng, 200))
    to_signal = [
        builtin("ARRI_LOGC4_to_ACES2065-1", inverse=True),
        ocio.FileTransform(str(cube), interpolation=ocio.INTERP_TETRAHEDRAL),
    ]
    columns, tables = ["aces_r", "aces_g", "aces_b"], [into]
    for name, encoding in DISPLAYS.items():
        chain = list(to_signal)
        if encoding:
            chain.append(builtin("DISPLAY - CIE-XYZ-D65_to_REC.1886-REC.709", inverse=True))
            chain.append(builtin(f"DISPLAY - CIE-XYZ-D65_to_{encoding}"))
        tables.append(run(chain, into))
        columns += [f"{name}_{c}" for c in "rgb"]
    notes = [
        f"{version}: ACES2065-1 light to LogC4 (ARRI_LOGC4_to_ACES2065-1, inverse), show_lut.cube in tetrahedra, whose",
        "values count as REC.1886-REC.709 signal; by way of CIE-XYZ-D65 (1 is 100 cd/m2) to other displays",
        *(f"{n}: {e or 'as the table gives it'}" for n, e in DISPLAYS.items()),
    ]
    write("show_lut.csv", [*notes, made], columns, np.hstack(tables))


main()
