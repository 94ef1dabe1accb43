"""What opencolorio makes of a hand-off's files.

    handoff.py apply FILE IN OUT          a .cube or CLF file, tetrahedra in its cube
    handoff.py decide FILE ID IN OUT      an ASC CDL of that id, values not held to 0…1

IN and OUT hold colours as single floats, red, green, blue one after the other.
"""

import sys

import numpy as np
import PyOpenColorIO as ocio


def run(transform, source, target):
    config = ocio.Config.CreateRaw()
    processor = config.getProcessor(transform).getOptimizedCPUProcessor(ocio.OPTIMIZATION_LOSSLESS)
    pixels = np.fromfile(source, np.float32).reshape(-1, 3)
    processor.applyRGB(pixels)
    pixels.tofile(target)


match sys.argv[1:]:
    case ["apply", name, source, target]:
        run(ocio.FileTransform(name, interpolation=ocio.INTERP_TETRAHEDRAL), source, target)
    case ["decide", name, key, source, target]:
        group = ocio.CDLTransform.CreateGroupFromFile(name)
        (one,) = [t for t in group if t.getID() == key]
        one.setStyle(ocio.CDL_NO_CLAMP)
        run(one, source, target)
    case _:
        sys.exit(__doc__)
