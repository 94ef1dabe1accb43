//! Recognising what a control sends, and putting it into a map.
//!
//! Sources: controllers, pairs of 14 bits, pitch bend, notes and numbered parameters are MIDI 1.0 (Detailed
//! Specification); relative codings, controllers for steps each way, buttons by turns and touch notes are common
//! practice. Series are written here by the arithmetic of the coding's own definition, not by the program's.

use greyhold::engine::{known_action, known_target, own_addresses};
use greyhold::panel::{
    Coding, Guess, Kind, LearnError, Map, Mode, Move, Need, NumberedValue, Purpose, Recogniser, SHIPPED,
    Source, Surface, add_learned, empty_map, read,
};
use greyhold::show::{Address, addresses};

/// Messages with their times in milliseconds.
type Played = Vec<(u64, Vec<u8>)>;

/// A controller's values, so many milliseconds apart.
fn cc(number: u8, values: &[u8], apart: u64) -> Played {
    values.iter().enumerate().map(|(i, v)| (i as u64 * apart, vec![0xB0, number, *v])).collect()
}

/// Detents as a coding has them: its definition, on seven bits.
fn coded(coding: Coding, detents: &[i32]) -> Vec<u8> {
    let one = |d: i32| match coding {
        Coding::TwosComplement => d.rem_euclid(128) as u8,
        Coding::BinaryOffset => (64 + d) as u8,
        Coding::SignMagnitude if d < 0 => 64 | d.unsigned_abs() as u8,
        Coding::SignMagnitude => d as u8,
        Coding::Increment | Coding::Absolute => unreachable!(),
    };
    detents.iter().map(|d| one(*d)).collect()
}

const SLOW: &[i32] = &[1, 1, 1, 1, 1, -1, -1, -1, -1, -1];
const FAST: &[i32] = &[1, 1, 2, 4, 7, 6, 3, 1, 1, 1, -1, -1, -2, -5, -8, -4, -2, -1, -1, -1];
/// A worn one, that jumps back now and then.
const WORN: &[i32] = &[1, 1, -1, 1, 1, 1, 1, 1, -1, -1, -1, -1, 1, -1, -1, -1, -1];
const LEFT_FIRST: &[i32] = &[-1, -1, -1, -2, -1, -1, 1, 1, 2, 1, 1, 1];

fn sweep(from: u8, to: u8, by: i32) -> Vec<u8> {
    let (from, to) = (i32::from(from), i32::from(to));
    let steps = (to - from).abs() / by;
    (0..=steps).map(|i| (from + i * by * (to - from).signum()) as u8).collect()
}

fn guess(played: &Played) -> Option<Guess> {
    let mut recogniser = Recogniser::new();
    played.iter().for_each(|(ms, message)| recogniser.hear(ms * 1000, message));
    recogniser.guess()
}

/// Values of 14 bits as a pair sends them.
fn fine(values: &[u16], lsb_first: bool, only_changes: bool) -> Played {
    let mut all = Played::new();
    let mut before = None;
    for (i, value) in values.iter().enumerate() {
        let at = i as u64 * 20;
        let (msb, lsb) = ((value >> 7) as u8, (value & 0x7F) as u8);
        let halves = [vec![0xB0, 21, msb], vec![0xB0, 53, lsb]];
        let [upper, lower] = halves;
        match (lsb_first, only_changes && before == Some(msb)) {
            (_, true) => all.push((at, lower)),
            (false, _) => all.extend([(at, upper), (at + 1, lower)]),
            (true, _) => all.extend([(at, lower), (at + 1, upper)]),
        }
        before = Some(msb);
    }
    all
}

fn presses(message: &dyn Fn(u8) -> Vec<u8>, hold: u64, rest: u64, count: usize, toggle: bool) -> Played {
    let mut all = Played::new();
    let mut at = 0;
    for i in 0..count {
        if toggle {
            all.push((at, message(if i % 2 == 0 { 127 } else { 0 })));
        } else {
            all.push((at, message(127)));
            all.push((at + hold, message(0)));
        }
        at += hold + rest;
    }
    all
}

