"""Writes the LUT files in tests/data/luts/ and what they do to a set of colours, for tests/interchange.rs.

Nothing here knows the program: the files' text is written out below from the CLF specification and the Cube
LUT Specification, the colours' values are OpenColorIO's, the plain table's colour-science's. Run by hand when
a file is added, and commit what changed:

    python tests/oracle/luts.py [FOLDER]

tables.csv     the files: number, file, kind of node, and for files that are not kept (65536 entries) their
               length and FNV-1a hash; half_text() below says what is in those
inputs.csv     the colours
outputs.csv    file number, colour number, red, green, blue
table3d.csv    a 3D table, and colours through it by tetrahedra and by lines
"""

import datetime
import pathlib
import sys
import tempfile
import warnings

warnings.simplefilter("ignore")

import colour
import numpy as np
import PyOpenColorIO as ocio

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data" / "luts"
TODAY = datetime.date.today().isoformat()
COLOUR = f"colour-science {colour.__version__}"
OCIO = f"opencolorio {ocio.__version__}, FileTransform, OPTIMIZATION_NONE, 32-bit float"
V2 = 'xmlns="urn:NATAS:AMPAS:LUT:v2.0" id="test" compCLFversion="2.0"'
V3 = 'xmlns="urn:AMPAS:CLF:v3.0" id="test" compCLFversion="3.0"'
SMPTE = 'xmlns="http://www.smpte-ra.org/ns/2136-1/2024"'

rng = np.random.default_rng(2136)


def clf(*nodes, root=V3, head=""):
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList {root}>\n{head}{"".join(nodes)}</ProcessList>\n'


def node(kind, depths, inside, **attributes):
    said = "".join(f' {k}="{v}"' for k, v in attributes.items())
    before, after = depths.split()
    return f'  <{kind} inBitDepth="{before}" outBitDepth="{after}"{said}>\n{inside}  </{kind}>\n'


def rows(values):
    return "".join(" ".join(f"{x:.6g}" for x in row) + "\n" for row in np.atleast_2d(values))


def array(dim, values):
    return f'    <Array dim="{dim}">\n{rows(values)}    </Array>\n'


def params(kind, *each):
    return "".join(f'    <{kind} {" ".join(f"{k}={chr(34)}{v}{chr(34)}" for k, v in p.items())}/>\n' for p in each)


def range_values(**values):
    return "".join(f"    <{k}>{v}</{k}>\n" for k, v in values.items())


def cdl_values(slope=None, offset=None, power=None, saturation=None):
    out = ""
    if slope:
        out += f"    <SOPNode>\n      <Slope>{slope}</Slope>\n      <Offset>{offset}</Offset>\n"
        out += f"      <Power>{power}</Power>\n    </SOPNode>\n"
    if saturation:
        out += f"    <SatNode><Saturation>{saturation}</Saturation></SatNode>\n"
    return out


def table3(n, low=-0.1, high=1.1, scale=1.0):
    """A lattice near the identity, in CLF's order: blue fastest."""
    axis = np.linspace(0, 1, n)
    r, g, b = np.meshgrid(axis, axis, axis, indexing="ij")
    near = np.stack([r, g, b], -1).reshape(-1, 3) ** 1.3 * (high - low) + low
    return np.round((near + rng.uniform(-0.08, 0.08, near.shape)) * scale, 4)


