//! The first walk: each step waits for the hand, and nothing but what it asks for takes it on.

use super::*;
use crate::desk::walk::Walk;

fn title(desk: &Desk) -> Option<String> {
    let of = |s: &Shape| match s {
        Shape::Text(t) if t.galley.text().contains(" of 7 · ") => Some(t.galley.text().to_owned()),
        _ => None,
    };
    desk.shapes.iter().find_map(of)
}

fn set(desk: &mut Desk, change: impl FnOnce(&mut Desk)) {
    change(desk);
    (0..3).for_each(|_| desk.frame(&[]));
}

#[test]
fn each_step_waits_until_it_is_done() {
    let mut desk = with_curves();
    desk.show.shots.push(Shot::new("platform", "a.mov", 0..8, encoding("logc4").unwrap()));
    desk.panes.walk = Walk::Offered;
    set(&mut desk, |_| ());
    assert_eq!(title(&desk), None);
    let begin = desk.text("begin");
    desk.click(begin);
    set(&mut desk, |_| ());
    let at = |desk: &Desk, wanted: &str| assert_eq!(title(desk).as_deref(), Some(wanted));
    at(&desk, "1 of 7 · Turn exposure");
    assert_eq!(&*desk.panes.in_hand, "balance/exposure");
    // Something else does not take it on.
    set(&mut desk, |desk| desk.panes.scopes.shown = true);
    set(&mut desk, |desk| desk.panes.scopes.shown = false);
    at(&desk, "1 of 7 · Turn exposure");
    let turn = |desk: &mut Desk, by| {
        let slot = desk.show.resolve(&Address::parse("balance/exposure").unwrap(), 0).unwrap();
        desk.change(Change::SetParameter { slot, value: by }, 1);
    };
    set(&mut desk, |desk| turn(desk, 0.3));
    at(&desk, "2 of 7 · Try a look");
    let own = desk.show.clone();
    let trying = Trying { at: 0, of: 2, name: "a".into(), note: "".into(), own: own.into() };
    set(&mut desk, |desk| desk.trying = Some(trying));
    at(&desk, "3 of 7 · Keep it");
    // Esc leaves the look as it was: that is not keeping one.
    set(&mut desk, |desk| desk.trying = None);
    at(&desk, "3 of 7 · Keep it");
    set(&mut desk, |desk| desk.show.chain.look.push(Stage::new(stage("contrast").unwrap())));
    at(&desk, "4 of 7 · Set its strength");
    assert_eq!(&*desk.panes.in_hand, "look/strength");
    set(&mut desk, |desk| desk.show.chain.look_strength = 0.6);
    at(&desk, "5 of 7 · Compare");
    set(&mut desk, |desk| desk.compare = Compare::Before);
    at(&desk, "5 of 7 · Compare");
    set(&mut desk, |desk| desk.compare = Compare::After);
    at(&desk, "6 of 7 · Open the scopes");
    set(&mut desk, |desk| desk.panes.scopes.shown = true);
    at(&desk, "7 of 7 · Take a step back");
    set(&mut desk, |desk| desk.steps.1 = 1);
    assert_eq!(title(&desk), None);
    desk.text("That was the walk");
    let close = desk.text("close");
    desk.click(close);
    assert!(desk.texts("That was the walk").is_empty());
}

#[test]
fn it_can_be_left_at_any_step() {
    let mut desk = with_curves();
    let snapshot = desk.snapshot();
    desk.panes.walk.toggle(&snapshot, false);
    set(&mut desk, |_| ());
    let leave = desk.text("leave the walk");
    desk.click(leave);
    assert!(title(&desk).is_none() && matches!(desk.panes.walk, Walk::Away));
}