/// What is played, what it must be recognised as, once sure.
fn cases() -> Vec<(String, Played, Kind)> {
    let mut all = Vec::new();
    for coding in [Coding::TwosComplement, Coding::BinaryOffset, Coding::SignMagnitude] {
        let kind = |reversed| Kind::Relative { cc: 20, coding, reversed };
        for (name, detents, reversed) in [
            ("slow", SLOW, false),
            ("fast", FAST, false),
            ("worn", WORN, false),
            ("left first", LEFT_FIRST, true),
        ] {
            let played = cc(20, &coded(coding, detents), 40);
            all.push((format!("{} {name}", coding.name()), played, kind(reversed)));
        }
    }
    let absolute = Kind::Absolute { cc: 20 };
    let there_and_back = [sweep(0, 127, 1), sweep(126, 0, 1)].concat();
    all.push(("a knob from end to end".into(), cc(20, &there_and_back, 8), absolute));
    all.push(("a knob, fast".into(), cc(20, &[sweep(3, 120, 9), sweep(115, 7, 9)].concat(), 8), absolute));
    all.push(("a knob, upwards only".into(), cc(20, &sweep(10, 90, 2), 8), absolute));
    all.push((
        "a knob about its middle".into(),
        cc(20, &[sweep(50, 80, 1), sweep(79, 52, 1)].concat(), 8),
        absolute,
    ));
    let trembling: Vec<u8> = sweep(20, 70, 1)
        .into_iter()
        .flat_map(|v| if v % 7 == 0 { vec![v, v - 1, v] } else { vec![v] })
        .collect();
    all.push(("a knob that trembles".into(), cc(20, &trembling, 8), absolute));
    // An endless one that counts by itself repeats its end.
    let ends = [sweep(80, 127, 1), vec![127; 5], sweep(126, 70, 1)].concat();
    all.push(("a knob past its end".into(), cc(20, &ends, 8), absolute));

    let values: Vec<u16> = (0..80).map(|i| 2000 + i * 37).chain((0..60).map(|i| 4900 - i * 41)).collect();
    for (lsb_first, sparse) in [(false, false), (false, true), (true, false)] {
        let name = format!("14 bits, lsb first {lsb_first}, msb on change only {sparse}");
        all.push((name, fine(&values, lsb_first, sparse), Kind::Fine { cc: 21, lsb_first }));
    }
    let bend = (0..40u64).map(|i| (i * 10, vec![0xE0, (i * 5 % 128) as u8, (40 + i) as u8])).collect();
    all.push(("pitch bend".into(), bend, Kind::Bend));

    let up = cc(30, &[1; 6], 60);
    let down = cc(31, &[1; 6], 60).into_iter().map(|(at, m)| (at + 600, m));
    all.push((
        "a controller each way".into(),
        up.into_iter().chain(down).collect(),
        Kind::Steps { up: 30, down: 31 },
    ));

    let note = |v: u8| if v > 0 { vec![0x90, 40, v] } else { vec![0x80, 40, 64] };
    let zero = |v: u8| vec![0x90, 40, v];
    let cc_button = |v: u8| vec![0xB0, 70, v];
    let button = |source, mode| Kind::Button { source, mode };
    let (note_40, cc_70) = (Source::Note(40), Source::Cc(70));
    all.push(("a note".into(), presses(&note, 120, 500, 3, false), button(note_40, Mode::Momentary)));
    all.push((
        "a note, off by velocity 0".into(),
        presses(&zero, 90, 300, 3, false),
        button(note_40, Mode::Momentary),
    ));
    all.push((
        "a controller's button".into(),
        presses(&cc_button, 150, 450, 3, false),
        button(cc_70, Mode::Momentary),
    ));
    all.push((
        "a button by turns".into(),
        presses(&cc_button, 150, 450, 4, true),
        button(cc_70, Mode::Toggle),
    ));
    all.push(("a note by turns".into(), presses(&zero, 150, 500, 3, true), button(note_40, Mode::Toggle)));

    // Non-registered parameter 1:5, chosen once, then data entry; and the same chosen each time.
    let number =
        |upper: u8, lower: u8, chooser: u8| [vec![0xB0, chooser + 1, upper], vec![0xB0, chooser, lower]];
    let kind = |registered, number, value| Kind::Numbered { registered, number, value };
    let mut once: Played = number(1, 5, 98).into_iter().map(|m| (0, m)).collect();
    once.extend((0..20u64).map(|i| (i * 10 + 1, vec![0xB0, 6, (i * 3) as u8])));
    all.push(("NRPN, 7 bits".into(), once, kind(false, 133, NumberedValue::Coarse)));
    let mut each = Played::new();
    for i in 0..20u64 {
        let entry = [vec![0xB0, 6, (i * 3) as u8], vec![0xB0, 38, (i * 31 % 128) as u8]];
        each.extend(number(2, 0, 100).into_iter().chain(entry).map(|m| (i * 10, m)));
    }
    all.push(("RPN, 14 bits".into(), each, kind(true, 256, NumberedValue::Fine)));
    let mut steps = Played::new();
    for i in 0..12u64 {
        let way = if i < 6 { 96 } else { 97 };
        steps.extend(number(1, 5, 98).into_iter().chain([vec![0xB0, way, 0]]).map(|m| (i * 40, m)));
    }
    all.push(("NRPN, steps".into(), steps, kind(false, 133, NumberedValue::Steps)));
    all
}

