//! Running orders: OpenTimelineIO against the project's own library (`tests/oracle/orders.py`), broken files, and lists
//! and decisions from elsewhere laid onto clips and shots.

#[path = "support/mutate.rs"]
mod mutate;

use std::path::Path;
use std::process::Command;

use greyhold::colour::{Cdl, encoding};
use greyhold::engine::incoming::{change, laid, pieces, placed};
use greyhold::interchange::otio::{Clip, Item, Span, Timeline};
use greyhold::media::{ClipInfo, Image, ImageFormat, Interpretation, open, write_image};
use greyhold::picture::{Balance, BalanceField};
use greyhold::show::{Change, Shot, Show};

fn oracle(arguments: &[&str]) -> String {
    let root = env!("CARGO_MANIFEST_DIR");
    let python = format!("{root}/target/oracle-venv/bin/python");
    let output = Command::new(&python)
        .arg(format!("{root}/tests/oracle/orders.py"))
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{python} does not start ({e}): run tests/setup.sh"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

const DECISION: Cdl<f64> =
    Cdl { slope: [1.1, 1.0, 0.9], offset: [0.01, 0.0, -0.01], power: [1.0, 1.2, 1.0], saturation: 0.8 };

fn timeline() -> Timeline {
    let span = |start: f64, length: f64, rate: f64| Span { start, length, rate };
    let clip = |name: &str, media: Option<&str>, shown, cdl| {
        Item::Clip(Clip {
            name: name.into(),
            media: media.map(str::to_owned),
            available: media.map(|_| span(86400.0, 240.0, 24.0)),
            shown,
            cdl,
        })
    };
    Timeline {
        name: "order".into(),
        start: Some((86400.0, 24.0)),
        items: vec![
            clip("a", Some("clips/a.mov"), span(86410.0, 48.0, 24.0), Some(DECISION)),
            Item::Gap(span(0.0, 12.0, 24.0)),
            clip("b", None, span(10.0, 30.0, 25.0), None),
        ],
        notes: vec![],
    }
}

#[test]
fn opentimelineio_writes_what_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("order.otio");
    oracle(&["write", file.to_str().unwrap()]);
    let mut read = Timeline::read(&std::fs::read(&file).unwrap()).unwrap();
    // The audio track and the dissolve are left out, and that is said.
    assert_eq!(read.notes.len(), 2, "{:?}", read.notes);
    read.notes.clear();
    assert_eq!(read, timeline());
    // What is written reads back.
    let text = read.write().unwrap();
    assert_eq!(Timeline::read(text.as_bytes()).unwrap(), read);
}

#[test]
fn opentimelineio_reads_what_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("ours.otio");
    let mut order = timeline();
    order.items.truncate(2);
    std::fs::write(&file, order.write().unwrap()).unwrap();
    let text = oracle(&["otio", file.to_str().unwrap()]);
    assert_eq!(
        text.trim(),
        "a\t86410.0\t48.0\t24.0\tclips/a.mov\t1.1\t1.0\t0.9\t0.01\t0.0\t-0.01\t1.0\t1.2\t1.0\t0.8"
    );
}

#[test]
fn what_is_wrong_has_a_line() {
    for (text, line, says) in [
        ("{\n\"OTIO_SCHEMA\": \"Timeline.1\",\n x", 3, "JSON"),
        ("{\"OTIO_SCHEMA\": 3}", 1, "OTIO_SCHEMA"),
        ("{\n\"name\": \"x\"}", 1, "a name and a version"),
        ("{\"OTIO_SCHEMA\": \"Clip.2\"}", 1, "a Timeline"),
        ("{\"OTIO_SCHEMA\": \"Timeline.1\"}", 1, "a video track"),
        (
            "{\"OTIO_SCHEMA\": \"Timeline.1\",\n\"global_start_time\": {\"OTIO_SCHEMA\": \"RationalTime.1\", \"value\": 1, \"rate\": 0}}",
            2,
            "a rate above 0",
        ),
    ] {
        let error = Timeline::read(text.as_bytes()).unwrap_err();
        assert_eq!(error.line(), Some(line), "{text}: {error}");
        assert!(error.to_string().contains(says), "{text}: {error}");
    }
    // As deep as one likes is an error, not a stack that overflows.
    let deep = "{\"OTIO_SCHEMA\":\"Stack.1\",\"children\":[".repeat(100_000);
    assert!(Timeline::read(deep.as_bytes()).is_err());
}

