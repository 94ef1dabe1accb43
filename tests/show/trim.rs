//! Trims of strengths by shot and group: effective = clamp(stage × look × trims, 0, the stage's maximum).

use std::path::Path;

use greyhold::colour::DISPLAYS;
use greyhold::colour::OutputTransform;
use greyhold::picture::Tail;
use greyhold::show::*;

const HEAD: &str = r#"version = 1
[show]
name = "a"
rate = "24"
transform = "plain"
"#;

const CHAIN: &str = r#"
[chain]
look-strength = 0.9
[[chain.before]]
stage = "contrast"
strength = 0.7
[[chain.look]]
stage = "contrast"
strength = 1.2
[[chain.look]]
stage = "saturation"
[[chain.look]]
stage = "contrast"
strength = 0.5
[[chain.finish]]
stage = "saturation"
strength = 0.4
"#;

fn shot(name: &str, more: &str) -> String {
    format!(
        "[[shot]]\nname = \"{name}\"\nsource = \"a.mov\"\nin = 0\nout = 8\nencoding = \"logc4\"\n{more}\n"
    )
}

fn show() -> Show {
    let groups = "[group.night]\nlook = 0.5\nsaturation = 0.5\n[group.\"B camera\"]\n\"contrast 2\" = 1.5\nhalation = 0.2\n";
    let shots = [
        shot("plain", ""),
        shot("night", "groups = [\"night\"]"),
        shot(
            "both",
            "groups = [\"B camera\", \"night\"]\n[shot.trim]\nlook = 1.6\nsaturation = 0.25\ncontrast = 0.0",
        ),
        shot("more", "[shot.trim]\nlook = 2.0"),
    ];
    read(&[HEAD, groups, &shots.concat(), CHAIN].concat(), Path::new("show.toml")).unwrap()
}

/// What acts of each stage on a shot, in the order light takes.
fn strengths(show: &Show, shot: usize) -> Vec<f64> {
    let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]);
    recipe(show, shot, tail, 0).unwrap().stages.iter().map(|s| s.strength).collect()
}

#[track_caller]
fn near(found: &[f64], expected: &[f64]) {
    let close = found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-12);
    assert!(close && found.len() == expected.len(), "{found:?}, not {expected:?}");
}

/// Worked out by hand from the formula; the stage's maximum is its declaration's. Only the look is trimmed.
#[test]
fn trims_multiply_and_the_maximum_holds_last() {
    let show = show();
    let most = show.chain.look[0].declaration().strength.max;
    near(&strengths(&show, 0), &[0.7, 1.2 * 0.9, 0.9, 0.45, 0.4]);
    near(&strengths(&show, 1), &[0.7, 1.2 * 0.9 * 0.5, 0.9 * 0.5 * 0.5, 0.45 * 0.5, 0.4]);
    let look = 0.9 * 0.5 * 1.6;
    near(&strengths(&show, 2), &[0.7, 0.0, look * 0.5 * 0.25, 0.5 * look * 1.5, 0.4]);
    // 1.2 × 0.9 × 2 is past it, 0.5 × 0.9 × 2 is not.
    assert!(1.2 * 0.9 * 2.0 > most);
    near(&strengths(&show, 3), &[0.7, most, most.min(1.8), 0.9, 0.4]);
}

/// A look that lacks a trimmed stage is not disturbed by the trim, which stays for the next one; what is before and after
/// the look stays through every try.
#[test]
fn trying_a_look_keeps_trims_before_and_finish() {
    let mut show = show();
    let (before, finish, shots) = (show.chain.before.clone(), show.chain.finish.clone(), show.shots.clone());
    let was = show.clone();
    let own = show.chain.look.clone();
    for look in shipped_looks() {
        let back = show.apply(Change::ReplaceLook { stages: look.stages.clone(), strength: 1.0 }).unwrap();
        assert_eq!((&show.chain.before, &show.chain.finish, &show.shots), (&before, &finish, &shots));
        assert_eq!(show.chain.look, look.stages);
        assert_eq!(strengths(&show, 1).len(), look.stages.len() + 2);
        show.apply(back).unwrap();
    }
    assert_eq!(show, was);
    // "contrast 2" does nothing where there is one contrast.
    show.apply(Change::ReplaceLook { stages: own[..1].to_vec(), strength: 1.0 }).unwrap();
    near(&strengths(&show, 2)[1..2], &[0.0]);
    near(&strengths(&show, 1)[1..2], &[1.2 * 0.5]);
}

