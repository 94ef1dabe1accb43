//! The show room through its public interface: the file, changes and undo, addresses, saving, looks.
//!
//! The formats and rules are this project's own; what is checked is that they keep what their
//! documentation promises.

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use greyhold::colour::{OutputTransform, Range, YcbcrMatrix, display, encoding};
use greyhold::look::{Kind, List, STAGES, Stage, stage};
use greyhold::picture::{BALANCE, BalanceField, Tail};
use greyhold::show::*;

use BalanceField::{Exposure, OffsetB, OffsetG, OffsetR};

fn kind(key: &str) -> Kind {
    stage(key).unwrap()
}

fn shot(name: &str, encoding_id: &str) -> Shot {
    Shot::new(
        name,
        format!("footage/{name}.mov"),
        10..58,
        encoding(encoding_id).unwrap(),
    )
}

/// A show with something in every field.
fn full_show() -> Show {
    let mut show = Show::new("Harbour at “dawn”");
    show.rate = (24000, 1001);
    show.transform = OutputTransform::None;
    show.outputs.client = display("srgb").unwrap();
    show.panel = Some("two \\ wheels".to_owned());
    for (at, name) in ["gate", "naïve\n\t\"quote\" \u{1}\u{7f}\u{85}", "舟 🛶"]
        .into_iter()
        .enumerate()
    {
        show.apply(Change::AddShot {
            at,
            shot: shot(name, "logc4"),
        })
        .unwrap();
    }
    show.shots[0].range = Some(Range::Narrow);
    show.shots[0].matrix = Some(YcbcrMatrix::Bt2020);
    show.shots[1].range = Some(Range::Full);
    show.shots[1].matrix = Some(YcbcrMatrix::Bt601);
    show.shots[2].source = PathBuf::from("/elsewhere/a b/ü.%04d.exr");
    show.shots[2].balance.values = [0.1 + 0.2, -60.0, 1e-7, 0.0];
    let mut contrast = Stage::new(kind("contrast"));
    contrast.values = vec![1.0 / 3.0 + 1.0, 0.25, 1.0];
    contrast.strength = 1.5;
    let mut off = Stage::new(kind("split-tone"));
    off.on = false;
    show.chain.before = vec![Stage::new(kind("contrast"))];
    show.chain.look = vec![contrast.clone(), off, contrast];
    show.chain.finish = vec![Stage::new(kind("split-tone"))];
    show.chain.look_strength = 0.75;
    show
}

// ---- the file ----

#[test]
fn a_show_survives_its_file_exactly() {
    let file = Path::new("show.toml");
    for show in [Show::new(""), Show::new("A"), full_show()] {
        let text = write(&show).unwrap();
        let back = read(&text, file).unwrap();
        assert_eq!(back, show, "{text}");
        assert_eq!(write(&back).unwrap(), text);
        // Not only equal: −0 and the last bit too.
        for (a, b) in back.shots.iter().zip(&show.shots) {
            assert_eq!(
                a.balance.values.map(f64::to_bits),
                b.balance.values.map(f64::to_bits)
            );
        }
    }
}

#[test]
fn the_file_is_as_documented() {
    let mut show = Show::new("Harbour");
    show.apply(Change::AddShot {
        at: 0,
        shot: shot("gate", "s-log3-cine"),
    })
    .unwrap();
    show.apply(Change::SetParameter {
        slot: Slot::Balance {
            shot: 0,
            field: Exposure,
        },
        value: 0.5,
    })
    .unwrap();
    let mut contrast = Stage::new(kind("contrast"));
    contrast.values[0] = 1.2;
    show.apply(Change::AddStage {
        list: List::Look,
        at: 0,
        stage: contrast,
    })
    .unwrap();
    let text = write(&show).unwrap();
    let body: String = text
        .lines()
        .filter(|l| !l.starts_with('#'))
        .map(|l| format!("{l}\n"))
        .collect();
    assert_eq!(
        body,
        r#"version = 1

[show]
name = "Harbour"
rate = "24"
transform = "plain"

[outputs]
desk = "rec709"
client = "rec709"
files = "rec709"

[[shot]]
name = "gate"
source = "footage/gate.mov"
in = 10
out = 58
encoding = "s-log3-cine"

[shot.balance]
exposure = 0.5

[chain]
look-strength = 1.0

[[chain.look]]
stage = "contrast"
on = true
strength = 1.0
slope = 1.2
toe = 0.0
shoulder = 0.0
"#
    );
    assert!(
        text.starts_with('#'),
        "a header comment says what the file is"
    );
}

#[test]
fn what_is_left_out_of_the_file_stands_at_its_default() {
    let text = "version = 1\n[show]\nname = \"x\"\nrate = \"25\"\ntransform = \"plain\"\n\
                [[chain.look]]\nstage = \"contrast\"\nslope = 2\n";
    let show = read(text, Path::new("show.toml")).unwrap();
    assert_eq!(show.rate, (25, 1));
    assert_eq!(show.outputs, Outputs::default());
    assert!(show.shots.is_empty());
    let mut expected = Stage::new(kind("contrast"));
    // A whole number is a number.
    expected.values[0] = 2.0;
    assert_eq!(show.chain.look, [expected]);
    assert_eq!(show.chain.look_strength, 1.0);
    let text = write(&show).unwrap();
    assert_eq!(
        write(&read(&text, Path::new("show.toml")).unwrap()).unwrap(),
        text
    );
}

#[test]
fn the_end_of_a_circle_is_its_start() {
    let text = write(&full_show())
        .unwrap()
        .replace("shadow-hue = 230.0", "shadow-hue = 360");
    let show = read(&text, Path::new("show.toml")).unwrap();
    assert_eq!(show.chain.finish[0].values[0], 0.0);
}

/// A good file whose lines are numbered in the tests below.
const GOOD: &str = r#"version = 1
[show]
name = "x"
rate = "24"
transform = "plain"
[outputs]
desk = "rec709"
[[shot]]
name = "a"
source = "a.mov"
in = 0
out = 10
encoding = "logc4"
[shot.balance]
exposure = 1.0
[[shot]]
name = "b"
source = "b.mov"
in = 0
out = 10
encoding = "v-log"
range = "full"
matrix = "bt709"
[chain]
look-strength = 1.0
[[chain.look]]
stage = "contrast"
on = true
strength = 1.0
slope = 1.5
"#;

/// Swaps one line of [`GOOD`] and gives the complaint.
fn complaint(line: &str, instead: &str) -> String {
    assert_eq!(
        GOOD.matches(line).count(),
        1,
        "{line:?} has to stand in the file once"
    );
    let text = GOOD.replace(line, instead);
    read(&text, Path::new("dir/show.toml"))
        .expect_err(&text)
        .to_string()
}

