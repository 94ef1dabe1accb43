"""Writes the reference tables that tests/colour.rs reads into tests/data/; cdl.py and white.py beside it write others.

Nothing here knows the program: every number comes from colour-science or OpenColorIO, or is copied from
a published page and says so. Run by hand when an encoding is added, and commit what changed:

    python tests/oracle/tables.py [FOLDER]
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
# Some matrices that the library stores are rounded as published; the derived ones are exact.
for space in colour.RGB_COLOURSPACES.values():
    space.use_derived_transformation_matrices(True)

HERE = pathlib.Path(__file__).resolve().parent
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "data"
TODAY = datetime.date.today().isoformat()
COLOUR = f"colour-science {colour.__version__}"
OCIO = f"opencolorio {ocio.__version__}, OPTIMIZATION_NONE, 32-bit float"

LINEAR = (lambda y: y, lambda x: x)


def log(name):
    return (
        lambda y: colour.log_decoding(y, function=name),
        lambda x: colour.log_encoding(x, function=name),
    )


BT1886 = (
    lambda y: colour.models.eotf_BT1886(y, L_B=0, L_W=1),
    # The library's inverse is defined for light from black up; BT.1886's max(V + b, 0) sends less to 0.
    lambda x: colour.models.eotf_inverse_BT1886(np.maximum(x, 0.0), L_B=0, L_W=1),
)
GAMMA26 = (
    lambda y: colour.gamma_function(y, 2.6, "Clamp"),
    lambda x: colour.gamma_function(x, 1 / 2.6, "Clamp"),
)
SRGB = (colour.models.eotf_sRGB, colour.models.eotf_inverse_sRGB)

# id: (curve, primaries, adaptation to the ACES white, document, OCIO's built-in)
ENCODINGS = {
    "acescct": (log("ACEScct"), "ACEScg", "Bradford", "Academy S-2016-001", "ACEScct_to_ACES2065-1"),
    "acescc": (log("ACEScc"), "ACEScg", "Bradford", "Academy S-2014-003", "ACEScc_to_ACES2065-1"),
    "acescg": (LINEAR, "ACEScg", "Bradford", "Academy S-2014-004", "ACEScg_to_ACES2065-1"),
    "aces2065-1": (LINEAR, "ACES2065-1", "Bradford", "SMPTE ST 2065-1", None),
    "logc3": (
        log("ARRI LogC3"),
        "ARRI Wide Gamut 3",
        "CAT02",
        "ALEXA Log C Curve: Usage in VFX (2012), EI 800",
        "ARRI_ALEXA-LOGC-EI800-AWG_to_ACES2065-1",
    ),
    "logc4": (
        log("ARRI LogC4"),
        "ARRI Wide Gamut 4",
        "CAT02",
        "ARRI LogC4 Logarithmic Color Space: Specification (2022)",
        "ARRI_LOGC4_to_ACES2065-1",
    ),
    "s-log3": (
        log("S-Log3"),
        "S-Gamut3",
        "CAT02",
        "Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3 V1.00",
        "SONY_SLOG3-SGAMUT3_to_ACES2065-1",
    ),
    "s-log3-cine": (
        log("S-Log3"),
        "S-Gamut3.Cine",
        "CAT02",
        "Technical Summary for S-Gamut3.Cine/S-Log3 and S-Gamut3/S-Log3 V1.00",
        "SONY_SLOG3-SGAMUT3.CINE_to_ACES2065-1",
    ),
    "v-log": (
        log("V-Log"),
        "V-Gamut",
        "Bradford",
        "VARICAM V-Log/V-Gamut (2014)",
        "PANASONIC_VLOG-VGAMUT_to_ACES2065-1",
    ),
    "c-log2": (
        log("Canon Log 2"),
        "Cinema Gamut",
        "CAT02",
        "Input Transform v202007 (version 1.2)",
        "CANON_CLOG2-CGAMUT_to_ACES2065-1",
    ),
    "c-log3": (
        log("Canon Log 3"),
        "Cinema Gamut",
        "CAT02",
        "Input Transform v202007 (version 1.2)",
        "CANON_CLOG3-CGAMUT_to_ACES2065-1",
    ),
    "log3g10": (
        log("Log3G10"),
        "REDWideGamutRGB",
        "Bradford",
        "White Paper on REDWideGamutRGB and Log3G10 (2017), version 3",
        "RED_LOG3G10-RWG_to_ACES2065-1",
    ),
    "f-log": (log("F-Log"), "F-Gamut", "Bradford", "F-Log Data Sheet 1.1 (2022)", None),
    "f-log2": (log("F-Log2"), "F-Gamut", "Bradford", "F-Log2 Data Sheet 1.0 (2022)", None),
    "n-log": (log("N-Log"), "N-Gamut", "Bradford", "N-Log Specification 1.0.0 (2018)", None),
    "apple-log": (
        log("Apple Log Profile"),
        "ITU-R BT.2020",
        "Bradford",
        "Apple Log Profile White Paper (2023)",
        "APPLE_LOG_to_ACES2065-1",
    ),
    "d-log": (
        log("D-Log"),
        "DJI D-Gamut",
        "CAT02",
        "White Paper on D-Log and D-Gamut (2017)",
        # No built-in transform: a colour space of the library's own configuration.
        "studio-config-v5.0.0_aces-v2.1_ocio-v2.6: D-Log D-Gamut",
    ),
    "cineon": (log("Cineon"), "ITU-R BT.709", "Bradford", "Kodak Cineon practice, 685/95", None),
    "bt1886": (BT1886, "ITU-R BT.709", "Bradford", "ITU-R BT.1886 (2011); ITU-R BT.709-6", None),
    "srgb": (SRGB, "ITU-R BT.709", "Bradford", "IEC 61966-2-1:1999", None),
}
# id: (curve, primaries, document, OCIO's built-in)
DISPLAYS = {
    "rec709": (BT1886, "ITU-R BT.709", "ITU-R BT.1886 (2011), black at 0", "REC.1886-REC.709"),
    "srgb": (SRGB, "ITU-R BT.709", "IEC 61966-2-1:1999", "sRGB"),
    "display-p3": (SRGB, "Display P3", "IEC 61966-2-1:1999; SMPTE EG 432-1", "DisplayP3"),
    "p3-d65": (GAMMA26, "P3-D65", "SMPTE RP 431-2; SMPTE ST 2113", "G2.6-P3-D65"),
}
CODES = np.linspace(-0.05, 1.05, 33)


def write(name, notes, columns, rows):
    def text(v):
        return v if isinstance(v, str) else str(v) if isinstance(v, (int, np.integer)) else f"{v:.17g}"

    lines = [f"# {note}" for note in notes] + [f"# made {TODAY} by tests/oracle/tables.py", ",".join(columns)]
    lines += [",".join(text(v) for v in row) for row in rows]
    (OUT / name).write_text("\n".join(lines) + "\n")
    print(f"{name}: {len(rows)} rows")


def curve_rows(name, curve):
    decode, encode = curve
    light = np.asarray(decode(CODES), dtype=float)
    # Besides the decoded codes: a little under black, black, grey, and both whites.
    more = np.concatenate([np.unique(light), [-0.01, 0.0, 0.001, 0.18, 0.9, 1.0]])
    rows = [(name, "decode", y, x) for y, x in zip(CODES, light)]
    return rows + [(name, "encode", x, y) for x, y in zip(more, np.asarray(encode(more), dtype=float))]


def curves():
    rows = [r for name, (curve, *_) in ENCODINGS.items() for r in curve_rows(name, curve)]
    documents = [f"{name}: {document}" for name, (_, _, _, document, _) in ENCODINGS.items()]
    notes = [f"{COLOUR}: transfer functions of the encodings, float64", *documents]
    write("curves.csv", notes, ["encoding", "direction", "input", "output"], rows)
    rows = [r for name, (curve, *_) in DISPLAYS.items() for r in curve_rows(name, curve)]
    documents = [f"{name}: {document}" for name, (_, _, document, _) in DISPLAYS.items()]
    notes = [f"{COLOUR}: transfer functions of the displays, float64", *documents]
    write("displays.csv", notes, ["display", "direction", "input", "output"], rows)


def patches():
    checker = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    acescg = colour.RGB_COLOURSPACES["ACEScg"]
    rows = []
    for name, (_, primaries, cat, _, _) in ENCODINGS.items():
        space = colour.RGB_COLOURSPACES[primaries]
        for patch, xyY in checker.data.items():
            rgb = colour.XYZ_to_RGB(
                colour.xyY_to_XYZ(xyY), space, illuminant=checker.illuminant,
                chromatic_adaptation_transform=cat,
            )
            if primaries == "ACEScg":
                out = rgb
            else:
                out = colour.RGB_to_RGB(rgb, space, acescg, chromatic_adaptation_transform=cat)
            rows.append((name, patch.replace(",", ""), *rgb, *out))
    notes = [
        f"{COLOUR}: {checker.name}, scene-linear in each encoding's primaries, and in ACEScg",
        "primaries by SMPTE RP 177:1993, von Kries adaptation: "
        + ", ".join(f"{name} {cat}" for name, (_, _, cat, _, _) in ENCODINGS.items()),
        "Bradford: ICC.1:2022 annex E; CAT02: CIE 159:2004; AP1: Academy S-2014-004",
    ]
    columns = ["encoding", "patch", "r", "g", "b", "acescg_r", "acescg_g", "acescg_b"]
    write("patches.csv", notes, columns, rows)


def optimised(made):
    return made.getOptimizedCPUProcessor(
        ocio.BIT_DEPTH_F32, ocio.BIT_DEPTH_F32, ocio.OPTIMIZATION_NONE
    )


def processor(*builtins):
    transforms = [ocio.BuiltinTransform(name) for name in builtins]
    return optimised(ocio.Config.CreateRaw().getProcessor(ocio.GroupTransform(transforms)))


def to_aces2065_1(name):
    config, _, space = name.rpartition(": ")
    if config:
        made = ocio.Config.CreateFromBuiltinConfig(config).getProcessor(space, "ACES2065-1")
        return optimised(made)
    return processor(name)


def second_witness():
    rng = np.random.default_rng(20)
    neutral = np.repeat(np.linspace(0.0, 1.0, 17)[:, None], 3, axis=1)
    colours = np.concatenate([neutral, rng.uniform(0.05, 0.95, (47, 3))]).astype(np.float32)
    rows = []
    for name, (*_, builtin) in ENCODINGS.items():
        if builtin is None:
            continue
        out = colours.copy()
        to_aces2065_1(builtin).applyRGB(out)
        rows += [(name, *map(float, i), *map(float, o)) for i, o in zip(colours, out)]
    notes = [
        f"{OCIO}: built-in transforms of code values to ACES2065-1",
        "d-log: the colour space D-Log D-Gamut of its built-in studio config",
        "exact to about 2e-6 of the pixel's largest channel (curve and matrix in f32); besides,",
        "acescct: not held at 65504 as S-2016-001 has it (no code here gets there)",
        "acescc: a table of 4096 entries from -0.36 to 1.5, and ACES2065-1 under 0 becomes 0",
        "logc3: constants before they were rounded to the document's six digits",
        "v-log: toe slope derived from continuity, not the document's 5.6: 9e-6 of 1 % light below the cut",
        "d-log: likewise, not 6.025; and above the cut the constants of the document's encoding inverted",
        "c-log2, c-log3: tables of 4096 entries; apple-log: a table over all half floats",
    ]
    write("ocio.csv", notes, ["encoding", "r", "g", "b", "aces_r", "aces_g", "aces_b"], rows)


def displays():
    rows = []
    for name, (_, primaries, _, _) in DISPLAYS.items():
        m = colour.matrix_RGB_to_RGB(
            colour.RGB_COLOURSPACES["ACEScg"], colour.RGB_COLOURSPACES[primaries], "Bradford"
        )
        rows += [(name, *row) for row in m]
    notes = [
        f"{COLOUR}: ACEScg to each display's linear RGB by Bradford, row by row",
        "Academy S-2014-004; ITU-R BT.709-6; SMPTE EG 432-1, ST 2113; SMPTE RP 177:1993; ICC.1:2022 annex E",
    ]
    write("acescg_to_display.csv", notes, ["display", "r", "g", "b"], rows)

    rng = np.random.default_rng(26)
    neutral = np.repeat(np.linspace(0.0, 1.0, 17)[:, None], 3, axis=1)
    # Pale enough for every display here to hold.
    colours = np.concatenate([neutral, rng.uniform(0.3, 0.6, (47, 3))]).astype(np.float32)
    rows = []
    for name, (*_, builtin) in DISPLAYS.items():
        out = colours.copy()
        made = processor("UTILITY - ACES-AP1_to_CIE-XYZ-D65_BFD", f"DISPLAY - CIE-XYZ-D65_to_{builtin}")
        made.applyRGB(out)
        rows += [(name, *map(float, i), *map(float, o)) for i, o in zip(colours, out)]
    notes = [
        f"{OCIO}: ACEScg light to display signal",
        "built-ins UTILITY - ACES-AP1_to_CIE-XYZ-D65_BFD, then DISPLAY - CIE-XYZ-D65_to_"
        + ", ".join(builtin for *_, builtin in DISPLAYS.values()),
        "exact to about 2e-6 (matrices and curve in f32); sRGB and DisplayP3 besides have the break that",
        "continuity gives, not the document's: 1e-5 of signal",
    ]
    write("displays_ocio.csv", notes, ["display", "r", "g", "b", "out_r", "out_g", "out_b"], rows)


def tone_scale():
    page = {
        100: (10.000, 45.757, 63.988),
        500: (13.193, 89.098, 158.949),
        1000: (14.512, 106.564, 205.783),
        2000: (15.747, 121.664, 248.779),
        4000: (16.824, 133.883, 284.433),
    }
    rows = [(str(n), x, f"{y:.3f}") for n, ys in page.items() for x, y in zip(("0.18", "1", "2"), ys)]
    notes = [
        "Academy, ACES 2 documentation, Output Transforms, technical details, Tone Mapping (its table of",
        "nit values for scene light 0.18, 1 and 2), three decimals as printed there; copied by way of the",
        "project's colour reference, not from the page itself; tone_scale_ocio.csv is the second witness",
    ]
    write("tone_scale.csv", notes, ["peak", "light", "nits"], rows)

    light = [float(v) for v in 2.0 ** np.arange(-10.0, 5.0)] + [0.18, 1.0]
    rows = []
    for peak in page:
        kind = "SDR-100nit-REC709_2.0" if peak == 100 else f"HDR-{peak}nit-P3-D65_2.0"
        made = processor(f"ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - {kind}")
        grey = np.repeat(np.array(light, dtype=np.float32)[:, None], 3, axis=1)
        made.applyRGB(grey)
        rows += [(peak, x, 100.0 * float(xyz[1])) for x, xyz in zip(light, grey)]
    notes = [
        f"{OCIO}: luminance that the ACES 2.0 output transform gives a neutral, cd/m2",
        "built-ins ACES-OUTPUT - ACES2065-1_to_CIE-XYZ-D65 - SDR-100nit-REC709_2.0 and HDR-*nit-P3-D65_2.0",
        "the whole transform in f32, through J and back: exact to about 2e-6 of the result",
    ]
    write("tone_scale_ocio.csv", notes, ["peak", "light", "nits"], rows)


def ycbcr():
    rng = np.random.default_rng(709)
    corners = np.array([[r, g, b] for r in (0, 1) for g in (0, 1) for b in (0, 1)], dtype=float)
    bars = corners * 0.75
    greys = np.repeat(np.array([0.18, 0.3831, 0.5, 0.9])[:, None], 3, axis=1)
    rgb = np.concatenate([corners, bars, greys, np.round(rng.uniform(0, 1, (24, 3)), 6)])
    rows = []
    for matrix in ("601", "709", "2020"):
        weights = colour.WEIGHTS_YCBCR[f"ITU-R BT.{matrix}"]
        for range_name, legal in (("narrow", True), ("full", False)):
            for depth in (8, 10, 12):
                codes = colour.RGB_to_YCbCr(rgb, K=weights, out_bits=depth, out_legal=legal, out_int=True)
                rows += [(matrix, range_name, depth, *c, *map(int, y)) for c, y in zip(rgb, codes)]
    notes = [
        f"{COLOUR}: R'G'B' to integer Y'CbCr codes, rounded half up, held at the highest code",
        "ITU-R BT.601-7, BT.709-6, BT.2020-2 (weights, narrow range); BT.2100-2 table 9 (full range)",
    ]
    write("ycbcr.csv", notes, ["matrix", "range", "depth", "r", "g", "b", "y", "cb", "cr"], rows)


OUT.mkdir(parents=True, exist_ok=True)
curves()
patches()
second_witness()
displays()
tone_scale()
ycbcr()
