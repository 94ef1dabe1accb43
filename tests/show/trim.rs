//! Trims of strengths by shot and group: effective = clamp(stage × look × trims, 0, the stage's maximum).

use std::path::Path;

use greyhold::colour::DISPLAYS;
use greyhold::colour::OutputTransform;
use greyhold::picture::Tail;
use greyhold::show::{Address, Change, Show, ShowError, Slot, read, recipe, write};

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
    for look in greyhold::show::shipped_looks() {
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

/// One address for it, one undo step for a gesture, held to 0…2.
#[test]
fn the_look_trim_is_a_parameter_like_others() {
    let mut show = show();
    let address = Address::parse("shot/trim/look").unwrap();
    assert_eq!(address.to_string(), "shot/trim/look");
    let slot = show.resolve(&address, 2).unwrap();
    assert_eq!(slot, Slot::ShotTrim { shot: 2 });
    assert_eq!((show.get(slot), show.address(slot)), (Some(1.6), address));
    assert_eq!((slot.parameter().min, slot.parameter().max, slot.parameter().default), (0.0, 2.0, 1.0));
    assert_eq!(show.resolve(&address, 4), None);
    let back = show.apply(Change::SetParameter { slot, value: 7.0 }).unwrap();
    assert_eq!((show.get(slot), back.shot()), (Some(2.0), Some(2)));
    show.apply(back).unwrap();
    assert_eq!(show.get(slot), Some(1.6));
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
