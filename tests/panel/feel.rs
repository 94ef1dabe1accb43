//! How controls feel: scaled takeover, fine mode, acceleration, smoothing, balls.

use super::script::{any, play};
use greyhold::panel::{
    Control, Event, FINE, GLIDE_STEP, Glide, Lie, Map, Move, Moved, PACE_WINDOW, Pace, Pickup, Plane, SLOW,
    Surface, TOLERANCE, Takeover,
};
use std::{collections::BTreeMap, sync::Arc};

#[test]
fn scaled_takeover_by_table() {
    // Where the control goes, and where the parameter does, from its place at the start. By arithmetic: up, the rest of
    // the parameter's way shrinks by the factor by which the control's does; down likewise.
    let table: &[(f64, &[(f64, Option<f64>)])] = &[
        // The first message only says where the control is.
        (
            0.5,
            &[
                (0.25, None),
                (0.5, Some(2.0 / 3.0)),
                (0.75, Some(5.0 / 6.0)),
                (1.0, Some(1.0)),
                (0.5, Some(0.5)),
            ],
        ),
        (
            0.5,
            &[
                (0.75, None),
                (0.5, Some(1.0 / 3.0)),
                (0.25, Some(1.0 / 6.0)),
                (0.0, Some(0.0)),
                (0.4, Some(0.4)),
            ],
        ),
        // There and back is not where it was: each way has its own end.
        (0.5, &[(0.25, None), (0.5, Some(2.0 / 3.0)), (0.25, Some(1.0 / 3.0))]),
        // At the same place already.
        (0.5, &[(0.505, Some(0.505)), (0.9, Some(0.9))]),
        // At an end of its travel there is no way left but back.
        (0.5, &[(1.0, None), (0.5, Some(0.25)), (0.0, Some(0.0))]),
        (0.0, &[(0.5, None), (0.25, Some(0.0)), (0.5, Some(1.0 / 3.0)), (1.0, Some(1.0))]),
        (0.5, &[(0.2, None), (0.2, None)]),
    ];
    for (start, steps) in table {
        let (mut pickup, mut parameter) = (Pickup::default(), *start);
        for (control, expected) in *steps {
            let moved =
                Moved { control: *control, parameter, bound: parameter, tolerance: TOLERANCE, fine: false };
            let goal = pickup.goal(Takeover::Scaled, moved);
            match (goal, expected) {
                (Some(a), Some(b)) => assert!((a - b).abs() < 1e-12, "{start} {steps:?}: {a} at {control}"),
                (a, b) => assert_eq!(a, *b, "{start} {steps:?} at {control}"),
            }
            if let Some(goal) = goal {
                parameter = goal;
                pickup.put(goal);
            }
        }
    }
}

#[test]
fn scaled_takeover_meets_and_follows() {
    let mut pickup = Pickup::default();
    let mut parameter: f64 = 0.8;
    for step in 20..=127 {
        let control = f64::from(step) / 127.0;
        let moved = Moved { control, parameter, bound: parameter, tolerance: TOLERANCE, fine: false };
        let before = parameter;
        if let Some(goal) = pickup.goal(Takeover::Scaled, moved) {
            parameter = goal;
            pickup.put(goal);
        }
        assert!(parameter >= before, "it goes one way");
        assert!(parameter >= control - 1e-12, "and is never overtaken");
    }
    assert_eq!(parameter, 1.0, "both are at the end");
    assert!(pickup.holds());
    // Somebody else moves it: from there on by shares again, without a jump.
    parameter = 0.3;
    let moved = |control, parameter| Moved {
        control,
        parameter,
        bound: parameter,
        tolerance: TOLERANCE,
        fine: false,
    };
    let goal = pickup.goal(Takeover::Scaled, moved(0.5, parameter)).unwrap();
    assert!((goal - 0.15).abs() < 1e-12, "half the way down: {goal}");
}

