"""Writes what white balance is checked against into tests/data/: white.csv, locus.csv, duv.csv.

Every number comes from colour-science. Run by hand, and commit what changed:

    python tests/oracle/white.py [FOLDER]
"""

import datetime
import pathlib
import sys
import warnings

warnings.simplefilter("ignore")

import colour
import numpy as np

colour.utilities.filter_warnings(True)

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"
COLOUR = f"colour-science {colour.__version__}"
ACES = [0.32168, 0.33767]
OBSERVER = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]


def write(name, notes, columns, rows):
    text = lambda v: v if isinstance(v, str) else repr(float(v)).removesuffix(".0")
    today = datetime.date.today().isoformat()
    lines = [f"# {note}" for note in notes] + [f"# made {today} by tests/oracle/white.py", ",".join(columns)]
    lines += [",".join(text(v) for v in row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")
    print(f"{name}: {len(rows)} rows")


def by_plancks_law(kelvin):
    """CIE xy: the library's planck_law through its observer, summed by 1 nm from 360 to 830."""
    radiance = colour.colorimetry.planck_law(OBSERVER.wavelengths * 1e-9, kelvin, c2=1.4388e-2)
    xyz = (np.ravel(radiance)[:, None] * OBSERVER.values).sum(axis=0)
    return colour.XYZ_to_xy(xyz)


def by_its_locus(kelvin):
    return colour.UCS_uv_to_xy(colour.temperature.CCT_to_uv_Planck1900(kelvin))


def adaptation():
    pairs = [
        (ACES, [0.3127, 0.3290]),
        (by_its_locus(3200.0), ACES),
        (by_its_locus(2400.0), ACES),
        (by_its_locus(4500.0), ACES),
        (by_its_locus(9000.0), ACES),
        (by_its_locus(60000.0), ACES),
        ([0.3127, 0.3290], [0.34567, 0.35850]),
        ([0.44757, 0.40745], ACES),
        (by_its_locus(5000.0), [0.36, 0.40]),
        (by_its_locus(7000.0), [0.30, 0.28]),
    ]
    rows = []
    for cat in ("CAT16", "CAT02", "Bradford"):
        for a, b in pairs:
            made = colour.adaptation.matrix_chromatic_adaptation_VonKries(
                colour.xy_to_XYZ(a), colour.xy_to_XYZ(b), transform=cat
            )
            rows.append((cat, *a, *b, *made.ravel()))
    notes = [
        f"{COLOUR}: matrix_chromatic_adaptation_VonKries, XYZ under one white to XYZ under another, float64",
        "CAT16: Li et al. 2017, CIE 248:2022; CAT02: CIE 159:2004; Bradford: ICC.1:2022 annex E",
    ]
    columns = ["cat", "from_x", "from_y", "to_x", "to_y", *(f"m{r}{c}" for r in range(3) for c in range(3))]
    write("white.csv", notes, columns, rows)


def locus():
    rows = []
    for mired in (6, 17, 40, 67, 80, 100, 125, 154, 166, 200, 250, 312, 345, 417, 500, 700, 1000):
        rows.append((mired, *by_plancks_law(1e6 / mired), *by_its_locus(1e6 / mired)))
    notes = [
        f"{COLOUR}: CIE xy of Planckian radiators",
        "planck: planck_law with the c2 of CIE 015:2018, 1.4388e-2 m K, through the CIE 1931 2 degree",
        "observer by 1 nm, 360 to 830 nm; library: CCT_to_uv_Planck1900, whose c2 is a little less",
    ]
    write("locus.csv", notes, ["mired", "planck_x", "planck_y", "library_x", "library_y"], rows)


def duv():
    whites = [("ACES", ACES)]
    illuminants = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    for name in ("A", "B", "C", "D50", "D55", "D65", "D75", "E", "FL1", "FL2", "FL7", "FL11", "LED-B1", "LED-B5"):
        whites.append((name, illuminants[name]))
    known = []
    for mired in (70.0, 110.0, 166.0, 250.0, 345.0, 410.0):
        for off in (-0.02, -0.005, 0.0, 0.012):
            u, v = colour.models.xy_to_UCS_uv(by_plancks_law(1e6 / mired))
            (u1, v1), (u2, v2) = (
                colour.models.xy_to_UCS_uv(by_plancks_law(1e6 / (mired + d))) for d in (-0.01, 0.01)
            )
            length = np.hypot(u2 - u1, v2 - v1)
            at = (u - off * (v2 - v1) / length, v + off * (u2 - u1) / length)
            known.append((mired, off))
            whites.append((f"near {mired:g}", colour.UCS_uv_to_xy(np.array(at))))
    rows = []
    for name, xy in whites:
        kelvin, found = colour.temperature.uv_to_CCT_Ohno2013(colour.models.xy_to_UCS_uv(xy))
        rows.append((name, *xy, kelvin, found))
    errors = [(abs(row[3] - 1e6 / m), abs(row[4] - off)) for row, (m, off) in zip(rows[-len(known):], known)]
    notes = [
        f"{COLOUR}: uv_to_CCT_Ohno2013 of whites near the Planckian locus (Ohno, LEUKOS 10:47, 2014)",
        "its own error, where the true place is known (the rows called near): up to "
        f"{max(e[0] for e in errors):.2f} K and {max(e[1] for e in errors):.1e} Duv",
        "illuminants: CIE 015:2018",
    ]
    write("duv.csv", notes, ["white", "x", "y", "kelvin", "duv"], rows)


OUT.mkdir(parents=True, exist_ok=True)
adaptation()
locus()
duv()