def half_text(name):
    """A LUT1D over all halves, by integers, so that the test can write the same."""
    i = np.arange(65536)
    size, minus = i & 0x7FFF, i >= 0x8000
    if name == "half_domain":
        attributes, out = 'halfDomain="true"', "16i"
        columns = [np.where(size >= 0x7C00, 0, np.where(minus, -size, size))]
    elif name == "half_domain_raw":
        attributes, out = 'halfDomain="true" rawHalfs="true"', "16f"
        columns = [i]
    else:
        attributes, out = 'halfDomain="true" rawHalfs="true"', "16f"
        columns = [i ^ 0x8000, np.where(size >= 0x7C00, 0, (i & 0x8000) + size // 2), i]
    table = "".join(" ".join(map(str, row)) + "\n" for row in np.stack(columns, -1))
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList {V3}>\n'
        f'<LUT1D inBitDepth="16f" outBitDepth="{out}" {attributes}>\n<Array dim="65536 {len(columns)}">\n'
        f"{table}</Array>\n</LUT1D>\n</ProcessList>\n"
    )


def fnv(data):
    value = 0xCBF29CE484222325
    for byte in data:
        value = (value ^ byte) * 0x100000001B3 % 2**64
    return value


AP0_AP1 = np.array(
    [[1.451439316, -0.236510747, -0.214928569], [-0.0765537734, 1.1762297, -0.0996759264], [0.00831614843, -0.00603244979, 0.997716301]]
)
CUBE8 = np.arange(8)[:, None] // np.array([4, 2, 1]) % 2

CAMERA = dict(base=10, logSideSlope=0.256663, logSideOffset=0.584555, linSideSlope=0.9892, linSideOffset=0.0108, linSideBreak=0.0078)
CINEON = dict(base=10, logSideSlope=0.29325513, logSideOffset=0.66959921, linSideSlope=0.98920224, linSideOffset=0.01079776)
EACH = [
    dict(channel="R", base=2, logSideSlope=0.09, logSideOffset=0.41, linSideSlope=5.5, linSideOffset=0.06),
    dict(channel="G", base=2, logSideSlope=0.08, logSideOffset=0.43, linSideSlope=5.0, linSideOffset=0.055),
    dict(channel="B", base=2, logSideSlope=0.07, logSideOffset=0.45, linSideSlope=4.5, linSideOffset=0.04),
]
EACH_CAMERA = [dict(p, linSideBreak=b) for p, b in zip(EACH, (0.01, 0.02, 0.0))]
# OpenColorIO refuses a file where only some channels have a linearSlope, which the specification allows.
EACH_SLOPE = [dict(p, linearSlope=s) for p, s in zip(EACH_CAMERA, (8, 7.5, 7))]


def clf_files():
    files = {}

    def add(name, kind, text):
        assert name not in files
        files[name + ".clf"] = (kind, text)

    def one(name, kind, depths, inside, root=V3, **attributes):
        add(name, kind, clf(node(kind, depths, inside, **attributes), root=root))

    offset = np.column_stack([AP0_AP1, [0.01, -0.02, 0.03]])
    one("matrix_3x3", "Matrix", "32f 32f", array("3 3", AP0_AP1))
    one("matrix_3x3_v2", "Matrix", "16f 16f", array("3 3 3", AP0_AP1), root=V2)
    one("matrix_3x4_10i_12i", "Matrix", "10i 12i", array("3 4", offset * [4.003, 4.003, 4.003, 4095]))
    one("matrix_3x4_v2", "Matrix", "16f 8i", array("3 4 3", offset * 255), root=V2)
    one("matrix_16i_8i", "Matrix", "16i 8i", array("3 3", AP0_AP1 / 257))

    curve = np.linspace(0, 1, 9) ** 0.6
    three = np.stack([np.linspace(0, 1, 17) ** p for p in (0.5, 1.0, 2.2)], -1)
    one("lut1d_1", "LUT1D", "32f 32f", array("9 1", curve[:, None]), interpolation="linear")
    one("lut1d_3_8i_12i", "LUT1D", "8i 12i", array("17 3", three * 5000 - 300))
    one("lut1d_falling", "LUT1D", "10i 10i", array("4 1", [[1100.5], [600], [300], [-10.5]]))
    halves = (three * 1.25 - 0.125)[::4].astype(np.float16).view(np.uint16)
    one("lut1d_raw_halfs", "LUT1D", "16f 16f", array("5 3", halves), rawHalfs="true")
    one("lut1d_v2", "LUT1D", "16i 16f", array("9 1", 1 - curve[:, None]), root=V2)

    one("lut3d_default_10i_12i", "LUT3D", "10i 12i", array("3 3 3 3", table3(3, scale=4095)))
    one("lut3d_trilinear", "LUT3D", "32f 32f", array("4 4 4 3", table3(4)), interpolation="trilinear")
    one("lut3d_tetrahedral", "LUT3D", "32f 32f", array("5 5 5 3", table3(5)), interpolation="tetrahedral")
    one("lut3d_tetrahedral_16i_8i", "LUT3D", "16i 8i", array("3 3 3 3", table3(3, -1, 3, 255)), interpolation="tetrahedral")
    one("lut3d_two", "LUT3D", "12i 16f", array("2 2 2 3", CUBE8 * 0.9 + 0.05), interpolation="tetrahedral")

    whole = dict(minInValue=64, maxInValue=940, minOutValue=0, maxOutValue=1023)
    one("range_default", "Range", "10i 10i", range_values(**whole))
    one("range_clamp_8i_32f", "Range", "8i 32f", range_values(minInValue=16.5, maxInValue=235, minOutValue=-0.5, maxOutValue=2), style="Clamp")
    one("range_no_clamp", "Range", "16i 12i", range_values(minInValue=4096, maxInValue=60160, minOutValue=0, maxOutValue=4095), style="noClamp")
    one("range_min_only", "Range", "32f 16f", range_values(minInValue=0.1, minOutValue=0.1))
    one("range_max_only_12i_10i", "Range", "12i 10i", range_values(maxInValue=3276, maxOutValue=818.4), style="Clamp")

    for style in ("log10", "antiLog10", "log2", "antiLog2"):
        one(f"log_{style}", "Log", "32f 32f", "", style=style)
    one("log_linToLog", "Log", "16f 10i", params("LogParams", CINEON), style="linToLog")
    one("log_logToLin", "Log", "10i 16f", params("LogParams", CINEON), style="logToLin")
    one("log_linToLog_each", "Log", "32f 32f", params("LogParams", *EACH), style="linToLog")
    one("log_logToLin_each", "Log", "32f 32f", params("LogParams", *EACH), style="logToLin")
    one("log_linToLog_green", "Log", "32f 32f", params("LogParams", dict(CINEON, channel="G")), style="linToLog")
    one("log_cameraLinToLog", "Log", "32f 32f", params("LogParams", CAMERA), style="cameraLinToLog")
    one("log_cameraLogToLin", "Log", "32f 32f", params("LogParams", CAMERA), style="cameraLogToLin")
    slope = dict(CAMERA, linearSlope=6.025)
    one("log_cameraLinToLog_slope", "Log", "32f 32f", params("LogParams", slope), style="cameraLinToLog")
    one("log_cameraLogToLin_slope", "Log", "32f 32f", params("LogParams", slope), style="cameraLogToLin")
    one("log_cameraLinToLog_each", "Log", "32f 32f", params("LogParams", *EACH_CAMERA), style="cameraLinToLog")
    one("log_cameraLogToLin_each", "Log", "32f 32f", params("LogParams", *EACH_SLOPE), style="cameraLogToLin")

    for style in ("basicFwd", "basicRev", "basicMirrorFwd", "basicMirrorRev", "basicPassThruFwd", "basicPassThruRev"):
        one(f"exponent_{style}", "Exponent", "32f 32f", params("ExponentParams", dict(exponent=2.2)), style=style)
    mon = [dict(channel=c, exponent=e, offset=o) for c, e, o in zip("RGB", (2.4, 3.0, 2.2222), (0.055, 0.16, 0.099))]
    for style in ("monCurveFwd", "monCurveRev", "monCurveMirrorFwd", "monCurveMirrorRev"):
        one(f"exponent_{style}", "Exponent", "10i 32f", params("ExponentParams", *mon), style=style)
    flat = [dict(channel="R", exponent=1, offset=0.1), dict(channel="B", exponent=1.0, offset=0.0)]
    one("exponent_monCurveFwd_flat", "Exponent", "32f 32f", params("ExponentParams", *flat), style="monCurveFwd")
    one("exponent_monCurveRev_flat", "Exponent", "32f 32f", params("ExponentParams", *flat), style="monCurveRev")
    each = [dict(channel="R", exponent=1.8), dict(channel="B", exponent=0.45)]
    one("exponent_each", "Exponent", "32f 32f", params("ExponentParams", *each), style="basicFwd")

    full = cdl_values("1.1 0.9 1.25", "-0.03 0.02 0.05", "1.2 0.85 1", "1.4")
    for style in ("Fwd", "Rev", "FwdNoClamp", "RevNoClamp"):
        one(f"cdl_{style}", "ASC_CDL", "32f 32f", full, style=style)
    one("cdl_default_style", "ASC_CDL", "10i 8i", full)
    one("cdl_no_sat", "ASC_CDL", "32f 32f", cdl_values("1.3 1 0.8", "0.1 0 -0.1", "0.7 1 1.5"), style="FwdNoClamp")
    one("cdl_no_sop", "ASC_CDL", "32f 32f", cdl_values(saturation="0.3"), style="RevNoClamp")

    cct = dict(base=2, logSideSlope="0.05707762557", logSideOffset="0.5547945205", linSideBreak="0.0078125")
    head = (
        "  <Id>urn:uuid:4f3a9f6e-5f0a-4a53-9d2e-6c4b7f3b2a10</Id>\n  <Description>to ACEScct, graded</Description>\n"
        "  <InputDescriptor>ACES2065-1</InputDescriptor>\n  <OutputDescriptor>signal</OutputDescriptor>\n"
        '  <Info><Revision>2</Revision><x:own xmlns:x="urn:own" a="1">&lt;kept&gt;</x:own></Info>\n'
    )
    add(
        "chain_st2136",
        "chain",
        clf(
            node("Matrix", "16f 16f", array("3 3", AP0_AP1)),
            node("Log", "16f 16f", params("LogParams", cct), style="cameraLinToLog"),
            node("ASC_CDL", "16f 16f", full, style="FwdNoClamp"),
            node("LUT3D", "16f 12i", array("5 5 5 3", table3(5, scale=4095)), interpolation="tetrahedral"),
            node("Range", "12i 10i", range_values(minInValue=0, maxInValue=4095, minOutValue=64, maxOutValue=940)),
            root=SMPTE,
            head=head,
        ),
    )
    add(
        "chain_depths",
        "chain",
        clf(
            node("Matrix", "8i 16i", array("3 3", np.eye(3) * 257)),
            node("LUT1D", "16i 10i", array("7 1", (np.linspace(0, 1, 7) ** 0.8 * 1023)[:, None])),
            node("Range", "10i 12i", range_values(minInValue=0, maxInValue=1023, minOutValue=0, maxOutValue=4095), style="noClamp"),
            node("Exponent", "12i 32f", params("ExponentParams", dict(exponent=2.4, offset=0.055)), style="monCurveFwd"),
        ),
    )
    return files


def cube_text(one=None, three=None, head=""):
    text = head
    if one is not None:
        text += f"LUT_1D_SIZE {len(one)}\n"
    if three is not None:
        text += f"LUT_3D_SIZE {round(len(three) ** (1 / 3))}\n"
    return text + (rows(one) if one is not None else "") + (rows(three) if three is not None else "")


def red_fastest(table):
    n = round(len(table) ** (1 / 3))
    return table.reshape(n, n, n, 3).transpose(2, 1, 0, 3).reshape(-1, 3)


def cube_files():
    one = np.stack([np.linspace(0, 1, 9) ** p for p in (0.5, 1.0, 2.2)], -1)
    wide = "DOMAIN_MIN -0.1 -0.2 0\nDOMAIN_MAX 1.1 2 1.5\n"
    shaper = np.stack([np.linspace(0, 1, 11) ** p for p in (0.4, 0.5, 0.6)], -1)
    return {
        "one.cube": ("1D", cube_text(one=one * 1.2 - 0.1, head='TITLE "one"\n')),
        "one_domain.cube": ("1D", cube_text(one=one, head=wide)),
        "one_range.cube": ("1D", cube_text(one=one, head="LUT_1D_INPUT_RANGE -0.25 4\n")),
        "three.cube": ("3D trilinear", cube_text(three=red_fastest(table3(4)), head="# a comment\n\n")),
        "three_tetrahedral.cube": ("3D", cube_text(three=red_fastest(table3(5)))),
        "three_domain.cube": ("3D", cube_text(three=red_fastest(table3(3)), head=wide)),
        "three_range.cube": ("3D", cube_text(three=red_fastest(table3(3)), head="LUT_3D_INPUT_RANGE -0.5 2\n")),
        "three_wide.cube": ("3D", cube_text(three=red_fastest(table3(4, -2, 5)))),
        "shaped.cube": ("shaper and 3D", cube_text(one=shaper, three=red_fastest(table3(4)))),
        "shaped_ranges.cube": (
            "shaper and 3D",
            cube_text(one=shaper * 1.5 - 0.25, three=red_fastest(table3(5)), head="LUT_1D_INPUT_RANGE -0.1 8\nLUT_3D_INPUT_RANGE -0.25 1.25\n"),
        ),
    }


def colours():
    neutral = np.repeat(np.array([0, 1, 0.18, 0.5, -0.1, 1.5, 2.0**-7, 0.001, 1e-5, 4, 8.0])[:, None], 3, axis=1)
    mixed = np.array([[-0.5, 0.3, 1.2], [1.7, -0.01, 0.02], [0.0, 0.25, 0.75], [-2.0, 4.0, 0.18]])
    inside, around = rng.uniform(0, 1, (19, 3)), rng.uniform(-0.3, 1.3, (12, 3))
    light = 2.0 ** rng.uniform(-12, 3, (8, 3))
    return np.concatenate([neutral, CUBE8[1:7], mixed, inside, around, light]).astype(np.float32)


def run(path, interpolation, inputs):
    made = ocio.FileTransform(str(path), interpolation=interpolation)
    processor = ocio.Config.CreateRaw().getProcessor(made)
    out = inputs.copy()
    processor.getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    ).applyRGB(out)
    return out


