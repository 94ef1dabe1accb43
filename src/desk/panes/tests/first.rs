//! The first pass on the desk: what is proposed, and shots that are chosen together.

use super::*;
use crate::engine::survey::{ShotMarks, Survey};
use crate::scope::{Doubt, Reading};

fn desk() -> Desk {
    let mut show = Show::new("first");
    let logc4 = encoding("logc4").unwrap();
    show.shots = ["one", "two", "three"].map(|n| Shot::new(n, format!("{n}.mov"), 0..10, logc4)).into();
    Desk::new(show)
}

#[test]
fn a_proposal_is_told_before_it_is_taken() {
    let mut desk = desk();
    desk.click(desk.text("suggest"));
    assert_eq!(desk.commands, [Command::Suggest]);
    assert!(
        desk.texts("take it").is_empty() && desk.texts("match").is_empty(),
        "nothing is before the first shot"
    );
    let reading = Reading::by_hand([0.36, 0.36, 0.36]);
    let proposal = desk.show.propose(0, &reading).unwrap();
    desk.first = FirstState { proposal: Some(Arc::new(proposal)), strength: 0.5, ..FirstState::default() };
    desk.frame(&[]);
    desk.frame(&[]);
    desk.text("proposed, by patch");
    // A stop too bright: half of it.
    desk.text("0.00 stops to -0.50 stops");
    desk.text("the patch reads 0.3600 0.3600 0.3600 (ACEScg)");
    desk.text("sure");
    for (name, command) in [
        ("take it", Command::TakeProposal),
        ("leave it", Command::LeaveProposal),
        ("click a grey card", Command::TogglePicking),
    ] {
        desk.commands.clear();
        desk.click(desk.text(name));
        assert_eq!(desk.commands, [command]);
    }
}

#[test]
fn the_survey_marks_what_is_off() {
    let mut desk = desk();
    desk.click(desk.text("survey"));
    assert_eq!(desk.commands, [Command::Survey]);
    let off = ShotMarks { read: true, exposure: Some(-1.4), ..ShotMarks::default() };
    let doubtful = Doubt { encoding: encoding("bt1886"), encoding_doubtful: true, ..Doubt::default() };
    let odd = ShotMarks { read: true, doubt: doubtful, ..ShotMarks::default() };
    let shots = vec![ShotMarks { read: true, ..ShotMarks::default() }, off.clone(), odd];
    assert_eq!(off.lines(), ["about 1.4 stops too dark"]);
    desk.first.survey = Arc::new(Survey { running: false, done: 3, total: 3, shots });
    desk.frame(&[]);
    desk.frame(&[]);
    desk.text("2 of 3 marked");
    let s = desk.snapshot();
    let about = |shot| shot_marks::marks(&s, shot).into_iter().map(|m| m.about).collect::<Vec<_>>();
    assert_eq!([0, 1, 2].map(|shot| about(shot).len()), [0, 1, 1]);
    assert_eq!(about(1), ["exposure: about 1.4 stops too dark"]);
    assert_ne!(shot_marks::marks(&s, 1)[0].shape, shot_marks::marks(&s, 2)[0].shape);
    desk.first.survey = Arc::new(Survey { running: true, done: 1, total: 3, shots: Vec::new() });
    desk.frame(&[]);
    desk.frame(&[]);
    desk.text("stop the survey");
    desk.text("1 of 3");
}

#[test]
fn several_shots_are_read_in_another_encoding_in_one_step() {
    let mut desk = desk();
    let press = |desk: &mut Desk, name: &str, button: PointerButton, modifiers: Modifiers| {
        let pos = desk.text(name);
        let click = |pressed| Event::PointerButton { pos, button, pressed, modifiers };
        desk.frame(&[Event::PointerMoved(pos)]);
        desk.modifiers = modifiers;
        desk.frame(&[click(true)]);
        desk.frame(&[click(false)]);
        desk.modifiers = Modifiers::NONE;
        desk.frame(&[]);
    };
    press(&mut desk, "3  three", PointerButton::Primary, Modifiers::COMMAND);
    assert!(desk.commands.is_empty(), "it is chosen, and the picture stays: {:?}", desk.commands);
    press(&mut desk, "3  three", PointerButton::Secondary, Modifiers::NONE);
    let read_as = desk.text("read these 2 shots as");
    desk.frame(&[Event::PointerMoved(read_as)]);
    desk.click(read_as);
    for _ in 0..4 {
        desk.frame(&[]);
    }
    let name = encoding("s-log3").unwrap().name;
    desk.click(desk.text(name));
    assert_eq!([0, 1, 2].map(|i| desk.show.shots[i].encoding.id), ["s-log3", "logc4", "s-log3"]);
    let undo = desk.history.undo().unwrap();
    desk.show.apply(undo).unwrap();
    assert!(desk.show.shots.iter().all(|s| s.encoding.id == "logc4"), "one step");
    // A plain click goes there, and nothing is chosen any more.
    press(&mut desk, "2  two", PointerButton::Primary, Modifiers::NONE);
    assert!(desk.commands.contains(&Command::Shot(1)));
    assert!(desk.texts("read these 2 shots as").is_empty());
}
