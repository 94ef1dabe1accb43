//! `show.toml`: round trips and complaints.

use super::*;

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
            assert_eq!(a.balance.values.map(f64::to_bits), b.balance.values.map(f64::to_bits));
            assert_eq!(a.framing.values.map(f64::to_bits), b.framing.values.map(f64::to_bits));
        }
    }
}

#[test]
fn the_file_is_as_documented() {
    let mut show = Show::new("Harbour");
    show.apply(Change::AddShot { at: 0, shot: shot("gate", "s-log3-cine") }).unwrap();
    show.apply(Change::SetParameter { slot: Slot::Balance { shot: 0, field: Exposure }, value: 0.5 })
        .unwrap();
    show.apply(Change::SetRaster(Some((1920, 1080)))).unwrap();
    let fitting = Slot::Framing { shot: 0, field: FramingField::Fitting };
    show.apply(Change::SetParameter { slot: fitting, value: 1.0 }).unwrap();
    let scale = Slot::Framing { shot: 0, field: FramingField::Scale };
    show.apply(Change::SetParameter { slot: scale, value: 1.25 }).unwrap();
    let mut contrast = Stage::new(kind("contrast"));
    contrast.values[0] = 1.2;
    show.apply(Change::AddStage { list: List::Look, at: 0, stage: contrast }).unwrap();
    let text = write(&show).unwrap();
    let body: String = text.lines().filter(|l| !l.starts_with('#')).map(|l| format!("{l}\n")).collect();
    assert_eq!(
        body,
        r#"version = 1

[show]
name = "Harbour"
rate = "24"
raster = "1920x1080"
transform = "aces2"

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

[shot.framing]
fitting = "fill"
scale = 1.25

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
    assert!(text.starts_with('#'), "a header comment says what the file is");
}

#[test]
fn what_is_left_out_of_the_file_stands_at_its_default() {
    let text = "version = 1\n[show]\nname = \"x\"\nrate = \"25\"\ntransform = \"plain\"\n\
                [[chain.look]]\nstage = \"contrast\"\nslope = 2\n";
    let show = read(text, Path::new("show.toml")).unwrap();
    assert_eq!(show.rate, (25, 1));
    assert_eq!(show.raster, None);
    assert_eq!(show.outputs, Outputs::default());
    assert!(show.shots.is_empty());
    let mut expected = Stage::new(kind("contrast"));
    // A whole number is a number.
    expected.values[0] = 2.0;
    assert_eq!(show.chain.look, [expected]);
    assert_eq!(show.chain.look_strength, 1.0);
    let text = write(&show).unwrap();
    assert_eq!(write(&read(&text, Path::new("show.toml")).unwrap()).unwrap(), text);
}

#[test]
fn the_end_of_a_circle_is_kept() {
    let text = write(&full_show()).unwrap().replace("shadow-hue = 230.0", "shadow-hue = 360");
    let show = read(&text, Path::new("show.toml")).unwrap();
    // The same hue as 0; a knob turned to its end stays there.
    assert_eq!(show.chain.finish[0].values[0], 360.0);
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

/// What a shot's framing is put in place of.
const FRAMED: &str = "[shot.balance]\nexposure = 1.0\n";

/// Swaps one line of [`GOOD`] and gives the complaint.
fn complaint(line: &str, instead: &str) -> String {
    assert_eq!(GOOD.matches(line).count(), 1, "{line:?} has to stand in the file once");
    let text = GOOD.replace(line, instead);
    read(&text, Path::new("dir/show.toml")).expect_err(&text).to_string()
}

#[test]
fn every_complaint_about_a_file_has_its_line_and_what_is_accepted() {
    assert!(read(GOOD, Path::new("show.toml")).is_ok());
    let cases: &[(&str, &str, &str, &str)] = &[
        // line, put instead, place and what was wrong, part of what is accepted
        ("version = 1", "version = 0", ":1: version is 0", "1 to 1"),
        ("version = 1", "version = \"1\"", ":1: version is \"1\"", "a whole number"),
        ("version = 1\n", "", ":1: the file lacks version", "version = a whole number"),
        (
            "version = 1\n",
            "version = 1\ncolour = 3\n",
            ":2: the file has no key \"colour\"",
            "version, show, outputs, display, group, shot, look, chain",
        ),
        ("name = \"x\"\n", "", ":2: [show] lacks name", "name = a text"),
        ("name = \"x\"", "name = 4", ":3: name is 4", "a text"),
        ("rate = \"24\"", "rate = \"24.5\"", ":4: rate is \"24.5\"", "30000/1001"),
        ("rate = \"24\"", "rate = \"24/0\"", ":4: rate is \"24/0\"", "1 to 1000"),
        ("rate = \"24\"", "rate = 24", ":4: rate is 24", "\"24\""),
        (
            "rate = \"24\"",
            "rate = \"24\"\nfps = 24",
            ":5: [show] has no key \"fps\"",
            "name, rate, raster, transform, lut-expects, lut-gives, panel",
        ),
        (
            "transform = \"plain\"",
            "transform = \"fancy\"",
            ":5: transform is \"fancy\"",
            "aces2, plain, none",
        ),
        ("transform = \"plain\"\n", "", ":2: [show] lacks transform", "aces2, plain, none"),
        ("desk = \"rec709\"", "desk = \"rec710\"", ":7: desk is \"rec710\"", "rec709, srgb"),
        (
            "desk = \"rec709\"",
            "dask = \"rec709\"",
            ":7: [outputs] has no key \"dask\"",
            "desk, client, files",
        ),
        ("name = \"b\"", "name = \"a\"", ":17: two shots are called \"a\"", "a name of its own"),
        ("name = \"b\"", "name = \"\"", ":17: a shot has an empty name", "a name of its own"),
        ("name = \"b\"\n", "", ":16: [[shot]] lacks name", "name = a text"),
        ("source = \"b.mov\"", "source = \"\"", ":18: source is empty", "the path"),
        ("source = \"b.mov\"\nin = 0", "source = \"b.mov\"\nin = -1", ":19: in is -1", "0 to 4294967295"),
        ("source = \"b.mov\"\nin = 0", "source = \"b.mov\"\nin = 1.5", ":19: in is 1.5", "a whole number"),
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
            "acescct, acescc, acescg, ",
        ),
        ("encoding = \"v-log\"\n", "", ":16: [[shot]] lacks encoding", "encoding = acescct"),
        ("range = \"full\"", "range = \"wide\"", ":22: range is \"wide\"", "narrow, full"),
        (
            "range = \"full\"",
            "representative = 10",
            ":22: representative is 10",
            "a frame of the shot, from 0 to 9",
        ),
        ("range = \"full\"", "representative = \"x\"", ":22: representative is \"x\"", "a whole number"),
        ("matrix = \"bt709\"", "matrix = \"709\"", ":23: matrix is \"709\"", "bt601, bt709, bt2020"),
        ("rate = \"24\"", "rate = \"24\"\nraster = \"1920\"", ":5: raster is \"1920\"", "\"1920x1080\""),
        ("rate = \"24\"", "rate = \"24\"\nraster = \"0x9\"", ":5: raster is \"0x9\"", "1 to 16384 pixels"),
        ("rate = \"24\"", "rate = \"24\"\nraster = 1920", ":5: raster is 1920", "\"1920x1080\""),
        (FRAMED, "[shot.framing]\nfitting = \"crop\"\n", ":15: fitting is \"crop\"", "fit, fill"),
        (FRAMED, "[shot.framing]\nfitting = 1\n", ":15: fitting is 1", "fit, fill"),
        (FRAMED, "[shot.framing]\nscale = 0\n", ":15: scale is 0", "a number from 0.1 to 10"),
        (FRAMED, "[shot.framing]\npan-y = \"up\"\n", ":15: pan-y is \"up\"", "a number from -2 to 2"),
        (
            FRAMED,
            "[shot.framing]\npan-x = 0.1\npan = 0.1\n",
            ":16: [shot.framing] has no key \"pan\"",
            "fitting, pan-x, pan-y, scale",
        ),
        (FRAMED, "framing = \"fill\"\n", ":14: framing is \"fill\"", "a table [shot.framing]"),
        ("exposure = 1.0", "exposure = 8.5", ":15: exposure is 8.5", "a number from -8 to 8"),
        ("exposure = 1.0", "exposure = nan", ":15: exposure is nan", "a number from -8 to 8"),
        ("exposure = 1.0", "exposure = -inf", ":15: exposure is -inf", "a number from -8 to 8"),
        ("exposure = 1.0", "exposure = \"1\"", ":15: exposure is \"1\"", "a number from -8 to 8"),
        ("exposure = 1.0", "adaptation = 1", ":15: adaptation is 1", "cat16, cat02, bradford"),
        (
            "exposure = 1.0",
            "adaptation = \"cat97\"",
            ":15: adaptation is \"cat97\"",
            "cat16, cat02, bradford",
        ),
        (
            "exposure = 1.0",
            "expose = 1.0",
            ":15: [shot.balance] has no key \"expose\"",
            "exposure, warmth, tint, adaptation, shadow-exposure",
        ),
        ("[shot.balance]\nexposure = 1.0", "balance = 1.0", ":14: balance is 1.0", "a table [shot.balance]"),
        ("look-strength = 1.0", "look-strength = 2", ":25: look-strength is 2", "a number from 0 to 1.5"),
        ("[[chain.look]]", "[chain.look]", ":26: look is a table", "tables [[chain.look]]"),
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
        ("stage = \"contrast\"\n", "", ":26: [[chain.look]] lacks stage", "contrast, split-tone"),
        ("on = true", "on = 1", ":28: on is 1", "true or false"),
        (
            "on = true\nstrength = 1.0",
            "on = true\nstrength = 1.6",
            ":29: strength is 1.6",
            "a number from 0 to 1.5",
        ),
        ("slope = 1.5", "slope = 0.4", ":30: slope is 0.4", "a number from 0.5 to 2"),
        (
            "slope = 1.5",
            "slop = 1.5",
            ":30: [[chain.look]] has no key \"slop\"",
            "stage, on, strength, slope, toe, shoulder",
        ),
        ("slope = 1.5", "slope = [1.5]", ":30: slope is a list", "a number from 0.5 to 2"),
        ("slope = 1.5", "slope = ", ":30: this is not TOML", "TOML 1.0"),
        ("slope = 1.5", "slope = 1.5\nslope = 1.6", ":31: this is not TOML", "TOML 1.0"),
    ];
    for (line, instead, wrong, accepted) in cases {
        let said = complaint(line, instead);
        assert!(said.starts_with(&format!("dir/show.toml{wrong}")), "{instead:?}: {said}");
        let tail = said.split("; accepted: ").last().unwrap();
        assert!(said.contains("; accepted: ") && tail.contains(accepted), "{instead:?}: {said}");
    }
    // The same for a missing [show].
    let said = read("version = 1\n", Path::new("s.toml")).unwrap_err().to_string();
    assert_eq!(said, "s.toml:1: the file lacks [show]; accepted: a table [show]");
}

#[test]
fn a_choice_is_written_by_its_name() {
    let mut show = full_show();
    let balance = &mut show.shots[2].balance;
    *balance = balance.with(BalanceField::Adaptation, 2.0);
    let text = write(&show).unwrap();
    assert!(text.contains("\nadaptation = \"bradford\"\n"), "{text}");
    assert_eq!(read(&text, Path::new("s.toml")).unwrap(), show);
    // At its default it is not written, as no part of balance is.
    assert!(!write(&full_show()).unwrap().contains("adaptation"));
}

#[test]
fn a_newer_file_is_refused_as_newer_whatever_else_is_in_it() {
    let text = "\n# later\nversion = 7\n[wonders]\nx = 1\n";
    assert_eq!(
        read(text, Path::new("show.toml")).unwrap_err().to_string(),
        "show.toml:3: written by a newer version (7); this one reads up to 1"
    );
    assert_eq!(
        read_look(text, Path::new("l.toml")).unwrap_err().to_string(),
        "l.toml:3: written by a newer version (7); this one reads up to 1"
    );
}

#[test]
fn a_file_that_is_no_text_or_not_there_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let said = load(dir.path()).unwrap_err().to_string();
    assert!(said.starts_with("cannot read ") && said.contains("show.toml"), "{said}");
    std::fs::write(dir.path().join(SHOW_FILE), b"version = 1\n# \xff\n").unwrap();
    let said = load(dir.path()).unwrap_err().to_string();
    assert!(said.contains("show.toml:2: this is not UTF-8 text; accepted: "), "{said}");
}