def write(name, notes, columns, table):
    with open(OUT / name, "w") as f:
        f.writelines(f"# {note}\n" for note in [*notes, f"written by tests/oracle/luts.py, {TODAY}"])
        f.write(",".join(columns) + "\n")
        for row in table:
            f.write(",".join(x if isinstance(x, str) else f"{x:.9g}" for x in row) + "\n")


def processes():
    inputs = colours()
    about, outputs = [], []

    def evaluate(number, path, kind):
        # What is asked for here would overrule a CLF file that says nothing.
        clf_or_line = path.suffix == ".clf" or kind in ("1D", "3D trilinear")
        interpolation = ocio.INTERP_LINEAR if clf_or_line else ocio.INTERP_TETRAHEDRAL
        for i, rgb in enumerate(run(path, interpolation, inputs)):
            outputs.append((number, i, *rgb))

    for name, (kind, text) in {**clf_files(), **cube_files()}.items():
        (OUT / name).write_text(text)
        evaluate(len(about), OUT / name, kind)
        about.append((len(about), name, kind, "", ""))
    with tempfile.TemporaryDirectory() as folder:
        for name in ("half_domain", "half_domain_raw", "half_domain_raw_3"):
            path = pathlib.Path(folder) / f"{name}.clf"
            data = half_text(name).encode()
            path.write_bytes(data)
            evaluate(len(about), path, "LUT1D")
            about.append((len(about), name, "LUT1D", str(len(data)), f"{fnv(data):016x}"))

    sources = "files after the Academy's CLF specification 3.0, SMPTE ST 2136-1 and the Cube LUT Specification 1.0"
    write("tables.csv", [sources], ["number", "file", "kind", "length", "fnv"], about)
    write("inputs.csv", [f"numpy {np.__version__}, seed 2136"], ["number", "r", "g", "b"], [(i, *v) for i, v in enumerate(inputs)])
    notes = [
        f"{OCIO}: the files of tables.csv on the colours of inputs.csv",
        "by INTERP_LINEAR, which a CLF that names its interpolation overrules; .cube with a 3D LUT by",
        "INTERP_TETRAHEDRAL but where the kind says trilinear",
    ]
    write("outputs.csv", notes, ["table", "colour", "r", "g", "b"], outputs)