#[test]
fn every_coding_is_recognised() {
    for (name, played, kind) in cases() {
        let found = guess(&played).unwrap_or_else(|| panic!("{name}: nothing"));
        assert_eq!((found.kind, found.need), (kind, None), "{name}: {found:?}");
        assert_eq!((found.channel, found.touch), (0, None), "{name}");
        assert!(found.certainty >= 0.6 && found.certainty <= 1.0, "{name}: {found:?}");
    }
}

/// Whoever stops early is asked for more: at no moment is the guess sure and another one than in the end.
#[test]
fn it_is_never_sure_and_wrong_on_the_way() {
    for (name, played, kind) in cases() {
        let mut recogniser = Recogniser::new();
        let mut sure_after = None;
        for (at, (ms, message)) in played.iter().enumerate() {
            recogniser.hear(ms * 1000, message);
            let Some(found) = recogniser.guess().filter(|g| g.need.is_none()) else { continue };
            sure_after = sure_after.or(Some(at + 1));
            let same = match (found.kind, kind) {
                // What a fine control's coarse half says is true as far as it goes.
                (Kind::Numbered { number: a, .. }, Kind::Numbered { number: b, .. }) => a == b,
                (a, b) => a == b,
            };
            assert!(same, "{name}: after {} messages {found:?}", at + 1);
        }
        let sure_after = sure_after.unwrap_or_else(|| panic!("{name}: never sure"));
        assert!(sure_after >= 3, "{name}: sure after {sure_after}");
    }
}

#[test]
fn one_message_is_never_enough() {
    assert_eq!(Recogniser::new().guess(), None);
    for status in [0x80, 0x90, 0xB0, 0xE0] {
        for first in 0..128 {
            for second in [0, 1, 2, 63, 64, 65, 126, 127] {
                if let Some(found) = guess(&vec![(0, vec![status, first, second])]) {
                    assert!(found.need.is_some(), "{status:02X} {first} {second}: {found:?}");
                }
            }
        }
    }
}

