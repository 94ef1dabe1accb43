"""Writes tests/data/hdr_chart.csv, the chart that tests/hdr_chart.rs renders: display light of BT.2020 primaries in
cd/m2, that light as ACEScg with 1 at 1000 cd/m2, and the signals that BT.2100 gives it.

Nothing here knows the program. Run by hand, and commit what changed:

    python tests/oracle/hdr_chart.py [FOLDER]
"""

import datetime
import pathlib
import sys
import warnings

warnings.simplefilter("ignore")

import colour
import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"


def main():
    spaces = [colour.RGB_COLOURSPACES[name] for name in ("ITU-R BT.2020", "ACEScg")]
    for space in spaces:
        space.use_derived_transformation_matrices(True)
    greys = [0.01, 0.1, 1.0, 5.0, 10.0, 26.0, 58.0, 100.0, 203.0, 400.0, 600.0, 1000.0]
    rows = [("grey", np.full(3, nits)) for nits in greys]
    # Nothing is quite nothing: the signal of a black is a matter of rounding, in a colour's company.
    for nits in (100.0, 203.0, 1000.0):
        for name, mask in zip("red green blue cyan magenta yellow".split(), (1, 2, 4, 6, 5, 3)):
            rows.append((name, np.array([nits if mask >> c & 1 else nits / 50.0 for c in range(3)])))
    rng = np.random.default_rng(2100)
    rows += [("any", 10.0 ** rng.uniform(-1.0, 3.0, 3)) for _ in range(18)]
    nits = np.array([row for _, row in rows])
    acescg = colour.RGB_to_RGB(nits / 1000.0, *spaces, chromatic_adaptation_transform="Bradford")
    pq = colour.models.eotf_inverse_ST2084(nits)
    hlg = colour.models.eotf_inverse_BT2100_HLG(nits, L_B=0, L_W=1000)
    notes = [
        f"colour-science {colour.__version__}: BT.2020 light to ACEScg by SMPTE RP 177:1993 and Bradford; PQ by SMPTE ST"
        " 2084:2014; HLG by ITU-R BT.2100, nominal peak 1000 cd/m2",
        f"made {datetime.date.today().isoformat()} by tests/oracle/hdr_chart.py",
    ]
    groups = ("nits", "acescg", "pq", "hlg")
    lines = [f"# {note}" for note in notes]
    lines.append(",".join(["name"] + [f"{group}_{c}" for group in groups for c in "rgb"]))
    for (name, _), *values in zip(rows, nits, acescg, pq, hlg):
        lines.append(",".join([name] + [f"{v:.9g}" for v in np.concatenate(values)]))
    path = OUT / "hdr_chart.csv"
    path.write_text("\n".join(lines) + "\n")
    print(f"{path.name}: {len(rows)} rows, {path.stat().st_size} bytes")


main()