#[test]
fn every_complaint_about_a_file_has_its_line_and_what_is_accepted() {
    assert!(read(GOOD, Path::new("show.toml")).is_ok());
    let cases: &[(&str, &str, &str, &str)] = &[
        // line, put instead, place and what was wrong, part of what is accepted
        ("version = 1", "version = 0", ":1: version is 0", "1 to 1"),
        (
            "version = 1",
            "version = \"1\"",
            ":1: version is \"1\"",
            "a whole number",
        ),
        (
            "version = 1\n",
            "",
            ":1: the file lacks version",
            "version = a whole number",
        ),
        (
            "version = 1\n",
            "version = 1\ncolour = 3\n",
            ":2: the file has no key \"colour\"",
            "version, show, outputs, shot, chain",
        ),
        (
            "name = \"x\"\n",
            "",
            ":2: [show] lacks name",
            "name = a text",
        ),
        ("name = \"x\"", "name = 4", ":3: name is 4", "a text"),
        (
            "rate = \"24\"",
            "rate = \"24.5\"",
            ":4: rate is \"24.5\"",
            "30000/1001",
        ),
        (
            "rate = \"24\"",
            "rate = \"24/0\"",
            ":4: rate is \"24/0\"",
            "1 to 1000",
        ),
        ("rate = \"24\"", "rate = 24", ":4: rate is 24", "\"24\""),
        (
            "rate = \"24\"",
            "rate = \"24\"\nfps = 24",
            ":5: [show] has no key \"fps\"",
            "name, rate, transform, panel",
        ),
        (
            "transform = \"plain\"",
            "transform = \"fancy\"",
            ":5: transform is \"fancy\"",
            "plain, none",
        ),
        (
            "transform = \"plain\"\n",
            "",
            ":2: [show] lacks transform",
            "plain, none",
        ),
        (
            "desk = \"rec709\"",
            "desk = \"rec710\"",
            ":7: desk is \"rec710\"",
            "rec709, srgb",
        ),
        (
            "desk = \"rec709\"",
            "dask = \"rec709\"",
            ":7: [outputs] has no key \"dask\"",
            "desk, client, files",
        ),
        (
            "name = \"b\"",
            "name = \"a\"",
            ":17: two shots are called \"a\"",
            "a name of its own",
        ),
        (
            "name = \"b\"",
            "name = \"\"",
            ":17: a shot has an empty name",
            "a name of its own",
        ),
        (
            "name = \"b\"\n",
            "",
            ":16: [[shot]] lacks name",
            "name = a text",
        ),
        (
            "source = \"b.mov\"",
            "source = \"\"",
            ":18: source is empty",
            "the path",
        ),
        (
            "source = \"b.mov\"\nin = 0",
            "source = \"b.mov\"\nin = -1",
            ":19: in is -1",
            "0 to 4294967295",
        ),
        (
            "source = \"b.mov\"\nin = 0",
            "source = \"b.mov\"\nin = 1.5",
            ":19: in is 1.5",
            "a whole number",
        ),
        (
            "source = \"b.mov\"\nin = 0\nout = 10",
            "source = \"b.mov\"\nin = 10\nout = 10",
            ":20: out is 10 and in is 10",
            "after in",
        ),
        (
            "out = 10\nencoding = \"v-log\"",
            "out = 4294967296\nencoding = \"v-log\"",
            ":20: out is 4294967296",
            "to 4294967295",
        ),
        (
            "out = 10\nencoding = \"v-log\"",
            "out = 99999999999999999999999\nencoding = \"v-log\"",
            ":20: ",
            "0 to 4294967295",
        ),
        (
            "encoding = \"v-log\"",
            "encoding = \"v-lag\"",
            ":21: encoding is \"v-lag\"",
            "acescct, acescg, aces2065-1, logc4, s-log3-cine, v-log, bt1886",
        ),
        (
            "encoding = \"v-log\"\n",
            "",
            ":16: [[shot]] lacks encoding",
            "encoding = acescct",
        ),
        (
            "range = \"full\"",
            "range = \"wide\"",
            ":22: range is \"wide\"",
            "narrow, full",
        ),
        (
            "matrix = \"bt709\"",
            "matrix = \"709\"",
            ":23: matrix is \"709\"",
            "bt601, bt709, bt2020",
        ),
        (
            "exposure = 1.0",
            "exposure = 8.5",
            ":15: exposure is 8.5",
            "a number from -8 to 8",
        ),
        (
            "exposure = 1.0",
            "exposure = nan",
            ":15: exposure is nan",
            "a number from -8 to 8",
        ),
        (
            "exposure = 1.0",
            "exposure = -inf",
            ":15: exposure is -inf",
            "a number from -8 to 8",
        ),
        (
            "exposure = 1.0",
            "exposure = \"1\"",
            ":15: exposure is \"1\"",
            "a number from -8 to 8",
        ),
        (
            "exposure = 1.0",
            "expose = 1.0",
            ":15: [shot.balance] has no key \"expose\"",
            "exposure, offset-r, offset-g, offset-b",
        ),
        (
            "[shot.balance]\nexposure = 1.0",
            "balance = 1.0",
            ":14: balance is 1.0",
            "a table [shot.balance]",
        ),
        (
            "look-strength = 1.0",
            "look-strength = 2",
            ":25: look-strength is 2",
            "a number from 0 to 1.5",
        ),
        (
            "[[chain.look]]",
            "[chain.look]",
            ":26: look is a table",
            "tables [[chain.look]]",
        ),
        (
            "[[chain.look]]",
            "[[chain.looks]]",
            ":26: [chain] has no key \"looks\"",
            "look-strength, before, look, finish",
        ),
        (
            "stage = \"contrast\"",
            "stage = \"kontrast\"",
            ":27: stage is \"kontrast\"",
            "contrast, split-tone",
        ),
        (
            "stage = \"contrast\"\n",
            "",
            ":26: [[chain.look]] lacks stage",
            "contrast, split-tone",
        ),
        ("on = true", "on = 1", ":28: on is 1", "true or false"),
        (
            "on = true\nstrength = 1.0",
            "on = true\nstrength = 1.6",
            ":29: strength is 1.6",
            "a number from 0 to 1.5",
        ),
        (
            "slope = 1.5",
            "slope = 0.4",
            ":30: slope is 0.4",
            "a number from 0.5 to 2",
        ),
        (
            "slope = 1.5",
            "slop = 1.5",
            ":30: [[chain.look]] has no key \"slop\"",
            "stage, on, strength, slope, toe, shoulder",
        ),
        (
            "slope = 1.5",
            "slope = [1.5]",
            ":30: slope is a list",
            "a number from 0.5 to 2",
        ),
        (
            "slope = 1.5",
            "slope = ",
            ":30: this is not TOML",
            "TOML 1.0",
        ),
        (
            "slope = 1.5",
            "slope = 1.5\nslope = 1.6",
            ":31: this is not TOML",
            "TOML 1.0",
        ),
    ];
    for (line, instead, wrong, accepted) in cases {
        let said = complaint(line, instead);
        assert!(
            said.starts_with(&format!("dir/show.toml{wrong}")),
            "{instead:?}: {said}"
        );
        let tail = said.split("; accepted: ").last().unwrap();
        assert!(
            said.contains("; accepted: ") && tail.contains(accepted),
            "{instead:?}: {said}"
        );
    }
    // The same for a missing [show].
    let said = read("version = 1\n", Path::new("s.toml"))
        .unwrap_err()
        .to_string();
    assert_eq!(
        said,
        "s.toml:1: the file lacks [show]; accepted: a table [show]"
    );
}

