"""Writes tests/data/luts/*.cube and cubes.csv: .cube files of every kind, and what OpenColorIO makes of them.

Run by hand, and commit what changed:

    python tests/oracle/cubes.py [FOLDER]

OpenColorIO's FileTransform with INTERP_TETRAHEDRAL for cubes (INTERP_LINEAR for curves), OPTIMIZATION_NONE. It
refuses files with both a curve and a cube that carry DOMAIN_MIN and DOMAIN_MAX; those have LUT_1D_INPUT_RANGE
and LUT_3D_INPUT_RANGE, as is common practice. One more witness is colour-science: its tetrahedral
interpolation of one random table, in float64.
"""

import datetime
import pathlib
import sys

import colour
import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data" / "luts"
RNG = np.random.default_rng(20261125)


def rows(table):
    return "\n".join(" ".join(f"{v:.7g}" for v in row) for row in table) + "\n"


def cube(size, spread=0.15, low=0.0, high=1.0):
    axis = np.linspace(low, high, size)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    grid = np.stack([red, green, blue], -1).reshape(-1, 3)
    return grid + RNG.uniform(-spread, spread, grid.shape)


def curve(size, gamma, low=0.0, high=1.0):
    x = np.linspace(low, high, size)
    return np.stack([np.sign(x) * np.abs(x) ** g for g in gamma], -1)


FILES = {
    "cube-2": "LUT_3D_SIZE 2\n" + rows(cube(2)),
    "cube-5-title": '# a comment\nTITLE "a title, five"\n\nLUT_3D_SIZE 5\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\n' + rows(cube(5)),
    "cube-9": "LUT_3D_SIZE 9\n" + rows(cube(9)),
    "cube-6-domain": "LUT_3D_SIZE 6\nDOMAIN_MIN -0.25 -0.25 -0.25\nDOMAIN_MAX 1.5 1.5 1.5\n" + rows(cube(6)),
    "cube-4-domain-by-channel": "LUT_3D_SIZE 4\nDOMAIN_MIN -0.1 0 0.1\nDOMAIN_MAX 1.2 1 0.9\n" + rows(cube(4)),
    "cube-3-crlf-exponents": "LUT_3D_SIZE 3\r\n" + "\r\n".join("  " + " ".join(f"{v:.6e}" for v in row) + "\t" for row in cube(3, 0.6)) + "\r\n",
    "curve-17": "LUT_1D_SIZE 17\n" + rows(curve(17, (2.2, 1.0, 0.6))),
    "curve-64-domain": "LUT_1D_SIZE 64\nDOMAIN_MIN -0.5 -0.5 -0.5\nDOMAIN_MAX 2 2 2\n" + rows(curve(64, (0.8, 1.3, 2.0), -0.5, 2.0)),
    "curve-2-beyond": "LUT_1D_SIZE 2\n-1 0 0.25\n3 1 8\n",
    "both": "LUT_1D_SIZE 33\nLUT_1D_INPUT_RANGE -0.2 1.6\nLUT_3D_SIZE 5\nLUT_3D_INPUT_RANGE 0 1\n"
    + rows(np.clip((curve(33, (1.0, 1.1, 0.9), -0.2, 1.6) + 0.2) / 2.0, 0, 1))
    + rows(cube(5)),
}


def colours():
    picked = [[0, 0, 0], [1, 1, 1], [0.18] * 3, [0.5] * 3, [-0.3, 0.2, 1.7], [1.2, -0.1, 0.4], [0.25, 0.5, 0.25]]
    return np.array(picked + RNG.uniform(-0.4, 1.8, (53, 3)).tolist()).astype(np.float32)


def main():
    OUT.mkdir(parents=True, exist_ok=True)
    lines = [
        f"# Written by tests/oracle/cubes.py on {datetime.date.today()} with opencolorio {ocio.__version__}, "
        f"colour-science {colour.__version__}, numpy {np.__version__}",
        "file,r,g,b,out_r,out_g,out_b",
    ]
    inputs = colours()
    for name, text in FILES.items():
        path = OUT / f"{name}.cube"
        path.write_bytes(text.encode())
        interpolation = ocio.INTERP_LINEAR if name.startswith("curve") else ocio.INTERP_TETRAHEDRAL
        transform = ocio.FileTransform(src=str(path), interpolation=interpolation)
        processor = ocio.Config.CreateRaw().getProcessor(transform)
        cpu = processor.getOptimizedCPUProcessor(ocio.OPTIMIZATION_NONE)
        for rgb in inputs:
            out = cpu.applyRGB(rgb.tolist())
            lines.append(",".join([name] + [f"{v:.9g}" for v in [*rgb, *out]]))
    table = cube(7, 0.3)
    (OUT / "witness.csv").write_text(
        f"# A table of 7³, red fastest, then inputs and what colour-science {colour.__version__} "
        "(table_interpolation_tetrahedral, float64) gives\n"
        + "".join("table," + ",".join(repr(float(np.float32(v))) for v in row) + "\n" for row in table)
        + "".join(
            "at," + ",".join(repr(float(v)) for v in [*np.clip(i.astype(np.float64), 0, 1), *o]) + "\n"
            for i, o in zip(
                inputs,
                colour.algebra.table_interpolation_tetrahedral(
                    np.clip(inputs.astype(np.float64), 0, 1),
                    table.astype(np.float32).astype(np.float64).reshape(7, 7, 7, 3).transpose(2, 1, 0, 3),
                ),
            )
        )
    )
    (OUT / "cubes.csv").write_text("\n".join(lines) + "\n")


main()
