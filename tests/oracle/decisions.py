"""What opencolorio makes of colour decisions: reads each file that is named and prints its corrections; with
--write DIR it writes the same three corrections in the three forms of ASC CDL's XML.

    decisions.py FILE…            id, nine numbers and saturation of each correction, tab between
    decisions.py --write DIR      DIR/ocio.cc, ocio.ccc, ocio.cdl
"""

import sys
from pathlib import Path

import PyOpenColorIO as ocio


def corrections(path):
    group = ocio.CDLTransform.CreateGroupFromFile(path)
    for one in group:
        yield one.getID(), [*one.getSlope(), *one.getOffset(), *one.getPower(), one.getSat()]


def write(folder):
    group = ocio.GroupTransform()
    for i in range(3):
        one = ocio.CDLTransform()
        one.setID(f"shot-{i}")
        one.setSlope([1.1 + i, 0.95, 1.0])
        one.setOffset([0.01, -0.02 * i, 0.0])
        one.setPower([1.2, 1.0, 0.8])
        one.setSat(0.9 + 0.1 * i)
        group.appendTransform(one)
    config = ocio.Config.CreateRaw()
    single = ocio.GroupTransform()
    single.appendTransform(group[0])
    for name, what, form in [
        ("ocio.cc", single, "ColorCorrection"),
        ("ocio.ccc", group, "ColorCorrectionCollection"),
        ("ocio.cdl", group, "ColorDecisionList"),
    ]:
        (folder / name).write_text(what.write(form, config))


if sys.argv[1] == "--write":
    write(Path(sys.argv[2]))
else:
    for name in sys.argv[1:]:
        for key, numbers in corrections(name):
            print(key, *(repr(n) for n in numbers), sep="\t")