#[test]
fn a_newer_file_is_refused_as_newer_whatever_else_is_in_it() {
    let text = "\n# later\nversion = 7\n[wonders]\nx = 1\n";
    assert_eq!(
        read(text, Path::new("show.toml")).unwrap_err().to_string(),
        "show.toml:3: written by a newer version (7); this one reads up to 1"
    );
    assert_eq!(
        read_look(text, Path::new("l.toml"))
            .unwrap_err()
            .to_string(),
        "l.toml:3: written by a newer version (7); this one reads up to 1"
    );
}

#[test]
fn a_file_that_is_no_text_or_not_there_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let said = load(dir.path()).unwrap_err().to_string();
    assert!(
        said.starts_with("cannot read ") && said.contains("show.toml"),
        "{said}"
    );
    std::fs::write(dir.path().join(SHOW_FILE), b"version = 1\n# \xff\n").unwrap();
    let said = load(dir.path()).unwrap_err().to_string();
    assert!(
        said.contains("show.toml:2: this is not UTF-8 text; accepted: "),
        "{said}"
    );
}

#[test]
fn no_parameter_is_called_like_another_key_of_its_table() {
    for declaration in STAGES {
        let mut keys: Vec<_> = declaration.parameters.iter().map(|p| p.key).collect();
        keys.extend(["stage", "on", "strength"]);
        assert_eq!(
            keys.iter().collect::<BTreeSet<_>>().len(),
            keys.len(),
            "{}",
            declaration.key
        );
    }
}

#[test]
fn rates_are_exact_fractions() {
    for (text, rate) in [
        ("24", (24, 1)),
        ("24000/1001", (24000, 1001)),
        ("1000", (1000, 1)),
        ("1", (1, 1)),
    ] {
        assert_eq!(rate_from_text(text), Some(rate));
        assert_eq!(rate_text(rate), text);
    }
    for text in [
        "",
        "0",
        "1001",
        "24/",
        "/1",
        "+24",
        "24.0",
        "24/25",
        "-1",
        "24 ",
        "99999999999",
        "1/0",
        "0/0",
    ] {
        assert_eq!(rate_from_text(text), None, "{text:?}");
    }
}

#[test]
fn sources_inside_the_folder_are_kept_relative() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("show");
    std::fs::create_dir(&folder).unwrap();
    let inside = folder.join("footage").join("a.mov");
    let outside = dir.path().join("b.mov");
    assert_eq!(source_in_show(&folder, &inside), Path::new("footage/a.mov"));
    assert_eq!(source_in_show(&folder, &outside), outside);
    let s = Shot::new(
        "a",
        source_in_show(&folder, &inside),
        0..1,
        encoding("v-log").unwrap(),
    );
    assert_eq!(s.source_path(&folder), inside);
    let s = Shot::new(
        "b",
        source_in_show(&folder, &outside),
        0..1,
        encoding("v-log").unwrap(),
    );
    assert_eq!(s.source_path(&folder), outside);
    // A folder whose name begins alike is not inside.
    assert!(source_in_show(&folder, &dir.path().join("show 2/a.mov")).is_absolute());
}

// ---- changes ----

/// One of every kind of change that fits [`full_show`] and does something to it.
fn every_change() -> Vec<Change> {
    let slot = |address: &str| {
        full_show()
            .resolve(&Address::parse(address).unwrap(), 1)
            .unwrap()
    };
    let (look, third) = (List::Look, 2);
    let changes = vec![
        Change::SetParameter {
            slot: slot("balance/offset-g"),
            value: 3.25,
        },
        Change::SetParameter {
            slot: slot("look/strength"),
            value: 0.5,
        },
        Change::SetParameter {
            slot: slot("look/3/strength"),
            value: 0.5,
        },
        Change::SetParameter {
            slot: slot("finish/split-tone/shadow-hue"),
            value: 12.0,
        },
        Change::SetStageOn {
            list: look,
            at: third,
            on: false,
        },
        Change::AddStage {
            list: look,
            at: third,
            stage: Stage::new(kind("contrast")),
        },
        Change::AddStage {
            list: List::Finish,
            at: 1,
            stage: Stage::new(kind("contrast")),
        },
        Change::RemoveStage {
            list: look,
            at: third,
        },
        Change::MoveStage {
            list: look,
            from: 0,
            to: 1,
        },
        Change::MoveStage {
            list: look,
            from: 2,
            to: 0,
        },
        Change::ReplaceLook {
            stages: vec![Stage::new(kind("split-tone"))],
            strength: 1.25,
        },
        Change::AddShot {
            at: 1,
            shot: shot("new", "v-log"),
        },
        Change::AddShot {
            at: 3,
            shot: shot("gate", "v-log"),
        },
        Change::RemoveShot { at: 2 },
        Change::MoveShot { from: 0, to: 2 },
        Change::MoveShot { from: 2, to: 1 },
        Change::RenameShot {
            shot: 0,
            name: "harbour".to_owned(),
        },
        Change::SetShotSource {
            shot: 0,
            source: PathBuf::from("elsewhere.mov"),
        },
        Change::SetShotEncoding {
            shot: 0,
            encoding: encoding("v-log").unwrap(),
        },
        Change::SetShotRange {
            shot: 0,
            start: 0,
            end: 1,
        },
        Change::SetSignalRange {
            shot: 0,
            range: None,
        },
        Change::SetMatrix {
            shot: 0,
            matrix: Some(YcbcrMatrix::Bt709),
        },
        Change::SetTransform(OutputTransform::Plain),
        Change::SetDisplay {
            output: Output::Files,
            display: display("srgb").unwrap(),
        },
        Change::SetName("else".to_owned()),
        Change::SetRate((25, 1)),
        Change::SetPanel(None),
        Change::Together(vec![
            Change::AddShot {
                at: 0,
                shot: shot("new", "v-log"),
            },
            Change::RenameShot {
                shot: 0,
                name: "newer".to_owned(),
            },
            Change::SetParameter {
                slot: slot("balance/exposure"),
                value: 1.0,
            },
            Change::RemoveShot { at: 2 },
        ]),
    ];
    // The compiler asks for a line here when a kind of change is added; the count below asks for a case.
    let number = |c: &Change| match c {
        Change::SetParameter { .. } => 0,
        Change::SetStageOn { .. } => 1,
        Change::AddStage { .. } => 2,
        Change::RemoveStage { .. } => 3,
        Change::MoveStage { .. } => 4,
        Change::ReplaceLook { .. } => 5,
        Change::AddShot { .. } => 6,
        Change::RemoveShot { .. } => 7,
        Change::MoveShot { .. } => 8,
        Change::RenameShot { .. } => 9,
        Change::SetShotSource { .. } => 10,
        Change::SetShotEncoding { .. } => 11,
        Change::SetShotRange { .. } => 12,
        Change::SetSignalRange { .. } => 13,
        Change::SetMatrix { .. } => 14,
        Change::SetTransform(_) => 15,
        Change::SetDisplay { .. } => 16,
        Change::SetName(_) => 17,
        Change::SetRate(_) => 18,
        Change::SetPanel(_) => 19,
        Change::Together(_) => 20,
    };
    assert_eq!(
        changes.iter().map(number).collect::<BTreeSet<_>>().len(),
        21
    );
    changes
}