const FEEL: &str = r#"
    name = "test"
    [[control]]
    cc = 20
    coding = "twos-complement"
    target = "a"
    [[control]]
    cc = 21
    coding = "twos-complement"
    step = 0.5
    acceleration = 4
    target = "a"
    [[control]]
    cc = 102
    coding = "absolute"
    target = "b"
    [[control]]
    cc = 103
    coding = "absolute"
    takeover = "jump"
    target = "b"
    [[control]]
    cc = 104
    coding = "absolute"
    takeover = "scaled"
    target = "b"
    [[button]]
    note = 40
    action = "fine"
    [[button]]
    note = 41
    action = "fine-latch"
    [[button]]
    note = 42
    mode = "toggle"
    action = "fine"
"#;

#[test]
fn fine_mode_moves_a_tenth() {
    assert_eq!(FINE, 0.1);
    play(
        FEEL,
        "set a 0\nset b 0
         B0 14 02 => a+2
         90 28 7F => -
         B0 14 02 => a+0.2
         @0 B0 15 01 15 01 15 01 15 01 => a+0.05u a+0.05u a+0.05u a+0.05u  // and without acceleration
         90 28 00 => -
         B0 14 7F => a-1
         90 29 7F => -
         90 29 00 => -
         B0 14 7F => a-0.1         // it stays
         90 28 7F 28 00 => -
         B0 14 7F => a-0.1
         90 29 7F => -
         B0 14 7F => a-1
         90 2A 7F => -             // a button that only tells of presses
         B0 14 7F => a-0.1
         90 2A 00 => -
         B0 14 7F => a-1",
    );
}

#[test]
fn fine_mode_of_controls_with_ends() {
    let at = |control: f64, parameter: f64, fine: bool| Moved {
        control,
        parameter,
        bound: parameter,
        tolerance: TOLERANCE,
        fine,
    };
    let near = |a: Option<f64>, b: f64| assert!(a.is_some_and(|a| (a - b).abs() < 1e-12), "{a:?} is not {b}");
    let mut pickup = Pickup::default();
    // What is not picked up is not moved.
    assert_eq!(pickup.goal(Takeover::Pickup, at(0.2, 0.5, true)), None);
    assert_eq!(pickup.goal(Takeover::Pickup, at(0.7, 0.5, true)), None);
    near(pickup.goal(Takeover::Pickup, at(0.5, 0.5, false)), 0.5);
    pickup.put(0.5);
    near(pickup.goal(Takeover::Pickup, at(0.7, 0.5, true)), 0.52);
    pickup.put(0.52);
    near(pickup.goal(Takeover::Pickup, at(0.6, 0.52, true)), 0.51);
    pickup.put(0.51);
    // It stands elsewhere then: no jump when fine mode ends.
    assert!(!pickup.holds());
    assert_eq!(pickup.goal(Takeover::Pickup, at(0.61, 0.51, false)), None);
    near(pickup.goal(Takeover::Pickup, at(0.5, 0.51, false)), 0.5);
    // The ends of the range are ends.
    let mut pickup = Pickup::default();
    near(pickup.goal(Takeover::Pickup, at(0.995, 0.995, false)), 0.995);
    pickup.put(0.995);
    near(pickup.goal(Takeover::Jump, at(1.0, 0.9999, true)), 1.0);
}

#[test]
fn acceleration_by_table() {
    assert_eq!((SLOW, PACE_WINDOW), (20.0, 100_000));
    // Milliseconds from one detent to the next; what the last of many counts. The documented curve: the detents of the
    // last tenth of a second, ten times that a second, over 20.
    for (apart, expected) in
        [(200, 1.0), (100, 1.0), (51, 1.0), (50, 1.0), (25, 2.0), (20, 2.5), (10, 5.0), (5, 8.0)]
    {
        let mut pace = Pace::default();
        let last = (0..60).map(|i| pace.gain(i * apart * 1000, 1.0, 8.0)).last().unwrap();
        assert!((last - expected).abs() < 1e-9, "a detent every {apart} ms counts {last}");
    }
    let mut pace = Pace::default();
    assert_eq!(pace.gain(0, 1.0, 8.0), 1.0, "a single detent is one, however long the rest before");
    assert_eq!(pace.gain(1_000_000, 4.0, 8.0), 2.0, "several detents in a message");
    assert_eq!(pace.gain(1_000_000, 4.0, 8.0), 4.0, "messages of one time");
    assert_eq!(pace.gain(1_000_000, -1.0, 8.0), 1.0, "turned back");
    assert_eq!(pace.gain(1_000_000, -100.0, 8.0), 8.0, "at most");
    assert_eq!(pace.gain(5, -1.0, 8.0), 8.0, "a clock that goes back does no harm");
    // Through a map, in the parameter's unit, there and back at one speed ends where it began.
    play(
        FEEL,
        "set a 0
         @0 B0 15 01 => a+0.5u
         @20000 B0 15 01 => a+0.5u
         @40000 B0 15 01 => a+0.75u
         @60000 B0 15 01 => a+1u
         @80000 B0 15 7F => a-0.5u",
    );
    // Off unless the map says so.
    play(FEEL, "set a 0\n@0 B0 14 01 14 01 14 01 14 01 14 01 => a+1 a+1 a+1 a+1 a+1");
}

