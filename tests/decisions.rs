//! Colour decisions in XML and in edit decision lists, read and written: against opencolorio
//! (`tests/oracle/decisions.py`), and against what harms a reader.

#[path = "support/mutate.rs"]
mod mutate;

use std::path::{Path, PathBuf};
use std::process::Command;

use greyhold::colour::Cdl;
use greyhold::interchange::cdl::{Correction, Corrections, Kind, NAMESPACE};
use greyhold::interchange::edl::{Edl, Label, Transition};

/// Runs the oracle; what it printed.
fn oracle(arguments: &[&Path]) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    let python = format!("{root}/target/oracle-venv/bin/python");
    let output = Command::new(&python)
        .arg(format!("{root}/tests/oracle/decisions.py"))
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{python} does not start ({e}): run tests/setup.sh"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

fn numbers(cdl: &Cdl<f64>) -> Vec<f64> {
    [cdl.slope, cdl.offset, cdl.power].concat().into_iter().chain([cdl.saturation]).collect()
}

/// Awkward numbers: many digits, tiny, large.
fn three() -> Vec<Correction> {
    let one = |id: &str, cdl| Correction { cdl, ..Correction::new(id) };
    let mut all = vec![
        one(
            "a & b",
            Cdl {
                slope: [1.0 / 3.0, 0.0, 7.5],
                offset: [-0.123_456_789, 1e-9, 0.5],
                power: [0.25, 4.0, 1.0],
                saturation: 1.7,
            },
        ),
        one("second", Cdl::IDENTITY),
        one("third", Cdl { saturation: 0.0, ..Cdl::IDENTITY }),
    ];
    all[0].descriptions = vec!["for <ACEScct>".into(), "two".into()];
    all[0].input = Some("ACEScct".into());
    all[0].media = vec!["file:///clips/a.mov".into()];
    all
}

fn corrections(kind: Kind, all: Vec<Correction>) -> Corrections {
    let (input, viewing) = match kind {
        Kind::One => (None, None),
        _ => (Some("ACEScct".into()), Some("Rec. 709".into())),
    };
    Corrections { kind, descriptions: vec![], input, viewing, all, notes: vec![] }
}

#[test]
fn what_is_written_reads_back_as_the_same_bits() {
    for kind in [Kind::One, Kind::Collection, Kind::Decisions] {
        let mut all = three();
        all.truncate(if kind == Kind::One { 1 } else { 3 });
        if kind != Kind::Decisions {
            all.iter_mut().for_each(|c| c.media.clear());
        }
        let file = corrections(kind, all);
        let text = file.write().unwrap();
        assert!(text.contains(NAMESPACE));
        assert_eq!(Corrections::read(text.as_bytes()).unwrap(), file, "{text}");
    }
}

