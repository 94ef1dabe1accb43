//! Changes and their inverses.

use super::*;

/// One of every kind of change that fits [`full_show`] and does something to it.
pub fn every_change() -> Vec<Change> {
    let slot = |address: &str| full_show().resolve(&Address::parse(address).unwrap(), 1).unwrap();
    let (look, third) = (List::Look, 2);
    let changes = vec![
        Change::SetParameter { slot: slot("balance/offset-g"), value: 3.25 },
        Change::SetParameter { slot: slot("framing/pan-y"), value: 0.25 },
        Change::SetParameter { slot: slot("framing/fitting"), value: 1.0 },
        Change::SetParameter { slot: slot("look/strength"), value: 0.5 },
        Change::SetParameter { slot: slot("look/3/strength"), value: 0.5 },
        Change::SetParameter { slot: slot("finish/split-tone/shadow-hue"), value: 12.0 },
        Change::SetStageOn { list: look, at: third, on: false },
        Change::AddStage { list: look, at: third, stage: Stage::new(kind("contrast")) },
        Change::AddStage { list: List::Finish, at: 1, stage: Stage::new(kind("contrast")) },
        Change::RemoveStage { list: look, at: third },
        Change::MoveStage { list: look, from: 0, to: 1 },
        Change::MoveStage { list: look, from: 2, to: 0 },
        Change::SetLut { list: List::Finish, at: 1, lut: with_lut("one.cube", "s-log3").lut },
        Change::ReplaceLook { stages: vec![Stage::new(kind("split-tone"))], strength: 1.25 },
        Change::AddShot { at: 1, shot: shot("new", "v-log") },
        Change::AddShot { at: 3, shot: shot("gate", "v-log") },
        Change::RemoveShot { at: 2 },
        Change::MoveShot { from: 0, to: 2 },
        Change::MoveShot { from: 2, to: 1 },
        Change::RenameShot { shot: 0, name: "harbour".to_owned() },
        Change::SetShotSource { shot: 0, source: PathBuf::from("elsewhere.mov") },
        Change::SetShotEncoding { shot: 0, encoding: encoding("v-log").unwrap() },
        Change::SetShotRange { shot: 0, start: 0, end: 1 },
        Change::SetSignalRange { shot: 0, range: None },
        Change::SetMatrix { shot: 0, matrix: Some(YcbcrMatrix::Bt709) },
        Change::SetRepresentative { shot: 0, frame: Some(13) },
        Change::SetRepresentative { shot: 2, frame: None },
        Change::SetShotRange { shot: 2, start: 0, end: 7 },
        Change::SetShotGroups { shot: 0, groups: vec!["B camera".to_owned(), "night".to_owned()] },
        Change::AddGroup {
            at: 1,
            group: Group {
                name: "a/b \"c\"".to_owned(),
                trim: StrengthTrim { look: 0.5, stages: vec![(StageKey::parse("grain").unwrap(), 0.25)] },
            },
        },
        Change::RemoveGroup { at: 0 },
        Change::RenameGroup { group: 0, name: "day".to_owned() },
        Change::SetOrigin(None),
        Change::SetOrigin(Some(shipped_looks()[5].origin())),
        Change::SetParameter { slot: slot("shot/trim/look"), value: 0.5 },
        Change::SetParameter { slot: slot("shot/trim/contrast-2"), value: 0.5 },
        Change::SetParameter { slot: slot("shot/trim/saturation"), value: 0.75 },
        Change::SetParameter { slot: slot("group/B camera/trim/look"), value: 0.5 },
        Change::SetParameter { slot: slot("group/night/trim/grain"), value: 1.5 },
        Change::SetTransform(OutputTransform::Plain),
        Change::SetParameter { slot: slot("output/client/roll-off"), value: 0.25 },
        Change::SetParameter { slot: slot("output/files/exposure"), value: -1.0 },
        Change::SetDisplay { output: Output::Files, display: display("srgb").unwrap().into() },
        Change::SetDisplay { output: Output::Desk, display: full_show().displays[0].clone() },
        Change::SetShowLut(show_lut("logc4", "rec709")),
        Change::SetCalibration { output: Output::Desk, calibration: Some(cube()) },
        Change::SetCalibration { output: Output::Client, calibration: None },
        Change::SetName("else".to_owned()),
        Change::SetRate((25, 1)),
        Change::SetRaster(None),
        Change::SetRaster(Some((1, 16384))),
        Change::SetPanels(Vec::new()),
        Change::SetCdlSafe(true),
        Change::Together(vec![
            Change::AddShot { at: 0, shot: shot("new", "v-log") },
            Change::RenameShot { shot: 0, name: "newer".to_owned() },
            Change::SetParameter { slot: slot("balance/exposure"), value: 1.0 },
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
        Change::SetPanels(_) => 19,
        Change::Together(_) => 20,
        Change::SetRaster(_) => 21,
        Change::SetShowLut(_) => 22,
        Change::SetCalibration { .. } => 23,
        Change::SetLut { .. } => 24,
        Change::SetOrigin(_) => 25,
        Change::AddGroup { .. } => 26,
        Change::RemoveGroup { .. } => 27,
        Change::RenameGroup { .. } => 28,
        Change::SetShotGroups { .. } => 29,
        Change::SetRepresentative { .. } => 30,
        Change::SetCdlSafe(_) => 31,
    };
    assert_eq!(changes.iter().map(number).collect::<BTreeSet<_>>().len(), 32);
    changes
}

#[test]
fn every_change_acts_and_its_inverse_takes_it_back() {
    for change in every_change() {
        let mut before = full_show();
        if matches!(change, Change::SetCdlSafe(_)) {
            // It is refused while a balance has what a CDL does not carry.
            assert!(before.clone().apply(change.clone()).is_err());
            before.shots.iter_mut().for_each(|s| s.balance = Balance::default());
        }
        let mut show = before.clone();
        let inverse = show.apply(change.clone()).unwrap();
        assert_ne!(show, before, "{change:?}");
        let after = show.clone();
        // What a change leaves can be written and read.
        assert_eq!(read(&write(&show).unwrap(), Path::new("s")).unwrap(), show, "{change:?}");
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
        matches!(c, Change::RemoveShot { .. } | Change::RemoveStage { .. } | Change::ReplaceLook { .. })
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
    let exposure = Slot::Balance { shot: 0, field: Exposure };
    for (value, held) in [(99.0, 8.0), (-99.0, -8.0), (f64::NAN, 0.0), (f64::INFINITY, 8.0), (1.0, 1.0)] {
        show.apply(Change::SetParameter { slot: exposure, value }).unwrap();
        assert_eq!(show.get(exposure), Some(held));
    }
    let scale = Slot::Framing { shot: 0, field: FramingField::Scale };
    for (value, held) in [(99.0, 10.0), (-1.0, 0.1), (f64::NAN, 1.0), (2.5, 2.5)] {
        show.apply(Change::SetParameter { slot: scale, value }).unwrap();
        assert_eq!(show.get(scale), Some(held));
    }
    let hue = show.resolve(&Address::parse("finish/split-tone/shadow-hue").unwrap(), 0).unwrap();
    for (value, held) in [(361.0, 1.0), (-1.0, 359.0), (360.0, 360.0), (-1e-20, 0.0), (f64::INFINITY, 230.0)]
    {
        show.apply(Change::SetParameter { slot: hue, value }).unwrap();
        assert_eq!(show.get(hue), Some(held), "{value}");
    }
    let mut wild = Stage::new(kind("contrast"));
    wild.strength = 9.0;
    wild.values = vec![0.0, -1.0, 3.0];
    show.apply(Change::ReplaceLook { stages: vec![wild.clone()], strength: -1.0 }).unwrap();
    show.apply(Change::AddStage { list: List::Before, at: 0, stage: wild }).unwrap();
    for stage in [&show.chain.look[0], &show.chain.before[0]] {
        assert_eq!((stage.strength, stage.values.as_slice()), (1.5, &[0.5, 0.0, 1.0][..]));
    }
    assert_eq!(show.chain.look_strength, 0.0);
    let mut far = shot("far", "v-log");
    far.balance.values = [1000.0; BalanceField::COUNT];
    far.framing.values = [-1000.0; FramingField::COUNT];
    show.apply(Change::AddShot { at: 0, shot: far }).unwrap();
    assert_eq!(show.shots[0].balance.values.to_vec(), BALANCE.iter().map(|p| p.max).collect::<Vec<_>>());
    assert_eq!(show.shots[0].balance.get(OffsetG), 60.0);
    assert_eq!(show.shots[0].framing.values, [0.0, -2.0, -2.0, 0.1]);
}

#[test]
fn shots_get_names_of_their_own() {
    let mut show = Show::new("x");
    for name in ["a", "a", "a 2", "a", "", ""] {
        let at = show.shots.len();
        show.apply(Change::AddShot { at, shot: shot(name, "v-log") }).unwrap();
    }
    let names: Vec<_> = show.shots.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["a", "a 2", "a 2 2", "a 3", "shot", "shot 2"]);
    for name in ["a 3", ""] {
        let before = show.clone();
        let said = show.apply(Change::RenameShot { shot: 0, name: name.to_owned() }).unwrap_err().to_string();
        assert_eq!(
            said,
            format!(
                "a shot cannot be called {name:?}; accepted: a name that is not empty and that no other shot has"
            )
        );
        assert_eq!(show, before);
    }
    // Its own name is free to it.
    show.apply(Change::RenameShot { shot: 0, name: "a".to_owned() }).unwrap();
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
    let group = |at, name: &str| Change::AddGroup {
        at,
        group: Group { name: name.to_owned(), trim: StrengthTrim::default() },
    };
    let stale = Slot::Parameter { list: List::Look, at: 1, kind: contrast, index: 0 };
    let cases: Vec<(Change, &str)> = vec![
        (Change::SetParameter { slot: stale, value: 1.0 }, "the show has no contrast at look/2"),
        (
            Change::SetParameter { slot: Slot::Balance { shot: 3, field: OffsetR }, value: 1.0 },
            "the show has no shot 4",
        ),
        (
            Change::SetStageOn { list: List::Before, at: 1, on: false },
            "before has no place 2; accepted: 1 to 1",
        ),
        (
            Change::AddStage { list: List::Look, at: 4, stage: Stage::new(contrast) },
            "look has no place 5; accepted: 1 to 4",
        ),
        (
            Change::AddStage { list: List::Look, at: 0, stage: short.clone() },
            "contrast cannot have 2 values; accepted: 3, one for each parameter",
        ),
        (Change::ReplaceLook { stages: vec![short], strength: 1.0 }, "contrast cannot have 2 values"),
        (Change::RemoveStage { list: List::Look, at: 3 }, "look has no place 4; accepted: 1 to 3"),
        (Change::MoveStage { list: List::Look, from: 0, to: 3 }, "look has no place 4"),
        (Change::MoveStage { list: List::Look, from: 3, to: 0 }, "look has no place 4"),
        (
            Change::AddShot { at: 4, shot: shot("x", "v-log") },
            "the running order has no place 5; accepted: 1 to 4",
        ),
        (Change::AddShot { at: 0, shot: empty }, "a shot cannot run from frame 10 to before frame 10"),
        (Change::AddShot { at: 0, shot: long }, "a shot cannot run from frame 10 to before frame 4294967296"),
        (Change::AddShot { at: 0, shot: nowhere }, "a shot cannot be without a source; accepted: the path"),
        (Change::RemoveShot { at: 3 }, "the running order has no place 4"),
        (Change::MoveShot { from: 0, to: 3 }, "the running order has no place 4"),
        (Change::RenameShot { shot: 3, name: "x".to_owned() }, "the running order has no place 4"),
        (Change::SetShotSource { shot: 0, source: PathBuf::new() }, "a shot cannot be without a source"),
        (
            Change::SetShotRange { shot: 0, start: 5, end: 4 },
            "a shot cannot run from frame 5 to before frame 4",
        ),
        (Change::SetShotRange { shot: 3, start: 0, end: 4 }, "the running order has no place 4"),
        (
            Change::SetParameter { slot: Slot::Framing { shot: 3, field: FramingField::PanX }, value: 1.0 },
            "the show has no shot 4",
        ),
        (
            Change::SetParameter { slot: Slot::GroupTrim { group: 2, stage: None }, value: 1.0 },
            "the show has no group 3",
        ),
        (
            Change::SetParameter {
                slot: Slot::ShotTrim { shot: 3, stage: StageKey::parse("grain") },
                value: 1.0,
            },
            "the show has no shot 4",
        ),
        (group(2, "night"), "a group cannot be called \"night\"; accepted: a name that is not empty"),
        (group(0, ""), "a group cannot be called \"\""),
        (group(3, "day"), "the list of groups has no place 4; accepted: 1 to 3"),
        (Change::RemoveGroup { at: 2 }, "the list of groups has no place 3; accepted: 1 to 2"),
        (
            Change::RenameGroup { group: 1, name: "night".to_owned() },
            "a group cannot be called \"night\"; accepted: a name that is not empty",
        ),
        (Change::RenameGroup { group: 2, name: "day".to_owned() }, "the list of groups has no place 3"),
        (
            Change::SetShotGroups { shot: 0, groups: vec!["day".to_owned()] },
            "the show has no group \"day\"; accepted: night, B camera",
        ),
        (Change::SetShotGroups { shot: 3, groups: vec![] }, "the running order has no place 4"),
        (Change::SetRaster(Some((1920, 0))), "a raster cannot have 1920×0 pixels; accepted: \"1920x1080\""),
        (Change::SetRaster(Some((16385, 9))), "a raster cannot have 16385×9 pixels"),
        (Change::SetRate((24, 0)), "a show cannot run at 24/0 frames a second; accepted: \"24\""),
        (
            Change::Together(vec![
                Change::SetName("other".to_owned()),
                Change::SetName("third".to_owned()),
                Change::RemoveShot { at: 0 },
                Change::RemoveShot { at: 2 },
            ]),
            "the running order has no place 3; accepted: 1 to 2",
        ),
    ];
    for (change, expected) in cases {
        let mut show = full_show();
        let said = show.apply(change.clone()).expect_err(&format!("{change:?}")).to_string();
        assert!(said.starts_with(expected), "{change:?}: {said}");
        assert!(said.contains("; accepted: "), "{said}");
        assert_eq!(show, full_show(), "{change:?}");
    }
    let said = Show::new("x").apply(Change::RemoveShot { at: 0 }).unwrap_err().to_string();
    assert_eq!(said, "the running order has no place 1; accepted: none, it is empty");
}

#[cfg(target_os = "linux")]
#[test]
fn a_path_that_is_not_unicode_is_refused_where_it_comes_in() {
    use std::os::unix::ffi::OsStrExt;
    let path = PathBuf::from(std::ffi::OsStr::from_bytes(b"a\xff.mov"));
    let mut show = full_show();
    let said = show.apply(Change::SetShotSource { shot: 0, source: path.clone() }).unwrap_err().to_string();
    assert!(said.contains("is not Unicode; accepted: "), "{said}");
    assert_eq!(show, full_show());
    show.shots[0].source = path;
    assert!(matches!(write(&show), Err(ShowError::Path(_))));
}
