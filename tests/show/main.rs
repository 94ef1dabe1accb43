//! The show room through its public interface: the file, changes and undo, addresses, saving, looks.
//!
//! The formats and rules are this project's own; what is checked is that they keep what their
//! documentation promises.

mod luts;
mod address;
mod change;
mod displays;
mod file;
mod history;
mod library;
mod push;
mod look_file;
mod recipe;
mod save;
mod trim;

use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::{OutputTransform, Range, YcbcrMatrix, display, encoding, space};
use greyhold::look::{Intent, Kind, List, NamedLut, Origin, STAGES, Stage, stage};
use greyhold::picture::{
    BALANCE, Balance, BalanceField, FRAMING, Fitting, Framing, FramingField, MAX_SIDE, ShowLut, TRIM, Tail,
    Trim, TrimField,
};
use greyhold::show::*;

use BalanceField::{Exposure, OffsetB, OffsetG, OffsetR, Warmth};

fn kind(key: &str) -> Kind {
    stage(key).unwrap()
}

fn shot(name: &str, encoding_id: &str) -> Shot {
    Shot::new(name, format!("footage/{name}.mov"), 10..58, encoding(encoding_id).unwrap())
}

/// Displays with something in every field, one of them given by its chromaticities.
const DISPLAYS_TEXT: &str = r#"
version = 1
[display.grading-monitor]
name = "Suite 2, “left”"
source = "measured"
peak = 203.5
primaries = { red = [0.6791, 0.3204], green = [0.2652, 0.6899], blue = [0.1498, 0.0603], white = [0.3127, 0.329] }
limit = "bt709"
transfer = "gamma 2.35"
[display.Theatre_2]
peak = 100
primaries = "p3-d65"
transfer = "gamma 2.6"
white = "d60"
"#;

/// A table that is there, wherever a show is.
fn cube() -> NamedLut {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/luts/three_domain.cube");
    load_lut(Path::new(""), Path::new(file)).unwrap()
}

fn show_lut(expects: &str, gives: &str) -> Arc<ShowLut> {
    Arc::new(ShowLut {
        lut: cube(),
        expects: encoding(expects).unwrap(),
        gives: known_display(gives).unwrap(),
    })
}

/// A LUT of tests/data, which is said to expect an encoding.
fn with_lut(file: &str, expects: &str) -> Stage {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/luts");
    let lut = load_lut_as(&folder, &folder.join(file), [space(expects), None]).unwrap();
    Stage { lut: Some(lut), ..Stage::new(kind("lut")) }
}

/// A show with something in every field.
fn full_show() -> Show {
    let mut show = Show::new("Harbour at “dawn”");
    show.rate = (24000, 1001);
    show.raster = Some((2048, 858));
    show.transform = OutputTransform::None;
    show.displays = read_displays(DISPLAYS_TEXT, Path::new("displays.toml")).unwrap();
    show.outputs.client = OutputSettings::new(display("srgb").unwrap());
    show.outputs.client.calibration = Some(cube());
    show.outputs.client.trim =
        Trim::default().with(TrimField::Exposure, 0.1 + 0.2).with(TrimField::RollOff, 1.0 / 3.0);
    show.outputs.files.display = show.displays[1].clone();
    show.outputs.files.trim = Trim::default().with(TrimField::Saturation, 0.5);
    show.panels = vec!["two \\ wheels".to_owned(), "faders".to_owned()];
    for (at, name) in ["gate", "naïve\n\t\"quote\" \u{1}\u{7f}\u{85}", "舟 🛶"].into_iter().enumerate() {
        show.apply(Change::AddShot { at, shot: shot(name, "logc4") }).unwrap();
    }
    show.shots[0].range = Some(Range::Narrow);
    show.shots[0].matrix = Some(YcbcrMatrix::Bt2020);
    show.shots[1].range = Some(Range::Full);
    show.shots[1].matrix = Some(YcbcrMatrix::Bt601);
    show.shots[2].source = PathBuf::from("/elsewhere/a b/ü.%04d.exr");
    show.shots[2].balance = Balance::default()
        .with(Exposure, 0.1 + 0.2)
        .with(OffsetR, -60.0)
        .with(OffsetG, 1e-7)
        .with(Warmth, 12.5);
    show.shots[2].chosen = Some(17);
    show.shots[0].framing = Framing::default().fitted(Fitting::Fill);
    show.shots[2].framing = Framing::default()
        .with(FramingField::PanX, 0.1 + 0.2)
        .with(FramingField::PanY, -2.0)
        .with(FramingField::Scale, 1.0 / 3.0);
    let mut contrast = Stage::new(kind("contrast"));
    contrast.values = vec![1.0 / 3.0 + 1.0, 0.25, 1.0];
    contrast.strength = 1.5;
    let mut off = Stage::new(kind("split-tone"));
    off.on = false;
    show.chain.before = vec![Stage::new(kind("contrast"))];
    show.chain.look = vec![contrast.clone(), off, contrast];
    show.chain.finish = vec![Stage::new(kind("split-tone")), with_lut("one.cube", "logc4")];
    show.chain.look_strength = 0.75;
    show.chain.origin = Some(Origin {
        name: "Harbour ☂ \"blue\"".to_owned(),
        note: "Cold.\nFor \\ water.".to_owned(),
        intent: Some(Intent::Toned),
        fingerprint: 0x0123_4567_89ab_cdef,
    });
    let trim = |look, stages: &[(&str, f64)]| StrengthTrim {
        look,
        stages: stages.iter().map(|(key, v)| (StageKey::parse(key).unwrap(), *v)).collect(),
    };
    show.groups = vec![
        Group { name: "night".to_owned(), trim: trim(0.1 + 0.2, &[]) },
        Group { name: "B camera".to_owned(), trim: trim(1.0, &[("contrast 2", 1.5), ("halation", 0.0)]) },
    ];
    show.shots[0].groups = vec!["night".to_owned()];
    show.shots[1].groups = vec!["night".to_owned(), "B camera".to_owned()];
    show.shots[1].trim = trim(2.0, &[("saturation", 1.0 / 3.0)]);
    show
}