#[test]
fn opencolorio_reads_what_is_written_and_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let mut paths: Vec<PathBuf> = Vec::new();
    let mut wanted: Vec<(String, Vec<f64>)> = Vec::new();
    for kind in [Kind::One, Kind::Collection, Kind::Decisions] {
        let mut all = three();
        all.truncate(if kind == Kind::One { 1 } else { 3 });
        // Power 0.25 … 4, slope 0 and saturation 0 are allowed by version 1.2, and opencolorio takes them.
        let file = corrections(kind, all);
        let path = folder.path().join(format!("ours.{}", kind.extension()));
        std::fs::write(&path, file.write().unwrap()).unwrap();
        paths.push(path);
        wanted.extend(file.all.iter().map(|c| (c.id.clone(), numbers(&c.cdl))));
    }
    let text = oracle(&paths.iter().map(PathBuf::as_path).collect::<Vec<_>>());
    let found: Vec<(String, Vec<f64>)> = text
        .lines()
        .map(|l| l.split('\t'))
        .map(|mut w| (w.next().unwrap().to_owned(), w.map(|n| n.parse().unwrap()).collect()))
        .collect();
    assert_eq!(found.len(), wanted.len(), "{text}");
    for ((id, ours), (theirs_id, theirs)) in wanted.iter().zip(&found) {
        assert_eq!(id, theirs_id);
        for (a, b) in ours.iter().zip(theirs) {
            assert!((a - b).abs() <= 1e-7 * a.abs().max(1.0), "{id}: {a} is read as {b}");
        }
    }

    oracle(&[Path::new("--write"), folder.path()]);
    for (name, count) in [("ocio.cc", 1), ("ocio.ccc", 3), ("ocio.cdl", 3)] {
        let read = Corrections::read(&std::fs::read(folder.path().join(name)).unwrap()).unwrap();
        assert_eq!(read.all.len(), count, "{name}");
        for (i, one) in read.all.iter().enumerate() {
            let i = i as f64;
            let wanted = Cdl {
                slope: [1.1 + i, 0.95, 1.0],
                offset: [0.01, -0.02 * i, 0.0],
                power: [1.2, 1.0, 0.8],
                saturation: 0.9 + 0.1 * i,
            };
            assert_eq!(one.id, format!("shot-{i}"));
            let far = numbers(&one.cdl).into_iter().zip(numbers(&wanted)).map(|(a, b)| (a - b).abs());
            assert!(far.fold(0.0, f64::max) < 1e-7, "{name}: {one:?}");
        }
    }
}

#[test]
fn variants_in_use_are_read() {
    let body = |sop: &str, sat: &str, p: &str| {
        format!(
            "<{p}ColorCorrection id=\" x \"><{p}Description>d</{p}Description><{p}{sop}><{p}Slope>2 2,2</{p}Slope>\
             <{p}Offset> 0\n0 0.5</{p}Offset><{p}Power>1 1 1</{p}Power></{p}{sop}><{p}{sat}><{p}Saturation>0.5\
             </{p}Saturation></{p}{sat}></{p}ColorCorrection>"
        )
    };
    for (sop, sat) in [("SOPNode", "SatNode"), ("SopNode", "SATNode"), ("ASC_SOP", "ASC_SAT")] {
        for prefix in ["", "cdl:"] {
            let read = Corrections::read(body(sop, sat, prefix).as_bytes()).unwrap();
            let one = &read.all[0];
            assert_eq!((one.id.as_str(), one.descriptions.as_slice()), ("x", &["d".to_owned()][..]));
            let wanted = Cdl { slope: [2.0; 3], offset: [0.0, 0.0, 0.5], power: [1.0; 3], saturation: 0.5 };
            assert_eq!(one.cdl, wanted);
        }
    }
    // A node alone, a reference, an element of no known kind, and media.
    let list = "<ColorDecisionList xmlns='urn:ASC:CDL:v1.01'><InputDescription>LogC4</InputDescription>\
        <ColorDecision><MediaRef ref='a.mov'/><ColorCorrectionRef ref='b'/></ColorDecision>\n<Other><x/></Other>\
        <ColorDecision><MediaRef ref='b.mov'/><ColorCorrection id='b'><SatNode><Saturation>2</Saturation></SatNode>\
        </ColorCorrection></ColorDecision></ColorDecisionList>";
    let read = Corrections::read(list.as_bytes()).unwrap();
    assert_eq!(read.kind, Kind::Decisions);
    assert_eq!(read.input.as_deref(), Some("LogC4"));
    assert_eq!(read.notes, [(2, "\"Other\" is not known and was left out".to_owned())]);
    assert_eq!(read.all.iter().map(|c| c.media[0].as_str()).collect::<Vec<_>>(), ["a.mov", "b.mov"]);
    assert!(read.all.iter().all(|c| c.cdl == Cdl { saturation: 2.0, ..Cdl::IDENTITY } && c.id == "b"));
}