#[test]
fn a_glide_is_even_and_ends_exactly() {
    let mut glide = Glide::new(0.2, 0.7, 1_000, 50_000);
    assert_eq!((glide.goal(), glide.due()), (0.7, 1_000 + GLIDE_STEP));
    assert_eq!(glide.step(5_000), None, "not due yet");
    let mut got = Vec::new();
    loop {
        let due = glide.due();
        let (place, ends) = glide.step(due).unwrap();
        got.push((due - 1_000, place));
        if ends {
            break;
        }
    }
    assert_eq!(
        got.iter().map(|g| g.0).collect::<Vec<_>>(),
        [8_000, 16_000, 24_000, 32_000, 40_000, 48_000, 50_000]
    );
    for (at, place) in &got[..6] {
        assert!((place - (0.2 + 0.5 * *at as f64 / 50_000.0)).abs() < 1e-12, "{place} at {at}");
    }
    assert_eq!(got[6].1, 0.7, "exactly, not nearly");
    // Late is late, and still exact.
    assert_eq!(Glide::new(0.2, 0.7, 0, 50_000).step(900_000), Some((0.7, true)));
}

/// What a smoothed control makes of messages when it is asked as soon as something is due.
struct Bench {
    surface: Surface,
    place: f64,
    out: Vec<(u64, f64)>,
}

impl Bench {
    fn new(keys: &str) -> Self {
        let map =
            format!("name = \"x\"\n[[control]]\ncc = 20\ncoding = \"absolute\"\ntarget = \"a\"\n{keys}");
        let surface = Surface::new(Arc::new(Map::parse(&map, "x", &any, &any).unwrap()));
        Self { surface, place: 0.0, out: Vec::new() }
    }

    fn carry_out(&mut self, at: u64, moves: Vec<Move>) {
        for m in moves {
            let Move::Set { position, .. } = m else { panic!("{m:?}") };
            self.place = position;
            self.out.push((at, position));
        }
        let place = self.place;
        self.surface.arrived(&|_| Some(place));
    }

    fn until(&mut self, at: u64) {
        while let Some(due) = self.surface.due().filter(|due| *due <= at) {
            let place = self.place;
            let moves = self.surface.settle(due, &|_| Some(place));
            self.carry_out(due, moves);
        }
    }

    fn send(&mut self, at: u64, value: u16) {
        self.until(at);
        let event = Event { port: 0, control: Control::Cc { channel: 0, number: 20 }, value };
        let place = self.place;
        let moves = self.surface.feed(at, &event, &|_| Some(place));
        self.carry_out(at, moves);
    }
}