#[test]
fn every_change_acts_and_its_inverse_takes_it_back() {
    for change in every_change() {
        let before = full_show();
        let mut show = before.clone();
        let inverse = show.apply(change.clone()).unwrap();
        assert_ne!(show, before, "{change:?}");
        let after = show.clone();
        // What a change leaves can be written and read.
        assert_eq!(
            read(&write(&show).unwrap(), Path::new("s")).unwrap(),
            show,
            "{change:?}"
        );
        let again = show.apply(inverse).unwrap();
        assert_eq!(show, before, "{change:?}");
        show.apply(again).unwrap();
        assert_eq!(show, after, "{change:?}");
    }
}

#[test]
fn a_long_way_there_and_back() {
    let mut show = full_show();
    let mut inverses = Vec::new();
    // In an order in which each still fits: shots and stages are taken out last.
    let (late, early): (Vec<_>, Vec<_>) = every_change().into_iter().partition(|c| {
        matches!(
            c,
            Change::RemoveShot { .. } | Change::RemoveStage { .. } | Change::ReplaceLook { .. }
        )
    });
    for change in early.into_iter().chain(late) {
        if let Ok(inverse) = show.apply(change) {
            inverses.push(inverse);
        }
    }
    assert!(inverses.len() > 20, "{}", inverses.len());
    while let Some(inverse) = inverses.pop() {
        show.apply(inverse).unwrap();
    }
    assert_eq!(show, full_show());
}

#[test]
fn values_are_held_to_their_ranges() {
    let mut show = full_show();
    let exposure = Slot::Balance {
        shot: 0,
        field: Exposure,
    };
    for (value, held) in [
        (99.0, 8.0),
        (-99.0, -8.0),
        (f64::NAN, 0.0),
        (f64::INFINITY, 8.0),
        (1.0, 1.0),
    ] {
        show.apply(Change::SetParameter {
            slot: exposure,
            value,
        })
        .unwrap();
        assert_eq!(show.get(exposure), Some(held));
    }
    let hue = show
        .resolve(&Address::parse("finish/split-tone/shadow-hue").unwrap(), 0)
        .unwrap();
    for (value, held) in [
        (361.0, 1.0),
        (-1.0, 359.0),
        (360.0, 0.0),
        (-1e-20, 0.0),
        (f64::INFINITY, 230.0),
    ] {
        show.apply(Change::SetParameter { slot: hue, value })
            .unwrap();
        assert_eq!(show.get(hue), Some(held), "{value}");
    }
    let mut wild = Stage::new(kind("contrast"));
    wild.strength = 9.0;
    wild.values = vec![0.0, -1.0, 3.0];
    show.apply(Change::ReplaceLook {
        stages: vec![wild.clone()],
        strength: -1.0,
    })
    .unwrap();
    show.apply(Change::AddStage {
        list: List::Before,
        at: 0,
        stage: wild,
    })
    .unwrap();
    for stage in [&show.chain.look[0], &show.chain.before[0]] {
        assert_eq!(
            (stage.strength, stage.values.as_slice()),
            (1.5, &[0.5, 0.0, 1.0][..])
        );
    }
    assert_eq!(show.chain.look_strength, 0.0);
    let mut far = shot("far", "v-log");
    far.balance.values = [100.0; 4];
    show.apply(Change::AddShot { at: 0, shot: far }).unwrap();
    assert_eq!(show.shots[0].balance.values, [8.0, 60.0, 60.0, 60.0]);
}

#[test]
fn shots_get_names_of_their_own() {
    let mut show = Show::new("x");
    for name in ["a", "a", "a 2", "a", "", ""] {
        let at = show.shots.len();
        show.apply(Change::AddShot {
            at,
            shot: shot(name, "v-log"),
        })
        .unwrap();
    }
    let names: Vec<_> = show.shots.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["a", "a 2", "a 2 2", "a 3", "shot", "shot 2"]);
    for name in ["a 3", ""] {
        let before = show.clone();
        let said = show
            .apply(Change::RenameShot {
                shot: 0,
                name: name.to_owned(),
            })
            .unwrap_err()
            .to_string();
        assert_eq!(
            said,
            format!(
                "a shot cannot be called {name:?}; accepted: a name that is not empty and that no other shot has"
            )
        );
        assert_eq!(show, before);
    }
    // Its own name is free to it.
    show.apply(Change::RenameShot {
        shot: 0,
        name: "a".to_owned(),
    })
    .unwrap();
}

