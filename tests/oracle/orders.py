"""What opentimelineio and its adapter for CMX3600 lists make of running orders, and whether an ACES Metadata File is
built as its schema says.

    orders.py otio FILE          name, first frame, frames, rate, media, ten numbers of each clip
    orders.py edl FILE RATE      the same of an edit decision list, with the reel for the media
    orders.py write FILE         a timeline as opentimelineio writes it, with a gap, a transition, an audio track
    orders.py amf FILE…          nothing, or what is wrong

The schema (namespace urn:ampas:aces:amf:v2.0, github.com/ampas/aces-amf) is in no package of the registry: RULES says in its
place which elements stand in which order in an element, VALUES what simple ones hold, as far as Greyhold writes them.
"""

import re
import sys

import opentimelineio as otio
from lxml import etree

AMF = "{urn:ampas:aces:amf:v2.0}"
CDL = "{urn:ASC:CDL:v1.01}"
WHICH = "(uuid|file|transformId)"
ABOUT = "(description )?(hash )?"
RULES = {
    "acesMetadataFile": "amfInfo (clipId )?pipeline (archivedPipeline )*",
    "amfInfo": "(description )?(author )*dateTime uuid ",
    "pipelineInfo": "(description )?(author )*dateTime uuid systemVersion ",
    "dateTime": "creationDateTime modificationDateTime ",
    "systemVersion": "majorVersion minorVersion patchVersion ",
    "clipId": "clipName (sequence|file|uuid) ",
    "pipeline": "pipelineInfo (inputTransform )?((workingLocation|lookTransform) )*(outputTransform )?",
    "inputTransform": ABOUT + WHICH + " ",
    "outputTransform": ABOUT + WHICH + " ",
    "lookTransform": ABOUT + "(" + WHICH + " |cdlWorkingSpace SOPNode SatNode )",
    "cdlWorkingSpace": "(toCdlWorkingSpace )?fromCdlWorkingSpace ",
    "toCdlWorkingSpace": ABOUT + WHICH + " ",
    "fromCdlWorkingSpace": ABOUT + WHICH + " ",
    "SOPNode": "Slope Offset Power ",
    "SatNode": "Saturation ",
}
NUMBER = r"-?\d+(\.\d+)?"
VALUES = {
    "uuid": r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}",
    "creationDateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ",
    "modificationDateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ",
    "majorVersion": r"\d",
    "minorVersion": r"\d",
    "patchVersion": r"\d",
    "hash": r"[A-Za-z0-9+/]{43}=",
    "file": r"[A-Za-z0-9._~:/%-]+",
    "Slope": rf"{NUMBER}( {NUMBER}){{2}}",
    "Offset": rf"{NUMBER}( {NUMBER}){{2}}",
    "Power": rf"{NUMBER}( {NUMBER}){{2}}",
    "Saturation": NUMBER,
}
IDS = {
    "inputTransform": r"(Input\.\S+|CSC\.\S+)\.a\d+\.v\d+",
    "fromCdlWorkingSpace": r"CSC\.\S+\.\S+\.a\d+\.v\d+",
    "toCdlWorkingSpace": r"CSC\.\S+\.\S+\.a\d+\.v\d+",
    "lookTransform": r"Look\.\S+\.\S+\.a\d+\.v\d+",
    "outputTransform": r"Output\.\S+\.\S+\.a\d+\.v\d+",
}


def wrong(name):
    root = etree.parse(name).getroot()
    if root.tag != AMF + "acesMetadataFile" or root.get("version") != "2.0":
        yield f"root {root.tag}"
    for element in root.iter():
        local = etree.QName(element).localname
        space = CDL if local in ("SOPNode", "SatNode", "Slope", "Offset", "Power", "Saturation") else AMF
        if element.tag != space + local:
            yield f"{element.tag} is in another namespace"
        children = "".join(etree.QName(child).localname + " " for child in element)
        rule = RULES.get(local)
        if rule is None and len(element):
            yield f"{local} has children"
        if rule is not None and not re.fullmatch(rule, children):
            yield f"{local} holds {children}"
        if local in VALUES and not re.fullmatch(VALUES[local], element.text or ""):
            yield f"{local} is {element.text}"
        if local == "transformId":
            known = "urn:ampas:aces:transformId:v2\\.0:" + IDS[etree.QName(element.getparent()).localname]
            if not re.fullmatch(known, element.text or ""):
                yield f"transformId {element.text}"
        applied = local in ("inputTransform", "outputTransform", "lookTransform")
        if applied != (element.get("applied") in ("true", "false")):
            yield f"applied of {local}"


def clips(timeline, reel):
    for track in timeline.tracks:
        for clip in track:
            if not isinstance(clip, otio.schema.Clip):
                continue
            shown = clip.source_range
            reference = clip.media_reference
            media = clip.metadata["cmx_3600"]["reel"] if reel else reference.target_url
            cdl = clip.metadata["cdl"]
            sop = cdl["asc_sop"]
            numbers = [*sop["slope"], *sop["offset"], *sop["power"], cdl["asc_sat"]]
            start, length = shown.start_time, shown.duration
            print(clip.name, start.value, length.value, start.rate, media, *(repr(float(n)) for n in numbers), sep="\t")


def write(name):
    timeline = otio.schema.Timeline("order")
    timeline.global_start_time = otio.opentime.RationalTime(86400, 24)
    sound = otio.schema.Track("A1", kind=otio.schema.TrackKind.Audio)
    video = otio.schema.Track("V1", kind=otio.schema.TrackKind.Video)
    timeline.tracks.extend([sound, video])

    def span(start, length, rate=24):
        time = otio.opentime.RationalTime
        return otio.opentime.TimeRange(time(start, rate), time(length, rate))

    a = otio.schema.Clip("a", otio.schema.ExternalReference("clips/a.mov", span(86400, 240)), span(86410, 48))
    a.metadata["cdl"] = {
        "asc_sop": {"slope": [1.1, 1, 0.9], "offset": [0.01, 0, -0.01], "power": [1, 1.2, 1]},
        "asc_sat": 0.8,
    }
    b = otio.schema.Clip("b", otio.schema.MissingReference(), span(10, 30, 25))
    dissolve = otio.schema.Transition("d", in_offset=span(0, 5).duration, out_offset=span(0, 5).duration)
    video.extend([a, otio.schema.Gap(source_range=span(0, 12)), dissolve, b])
    otio.adapters.write_to_file(timeline, name)


match sys.argv[1:]:
    case ["otio", name]:
        clips(otio.adapters.read_from_file(name), False)
    case ["edl", name, rate]:
        clips(otio.adapters.read_from_file(name, adapter_name="cmx_3600", rate=float(rate)), True)
    case ["write", name]:
        write(name)
    case ["amf", *names]:
        for name in names:
            for what in wrong(name):
                print(f"{name}: {what}")
    case _:
        sys.exit(__doc__)