#[test]
fn smoothing_settles_exactly_on_the_value() {
    for smooth in [1u64, 7, 8, 30, 500] {
        for every in [500u64, 3_000, 10_000, 40_000] {
            let mut bench = Bench::new(&format!("takeover = \"jump\"\nsmooth = {smooth}"));
            for (i, value) in (0..=127).chain((40..127).rev()).enumerate() {
                bench.send(i as u64 * every, value);
            }
            let last = 214 * every;
            bench.until(last + smooth * 1_000 - 1);
            bench.until(last + smooth * 1_000);
            assert_eq!(bench.place, 40.0 / 127.0, "smooth = {smooth}, a message every {every} µs");
            assert_eq!(bench.surface.due(), None, "nothing is due any more");
            assert!(bench.out.last().unwrap().0 <= last + smooth * 1_000);
            // No faster than pictures need them, and no step larger than its share of the way.
            let steps =
                bench.out.windows(2).filter(|w| w[1].0 - w[0].0 < GLIDE_STEP.min(smooth * 1_000)).count();
            assert!(steps <= 215, "{steps}");
            let largest = bench.out.windows(2).map(|w| (w[1].1 - w[0].1).abs()).fold(0.0, f64::max);
            let fastest = 1.0 / 127.0 / every as f64 * (GLIDE_STEP.max(smooth * 1_000).max(every)) as f64;
            assert!(largest <= fastest + 1e-9 + 1.0 / 127.0, "{largest} over {fastest}");
        }
    }
    // A stream of messages holds nothing up: the parameter follows while it comes.
    let mut bench = Bench::new("takeover = \"jump\"\nsmooth = 30");
    for (i, value) in (0..=127).enumerate() {
        bench.send(i as u64 * 1_000, value);
    }
    assert!(bench.place > 0.6 && bench.out.len() > 10, "{} after {} steps", bench.place, bench.out.len());
}

#[test]
fn smoothing_yields_to_whoever_else_moves_the_parameter() {
    let mut bench = Bench::new("takeover = \"jump\"\nsmooth = 100");
    bench.send(0, 127);
    bench.until(20_000);
    assert!(bench.place > 0.0 && bench.place < 0.3);
    bench.place = 0.9;
    bench.until(1_000_000);
    assert_eq!(bench.place, 0.9, "it is somebody else's");
    assert_eq!(bench.surface.due(), None);
    // Another shot in the middle of it: it stays where it is.
    bench.send(2_000_000, 0);
    bench.until(2_020_000);
    let place = bench.place;
    bench.surface.reset();
    bench.until(3_000_000);
    assert_eq!((bench.place, bench.surface.due()), (place, None));
    // A control that has to be picked up is smooth from there on.
    let mut bench = Bench::new("smooth = 30");
    bench.place = 0.5;
    bench.send(0, 10);
    bench.until(100_000);
    assert_eq!(bench.place, 0.5);
    bench.send(100_000, 64);
    bench.send(101_000, 80);
    bench.until(200_000);
    assert_eq!(bench.place, 80.0 / 127.0);
}

struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 >> 32
    }

    fn below(&mut self, count: u64) -> u64 {
        self.next() % count
    }
}