#[test]
fn changes_that_do_not_fit_are_refused_and_leave_the_show_alone() {
    let contrast = kind("contrast");
    let mut short = Stage::new(contrast);
    short.values.pop();
    let mut empty = shot("e", "v-log");
    empty.end = empty.start;
    let mut long = shot("e", "v-log");
    long.end = MAX_FRAME + 1;
    let mut nowhere = shot("e", "v-log");
    nowhere.source = PathBuf::new();
    let stale = Slot::Parameter {
        list: List::Look,
        at: 1,
        kind: contrast,
        index: 0,
    };
    let cases: Vec<(Change, &str)> = vec![
        (
            Change::SetParameter {
                slot: stale,
                value: 1.0,
            },
            "the show has no contrast at look/2",
        ),
        (
            Change::SetParameter {
                slot: Slot::Balance {
                    shot: 3,
                    field: OffsetR,
                },
                value: 1.0,
            },
            "the show has no shot 4",
        ),
        (
            Change::SetStageOn {
                list: List::Before,
                at: 1,
                on: false,
            },
            "before has no place 2; accepted: 1 to 1",
        ),
        (
            Change::AddStage {
                list: List::Look,
                at: 4,
                stage: Stage::new(contrast),
            },
            "look has no place 5; accepted: 1 to 4",
        ),
        (
            Change::AddStage {
                list: List::Look,
                at: 0,
                stage: short.clone(),
            },
            "contrast cannot have 2 values; accepted: 3, one for each parameter",
        ),
        (
            Change::ReplaceLook {
                stages: vec![short],
                strength: 1.0,
            },
            "contrast cannot have 2 values",
        ),
        (
            Change::RemoveStage {
                list: List::Look,
                at: 3,
            },
            "look has no place 4; accepted: 1 to 3",
        ),
        (
            Change::MoveStage {
                list: List::Look,
                from: 0,
                to: 3,
            },
            "look has no place 4",
        ),
        (
            Change::MoveStage {
                list: List::Look,
                from: 3,
                to: 0,
            },
            "look has no place 4",
        ),
        (
            Change::AddShot {
                at: 4,
                shot: shot("x", "v-log"),
            },
            "the running order has no place 5; accepted: 1 to 4",
        ),
        (
            Change::AddShot { at: 0, shot: empty },
            "a shot cannot run from frame 10 to before frame 10; accepted: in",
        ),
        (
            Change::AddShot { at: 0, shot: long },
            "a shot cannot run from frame 10 to before frame 4294967296",
        ),
        (
            Change::AddShot {
                at: 0,
                shot: nowhere,
            },
            "a shot cannot be without a source; accepted: the path",
        ),
        (
            Change::RemoveShot { at: 3 },
            "the running order has no place 4",
        ),
        (
            Change::MoveShot { from: 0, to: 3 },
            "the running order has no place 4",
        ),
        (
            Change::RenameShot {
                shot: 3,
                name: "x".to_owned(),
            },
            "the running order has no place 4",
        ),
        (
            Change::SetShotSource {
                shot: 0,
                source: PathBuf::new(),
            },
            "a shot cannot be without a source",
        ),
        (
            Change::SetShotRange {
                shot: 0,
                start: 5,
                end: 4,
            },
            "a shot cannot run from frame 5 to before frame 4",
        ),
        (
            Change::SetShotRange {
                shot: 3,
                start: 0,
                end: 4,
            },
            "the running order has no place 4",
        ),
        (
            Change::SetRate((24, 0)),
            "a show cannot run at 24/0 frames a second; accepted: \"24\"",
        ),
        (
            Change::Together(vec![
                Change::SetName("other".to_owned()),
                Change::RemoveShot { at: 0 },
                Change::RemoveShot { at: 2 },
            ]),
            "the running order has no place 3; accepted: 1 to 2",
        ),
    ];
    for (change, expected) in cases {
        let mut show = full_show();
        let said = show
            .apply(change.clone())
            .expect_err(&format!("{change:?}"))
            .to_string();
        assert!(said.starts_with(expected), "{change:?}: {said}");
        assert!(said.contains("; accepted: "), "{said}");
        assert_eq!(show, full_show(), "{change:?}");
    }
    let said = Show::new("x")
        .apply(Change::RemoveShot { at: 0 })
        .unwrap_err()
        .to_string();
    assert_eq!(
        said,
        "the running order has no place 1; accepted: none, it is empty"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_path_that_is_not_unicode_is_refused_where_it_comes_in() {
    use std::os::unix::ffi::OsStrExt;
    let path = PathBuf::from(std::ffi::OsStr::from_bytes(b"a\xff.mov"));
    let mut show = full_show();
    let said = show
        .apply(Change::SetShotSource {
            shot: 0,
            source: path.clone(),
        })
        .unwrap_err()
        .to_string();
    assert!(said.contains("is not Unicode; accepted: "), "{said}");
    assert_eq!(show, full_show());
    show.shots[0].source = path;
    assert!(matches!(write(&show), Err(ShowError::Path(_))));
}

// ---- undo ----

/// A show with its history and a clock that is moved by hand.
struct Bench {
    show: Show,
    history: History,
    now: Instant,
}

impl Bench {
    fn new() -> Self {
        Self {
            show: full_show(),
            history: History::default(),
            now: Instant::now(),
        }
    }

    fn make(&mut self, change: Change, control: u32, after_ms: u64) {
        self.now += Duration::from_millis(after_ms);
        let inverse = self.show.apply(change.clone()).unwrap();
        self.history.record(change, inverse, control, self.now);
    }

    fn turn(&mut self, field: BalanceField, value: f64, control: u32, after_ms: u64) {
        let slot = Slot::Balance { shot: 0, field };
        self.make(Change::SetParameter { slot, value }, control, after_ms);
    }

    fn undo(&mut self) -> bool {
        let change = self.history.undo();
        change.map(|c| self.show.apply(c).unwrap()).is_some()
    }

    fn redo(&mut self) -> bool {
        let change = self.history.redo();
        change.map(|c| self.show.apply(c).unwrap()).is_some()
    }

    fn exposure(&self) -> f64 {
        self.show.shots[0].balance.get(Exposure)
    }
}

#[test]
fn undo_and_redo_walk_through_every_change() {
    let mut bench = Bench::new();
    let mut states = vec![bench.show.clone()];
    for change in every_change() {
        if let Ok(inverse) = bench.show.apply(change.clone()) {
            bench.now += Duration::from_secs(1);
            bench.history.record(change, inverse, 1, bench.now);
            states.push(bench.show.clone());
        }
    }
    assert!(states.len() > 20);
    for state in states.iter().rev().skip(1) {
        assert!(bench.undo());
        assert_eq!(bench.show, *state);
    }
    assert!(!bench.undo());
    for state in &states[1..] {
        assert!(bench.redo());
        assert_eq!(bench.show, *state);
    }
    assert!(!bench.redo());
}

#[test]
fn a_gesture_is_one_step() {
    let mut bench = Bench::new();
    for i in 1..=20 {
        bench.turn(Exposure, f64::from(i) / 10.0, 1, 499);
    }
    assert_eq!(bench.history.undoable(), 1);
    bench.undo();
    assert_eq!(bench.exposure(), 0.0);
    bench.redo();
    assert_eq!(bench.exposure(), 2.0);
}

#[test]
fn a_gesture_ends_by_a_rest_another_control_another_slot_or_any_other_change() {
    let mut bench = Bench::new();
    bench.turn(Exposure, 0.1, 1, 0);
    bench.turn(Exposure, 0.2, 1, 500);
    assert_eq!(bench.history.undoable(), 2, "a rest of 500 ms");
    bench.turn(Exposure, 0.3, 2, 1);
    assert_eq!(bench.history.undoable(), 3, "another control");
    bench.turn(OffsetR, 0.3, 2, 1);
    assert_eq!(bench.history.undoable(), 4, "another slot");
    bench.turn(Exposure, 0.4, 2, 1);
    assert_eq!(bench.history.undoable(), 5, "back on the first slot");
    bench.make(Change::SetName("between".to_owned()), 2, 1);
    bench.turn(Exposure, 0.5, 2, 1);
    assert_eq!(bench.history.undoable(), 7, "another change between");
    for expected in [0.4, 0.4, 0.3, 0.3, 0.2, 0.1, 0.0] {
        bench.undo();
        assert_eq!(bench.exposure(), expected);
    }
    assert_eq!(bench.show, full_show());
}

#[test]
fn a_gesture_ends_by_undo_and_redo() {
    let mut bench = Bench::new();
    bench.turn(Exposure, 1.0, 1, 0);
    bench.turn(OffsetR, 1.0, 1, 1);
    bench.undo();
    bench.turn(Exposure, 2.0, 1, 1);
    assert_eq!(
        (bench.history.undoable(), bench.history.redoable()),
        (2, 0),
        "a new change drops what could be redone"
    );
    bench.undo();
    bench.redo();
    bench.turn(Exposure, 3.0, 1, 1);
    assert_eq!(bench.history.undoable(), 3);
    bench.undo();
    assert_eq!(bench.exposure(), 2.0);
    bench.undo();
    assert_eq!(bench.exposure(), 1.0);
}

#[test]
fn a_ball_that_sets_several_slots_is_one_gesture_too() {
    let mut bench = Bench::new();
    for i in 1..=10 {
        let set = |field, value| Change::SetParameter {
            slot: Slot::Balance { shot: 0, field },
            value,
        };
        let change = Change::Together(vec![
            set(OffsetR, f64::from(i)),
            set(OffsetB, -f64::from(i)),
        ]);
        bench.make(change, 5, 20);
    }
    assert_eq!(bench.history.undoable(), 1);
    let after = bench.show.clone();
    bench.undo();
    assert_eq!(bench.show, full_show());
    bench.redo();
    assert_eq!(bench.show, after);
}

#[test]
fn a_control_held_against_its_end_makes_no_steps() {
    let mut bench = Bench::new();
    bench.turn(Exposure, 8.0, 1, 0);
    bench.undo();
    // Already 0: nothing happens, and what could be redone still can.
    bench.turn(Exposure, 0.0, 1, 1000);
    assert_eq!((bench.history.undoable(), bench.history.redoable()), (0, 1));
    bench.redo();
    for _ in 0..5 {
        bench.turn(Exposure, 9.0, 1, 1000);
    }
    assert_eq!(bench.history.undoable(), 1);
    bench.undo();
    assert_eq!(bench.exposure(), 0.0);
}

#[test]
fn the_history_is_bounded() {
    let mut bench = Bench::new();
    for i in 0..MOST_STEPS + 10 {
        bench.make(Change::SetName(i.to_string()), 0, 1);
    }
    assert_eq!(bench.history.undoable(), MOST_STEPS);
    while bench.undo() {}
    assert_eq!(bench.show.name, "9");
}

// ---- addresses ----

#[test]
fn addresses_name_parameters_and_resolve() {
    let show = full_show();
    let contrast = kind("contrast");
    let split = kind("split-tone");
    let balance = |field| Slot::Balance { shot: 2, field };
    let cases = [
        ("balance/exposure", Some(balance(Exposure)), Some(0.1 + 0.2)),
        ("balance/offset-r", Some(balance(OffsetR)), Some(-60.0)),
        ("balance/offset-g", Some(balance(OffsetG)), Some(1e-7)),
        ("balance/offset-b", Some(balance(OffsetB)), Some(0.0)),
        ("look/strength", Some(Slot::LookStrength), Some(0.75)),
        (
            "look/contrast/strength",
            Some(Slot::Strength {
                list: List::Look,
                at: 0,
                kind: contrast,
            }),
            Some(1.5),
        ),
        (
            "look/3/toe",
            Some(Slot::Parameter {
                list: List::Look,
                at: 2,
                kind: contrast,
                index: 1,
            }),
            Some(0.25),
        ),
        (
            "look/2/strength",
            Some(Slot::Strength {
                list: List::Look,
                at: 1,
                kind: split,
            }),
            Some(1.0),
        ),
        (
            "before/1/slope",
            Some(Slot::Parameter {
                list: List::Before,
                at: 0,
                kind: contrast,
                index: 0,
            }),
            Some(1.0),
        ),
        (
            "finish/split-tone/width",
            Some(Slot::Parameter {
                list: List::Finish,
                at: 0,
                kind: split,
                index: 4,
            }),
            Some(2.0),
        ),
        // These could exist, but not in this show.
        ("look/2/slope", None, None),
        ("look/4/slope", None, None),
        ("finish/contrast/slope", None, None),
    ];
    for (text, slot, value) in cases {
        let address = Address::parse(text).unwrap();
        assert_eq!(address.to_string(), text);
        assert_eq!(check_address(text), Ok(()));
        assert_eq!(show.resolve(&address, 2), slot, "{text}");
        assert_eq!(slot.and_then(|s| show.get(s)), value, "{text}");
        if let Some(slot) = slot {
            assert_eq!(slot.parameter().key, text.rsplit('/').next().unwrap());
            assert_eq!(show.resolve(&show.address(slot), 2), Some(slot), "{text}");
        }
    }
    assert_eq!(
        show.resolve(&Address::parse("balance/exposure").unwrap(), 3),
        None
    );
    // By kind where that finds it, else by position.
    assert_eq!(
        show.address(Slot::Strength {
            list: List::Before,
            at: 0,
            kind: contrast
        })
        .to_string(),
        "before/contrast/strength"
    );
    assert_eq!(
        show.address(Slot::Strength {
            list: List::Look,
            at: 2,
            kind: contrast
        })
        .to_string(),
        "look/3/strength"
    );
    // A slot from another time reads nothing rather than something else.
    assert_eq!(
        show.get(Slot::Strength {
            list: List::Look,
            at: 1,
            kind: contrast
        }),
        None
    );
    assert_eq!(
        show.get(Slot::Strength {
            list: List::Look,
            at: 9,
            kind: contrast
        }),
        None
    );
}

#[test]
fn every_declared_parameter_has_an_address() {
    for parameter in BALANCE {
        assert_eq!(check_address(&format!("balance/{}", parameter.key)), Ok(()));
    }
    for (list, declaration) in List::ALL
        .into_iter()
        .flat_map(|l| STAGES.iter().map(move |d| (l, d)))
    {
        for key in declaration
            .parameters
            .iter()
            .map(|p| p.key)
            .chain(["strength"])
        {
            for which in [declaration.key, "1"] {
                assert_eq!(
                    check_address(&format!("{}/{which}/{key}", list.key())),
                    Ok(())
                );
            }
        }
    }
    assert_eq!(
        (LOOK_STRENGTH.min, LOOK_STRENGTH.default, LOOK_STRENGTH.max),
        (0.0, 1.0, 1.5)
    );
}

#[test]
fn addresses_that_no_show_could_have_are_refused_with_what_could() {
    let cases = [
        ("", "it has another form", "balance/exposure"),
        ("balance", "it has another form", "look/strength"),
        (
            "balance/exposure/x",
            "it has another form",
            "LIST/STAGE/PARAMETER",
        ),
        (
            "before/strength",
            "it has another form",
            "before, look, finish",
        ),
        ("Look/strength", "it has another form", "look/strength"),
        ("look/contrast", "it has another form", "look/strength"),
        (
            "middle/contrast/slope",
            "it has another form",
            "before, look, finish",
        ),
        (
            "balance/gain",
            "balance has no \"gain\"",
            "balance/exposure, balance/offset-r",
        ),
        (
            "look/kontrast/slope",
            "there is no stage \"kontrast\"",
            "contrast, split-tone, or a position from 1",
        ),
        (
            "look/0/slope",
            "there is no stage \"0\"",
            "a position from 1",
        ),
        (
            "look/-1/slope",
            "there is no stage \"-1\"",
            "a position from 1",
        ),
        (
            "look/contrast/width",
            "contrast has no \"width\"",
            "strength, slope, toe, shoulder",
        ),
        (
            "look/2/speed",
            "2 has no \"speed\"",
            "strength, slope, toe, shoulder, shadow-hue",
        ),
        (
            "look/contrast/slope/",
            "it has another form",
            "look/strength",
        ),
    ];
    for (text, wrong, accepted) in cases {
        let said = check_address(text).unwrap_err();
        assert!(
            said.starts_with(&format!(
                "no parameter is called {text:?}: {wrong}; accepted: "
            )),
            "{said}"
        );
        assert!(
            said.split("; accepted: ")
                .nth(1)
                .unwrap()
                .contains(accepted),
            "{said}"
        );
    }
}

// ---- saving ----

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_saved_show_loads_and_leaves_nothing_beside_it() {
    let dir = tempfile::tempdir().unwrap();
    for show in [full_show(), Show::new("second")] {
        save(&show, dir.path()).unwrap();
        assert_eq!(load(dir.path()).unwrap(), show);
        assert_eq!(names(dir.path()), [SHOW_FILE]);
    }
}

#[test]
fn a_failed_save_leaves_the_old_file_and_nothing_else() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let path = dir.path().join(SHOW_FILE);
    let failing = |error: io::Error| {
        write_atomically(&path, |file| {
            file.write_all(b"version = 1\nhalf of it")?;
            Err(error)
        })
    };
    let full = failing(io::ErrorKind::StorageFull.into()).unwrap_err();
    assert!(matches!(full, ShowError::Full { .. }));
    assert!(full.to_string().ends_with(
        "show.toml was not saved: no space left there; the file from before is as it was"
    ));
    let other = failing(io::Error::other("the cable is out"))
        .unwrap_err()
        .to_string();
    assert!(
        other.starts_with("cannot save ") && other.ends_with("show.toml: the cable is out"),
        "{other}"
    );
    assert_eq!(names(dir.path()), [SHOW_FILE]);
    assert_eq!(load(dir.path()).unwrap(), full_show());
}

#[cfg(target_os = "linux")]
#[test]
fn the_systems_own_word_for_a_full_disk_is_understood() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(SHOW_FILE);
    // /dev/full answers every write with the error that a full disk gives.
    let error = write_atomically(&path, |_| {
        std::fs::OpenOptions::new()
            .write(true)
            .open("/dev/full")?
            .write_all(b"x")
    });
    assert!(matches!(error, Err(ShowError::Full { .. })), "{error:?}");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn saving_where_there_is_no_folder_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let said = save(&full_show(), &dir.path().join("gone"))
        .unwrap_err()
        .to_string();
    assert!(
        said.starts_with("cannot save ") && said.contains("gone"),
        "{said}"
    );
    assert!(names(dir.path()).is_empty());
}

