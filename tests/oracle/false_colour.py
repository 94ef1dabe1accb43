"""Writes tests/data/false_colour.tsv: how the scale of false colours is seen.

CIE L*a*b* (D65), CIEDE2000 (CIE 142-2001; ISO/CIE 11664-6) and the matrices for dichromacy of Machado, Oliveira and
Fernandes (2009), all by colour-science. Usage: target/oracle-venv/bin/python tests/oracle/false_colour.py
"""

import re
import warnings
from pathlib import Path

warnings.filterwarnings("ignore")
import colour
import numpy as np

ROOT = Path(__file__).parents[2]
text = (ROOT / "src/scope/stops.rs").read_text()
body = text[text.index("pub const SCALE") :].split("= [", 1)[1].split("];")[0]
codes = np.array([[int(n) for n in row] for row in re.findall(r"\[(\d+), (\d+), (\d+)\]", body)])
white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
reach = len(codes) // 2


def lab(srgb):
    return colour.XYZ_to_Lab(colour.sRGB_to_XYZ(srgb), white)


def seen(srgb, kind):
    if kind == "ordinary":
        return srgb
    matrix = colour.matrix_cvd_Machado2009(kind, 1.0)
    light = colour.models.eotf_sRGB(srgb) @ matrix.T
    return colour.models.eotf_inverse_sRGB(np.clip(light, 0, 1))


lines = ["# step: stops, sRGB codes, L*, a*, b*; seen: by whom, least step of L*, least CIEDE2000 of neighbours"]
for i, (c, l) in enumerate(zip(codes, lab(codes / 255))):
    lines.append("\t".join(["step", str(i - reach), *map(str, c), *(f"{v:.3f}" for v in l)]))
for kind in ["ordinary", "Protanomaly", "Deuteranomaly", "Tritanomaly"]:
    l = lab(seen(codes / 255, kind))
    apart = [colour.delta_E(a, b, method="CIE 2000") for a, b in zip(l, l[1:])]
    lines.append(f"seen\t{kind}\t{np.diff(l[:, 0]).min():.3f}\t{min(apart):.3f}")
(ROOT / "tests/data/false_colour.tsv").write_text("\n".join(lines) + "\n")