/// Another shot, look or bank never makes a value jump. In random sequences of turns and of such changes, with
/// the parameters of several shots standing anywhere: a change moves nothing; after one, a knob's first message moves a
/// parameter by no more than the tolerance; and no message ever moves one further than the knob itself went, pickup,
/// or than its share of the way that was left, scaled.
#[test]
fn no_change_of_shot_look_or_bank_makes_a_value_jump() {
    let map = |takeover: &str| {
        let control = |head: &str, target: &str| {
            format!(
                "[[{head}]]\ncc = 20\ncoding = \"absolute\"\ntakeover = \"{takeover}\"\ntarget = \"{target}\"\n"
            )
        };
        format!(
            "name = \"x\"\n[[bank]]\nname = \"1\"\n{}[[bank]]\nname = \"2\"\n{}[[control]]\nlayer = \"s\"\n{}\
             [[button]]\nnote = 40\naction = \"bank-next\"\n[[button]]\nnote = 41\nlayer = \"s\"",
            control("bank.control", "a"),
            control("bank.control", "b"),
            control("control", "c").replacen("[[control]]\n", "", 1)
        )
    };
    // With `jump` values do jump, which the same measure has to see.
    for (seed, takeover) in [(1u64, "pickup"), (2, "scaled"), (3, "pickup"), (4, "scaled"), (5, "jump")] {
        let mut jumps = Vec::new();
        let map = Arc::new(Map::parse(&map(takeover), "x", &any, &any).unwrap_or_else(|e| panic!("{e}")));
        let mut random = Random(0x9E37_79B9_7F4A_7C15 ^ (seed << 40));
        let mut surface = Surface::new(map);
        let mut shots: Vec<BTreeMap<&str, f64>> = Vec::new();
        for _ in 0..4 {
            let mut place = || random.below(1000) as f64 / 999.0;
            shots.push([("a", place()), ("b", place()), ("c", place())].into());
        }
        let (mut shot, mut knob, mut acted, mut changes) = (0usize, 64u16, 0, 0);
        // Whose knob was heard since it was let go: the knob's last message moved that, or another one.
        let mut heard: Option<String> = None;
        let feed = |surface: &mut Surface, at: &BTreeMap<&str, f64>, control, value| {
            let event = Event { port: 0, control, value };
            surface.feed(0, &event, &|a| at.get(a).copied())
        };
        for step in 0..40_000 {
            match random.below(40) {
                0 => {
                    // Another shot, look or stage in focus: the same addresses lead to other values.
                    shot = random.below(4) as usize;
                    surface.reset();
                    (heard, changes) = (None, changes + 1);
                }
                1 => {
                    let note = Control::Note { channel: 0, number: 40 };
                    let mut moves = feed(&mut surface, &shots[shot], note, 127);
                    moves.extend(feed(&mut surface, &shots[shot], note, 0));
                    assert_eq!(moves, [], "a bank moves nothing");
                    (heard, changes) = (heard.filter(|name| name == "c"), changes + 1);
                }
                2 => {
                    let note = Control::Note { channel: 0, number: 41 };
                    let value = random.below(2) as u16 * 127;
                    assert_eq!(feed(&mut surface, &shots[shot], note, value), [], "a layer moves nothing");
                }
                3 => {
                    // Somebody else moves one.
                    let name = ["a", "b", "c"][random.below(3) as usize];
                    shots[shot].insert(name, random.below(1000) as f64 / 999.0);
                }
                _ => {
                    let before = f64::from(knob) / 127.0;
                    let by = random.below(31) as i32 - 15;
                    knob = (i32::from(knob) + by).clamp(0, 127) as u16;
                    let now = f64::from(knob) / 127.0;
                    let name = surface.describe()[0].targets[0].address.to_string();
                    let turned = (heard.as_ref() == Some(&name)).then_some(());
                    heard = Some(name);
                    let moves =
                        feed(&mut surface, &shots[shot], Control::Cc { channel: 0, number: 20 }, knob);
                    assert!(moves.len() <= 1, "one control acts");
                    for m in moves {
                        let Move::Set { target, position, .. } = m else { panic!("{m:?}") };
                        let was = shots[shot][&*target];
                        let went = (position - was).abs();
                        let allowed = match (takeover, turned) {
                            (_, None) => TOLERANCE,
                            ("pickup", Some(())) => (now - before).abs() + TOLERANCE,
                            (_, Some(())) => {
                                let share = match now > before {
                                    true => (1.0 - was) * (now - before) / (1.0 - before),
                                    false => was * (before - now) / before.max(1e-9),
                                };
                                share.max((now - before).abs()) + TOLERANCE
                            }
                        };
                        if went > allowed + 1e-12 {
                            jumps.push(format!(
                                "step {step}: {target} from {was} to {position}, the knob from {before} to {now}"
                            ));
                        }
                        let key = ["a", "b", "c"].into_iter().find(|key| **key == *target).unwrap();
                        shots[shot].insert(key, position);
                        acted += 1;
                    }
                    let places = &shots[shot];
                    surface.arrived(&|a| places.get(a).copied());
                }
            }
        }
        match takeover {
            "jump" => assert!(jumps.len() > 500, "{} jumps", jumps.len()),
            _ => assert_eq!(jumps, [] as [String; 0], "{takeover}"),
        }
        assert!(acted > 2_000 && changes > 500, "{takeover}: {acted} moves, {changes} changes");
    }
}