#[test]
fn a_show_that_could_not_be_read_back_does_not_replace_one_that_can() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let mut broken = full_show();
    // Past the changes, which would have refused it.
    broken.shots[1].name = broken.shots[0].name.clone();
    let said = save(&broken, dir.path()).unwrap_err().to_string();
    assert!(said.contains("two shots are called \"gate\""), "{said}");
    assert_eq!(load(dir.path()).unwrap(), full_show());
}

#[test]
fn a_process_that_died_while_saving_does_no_harm() {
    let dir = tempfile::tempdir().unwrap();
    save(&full_show(), dir.path()).unwrap();
    let left = format!(".{SHOW_FILE}.4711-0.tmp");
    std::fs::write(dir.path().join(&left), "version = 1\n[show]\nna").unwrap();
    // One of our own number, as when the system gave it out again.
    for count in 0..200 {
        let name = format!(".{SHOW_FILE}.{}-{count}.tmp", std::process::id());
        std::fs::write(dir.path().join(name), "x".repeat(100_000)).unwrap();
    }
    assert_eq!(load(dir.path()).unwrap(), full_show());
    save(&Show::new("next"), dir.path()).unwrap();
    assert_eq!(load(dir.path()).unwrap(), Show::new("next"));
    // Opening the show tidies up.
    let _lock = Lock::take(dir.path()).unwrap();
    assert_eq!(names(dir.path()), [LOCK_FILE, SHOW_FILE]);
}