def plain_table():
    n = 5
    table = rng.uniform(-0.2, 1.2, (n, n, n, 3))
    inputs = rng.uniform(0, 1, (60, 3))
    inputs[:3] = [[0, 0, 0], [1, 1, 1], [0.25, 0.5, 0.75]]
    tetrahedral = colour.algebra.table_interpolation_tetrahedral(inputs, table)
    trilinear = colour.algebra.table_interpolation_trilinear(inputs, table)
    exact = lambda rows: [tuple(repr(float(x)) for x in row) for row in rows]
    entries = exact(table.transpose(2, 1, 0, 3).reshape(-1, 3))
    points = exact(np.column_stack([inputs, tetrahedral, trilinear]))
    notes = [
        f"{COLOUR}, float64: colour.algebra.table_interpolation_tetrahedral and _trilinear on a {n}-cubed table",
        "entries (red fastest): r, g, b; then points: r, g, b in, three by tetrahedra, three by lines",
    ]
    columns = ["what", "r", "g", "b", "tr", "tg", "tb", "lr", "lg", "lb"]
    blank = ("",) * 6
    write("table3d.csv", notes, columns, [("entry", *e, *blank) for e in entries] + [("point", *p) for p in points])


OUT.mkdir(parents=True, exist_ok=True)
processes()
plain_table()