#[test]
fn broken_timelines_are_errors_and_no_panics() {
    let count = mutate::count();
    let seeds = [timeline().write().unwrap().into_bytes()];
    let words = [
        "{\"OTIO_SCHEMA\": \"Clip.1\"}",
        "null",
        "1e400",
        "-1",
        "[[[[",
        "}",
        "\"",
        "\\u0000",
        "\"children\": [",
        "\"rate\": 0",
        "\"value\": 1e300",
        "true",
        "\"OTIO_SCHEMA\": \"Timeline.1\",",
        "\n",
    ];
    let mut random = mutate::Random(11);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..count {
        match Timeline::read(&mutate::mutated(&seeds, &words, &mut random)) {
            Ok(timeline) => {
                if let Ok(text) = timeline.write() {
                    Timeline::read(text.as_bytes()).ok();
                }
                read += 1;
            }
            Err(error) => {
                assert!(error.line().is_some(), "{error}");
                refused += 1;
            }
        }
    }
    println!("OTIO: {count} files made wrong, {read} read, {refused} refused");
    assert!(read > count / 100 && refused > count / 4);
}

/// Two sequences whose numbers stand for their timecode: 01:00:00:00 and 02:00:00:00, 48 frames each, of eight pixels.
fn clips(folder: &Path) -> Vec<ClipInfo> {
    let pixels = [[512u16; 3]; 8];
    for (name, first) in [("A001_C003", 86400), ("B002_C001", 2 * 86400)] {
        for number in first..first + 48 {
            let path = folder.join(format!("{name}.{number}.dpx"));
            write_image(
                &path,
                ImageFormat::Dpx,
                &Image::Codes { width: 4, height: 2, depth: 10, pixels: &pixels },
            )
            .unwrap();
        }
    }
    let info = |name: &str| {
        let path = folder.join(format!("{name}.#######.dpx"));
        let path = if path.exists() { path } else { folder.join(format!("{name}.%d.dpx")) };
        open(&path, &Interpretation::default()).unwrap().info().clone()
    };
    vec![info("A001_C003"), info("B002_C001")]
}

const LIST: &str = "TITLE: reel\nFCM: NON-DROP FRAME\n\
    001  A001_C003 V C 01:00:00:06 01:00:01:06 01:00:00:00 01:00:01:00\n\
    * ASC_SOP (1.1 1.0 0.9)(0.01 0.0 -0.01)(1.0 1.2 1.0)\n* ASC_SAT 0.8\n\
    002  AX V C 02:00:00:12 02:00:01:12 01:00:01:00 01:00:02:00\n* FROM CLIP NAME: B002_C001.mov\n\
    * ASC_SAT 1.2\n\
    003  A001_C003 V C 01:00:10:00 01:00:11:00 01:00:02:00 01:00:03:00\n\
    004  C9 V C 01:00:00:00 01:00:01:00 01:00:03:00 01:00:04:00\n* ASC_SAT 0.5\n";

#[test]
fn a_list_makes_the_running_order() {
    let folder = tempfile::tempdir().unwrap();
    let infos = clips(folder.path());
    let infos: Vec<&ClipInfo> = infos.iter().collect();
    let (list, notes) = pieces(Path::new("reel.edl"), LIST.as_bytes()).unwrap();
    assert_eq!((list.len(), notes.len()), (4, 0));
    let found: Vec<_> = list.iter().map(|p| placed(p, &infos)).collect();
    assert_eq!(found[0], Ok((0, 6..30, "reel and timecode".into())));
    assert_eq!(found[1], Ok((1, 12..36, "clip name and timecode".into())));
    assert!(found[2].as_ref().unwrap_err().contains("not its timecode"), "{found:?}");
    assert!(found[3].as_ref().unwrap_err().contains("no clip has its reel"), "{found:?}");
}