#[cfg(unix)]
#[test]
fn a_save_keeps_links_and_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let real = dir.path().join("real.toml");
    std::fs::write(&real, "old").unwrap();
    std::fs::set_permissions(&real, std::fs::Permissions::from_mode(0o640)).unwrap();
    let link = dir.path().join("link.toml");
    std::os::unix::fs::symlink(&real, &link).unwrap();
    write_atomically(&link, |f| f.write_all(b"new")).unwrap();
    assert_eq!(std::fs::read_to_string(&real).unwrap(), "new");
    assert!(link.symlink_metadata().unwrap().is_symlink());
    assert_eq!(real.metadata().unwrap().permissions().mode() & 0o777, 0o640);
}

#[test]
fn readers_find_whole_files_while_it_is_being_saved() {
    let dir = tempfile::tempdir().unwrap();
    let (a, b) = (full_show(), Show::new("short"));
    save(&a, dir.path()).unwrap();
    std::thread::scope(|scope| {
        let writers: Vec<_> = [&a, &b]
            .map(|show| scope.spawn(|| (0..40).for_each(|_| save(show, dir.path()).unwrap())))
            .into_iter()
            .collect();
        let mut reads = 0;
        while reads == 0 || writers.iter().any(|w| !w.is_finished()) {
            let found = load(dir.path()).unwrap();
            assert!(found == a || found == b);
            reads += 1;
        }
    });
    assert_eq!(names(dir.path()), [SHOW_FILE]);
}

#[test]
fn autosave_is_throttled_and_not_put_off() {
    let start = Instant::now();
    let ms = |n: u64| start + Duration::from_millis(n);
    let mut autosave = Autosave::default();
    assert!(!autosave.due(ms(100_000)) && !autosave.unsaved());
    // A control that never rests.
    let mut saves = Vec::new();
    for t in (0..3000).step_by(10) {
        autosave.note_change(ms(t));
        if autosave.due(ms(t)) {
            saves.push(t);
            autosave.begun();
            assert!(autosave.unsaved());
            autosave.saved();
        }
    }
    assert_eq!(saves, [500, 1010, 1520, 2030, 2540]);
    assert!(autosave.unsaved());
    assert_eq!(autosave.due_at(), Some(ms(3050)));
    autosave.begun();
    autosave.saved();
    assert!(!autosave.unsaved() && !autosave.due(ms(100_000)));
}

#[test]
fn autosave_waits_for_a_slow_save_and_tries_again_after_a_failed_one() {
    let start = Instant::now();
    let ms = |n: u64| start + Duration::from_millis(n);
    let mut autosave = Autosave::default();
    autosave.note_change(ms(0));
    assert!(!autosave.due(ms(499)) && autosave.due(ms(500)));
    autosave.begun();
    autosave.note_change(ms(600));
    assert!(!autosave.due(ms(5000)), "one save at a time");
    autosave.saved();
    assert!(autosave.due(ms(5000)) && autosave.unsaved());
    autosave.begun();
    autosave.failed(ms(6000));
    assert!(autosave.unsaved() && !autosave.due(ms(6499)) && autosave.due(ms(6500)));
}