#[test]
fn trims_are_saved_and_read_back() {
    let show = show();
    let text = write(&show).unwrap();
    assert_eq!(read(&text, Path::new("show.toml")).unwrap(), show);
    for line in
        ["[group.night]", "[group.\"B camera\"]", "\"contrast 2\" = 1.5", "halation = 0.2", "[shot.trim]"]
    {
        assert!(text.lines().any(|l| l == line), "{line} is not in\n{text}");
    }
}

/// Each trim has one address, whatever the show, and acts as the number in the file does.
#[test]
fn trims_are_parameters_like_others() {
    let mut show = show();
    let was = show.clone();
    let key = |text| StageKey::parse(text);
    let shot = |stage| Some(Slot::ShotTrim { shot: 2, stage });
    let cases = [
        ("shot/trim/look", shot(None), 1.6),
        ("shot/trim/saturation", shot(key("saturation")), 0.25),
        ("shot/trim/split-tone", shot(key("split-tone")), 1.0),
        ("shot/trim/split-tone-3", shot(key("split-tone 3")), 1.0),
        ("group/night/trim/look", Some(Slot::GroupTrim { group: 0, stage: None }), 0.5),
        ("group/B camera/trim/contrast-2", Some(Slot::GroupTrim { group: 1, stage: key("contrast 2") }), 1.5),
        ("group/B camera/trim/grain", Some(Slot::GroupTrim { group: 1, stage: key("grain") }), 1.0),
    ];
    for (text, slot, value) in cases {
        let address = Address::parse(text).unwrap();
        assert_eq!((address.to_string(), check_address(text)), (text.to_owned(), Ok(())));
        assert_eq!(show.resolve(&address, 2), slot, "{text}");
        let slot = slot.unwrap();
        assert_eq!((show.get(slot), show.address(slot)), (Some(value), address), "{text}");
        let p = slot.parameter();
        assert_eq!((p.min, p.max, p.default), (0.0, 2.0, 1.0));
        assert!(text.rsplit('/').next().unwrap().starts_with(p.key), "{text}: {}", p.key);
        let back = show.apply(Change::SetParameter { slot, value: 7.0 }).unwrap();
        assert_eq!(show.get(slot), Some(2.0));
        assert_eq!(back.shot(), text.starts_with("shot").then_some(2));
        let text = write(&show).unwrap();
        assert_eq!(read(&text, Path::new("show.toml")).unwrap(), show);
        show.apply(back).unwrap();
        assert_eq!(show, was, "nothing is left of it");
    }
    // Turned in place of written, the same acts.
    let text = write(&show).unwrap();
    for (address, shot) in
        [("shot/trim/saturation", 2), ("shot/trim/contrast", 2), ("group/night/trim/saturation", 0)]
    {
        let slot = show.resolve(&Address::parse(address).unwrap(), shot).unwrap();
        show.apply(Change::SetParameter { slot, value: 1.0 }).unwrap();
    }
    let lines = ["saturation = 0.25\n", "contrast = 0.0\n", "saturation = 0.5\n"];
    let fewer = lines.iter().fold(text, |text, line| text.replacen(line, "", 1));
    assert_eq!(show, read(&fewer, Path::new("show.toml")).unwrap());
    near(&strengths(&show, 2), &[0.7, 1.5f64.min(1.2 * 0.9 * 0.5 * 1.6), 0.72, 0.36 * 1.5, 0.4]);
    // Where there is no such shot or group, there is no slot.
    for (address, shot) in [("shot/trim/look", 4), ("shot/trim/grain", 4), ("group/day/trim/look", 0)] {
        assert_eq!(show.resolve(&Address::parse(address).unwrap(), shot), None, "{address}");
    }
}

#[test]
fn addresses_of_trims_are_judged_without_a_show() {
    for name in ["any/thing at all", "trim", "a/trim/b", "/", "☂"] {
        let text = format!("group/{name}/trim/grain");
        assert_eq!(check_address(&text), Ok(()));
        let mut show = Show::new("x");
        let group = Group { name: name.to_owned(), trim: StrengthTrim::default() };
        show.apply(Change::AddGroup { at: 0, group }).unwrap();
        let slot = show.resolve(&Address::parse(&text).unwrap(), 0).unwrap();
        assert_eq!(show.address(slot).to_string(), text);
    }
    let wrong = [
        ("shot/trim/grian", "there is no stage \"grian\" to trim", "contrast-2"),
        ("shot/trim/contrast-1", "there is no stage \"contrast-1\"", "saturation"),
        ("shot/trim/contrast 2", "there is no stage \"contrast 2\"", "contrast-2"),
        ("group/night/trim/gain", "there is no stage \"gain\"", "look, contrast"),
        ("group//trim/look", "it has another form", "group/NAME/trim/STAGE"),
        ("group/trim/look", "it has another form", "shot/trim/STAGE"),
        ("shot/look", "it has another form", "shot/trim/look"),
    ];
    for (text, what, accepted) in wrong {
        let said = check_address(text).unwrap_err();
        assert!(said.contains(what) && said.contains(accepted), "{said}");
    }
}

