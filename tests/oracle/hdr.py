"""Writes tests/data/hdr.csv: the signals of Rec. 2020 and Rec. 2100 displays.

    python tests/oracle/hdr.py [FOLDER]

colour-science: SMPTE ST 2084 (eotf_inverse_ST2084), BT.2100's HLG (eotf_inverse_BT2100_HLG, nominal peak
1000 cd/m²), BT.1886, and matrices between P3-D65 and BT.2020 (RP 177; one white, so no adaptation). OpenColorIO,
OPTIMIZATION_NONE: the built-ins DISPLAY - CIE-XYZ-D65_to_REC.2100-PQ, …REC.2100-HLG-1000nit and
…REC.1886-REC.2020, whose light 1 is 100 cd/m². Its PQ and HLG are half-float tables: 2e-7 of signal over
1e-4 cd/m², 6.5e-5 under it.
"""

import datetime
import pathlib
import sys

import colour
import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"
RNG = np.random.default_rng(2100)
P3 = colour.RGB_COLOURSPACES["P3-D65"]
BT2020 = colour.RGB_COLOURSPACES["ITU-R BT.2020"]


def ocio_signal(builtin, xyz):
    transform = ocio.BuiltinTransform(style=f"DISPLAY - CIE-XYZ-D65_to_{builtin}")
    processor = ocio.Config.CreateRaw().getProcessor(transform)
    cpu = processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE)
    return np.array([cpu.applyRGB(v.tolist()) for v in xyz.astype(np.float32)])


def main():
    lines = [
        f"# Written by tests/oracle/hdr.py on {datetime.date.today()} with colour-science {colour.__version__}, "
        f"opencolorio {ocio.__version__}",
        "# display, light of its signal's primaries over its peak, colour-science's signal, opencolorio's signal;",
        "# and the matrix from P3-D65 to BT.2020, row by row",
    ]
    greys = np.repeat(np.array([0.0, 1e-4, 0.001, 0.01, 0.1, 0.203, 0.5, 1.0])[:, None], 3, axis=1)
    light = np.concatenate([greys, 10.0 ** RNG.uniform(-4, 0, (24, 3))])
    displays = [("rec2020", 100, "REC.1886-REC.2020"), ("rec2100-hlg-1000", 1000, "REC.2100-HLG-1000nit")]
    displays += [(f"rec2100-pq-{p}", p, "REC.2100-PQ") for p in (500, 1000, 2000, 4000)]
    for name, peak, builtin in displays:
        if "pq" in name:
            signal = colour.models.eotf_inverse_ST2084(light * peak)
        elif "hlg" in name:
            signal = colour.models.eotf_inverse_BT2100_HLG(light * peak, L_B=0, L_W=peak)
        else:
            signal = light ** (1 / 2.4)
        xyz = (light * peak / 100.0) @ BT2020.matrix_RGB_to_XYZ.T
        other = ocio_signal(builtin, xyz)
        # Black in HLG is 0 · ∞ there.
        signal = np.where(light == 0.0, 0.0, signal) if "hlg" in name else signal
        for row in zip(light, signal, other):
            lines.append(",".join([name] + [f"{v:.17g}" for v in np.concatenate(row)]))
    matrix = colour.matrix_RGB_to_RGB(P3, BT2020, None)
    for row in matrix:
        lines.append(",".join(["p3-to-2020"] + [f"{v:.17g}" for v in row]))
    (OUT / "hdr.csv").write_text("\n".join(lines) + "\n")


colour.RGB_COLOURSPACES["P3-D65"].use_derived_transformation_matrices(True)
colour.RGB_COLOURSPACES["ITU-R BT.2020"].use_derived_transformation_matrices(True)
main()