#[test]
fn what_is_open_is_asked_for() {
    let both = |first: Played, second: Played| -> Played {
        let shift = first.last().unwrap().0 + 500;
        first.into_iter().chain(second.into_iter().map(|(at, m)| (at + shift, m))).collect()
    };
    let table: Vec<(&str, Played, Need)> = vec![
        // 1, 1, 1 is up in two's complement and in sign and magnitude.
        ("one way only", cc(20, &[1; 12], 40), Need::OtherWay),
        ("the other way only", cc(20, &[127; 12], 40), Need::OtherWay),
        ("offset, one way", cc(20, &[65; 12], 40), Need::OtherWay),
        // 63, 64, 65 are a knob at its middle, or the smallest steps of an offset.
        ("about the middle", cc(20, &[63, 64, 65, 66, 65, 64, 63, 62, 63, 64], 40), Need::Further),
        ("a short way", cc(20, &[40, 41, 42, 43, 44], 40), Need::Further),
        ("two messages", cc(20, &[1, 127], 40), Need::More),
        ("one press", presses(&|v| vec![0x90, 40, v], 100, 400, 1, false), Need::Presses),
        ("two controls", both(cc(20, &sweep(0, 60, 1), 10), cc(22, &sweep(0, 50, 1), 10)), Need::OneAtATime),
    ];
    for (name, played, need) in table {
        assert_eq!(guess(&played).unwrap().need, Some(need), "{name}: {:?}", guess(&played));
    }
}

#[test]
fn neighbours_and_noise_are_passed_over() {
    for (name, played, kind) in cases() {
        // A neighbour is brushed once, clock and pressure and programs come in between.
        let mut noisy = Played::new();
        for (i, (at, message)) in played.into_iter().enumerate() {
            noisy.push((at, message));
            noisy.push((at, vec![0xD0, 5]));
            noisy.push((at, vec![0xF8]));
            if i == 4 {
                noisy.push((at, vec![0xB3, 90, 17]));
            }
        }
        let found = guess(&noisy).unwrap();
        // Three presses and a brushed neighbour are hard to tell apart from two controls: it may ask again.
        assert_eq!(found.kind, kind, "{name}: {found:?}");
        assert!(matches!(found.need, None | Some(Need::OneAtATime)), "{name}: {found:?}");
    }
}

#[test]
fn a_note_about_a_movement_is_the_touch_of_a_hand() {
    for (off, name) in [(vec![0x80, 104, 0], "note off"), (vec![0x90, 104, 0], "velocity 0")] {
        let mut played = vec![(0, vec![0x90, 104, 127])];
        let moved = (0..40u64).map(|i| (30 + i * 10, vec![0xE2, (i * 5 % 128) as u8, (40 + i) as u8]));
        played.extend(moved);
        played.push((900, off));
        let found = guess(&played).unwrap();
        assert_eq!(
            (found.kind, found.channel, found.touch, found.need),
            (Kind::Bend, 2, Some(104), None),
            "{name}"
        );
    }
    // A button pressed long before is none.
    let mut played = presses(&|v| vec![0x90, 104, v], 100, 400, 1, false);
    played.extend(cc(20, &sweep(10, 90, 1), 8).into_iter().map(|(at, m)| (at + 2000, m)));
    assert_eq!(guess(&played).unwrap().touch, None);
}

const COMMENTED: &str = r#"# My own panel.

name = "mine"   # short
port = "Box"

# The left one.
[[control]]
label = "Light"
cc = 20
coding = "twos-complement"  # as the box's manual says
target = "balance/exposure"

[[button]]
note = 36
action = "play"
# The end.
"#;