/// Turned by a hand a trim is one undo step, as every parameter is.
#[test]
fn a_turn_of_a_trim_is_one_step() {
    let mut show = show();
    let was = show.clone();
    let mut history = History::default();
    let slot = show.resolve(&Address::parse("group/night/trim/grain").unwrap(), 0).unwrap();
    let start = std::time::Instant::now();
    for step in 1..=10u32 {
        let change = Change::SetParameter { slot, value: 1.0 - f64::from(step) / 20.0 };
        let back = show.apply(change.clone()).unwrap();
        history.record(change, back, 1, start + std::time::Duration::from_millis(20) * step);
    }
    assert_eq!((show.get(slot), history.undoable()), (Some(0.5), 1));
    show.apply(history.undo().unwrap()).unwrap();
    assert_eq!(show, was);
}

/// Groups are made, named anew and taken out, and shots follow.
#[test]
fn groups_come_and_go_with_their_shots() {
    let mut show = show();
    let was = show.clone();
    let groups = |show: &Show, shot: usize| show.shots[shot].groups.join("+");
    let join = |shot, groups: &[&str]| Change::SetShotGroups {
        shot,
        groups: groups.iter().map(|g| (*g).to_owned()).collect(),
    };
    let rename = show.apply(Change::RenameGroup { group: 0, name: "dusk".into() }).unwrap();
    assert_eq!((groups(&show, 1), groups(&show, 2)), ("dusk".into(), "B camera+dusk".into()));
    near(&strengths(&show, 1), &strengths(&was, 1));
    let take_out = show.apply(Change::RemoveGroup { at: 0 }).unwrap();
    assert_eq!((groups(&show, 1), groups(&show, 2)), (String::new(), "B camera".into()));
    near(&strengths(&show, 1), &strengths(&was, 0));
    let again = show.apply(take_out).unwrap();
    let back = show.apply(again).unwrap();
    show.apply(back).unwrap();
    show.apply(rename).unwrap();
    assert_eq!(show, was);
    // A group said twice is one; none is a group's absence.
    show.apply(join(0, &["night", "night"])).unwrap();
    assert_eq!(groups(&show, 0), "night");
    near(&strengths(&show, 0), &strengths(&was, 1));
    show.apply(join(0, &[])).unwrap();
    assert_eq!(show, was);
}

#[test]
fn what_cannot_be_a_trim_is_refused_with_its_line() {
    for (groups, more, line, said) in [
        ("[group.a]\n", "groups = [\"a\", \"b\"]", 13, &["no group \"b\"", "accepted: a"][..]),
        ("", "groups = [\"b\"]", 12, &["no group \"b\"", "[group.NAME]"]),
        ("", "groups = \"b\"", 12, &["groups is \"b\"", "a list of texts"]),
        ("", "[shot.trim]\ngrian = 0.5", 13, &["\"grian\"", "contrast", "saturation", "\"contrast 2\""]),
        ("", "[shot.trim]\n\"contrast 1\" = 0.5", 13, &["\"contrast 1\""]),
        ("", "[shot.trim]\n\"contrast 0\" = 0.5", 13, &["\"contrast 0\""]),
        ("", "[shot.trim]\nlook = 2.5", 13, &["look is 2.5", "0 to 2"]),
        ("[group.a]\nsaturation = -0.1\n", "", 7, &["saturation is -0.1", "0 to 2"]),
        ("[group]\na = 1\n", "", 7, &["a is 1", "[group.a]"]),
    ] {
        let text = [HEAD, groups, &shot("s", more)].concat();
        match read(&text, Path::new("show.toml")) {
            Err(e @ ShowError::Text { line: found, .. }) => {
                let all = e.to_string();
                assert_eq!(found, line, "{all}");
                assert!(said.iter().all(|s| all.contains(s)), "{all}");
            }
            other => panic!("{more}: {other:?}"),
        }
    }
    let mut show = show();
    let mut stray = show.shots[1].clone();
    stray.groups = vec!["day".into()];
    let error = show.apply(Change::AddShot { at: 0, shot: stray }).unwrap_err().to_string();
    assert!(error.contains("no group \"day\"") && error.contains("night"), "{error}");
}