#[test]
fn what_is_wrong_has_a_line_and_what_would_be_right() {
    let cc = |inner: &str| format!("<ColorCorrection>\n{inner}\n</ColorCorrection>");
    for (text, line, says) in [
        (cc("<SatNode><Saturation>-1</Saturation></SatNode>"), 2, "0 or more"),
        (cc("<SOPNode>\n<Slope>1 1</Slope></SOPNode>"), 3, "3 finite numbers"),
        (cc("<SOPNode>\n<Slope>1 1 1</Slope></SOPNode>"), 2, "Slope, Offset and Power"),
        (cc("<SOPNode><Slope>1 1 1</Slope><Offset>0 0 0</Offset>\n<Power>1 0 1</Power></SOPNode>"), 3, "more than 0"),
        (cc("<SatNode><Saturation>nan</Saturation></SatNode>"), 2, "one finite number"),
        (cc("<SatNode></SatNode>"), 2, "0 or more"),
        ("<Something/>".into(), 1, "ColorCorrectionCollection"),
        ("<ColorCorrectionCollection>\n</ColorCorrectionCollection>".into(), 1, "one or more"),
        ("<ColorDecisionList>\n<ColorDecision>\n<ColorCorrectionRef ref='no'/></ColorDecision></ColorDecisionList>".into(), 3, "of this file"),
        ("".into(), 1, "root"),
    ] {
        let error = Corrections::read(text.as_bytes()).unwrap_err();
        assert_eq!(error.line(), Some(line), "{text}: {error}");
        assert!(error.to_string().contains(says), "{text}: {error}");
    }
    let event = "001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00";
    for (text, line, says) in [
        ("TITLE: x\n001 A V C 01:00:00:00 01:00:01:00".to_owned(), 2, "four timecodes"),
        (event.replace("00:01:00 01", "00:61:00 01"), 1, "four timecodes"),
        (event.replace(" C ", " D "), 1, "its frames"),
        ("FCM: SOMETIMES\n".to_owned() + event, 1, "DROP FRAME"),
        (format!("{event}\n* ASC_SOP (1 1)(0 0 0)(1 1 1)"), 2, "three numbers each"),
        (format!("{event}\n\n* ASC_SAT -1"), 3, "0 or more"),
        (format!("{event}\n* ASC_SOP (1 1 1)(0 0 0)(1 1 0)"), 2, "more than 0"),
        ("TITLE: none".to_owned(), 1, "an event"),
    ] {
        let error = Edl::read(text.as_bytes()).err();
        let error = error.unwrap_or_else(|| panic!("read: {text}"));
        assert_eq!(error.line(), Some(line), "{text}: {error}");
        assert!(error.to_string().contains(says), "{text}: {error}");
    }
}

fn cut() -> Edl {
    Edl::read(include_bytes!("data/decisions/cut.edl")).unwrap()
}

#[test]
fn a_list_is_read() {
    let edl = cut();
    assert_eq!(edl.title, "Winter reel one");
    assert_eq!(edl.notes, []);
    let events = &edl.events;
    assert_eq!(events.len(), 6);
    assert_eq!(events[0].clip.as_deref(), Some("A001_C003"));
    let cdl =
        Cdl { slope: [1.1, 0.95, 1.0], offset: [0.01, -0.02, 0.0], power: [1.2, 1.0, 0.8], saturation: 0.9 };
    assert_eq!(events[0].cdl, Some(cdl));
    assert_eq!(events[0].comments, ["A note of no known kind"]);
    assert_eq!(events[2].transition, Transition::Dissolve(24));
    // What a dissolve comes from is said of the line before.
    assert_eq!(
        (events[1].clip.as_deref(), events[2].clip.as_deref()),
        (Some("A001_C003"), Some("B002_C001"))
    );
    assert_eq!(events[2].file.as_deref(), Some("B002_C001.mov"));
    assert_eq!(events[4].transition, Transition::Other("W001".into(), 12));
    assert_eq!(events[4].speed, Some(48.0));
    let pictures: Vec<bool> = events.iter().map(|e| e.is_picture()).collect();
    assert_eq!(pictures, [true, false, true, false, true, false]);
    assert_eq!(events[4].source_in, Label { hours: 3, minutes: 0, seconds: 0, frames: 0, dropping: false });
}