#[test]
fn no_parameter_is_called_like_another_key_of_its_table() {
    for declaration in STAGES {
        let mut keys: Vec<_> = declaration.parameters.iter().map(|p| p.key).collect();
        keys.extend(["stage", "on", "strength"]);
        assert_eq!(keys.iter().collect::<BTreeSet<_>>().len(), keys.len(), "{}", declaration.key);
    }
}

#[test]
fn rates_are_exact_fractions() {
    for (text, rate) in [("24", (24, 1)), ("24000/1001", (24000, 1001)), ("1000", (1000, 1)), ("1", (1, 1))] {
        assert_eq!(rate_from_text(text), Some(rate));
        assert_eq!(rate_text(rate), text);
    }
    for text in
        ["", "0", "1001", "24/", "/1", "+24", "24.0", "24/25", "-1", "24 ", "99999999999", "1/0", "0/0"]
    {
        assert_eq!(rate_from_text(text), None, "{text:?}");
    }
}

#[test]
fn rasters_are_two_sides() {
    for (text, raster) in
        [("1920x1080", (1920, 1080)), ("1x1", (1, 1)), ("16384x16384", (MAX_SIDE, MAX_SIDE))]
    {
        assert_eq!(raster_from_text(text), Some(raster));
        assert_eq!(raster_text(raster), text);
    }
    for text in [
        "",
        "x",
        "1920",
        "1920x",
        "0x5",
        "5x0",
        "16385x1",
        "1920x1080x1",
        "1920 x 1080",
        "+5x5",
        "-5x5",
        "5X5",
    ] {
        assert_eq!(raster_from_text(text), None, "{text:?}");
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
    let s = Shot::new("a", source_in_show(&folder, &inside), 0..1, encoding("v-log").unwrap());
    assert_eq!(s.source_path(&folder), inside);
    let s = Shot::new("b", source_in_show(&folder, &outside), 0..1, encoding("v-log").unwrap());
    assert_eq!(s.source_path(&folder), outside);
    // A folder whose name begins alike is not inside.
    assert!(source_in_show(&folder, &dir.path().join("show 2/a.mov")).is_absolute());
}
