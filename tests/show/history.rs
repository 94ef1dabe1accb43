//! Undo, redo and gestures, with a clock that is moved by hand.

use super::change::every_change;
use super::*;

/// A show with its history and a clock that is moved by hand.
struct Bench {
    show: Show,
    history: History,
    now: Instant,
}

impl Bench {
    fn new() -> Self {
        Self { show: full_show(), history: History::default(), now: Instant::now() }
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
fn a_gesture_of_a_held_control_ends_when_it_is_let_go() {
    let mut bench = Bench::new();
    bench.history.hold(1);
    bench.turn(Exposure, 1.0, 1, 10);
    bench.turn(Exposure, 2.0, 1, 60_000);
    assert_eq!(bench.history.undoable(), 1, "a rest while it is held ends nothing");
    bench.history.let_go(1);
    bench.turn(Exposure, 2.5, 1, 10);
    assert_eq!(bench.history.undoable(), 2, "however soon it comes, this is another gesture");
    bench.history.hold(1);
    bench.turn(Exposure, 3.0, 1, 10);
    assert_eq!(bench.history.undoable(), 3);
    // Another control is not held by that, and what it does comes between.
    bench.turn(Exposure, 4.0, 2, 10);
    bench.turn(Exposure, 5.0, 2, 600);
    bench.turn(Exposure, 6.0, 1, 10);
    assert_eq!(bench.history.undoable(), 6);
    // Letting go of one leaves the other's gesture alone.
    bench.turn(Exposure, 7.0, 2, 10);
    bench.history.let_go(1);
    bench.turn(Exposure, 8.0, 2, 10);
    assert_eq!(bench.history.undoable(), 7);
    for before in [6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 0.0] {
        assert!(bench.undo());
        assert_eq!(bench.exposure(), before);
    }
    assert!(!bench.undo());
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
        let set = |field, value| Change::SetParameter { slot: Slot::Balance { shot: 0, field }, value };
        let change = Change::Together(vec![set(OffsetR, f64::from(i)), set(OffsetB, -f64::from(i))]);
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

#[test]
fn two_hands_are_two_gestures() {
    let mut bench = Bench::new();
    // Two controls turned at once, message by message.
    for i in 1..=20 {
        bench.turn(Exposure, f64::from(i) * 0.1, 1, 10);
        bench.turn(OffsetR, f64::from(i), 2, 10);
    }
    assert_eq!(bench.history.undoable(), 2);
    let offset = |bench: &Bench| bench.show.shots[0].balance.get(OffsetR);
    let (end, start) = ((bench.exposure(), offset(&bench)), (full_show().shots[0].balance));
    assert!(bench.undo());
    assert_eq!((bench.exposure(), offset(&bench)), (end.0, start.get(OffsetR)));
    assert!(bench.undo());
    assert_eq!((bench.exposure(), offset(&bench)), (start.get(Exposure), start.get(OffsetR)));
    assert!(bench.redo() && bench.redo());
    assert_eq!((bench.exposure(), offset(&bench)), end);

    // Hands on one parameter take turns: each turn is a step, or undo would not know whose to take back.
    let before = bench.history.undoable();
    for i in 0..4 {
        bench.turn(Exposure, f64::from(i), 1 + i % 2, 10);
    }
    assert_eq!(bench.history.undoable(), before + 4);

    // Both held, both rest; letting go of one leaves the other.
    bench.history.hold(1);
    bench.history.hold(2);
    let before = bench.history.undoable();
    bench.turn(Exposure, 1.25, 1, 10);
    bench.turn(OffsetR, -4.0, 2, 10);
    bench.turn(Exposure, 1.5, 1, 5_000);
    bench.history.let_go(1);
    bench.turn(OffsetR, -5.0, 2, 5_000);
    assert_eq!(bench.history.undoable(), before + 2);
    bench.turn(Exposure, 1.75, 1, 10);
    assert_eq!(bench.history.undoable(), before + 3);
}

#[test]
fn a_stage_put_in_ends_every_gesture() {
    let mut bench = Bench::new();
    bench.turn(Exposure, 1.0, 1, 10);
    bench.make(Change::MoveStage { list: List::Look, from: 0, to: 1 }, 2, 10);
    bench.turn(Exposure, 2.0, 1, 10);
    assert_eq!(bench.history.undoable(), 3);
}