fn parse(text: &str) -> Map {
    Map::parse(text, "map.toml", &known_target, &known_action).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

fn sure(kind: Kind) -> Guess {
    Guess { kind, channel: 2, certainty: 0.9, need: None, touch: None }
}

#[test]
fn a_map_keeps_what_a_person_wrote() {
    let guess = sure(Kind::Relative { cc: 21, coding: Coding::SignMagnitude, reversed: true });
    let purpose = Purpose::Move("look/contrast/strength");
    let text =
        add_learned(COMMENTED, &parse(COMMENTED), &guess, purpose, Some("Bite"), Some("Box 1")).unwrap();
    // Every line of before is there, in order; what came is one entry under its comment.
    let mut left = text.lines();
    let mut added: Vec<&str> = Vec::new();
    for line in COMMENTED.lines() {
        added.extend(left.by_ref().take_while(|l| *l != line));
    }
    added.extend(left);
    let added: Vec<&str> = added.into_iter().filter(|l| !l.is_empty()).collect();
    assert_eq!(
        added,
        [
            "# Learned: CC 21, turns in sign and magnitude, down first, channel 3, from “Box 1”.",
            "[[control]]",
            "label = \"Bite\"",
            "cc = 21",
            "channel = 3",
            "coding = \"sign-magnitude\"",
            "target = \"look/contrast/strength\"",
            "scale = -1",
        ],
        "{text}"
    );
    let map = parse(&text);
    assert_eq!((map.controls.len(), map.buttons.len()), (2, 1));
    let bite = &map.controls[1];
    assert_eq!(
        (bite.cc(), bite.channel, bite.coding, bite.scale),
        (Some(21), Some(2), Coding::SignMagnitude, -1.0)
    );

    // A button, by turns, after that; and a control of 14 bits into a map that lists them on one line.
    let toggle = sure(Kind::Button { source: Source::Note(40), mode: Mode::Toggle });
    let text = add_learned(&text, &map, &toggle, Purpose::Do("before"), None, None).unwrap();
    let map = parse(&text);
    assert_eq!((map.buttons[1].mode, &*map.buttons[1].label), (Mode::Toggle, "before"));
    let line =
        "name = \"x\"\ncontrol = [{ cc = 9, coding = \"absolute\", target = \"look/strength\" }] # all\n";
    let fine = sure(Kind::Fine { cc: 3, lsb_first: false });
    let text = add_learned(line, &parse(line), &fine, Purpose::Move("balance/exposure"), None, None).unwrap();
    assert!(text.contains("# all") && parse(&text).controls[1].fine, "{text}");
}

#[test]
fn conflicts_are_shown_and_nothing_is_overwritten() {
    let map = parse(COMMENTED);
    let add = |kind, purpose| add_learned(COMMENTED, &map, &sure(kind), purpose, None, None);
    let taken = LearnError::Taken { label: "Light".into(), does: "moves balance/exposure".into() };
    assert_eq!(add(Kind::Absolute { cc: 20 }, Purpose::Move("look/strength")), Err(taken));
    let play = Kind::Button { source: Source::Note(36), mode: Mode::Momentary };
    let said = add(play, Purpose::Do("undo")).unwrap_err().to_string();
    assert!(said.starts_with("“note 36”, which does play, sends the same"), "{said}");
    // The lower half of a pair counts as well.
    let wide = COMMENTED
        .replace("cc = 20\ncoding = \"twos-complement\"", "cc = 20\nbits = 14\ncoding = \"absolute\"");
    let said = add_learned(
        &wide,
        &parse(&wide),
        &sure(Kind::Absolute { cc: 52 }),
        Purpose::Move("look/strength"),
        None,
        None,
    );
    assert!(matches!(said, Err(LearnError::Taken { .. })), "{said:?}");
    for (kind, purpose) in
        [(Kind::Absolute { cc: 1 }, Purpose::Do("undo")), (play, Purpose::Move("look/strength"))]
    {
        let guess = if kind == play {
            Kind::Button { source: Source::Note(99), mode: Mode::Momentary }
        } else {
            kind
        };
        let said = add(guess, purpose);
        assert!(matches!(said, Err(LearnError::Unfit { .. })), "{said:?}");
    }
}

/// What every kind becomes in a map is what the recogniser saw: the map hears its messages.
#[test]
fn a_map_that_learned_a_control_hears_it() {
    for (name, played, kind) in cases() {
        let mut found = guess(&played).unwrap();
        let purpose = match kind {
            Kind::Button { .. } => Purpose::Do("play"),
            _ => Purpose::Move("balance/exposure"),
        };
        if kind == Kind::Bend {
            found.touch = Some(104);
        }
        let fresh = empty_map("x", "");
        let text = add_learned(&fresh, &parse(&fresh), &found, purpose, None, None)
            .unwrap_or_else(|e| panic!("{name}: {e}"));
        // Wherever its parameter stands: takeover is not in question here.
        let text = text.replace("coding = \"absolute\"", "coding = \"absolute\"\ntakeover = \"jump\"");
        let mut surface = Surface::new(std::sync::Arc::new(parse(&text)));
        let mut moves = Vec::new();
        for (ms, message) in &played {
            if let Some(event) = read(0, message) {
                moves.extend(surface.feed(ms * 1000, &event, &|_| Some(0.5)));
            }
        }
        match kind {
            Kind::Button { mode, .. } => {
                let downs = moves.iter().filter(|m| matches!(m, Move::Press { down: true, .. })).count();
                let ups = moves.len() - downs;
                assert!(
                    downs >= 3 && ups == if mode == Mode::Momentary { downs } else { 0 },
                    "{name}: {moves:?}"
                );
            }
            Kind::Relative { .. }
            | Kind::Steps { .. }
            | Kind::Numbered { value: NumberedValue::Steps, .. } => {
                let turns: Vec<f64> = moves
                    .iter()
                    .map(|m| match m {
                        Move::Turn { detents, .. } => *detents,
                        other => panic!("{name}: {other:?}"),
                    })
                    .collect();
                // The first way asked for is up, and as far there as back, or nearly.
                assert!(turns[0] > 0.0 && turns.iter().any(|t| *t < 0.0), "{name}: {turns:?}");
                assert!(turns.iter().sum::<f64>().abs() <= 6.0, "{name}: {turns:?}");
            }
            _ => assert!(moves.iter().any(|m| matches!(m, Move::Set { .. })), "{name}: {moves:?}"),
        }
    }
}

#[test]
fn new_maps_and_shipped_ones_can_be_added_to() {
    let fresh = empty_map("desk \"two\"", "Box: 1");
    let map = parse(&fresh);
    assert_eq!((map.name.as_str(), map.port.as_str(), map.controls.len()), ("desk \"two\"", "Box: 1", 0));
    let knob = sure(Kind::Absolute { cc: 7 });
    for text in SHIPPED.iter().map(|(_, text)| *text).chain([fresh.as_str()]) {
        let added =
            add_learned(text, &parse(text), &knob, Purpose::Move("balance/power-r"), None, None).unwrap();
        let control = parse(&added).controls.into_iter().find(|c| c.cc() == Some(7)).unwrap();
        assert_eq!((control.coding, &*control.label), (Coding::Absolute, "power-r"));
    }
}

#[test]
fn every_address_is_listed_once() {
    let (all, own) = (addresses(), own_addresses());
    own.iter().for_each(|address| known_target(address).unwrap());
    for address in &all {
        // Spelt as an address spells itself, so that what is listed can be written into maps.
        assert_eq!(Address::parse(address).unwrap().to_string(), *address);
    }
    let mut sorted = all.clone();
    sorted.sort();
    sorted.dedup();
    assert_eq!(sorted.len(), all.len());
    for (_, text) in SHIPPED {
        for target in parse(text).controls.iter().flat_map(|c| c.targets.iter()) {
            let listed = all.iter().chain(&own).any(|a| **a == *target.address);
            // Stages may also be named by their positions.
            assert!(listed || known_target(&target.address).is_ok(), "{} is not listed", target.address);
        }
    }
}