/// What each axis of a ball pushes, as (red, green, blue).
fn pushes(lie: Lie) -> [[f64; 3]; 2] {
    let names = ["r", "g", "b"].map(Arc::from);
    Plane::Colour(names).axes(&lie).map(|targets| {
        assert_eq!(targets.iter().map(|t| &*t.address).collect::<Vec<_>>(), ["r", "g", "b"]);
        [0, 1, 2].map(|i| targets[i].by)
    })
}

#[test]
fn balls_keep_luma_and_length_however_they_are_turned() {
    // ITU-R BT.709: E'Y = 0.2126 R + 0.7152 G + 0.0722 B, C_B = (B − Y) / 1.8556, C_R = (R − Y) / 1.5748.
    let ycbcr = |[r, g, b]: [f64; 3]| {
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        [y, (b - y) / 1.8556, (r - y) / 1.5748]
    };
    for degrees in (-720..=720).step_by(15).map(f64::from).chain([0.001, 33.3, 1e6]) {
        for (sensitivity, invert) in
            [(1.0, [false; 2]), (0.25, [true, false]), (3.0, [true, true]), (-1.0, [false, true])]
        {
            let axes = pushes(Lie { rotation: degrees, invert, sensitivity }).map(ycbcr);
            let [x, y] = axes;
            for [luma, cb, cr] in axes {
                assert!(luma.abs() < 1e-12, "{degrees}°: luma goes by {luma:e}");
                let length = cb.hypot(cr);
                assert!((length - sensitivity.abs()).abs() < 1e-12, "{degrees}°: a detent is {length} long");
            }
            assert!((x[1] * y[1] + x[2] * y[2]).abs() < 1e-12 * 9.0, "{degrees}°: the axes are square");
            // To the right is where the rotation points: counter-clockwise from +C_B.
            let sign = if invert[0] { -sensitivity } else { sensitivity };
            let (sin, cos) = degrees.to_radians().sin_cos();
            assert!(
                (x[1] - sign * cos).abs() < 1e-9 && (x[2] - sign * sin).abs() < 1e-9,
                "{degrees}°: {x:?}"
            );
            // Mirrored once, the plane is turned over; twice, or not, it is not.
            let turned = x[1] * y[2] - x[2] * y[1];
            assert_eq!(turned < 0.0, invert[0] != invert[1], "{degrees}°");
        }
    }
}

#[test]
fn quarter_turns_are_exact() {
    let names = ["x", "y"].map(Arc::from);
    let shares = |rotation| {
        let lie = Lie { rotation, invert: [false; 2], sensitivity: 2.0 };
        Plane::Two(names.clone()).axes(&lie).map(|axis| [axis[0].by, axis[1].by])
    };
    // Counter-clockwise: to the right becomes away from you, away becomes to the left.
    for (rotation, expected) in [
        (0.0, [[2.0, 0.0], [0.0, 2.0]]),
        (90.0, [[0.0, 2.0], [-2.0, 0.0]]),
        (180.0, [[-2.0, 0.0], [0.0, -2.0]]),
        (-90.0, [[0.0, -2.0], [2.0, 0.0]]),
        (450.0, [[0.0, 2.0], [-2.0, 0.0]]),
    ] {
        assert_eq!(shares(rotation), expected, "{rotation}°");
    }
}

#[test]
fn a_balls_axes_are_one_hand_on_the_same_parameters() {
    let map = r#"
        name = "test"
        [[ball]]
        label = "Ball"
        cc = [20, 21, 22]
        coding = "twos-complement"
        plane = ["x", "y"]
        ring = ["z", { address = "x", by = 0.5 }]
        ring-scale = 3
        rotation = 90
        sensitivity = 0.5
        invert = ["y"]
    "#;
    play(
        map,
        "set x 0\nset y 0\nset z 0
         B0 14 02 => x+0 y+1
         B0 15 02 => x+1 y+0
         B0 16 01 => z+3 x+1.5",
    );
    let map = Map::parse(map, "x", &any, &any).unwrap();
    let controls: Vec<_> = map.controls.iter().map(|c| (&*c.label, c.hand)).collect();
    assert_eq!(controls, [("Ball across", 0), ("Ball away", 0), ("Ball ring", 2)]);
}