#[test]
fn a_list_goes_round() {
    let edl = cut();
    let text = edl.write().unwrap();
    let mut again = Edl::read(text.as_bytes()).unwrap();
    for (a, b) in again.events.iter_mut().zip(&edl.events) {
        a.line = b.line;
    }
    assert_eq!(again, edl, "{text}");
    // Drop-frame labels are marked, whichever way they were.
    let drop = "FCM: DROP FRAME\n1 A V C 00:00:59:28 00:01:00:02 00:00:00:00 00:00:00:04\n\
                FCM: NON-DROP FRAME\n2 A V C 00:00:59:28 00:01:00:02 00:00:00:00 00:00:00:04\n";
    let edl = Edl::read(drop.as_bytes()).unwrap();
    assert_eq!(edl.events.iter().map(|e| e.dropping).collect::<Vec<_>>(), [true, false]);
    let text = edl.write().unwrap();
    assert!(text.contains("00:00:59;28 00:01:00;02") && text.contains("00:00:59:28 00:01:00:02"), "{text}");
}

#[test]
fn broken_files_are_errors_and_no_panics() {
    let start = std::time::Instant::now();
    let count = mutate::count();
    let xml: Vec<Vec<u8>> = [Kind::One, Kind::Collection, Kind::Decisions]
        .into_iter()
        .map(|kind| {
            let all = three().into_iter().take(if kind == Kind::One { 1 } else { 3 }).collect();
            corrections(kind, all).write().unwrap().into_bytes()
        })
        .collect();
    let words = [
        "<SOPNode>",
        "</SatNode>",
        "<ColorCorrectionRef ref=\"second\"/>",
        "&#0;",
        "&amp;",
        "<![CDATA[",
        "]]>",
        "<!--",
        "1e400",
        "-0",
        "nan",
        "<?xml",
        "\u{feff}",
        "\"",
        "xmlns:cdl=\"\"",
        "<a><a><a><a><a><a><a><a><a><a><a><a>",
    ];
    let mut random = mutate::Random(7);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..count {
        match Corrections::read(&mutate::mutated(&xml, &words, &mut random)) {
            // What is read can be written, and means the same again.
            Ok(file) => {
                let again = Corrections::read(file.write().unwrap().as_bytes()).unwrap();
                assert_eq!(again.all.len(), file.all.len());
                read += 1;
            }
            Err(error) => {
                assert!(error.line().is_some(), "{error}");
                refused += 1;
            }
        }
    }
    println!("XML: {count} files made wrong, {read} read, {refused} refused");
    assert!(read > count / 100 && refused > count / 4);

    let lists = [include_bytes!("data/decisions/cut.edl").to_vec()];
    let words = [
        "* ASC_SOP (",
        "* ASC_SAT ",
        "FCM: DROP FRAME",
        "M2 ",
        "\r",
        "\n",
        "99:99:99:99",
        "1000000",
        " K B ",
        " D ",
        ";",
        "é",
        "* FROM CLIP NAME",
        "TITLE:",
        "001 A V C 01:00:00:00 01:00:01:00 01:00:00:00 01:00:01:00\n",
    ];
    let (mut read, mut refused) = (0, 0);
    for _ in 0..count {
        match Edl::read(&mutate::mutated(&lists, &words, &mut random)) {
            Ok(edl) => {
                if let Ok(text) = edl.write() {
                    Edl::read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}: {text}"));
                }
                read += 1;
            }
            Err(error) => {
                assert!(error.line().is_some(), "{error}");
                refused += 1;
            }
        }
    }
    println!("EDL: {count} files made wrong, {read} read, {refused} refused, in all {:.1?}", start.elapsed());
    assert!(read > count / 100 && refused > count / 20);
}