#[test]
fn decisions_find_their_shots_in_one_step() {
    let folder = tempfile::tempdir().unwrap();
    let infos: Vec<_> = clips(folder.path()).into_iter().map(Some).collect();
    let logc4 = encoding("logc4").unwrap();
    let mut show = Show::new("reel");
    for (i, (name, source, frames)) in [
        ("platform", "A001_C003.%d.dpx", 0..20),
        ("blue hour", "B002_C001.%d.dpx", 0..48),
        ("late", "A001_C003.%d.dpx", 40..48),
    ]
    .into_iter()
    .enumerate()
    {
        show.apply(Change::AddShot { at: i, shot: Shot::new(name, source, frames, logc4) }).unwrap();
    }
    let infos = vec![infos[0].clone(), infos[1].clone(), infos[0].clone()];
    let (list, _) = pieces(Path::new("reel.edl"), LIST.as_bytes()).unwrap();
    let (found, left) = laid(&list, &show.shots, &infos);
    let by: Vec<_> = found.iter().map(|l| (l.shot, l.by.as_str())).collect();
    // The third shot shows none of the frames that the list has decisions for.
    assert_eq!(by, [(0, "reel and timecode"), (1, "clip name and timecode")]);
    assert_eq!(left, ["reel.edl:10, event 004"]);
    let before = show.clone();
    show.shots[0].balance = Balance::default().with(BalanceField::Contrast, 1.4);
    let graded = show.clone();
    let (one, told) = change(&show, &found);
    assert!(told.is_empty());
    let back = show.apply(one).unwrap();
    let cdl = show.shots[0].balance.cdl();
    for (a, b) in [cdl.slope, cdl.offset, cdl.power]
        .concat()
        .iter()
        .zip([DECISION.slope, DECISION.offset, DECISION.power].concat())
    {
        assert!((a - b).abs() < 1e-12, "{cdl:?}");
    }
    assert_eq!(show.shots[1].balance.get(BalanceField::Saturation), 1.2);
    // One step back.
    show.apply(back).unwrap();
    assert_eq!(show, graded);
    assert_eq!(show.shots[1], before.shots[1]);

    // By name, from XML; and one that no parameter reaches.
    let xml = "<ColorCorrectionCollection><ColorCorrection id='late'><SatNode><Saturation>0.5</Saturation></SatNode>\
        </ColorCorrection><ColorCorrection id='Platform'><SOPNode><Slope>9 1 1</Slope><Offset>0 0 0</Offset><Power>1 1 1\
        </Power></SOPNode></ColorCorrection></ColorCorrectionCollection>";
    let (list, _) = pieces(Path::new("set.ccc"), xml.as_bytes()).unwrap();
    let (found, left) = laid(&list, &show.shots, &[None, None, None]);
    assert_eq!(
        found.iter().map(|l| (l.shot, l.by.as_str())).collect::<Vec<_>>(),
        [(0, "shot name"), (2, "shot name")]
    );
    assert!(left.is_empty());
    let (one, told) = change(&show, &found);
    assert!(told.len() == 1 && told[0].contains("slope-r would be 9"), "{told:?}");
    show.apply(one).unwrap();
    assert_eq!(show.shots[2].balance.get(BalanceField::Saturation), 0.5);
    assert_eq!(show.shots[0], graded.shots[0]);
}

#[test]
fn a_cdl_safe_show_moves_what_a_cdl_carries() {
    use greyhold::show::{Slot, read, write};
    let logc4 = encoding("logc4").unwrap();
    let mut show = Show::new("safe");
    let mut shot = Shot::new("one", "one.mov", 0..10, logc4);
    shot.balance = shot.balance.with(BalanceField::Exposure, 0.5);
    show.apply(Change::AddShot { at: 0, shot: shot.clone() }).unwrap();
    let set = |field, value| Change::SetParameter { slot: Slot::Balance { shot: 0, field }, value };
    let refused = show.apply(Change::SetCdlSafe(true)).unwrap_err().to_string();
    assert!(refused.contains("exposure") && refused.contains("accepted"), "{refused}");
    show.apply(set(BalanceField::Exposure, 0.0)).unwrap();
    let back = show.apply(Change::SetCdlSafe(true)).unwrap();
    for field in BalanceField::ALL {
        let result = show.clone().apply(set(*field, field.parameter().max));
        assert_eq!(result.is_ok(), field.is_carried_by_cdl(), "{}", field.parameter().key);
    }
    assert!(show.apply(Change::AddShot { at: 1, shot }).is_err());
    // The file keeps it, and holds a hand that edits it to it.
    let text = write(&show).unwrap();
    assert!(text.contains("cdl-safe = true"));
    assert_eq!(read(&text, Path::new("show.toml")).unwrap(), show);
    let edited = text.replace("encoding = \"logc4\"", "encoding = \"logc4\"\n[shot.balance]\nwarmth = 10");
    let error = read(&edited, Path::new("show.toml")).unwrap_err().to_string();
    assert!(error.contains("show.toml:") && error.contains("warmth"), "{error}");
    show.apply(back).unwrap();
    assert!(!show.cdl_safe);
}