#[test]
fn a_show_is_open_once() {
    let dir = tempfile::tempdir().unwrap();
    let lock = Lock::take(dir.path()).unwrap();
    assert_eq!(lock.folder(), dir.path());
    let said = Lock::take(dir.path()).unwrap_err().to_string();
    if cfg!(unix) {
        let expected = format!(
            "show is open in another Greyhold (process {}): {}",
            std::process::id(),
            dir.path().display()
        );
        assert_eq!(said, expected);
    } else {
        assert!(
            said.starts_with("show is open in another Greyhold (process "),
            "{said}"
        );
    }
    drop(lock);
    drop(Lock::take(dir.path()).unwrap());
    let said = Lock::take(&dir.path().join("gone"))
        .unwrap_err()
        .to_string();
    assert!(
        said.starts_with("cannot lock ") && said.contains("gone"),
        "{said}"
    );
}

const HOLD: &str = "GREYHOLD_TEST_HOLD";

/// Run by the test below as another process, which holds a lock until it is killed; by itself, it checks
/// the lock that it holds and ends.
#[test]
fn other_process_holds_a_lock() {
    let dir = tempfile::tempdir().unwrap();
    let asked = std::env::var_os(HOLD).map(PathBuf::from);
    let folder = asked.clone().unwrap_or_else(|| dir.path().to_owned());
    let _lock = Lock::take(&folder).unwrap();
    assert!(matches!(Lock::take(&folder), Err(ShowError::Open { .. })));
    if asked.is_some() {
        println!("\nholding");
        std::thread::sleep(Duration::from_secs(60));
    }
}

#[test]
fn a_killed_process_gives_its_lock_back() {
    use std::io::BufRead;
    use std::process::{Command, Stdio};
    let dir = tempfile::tempdir().unwrap();
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "other_process_holds_a_lock", "--nocapture"])
        .env(HOLD, dir.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = io::BufReader::new(child.stdout.take().unwrap()).lines();
    let held = lines.map_while(Result::ok).any(|l| l == "holding");
    let while_held = Lock::take(dir.path()).map_err(|e| e.to_string());
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(held);
    let said = while_held.unwrap_err();
    assert!(
        said.starts_with("show is open in another Greyhold (process "),
        "{said}"
    );
    if cfg!(unix) {
        assert!(
            said.contains(&format!("(process {})", child.id())),
            "{said}"
        );
    }
    Lock::take(dir.path()).unwrap();
}

// ---- looks ----

#[test]
fn the_looks_that_come_along_parse_and_round_trip() {
    let looks = list_looks(Path::new("configs/looks")).unwrap();
    assert!(looks.len() >= 2);
    let mut titles = BTreeSet::new();
    for (path, look) in looks {
        let look = look.unwrap();
        assert!(
            !look.stages.is_empty() && !look.note.is_empty(),
            "{}",
            path.display()
        );
        assert!(titles.insert(look.name.clone()), "{} is taken", look.name);
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(write_look(&look), text, "{}", path.display());
        // It fits a show as it is: nothing had to be held.
        let mut show = full_show();
        show.apply(Change::ReplaceLook {
            stages: look.stages.clone(),
            strength: 1.0,
        })
        .unwrap();
        assert_eq!(show.chain.look, look.stages);
    }
}

#[test]
fn looks_survive_their_file() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("odd ☂.toml");
    let full = full_show();
    for look in [
        Look {
            name: "“odd”\n#=".to_owned(),
            note: "\\ \" \t ☂".to_owned(),
            stages: full.chain.look,
        },
        Look {
            name: String::new(),
            note: String::new(),
            stages: Vec::new(),
        },
    ] {
        save_look(&look, &path).unwrap();
        assert_eq!(load_look(&path).unwrap(), look);
    }
    std::fs::write(dir.path().join("bad.toml"), "version = 1\n").unwrap();
    std::fs::write(dir.path().join("notes.txt"), "x").unwrap();
    let listed = list_looks(dir.path()).unwrap();
    assert_eq!(listed.len(), 2);
    assert!(listed[0].0.ends_with("bad.toml") && listed[0].1.is_err());
    assert!(listed[1].1.is_ok(), "a bad file hides no other");
}

#[test]
fn complaints_about_look_files_have_their_line_too() {
    let good = "version = 1\n[look]\nname = \"x\"\nnote = \"y\"\n[[stage]]\nstage = \"contrast\"\ntoe = 0.5\n";
    assert!(read_look(good, Path::new("l.toml")).is_ok());
    let cases = [
        (
            "name = \"x\"",
            "title = \"x\"",
            "l.toml:3: [look] has no key \"title\"; accepted: name, note",
        ),
        (
            "name = \"x\"\n",
            "",
            "l.toml:2: [look] lacks name; accepted: name = a text",
        ),
        (
            "[[stage]]",
            "[[stages]]",
            "l.toml:5: the file has no key \"stages\"; accepted: version, look, stage",
        ),
        (
            "\"contrast\"",
            "\"contast\"",
            "l.toml:6: stage is \"contast\"; accepted: contrast, split-tone",
        ),
        (
            "toe = 0.5",
            "toe = 1.5",
            "l.toml:7: toe is 1.5; accepted: a number from 0 to 1",
        ),
        (
            "toe = 0.5",
            "to = 0.5",
            "l.toml:7: [[stage]] has no key \"to\"; accepted: stage, on, strength, slope, toe, shoulder",
        ),
        (
            "version = 1\n",
            "",
            "l.toml:1: the file lacks version; accepted: version = a whole number from 0",
        ),
    ];
    for (line, instead, expected) in cases {
        assert!(good.contains(line));
        let text = good.replace(line, instead);
        assert_eq!(
            read_look(&text, Path::new("l.toml"))
                .unwrap_err()
                .to_string(),
            expected
        );
    }
}

// ---- to the picture ----

#[test]
fn a_recipe_is_made_of_the_show_as_it_stands() {
    let show = full_show();
    let tail = show.tail(Output::Client);
    let recipe = recipe(&show, 2, tail, 77).unwrap();
    assert_eq!(recipe.decode.encoding.id, "logc4");
    assert_eq!(recipe.balance, Some(show.shots[2].balance));
    assert_eq!(recipe.frame, 77);
    // Effective strengths: before 1; the look's stages × 0.75, one of them off; finish 1.
    let strengths: Vec<_> = recipe.stages.iter().map(|s| s.strength).collect();
    assert_eq!(strengths, [1.0, 1.125, 0.0, 1.125, 1.0]);
    match recipe.tail {
        Tail::Display { transform, display } => {
            assert_eq!((transform, display.id), (OutputTransform::None, "srgb"));
        }
        Tail::Encoding(_) => panic!("an output is a display"),
    }
    assert!(greyhold::show::recipe(&show, 3, tail, 0).is_none());
}
