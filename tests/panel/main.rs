//! The panel room through its public face: bytes in, moves out.
//!
//! Sources: "MIDI 1.0" is the MIDI 1.0 Detailed Specification (MIDI Manufacturers Association). What MIDI 1.0
//! does not define, the relative codings and takeover, is common practice of controllers. Numbers of its
//! tables are named from memory.

mod banks;
mod controls;
mod drawn;
mod feel;
mod script;

use greyhold::engine::{ACTIONS, known_action, known_target};
use greyhold::panel::{
    Coding, Control, Event, FINE_TOLERANCE, Half, Input, Map, Mode, Move, PAIR_WAIT, Pair, PanelError, Plug,
    Plugs, PortClock, PortInfo, Ports, Reading, SHIPPED, Sender, Source, Surface, SystemPorts, TOLERANCE,
    Waker, events, queue, read, shipped, split,
};
use script::{any, bytes, play};
use std::{
    alloc::{GlobalAlloc, Layout, System},
    cell::{Cell, RefCell},
    collections::BTreeSet,
    rc::Rc,
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::{Duration, Instant},
};

/// Addresses that maps may use.
const KNOWN: [&str; 13] = [
    "balance/exposure",
    "balance/offset-r",
    "balance/offset-g",
    "balance/offset-b",
    "look/contrast/strength",
    "look/split-tone/strength",
    "look/strength",
    "balance/shadow-cb",
    "balance/shadow-cr",
    "balance/shadow-exposure",
    "balance/highlight-cb",
    "balance/highlight-cr",
    "balance/highlight-exposure",
];

fn known(address: &str) -> Result<(), String> {
    if KNOWN.contains(&address) {
        Ok(())
    } else {
        Err(format!("no such parameter; there are {}", KNOWN.join(", ")))
    }
}

fn heard(packet: &[u8]) -> Vec<(u8, u8, u8)> {
    let mut all = Vec::new();
    events(0, packet, |e| {
        if let Control::Cc { channel, number } = e.control {
            all.push((channel, number, e.value as u8));
        }
    });
    all
}

#[test]
fn notes_are_heard_as_midi_says() {
    let note = |channel, number, value| Event { port: 0, control: Control::Note { channel, number }, value };
    // MIDI 1.0: note on is 1001nnnn 0kkkkkkk 0vvvvvvv, note off 1000nnnn; a note on with velocity 0 is a note
    // off, and running status may be used for both in that way.
    let table = [
        ("90 24 40", vec![note(0, 36, 64)]),
        ("9F 00 01", vec![note(15, 0, 1)]),
        ("90 24 00", vec![note(0, 36, 0)]),
        ("81 7F 40", vec![note(1, 127, 0)]),
        ("90 24 7F 24 00 25 05", vec![note(0, 36, 127), note(0, 36, 0), note(0, 37, 5)]),
    ];
    for (packet, expected) in table {
        let mut all = Vec::new();
        events(0, &bytes(packet), |e| all.push(e));
        assert_eq!(all, expected, "{packet}");
    }
}

#[test]
fn packets_are_cut_as_midi_says() {
    // Packet; then channel (0…15), controller and value of every event in it.
    let table: &[(&str, &[(u8, u8, u8)])] = &[
        // Control change: 1011nnnn 0ccccccc 0vvvvvvv (MIDI 1.0, table 2).
        ("B0 14 01", &[(0, 20, 1)]),
        ("BF 77 7F", &[(15, 119, 127)]),
        ("B0 14 01 B1 15 02", &[(0, 20, 1), (1, 21, 2)]),
        // Running status (MIDI 1.0, "Running Status").
        ("B0 14 01 15 02 16 03", &[(0, 20, 1), (0, 21, 2), (0, 22, 3)]),
        // Real-time messages may stand between the bytes of another and leave running status alone.
        ("B0 F8 14 FE 01 FA 15 02", &[(0, 20, 1), (0, 21, 2)]),
        // System exclusive is passed over and ends running status; so do system common messages.
        ("F0 7D 14 01 F7 B0 14 01", &[(0, 20, 1)]),
        ("B0 14 01 F0 7D 15 02 F7 15 02", &[(0, 20, 1)]),
        ("B0 14 01 F3 05 15 02", &[(0, 20, 1)]),
        // Any status byte but real time cuts system exclusive off.
        ("F0 7D 14 B2 14 05", &[(2, 20, 5)]),
        ("F0 7D F8 14 01", &[]),
        // Another status byte replaces a message that was begun.
        ("B0 14 B3 15 06", &[(3, 21, 6)]),
        // Two-byte and other channel messages are stepped over, not mistaken.
        ("C0 05 D0 14 B0 14 01", &[(0, 20, 1)]),
        ("90 3C 40 80 3C 00 A0 3C 10 E0 00 40 B0 14 01", &[(0, 20, 1)]),
        ("C0 05 06 07 B0 14 01", &[(0, 20, 1)]),
        // Controllers 120 to 127 are channel mode messages.
        ("B0 78 00 B0 7B 00 B0 7F 00", &[]),
        // Not finished, or without a status byte: nothing to act on.
        ("B0 14", &[]),
        ("14 01 B0 14 02", &[(0, 20, 2)]),
        ("", &[]),
    ];
    for (packet, expected) in table {
        assert_eq!(heard(&bytes(packet)), *expected, "{packet}");
    }
    let mut port = None;
    events(7, &[0xB0, 20, 1], |e| port = Some(e.port));
    assert_eq!(port, Some(7), "an event says which port it came from");
}

#[test]
fn a_million_random_bytes_do_no_harm() {
    let mut state = 0x9E37_79B9_7F4A_7C15u64;
    let mut random = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 32) as u32
    };
    let (mut fed, mut events_seen, mut packets) = (0usize, 0usize, 0usize);
    while fed < 1_000_000 {
        let packet: Vec<u8> = (0..random() % 64).map(|_| random() as u8).collect();
        fed += packet.len();
        packets += 1;
        let (mut messages, mut data) = (0, 0);
        split(&packet, |m| {
            messages += 1;
            data += m.len() - 1;
            assert!((2..=3).contains(&m.len()) && (0x80..0xF0).contains(&m[0]), "{m:02X?}");
            assert!(m[1..].iter().all(|b| *b < 0x80), "{m:02X?}");
        });
        assert!(data <= packet.len(), "more data bytes came out than went in");
        let before = events_seen;
        events(0, &packet, |e| {
            events_seen += 1;
            let (number, most, values) = match e.control {
                Control::Cc { number, .. } => (number, 119, 128),
                Control::Note { number, .. } | Control::KeyPressure { number, .. } => (number, 127, 128),
                Control::Bend { .. } => (0, 0, 16384),
                Control::Pressure { .. } | Control::Program { .. } => (0, 0, 128),
            };
            assert!(e.control.channel() < 16 && number <= most && e.value < values, "{e:?}");
        });
        assert!(events_seen - before <= messages);
    }
    // An eighth of the status bytes begin control changes and half of all bytes are data, so that a run
    // without events would mean that nothing was parsed.
    assert!(events_seen > packets / 10, "only {events_seen} events in {packets} packets");
}

#[test]
fn codings_by_table() {
    // Common practice; two's complement and sign and magnitude as arithmetic defines them on 7 bits.
    let table = [
        (Coding::TwosComplement, 0, 0),
        (Coding::TwosComplement, 1, 1),
        (Coding::TwosComplement, 63, 63),
        (Coding::TwosComplement, 64, -64),
        (Coding::TwosComplement, 65, -63),
        (Coding::TwosComplement, 127, -1),
        (Coding::BinaryOffset, 64, 0),
        (Coding::BinaryOffset, 65, 1),
        (Coding::BinaryOffset, 63, -1),
        (Coding::BinaryOffset, 127, 63),
        (Coding::BinaryOffset, 0, -64),
        (Coding::SignMagnitude, 0, 0),
        (Coding::SignMagnitude, 64, 0),
        (Coding::SignMagnitude, 1, 1),
        (Coding::SignMagnitude, 63, 63),
        (Coding::SignMagnitude, 65, -1),
        (Coding::SignMagnitude, 127, -63),
    ];
    for (coding, value, detents) in table {
        let expected = (detents != 0).then_some(Reading::Turned(f64::from(detents)));
        assert_eq!(coding.read(value), expected, "{} {value}", coding.name());
    }
    assert_eq!(Coding::Absolute.read(0), Some(Reading::At(0.0)));
    assert_eq!(Coding::Absolute.read(127), Some(Reading::At(1.0)));
    assert_eq!(Coding::Absolute.read(64), Some(Reading::At(64.0 / 127.0)));
    for coding in [Coding::TwosComplement, Coding::BinaryOffset, Coding::SignMagnitude, Coding::Absolute] {
        for value in 0..=255 {
            assert_eq!(coding.read(value), coding.read(value & 0x7F), "an eighth bit changes nothing");
        }
    }
}

#[test]
fn relative_controls_turn_parameters() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        coding = "twos-complement"
        target = "a"
        [[control]]
        cc = 21
        coding = "binary-offset"
        scale = 0.5
        target = "a"
        [[control]]
        cc = 22
        coding = "sign-magnitude"
        scale = -2
        target = ["a", "b"]
        [[control]]
        cc = 23
        channel = 2
        coding = "twos-complement"
        target = "b"
    "#;
    play(
        map,
        "set a 10
         set b 20
         B0 14 01 => a+1
         B5 14 7F => a-1            // any channel
         B0 14 00 => -
         B0 14 03 14 7E => a+3 a-2  // two messages in a packet
         B0 15 41 => a+0.5
         B0 15 3E => a-1
         B0 15 40 => -
         B0 16 01 => a-2 b-2
         B0 16 43 => a+6 b+6
         B0 16 40 => -
         B0 17 01 => -              // the wrong channel
         B1 17 01 => b+1
         B0 18 01 => -              // not in the map
         gone a
         B0 14 01 => -
         B0 16 01 => b-2",
    );
}

const PICKUP: &str = r#"
    name = "test"
    [[control]]
    cc = 102
    coding = "absolute"
    target = "a"
    [[control]]
    cc = 103
    coding = "absolute"
    takeover = "jump"
    target = "a"
    [[control]]
    cc = 104
    coding = "absolute"
    takeover = "pickup"
    target = ["a", "b"]
"#;

#[test]
fn absolute_controls_wait_until_they_reach_the_parameter() {
    play(
        PICKUP,
        "set a 64
         B0 66 00 => -
         B0 66 3E => -          // two steps away
         B0 66 3F => a=63       // within one and a half
         B0 66 46 => a=70       // and now it has it, however far it goes
         B0 66 00 => a=0
         B0 66 7F => a=127",
    );
    // Exactly at the tolerance it acts; a hundredth of a step beyond, it does not.
    play(PICKUP, "set a 64.5\nB0 66 3F => a=63");
    play(PICKUP, "set a 64.51\nB0 66 3F => -");
    assert_eq!(TOLERANCE, 1.5 / 127.0);
}

#[test]
fn absolute_controls_pick_up_when_they_cross_the_parameter() {
    play(PICKUP, "set a 64\nB0 66 1E => -\nB0 66 5A => a=90");
    play(PICKUP, "set a 64\nB0 66 5A => -\nB0 66 1E => a=30");
    // The parameter's crossing the control is not the control's crossing the parameter.
    play(PICKUP, "set a 30\nB0 66 40 => -\nset a 90\nB0 66 41 => -");
    // Where the control was before is not known after a reset, so that nothing can be crossed.
    play(PICKUP, "set a 64\nB0 66 1E => -\nreset\nB0 66 5A => -\nB0 66 5B => -\nB0 66 40 => a=64");
}

#[test]
fn takeover_lets_go() {
    // When the shot changes.
    play(PICKUP, "set a 64\nB0 66 40 => a=64\nreset\nset a 20\nB0 66 41 => -\nB0 66 14 => a=20");
    // When something else moved the parameter, far or a little.
    play(PICKUP, "set a 64\nB0 66 40 => a=64\nset a 100\nB0 66 41 => -\nB0 66 42 => -\nB0 66 63 => a=99");
    play(PICKUP, "set a 64\nB0 66 40 => a=64\nset a 67\nB0 66 41 => -\nB0 66 42 => a=66");
    // But not when the parameter stands where it was set.
    play(PICKUP, "set a 64\nB0 66 40 => a=64\nset a 64\nB0 66 50 => a=80");
    // When the parameter was away.
    play(PICKUP, "set a 64\nB0 66 40 => a=64\ngone a\nB0 66 41 => -\nset a 20\nB0 66 42 => -");
}

#[test]
fn jump_takes_the_parameter_at_once() {
    play(PICKUP, "set a 64\nB0 67 00 => a=0\nset a 100\nB0 67 7F => a=127\nreset\nset a 3\nB0 67 40 => a=64");
}

#[test]
fn one_control_picks_up_several_parameters_one_by_one() {
    play(
        PICKUP,
        "set a 20
         set b 40
         B0 68 00 => -
         B0 68 14 => a=20
         B0 68 1E => a=30
         B0 68 32 => a=50 b=50
         B0 68 05 => a=5 b=5",
    );
}

#[test]
fn the_mirror_sees_what_a_control_is_and_does() {
    let mut surface = Surface::new(Arc::new(Map::parse(PICKUP, "test.toml", &any, &any).unwrap()));
    let at = |a: f64, b: f64| move |address: &str| Some(if address == "a" { a } else { b });
    let picked = |s: &Surface| s.describe().iter().map(|c| c.picked_up).collect::<Vec<_>>();
    assert_eq!(picked(&surface), [false, true, false], "jump always acts");
    let first = &surface.describe()[2];
    assert_eq!((&*first.label, first.coding, first.last), ("CC 104", Coding::Absolute, None));
    assert_eq!(first.targets.iter().map(|t| &*t.address).collect::<Vec<_>>(), ["a", "b"]);

    let event = |number, value| Event { port: 0, control: Control::Cc { channel: 0, number }, value };
    surface.feed(0, &event(104, 127), &at(1.0, 0.0));
    assert_eq!(surface.describe()[2].last, Some(127));
    assert_eq!(picked(&surface), [false, true, false], "only one of the two targets was reached");
    surface.feed(0, &event(104, 0), &at(1.0, 0.0));
    assert_eq!(picked(&surface), [false, true, true]);
    surface.refresh(&at(0.0, 0.0));
    assert_eq!(picked(&surface), [false, true, true], "both stand where they were set");
    surface.refresh(&at(0.0, 0.5));
    assert_eq!(picked(&surface), [false, true, false], "something else moved one");
    surface.feed(0, &event(102, 0), &at(0.0, 0.5));
    assert_eq!(picked(&surface), [true, true, false]);
    surface.refresh(&|_| None);
    assert_eq!(picked(&surface), [false, true, false], "what is gone is not held");
    surface.feed(0, &event(102, 0), &at(0.0, 0.5));
    assert_eq!(picked(&surface), [true, true, false]);
    surface.reset();
    assert_eq!(picked(&surface), [false, true, false]);

    let other = Map::parse(SHIPPED[0].1, SHIPPED[0].0, &known_target, &known_action).unwrap();
    surface.set_map(Arc::new(other));
    let all = surface.describe();
    assert_eq!(all.len(), 8);
    assert!(all.iter().all(|c| c.picked_up && c.last.is_none() && c.coding == Coding::TwosComplement));
}

#[test]
fn wrong_maps_say_where_and_what_is_accepted() {
    let head = "name = \"x\"\n[[control]]\n";
    // Map after the head (which is two lines); the line of the error; what its message must hold.
    let table: &[(&str, usize, &[&str])] = &[
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = \"balance/exposur\"",
            5,
            &["balance/exposur", "balance/exposure"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = [\n\"look/strength\",\n\"look/strenth\",\n]",
            7,
            &["look/strenth"],
        ),
        ("cc = 20\ncoding = \"absolute\"\ntarget = []", 5, &["at least one"]),
        ("cc = 20\ncoding = \"absolute\"\ntarget = [\"look/strength\", \"look/strength\"]", 5, &["twice"]),
        ("cc = 20\ncoding = \"absolute\"\ntarget = 3", 5, &["integer `3`", "address of a parameter"]),
        (
            "cc = 20\nnumber = 3\ncoding = \"absolute\"\ntarget = \"look/strength\"",
            4,
            &["number", "`cc`", "`takeover`"],
        ),
        (
            "cc = 20\nbits = 16\ncoding = \"absolute\"\ntarget = \"look/strength\"",
            4,
            &["bits = 16", "7 or 14"],
        ),
        (
            "cc = 20\nbits = 14\ncoding = \"binary-offset\"\ntarget = \"look/strength\"",
            4,
            &["bits = 14", "absolute"],
        ),
        (
            "cc = 32\nbits = 14\ncoding = \"absolute\"\ntarget = \"look/strength\"",
            3,
            &["cc = 32", "0 to 31", "cc + 32"],
        ),
        (
            "cc = 20\nbits = 14\ncoding = \"absolute\"\ntarget = \"look/strength\"\n\
             [[control]]\ncc = 52\ncoding = \"absolute\"\ntarget = \"balance/exposure\"",
            7,
            &["CC 20", "one control only"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\ntarget = [\n\"look/strength\",\n\
             { address = \"balance/exposure\", by = 0 },\n]",
            7,
            &["by = 0", "finite"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = [\n{ address = \"balance/exposure\", by = 2 },\n]",
            6,
            &["by is for relative"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\ntarget = [\n\"look/strength\",\n\
             { address = \"balance/exposur\", by = 2 },\n]",
            7,
            &["balance/exposur\"", "no such parameter"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\ntarget = { address = \"look/strength\", times = 2 }",
            5,
            &["times", "`by`"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\ntarget = [[\"look/strength\"]]",
            5,
            &["sequence", "address of a parameter"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = \"look/strength\"\n\
             [[button]]\ncc = 20\naction = \"play\"",
            6,
            &["CC 20", "one control only"],
        ),
        (
            "cc = 20\ncoding = \"relative\"\ntarget = \"look/strength\"",
            4,
            &["relative", "twos-complement", "sign-magnitude"],
        ),
        ("cc = 120\ncoding = \"absolute\"\ntarget = \"look/strength\"", 3, &["cc = 120", "0 to 119"]),
        ("cc = -1\ncoding = \"absolute\"\ntarget = \"look/strength\"", 3, &["cc = -1", "0 to 119"]),
        ("cc = 20.5\ncoding = \"absolute\"\ntarget = \"look/strength\"", 3, &["20.5"]),
        (
            "cc = 20\nchannel = 0\ncoding = \"absolute\"\ntarget = \"look/strength\"",
            4,
            &["channel = 0", "1 to 16"],
        ),
        (
            "cc = 20\nchannel = 17\ncoding = \"absolute\"\ntarget = \"look/strength\"",
            4,
            &["channel = 17", "1 to 16"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntakeover = \"catch\"\ntarget = \"look/strength\"",
            5,
            &["catch", "pickup", "jump"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\ntakeover = \"jump\"\ntarget = \"look/strength\"",
            5,
            &["takeover", "absolute"],
        ),
        ("cc = 20\ncoding = \"absolute\"\nscale = 2\ntarget = \"look/strength\"", 5, &["scale", "relative"]),
        (
            "cc = 20\ncoding = \"binary-offset\"\nscale = 0\ntarget = \"look/strength\"",
            5,
            &["scale = 0", "finite"],
        ),
        (
            "cc = 20\ncoding = \"binary-offset\"\nscale = nan\ntarget = \"look/strength\"",
            5,
            &["scale = NaN", "finite"],
        ),
        ("coding = \"absolute\"\ntarget = \"look/strength\"", 2, &["sends one of cc, nrpn", "key-pressure"]),
        ("cc = 20\ntarget = \"look/strength\"", 2, &["coding is missing", "twos-complement", "increment"]),
        ("cc = 20\ncoding = \"absolute\"\ntarget = \"look/strength", 5, &["string"]),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = \"look/strength\"\n\n\
             [[control]]\ncc = 20\nchannel = 3\ncoding = \"absolute\"\ntarget = \"balance/exposure\"",
            7,
            &["CC 20", "one control only"],
        ),
    ];
    for (body, line, parts) in table {
        let error =
            Map::parse(&format!("{head}{body}"), "panels/x.toml", &known, &known_action).expect_err(body);
        let text = error.to_string();
        assert!(text.starts_with(&format!("panels/x.toml:{line}: ")), "{text}\n{body}");
        for part in *parts {
            assert!(text.contains(part), "“{part}” is missing in: {text}");
        }
    }
    let error = Map::parse("name = \"x\"\n\nbanks = 1\n", "panels/x.toml", &known, &known_action)
        .unwrap_err()
        .to_string();
    assert!(
        error.starts_with("panels/x.toml:3: ") && error.contains("banks") && error.contains("`control`"),
        "{error}"
    );
    // The same controller on different channels is two controls.
    let two = "cc = 20\nchannel = 1\ncoding = \"absolute\"\ntarget = \"look/strength\"\n\
               [[control]]\ncc = 20\nchannel = 2\ncoding = \"absolute\"\ntarget = \"balance/exposure\"";
    assert_eq!(Map::parse(&format!("{head}{two}"), "x", &known, &known_action).unwrap().controls.len(), 2);
}

#[test]
fn shipped_maps_are_right() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/configs/panels");
    let on_disk: BTreeSet<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|n| n.ends_with(".toml"))
        .collect();
    let built_in: BTreeSet<String> =
        SHIPPED.iter().chain(greyhold::panel::osc::LAYOUTS).map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(on_disk, built_in, "every map in configs/panels is built in");
    // Controllers that MIDI 1.0 leaves undefined: table 3 of the Detailed Specification.
    let undefined = |cc: u8| (20..=31).contains(&cc) || (102..=119).contains(&cc);
    let mut actions = BTreeSet::new();
    for (file, text) in SHIPPED {
        let map = Map::parse(text, file, &known_target, &known_action).unwrap_or_else(|e| panic!("{e}"));
        assert!(!map.name.is_empty() && map.is_for("Any Port At All"), "{file}");
        for control in &map.controls {
            for source in control.sources() {
                let Source::Cc(cc) = source else { panic!("{file}: {source:?}") };
                assert!(undefined(cc), "{file}: CC {cc} is defined by MIDI 1.0");
            }
        }
        let reached: BTreeSet<&str> =
            map.controls.iter().flat_map(|c| c.targets.iter().map(|t| &*t.address)).collect();
        let should: Vec<&str> = match *file {
            "three-balls.toml" => KNOWN[1..4].iter().chain(&KNOWN[7..]).copied().collect(),
            _ => KNOWN[..7].to_vec(),
        };
        for address in should {
            assert!(reached.contains(address), "{file}: {address} has no control");
        }
        for button in &map.buttons {
            assert!(matches!(button.source, Source::Note(_)), "{file}: {:?} is no note", button.source);
        }
        actions.extend(map.buttons.iter().map(|b| b.action.to_string()));
    }
    for action in ACTIONS {
        assert!(actions.contains(action.name), "no button of a map that ships does {}", action.name);
    }
    let numbers = |index: usize| {
        let map = Map::parse(SHIPPED[index].1, "", &known_target, &known_action).unwrap();
        let all = map.controls.iter().take(8);
        all.map(|c| (c.cc().unwrap(), c.coding.is_relative(), c.targets.len())).collect::<Vec<_>>()
    };
    let lens = [1, 3, 1, 1, 1, 1, 1, 1];
    assert_eq!(numbers(0), (20..28).zip(lens).map(|(cc, n)| (cc, true, n)).collect::<Vec<_>>());
    assert_eq!(numbers(1), (102..110).zip(lens).map(|(cc, n)| (cc, false, n)).collect::<Vec<_>>());
    // What a map was called stays its name.
    assert_eq!(shipped("eight-knobs"), shipped("eight-knobs-and-faders"));
    assert_eq!(shipped("eight-knobs").unwrap().0, "eight-knobs-and-faders.toml");
    assert_eq!(shipped("nine-knobs"), None);
}

#[test]
fn wrong_buttons_say_where_and_what_is_accepted() {
    let head = "name = \"x\"\n[[button]]\n";
    let table: &[(&str, usize, &[&str])] = &[
        ("action = \"play\"", 2, &["cc or a note"]),
        ("cc = 20\nnote = 20\naction = \"play\"", 2, &["one of the two"]),
        ("cc = 120\naction = \"play\"", 3, &["cc = 120", "0 to 119"]),
        ("note = 128\naction = \"play\"", 3, &["note = 128", "0 to 127"]),
        ("note = 1\nchannel = 17\naction = \"play\"", 4, &["channel = 17", "1 to 16"]),
        ("note = 1\nmode = \"latch\"\naction = \"play\"", 4, &["latch", "momentary", "toggle"]),
        ("note = 1\naction = \"fly\"", 4, &["action \"fly\"", "no such action", "play", "previous-shot"]),
        ("note = 1", 2, &["action, bank, page, layer or resets"]),
        ("note = 1\ncoding = \"absolute\"\naction = \"play\"", 4, &["coding", "`mode`"]),
        (
            "note = 1\naction = \"play\"\n[[button]]\nnote = 1\nchannel = 2\naction = \"undo\"",
            5,
            &["note 1", "one control only"],
        ),
    ];
    for (body, line, parts) in table {
        let error = Map::parse(&format!("{head}{body}"), "panels/x.toml", &known, &known_action);
        let text = error.expect_err(body).to_string();
        assert!(text.starts_with(&format!("panels/x.toml:{line}: ")), "{text}\n{body}");
        for part in *parts {
            assert!(text.contains(part), "“{part}” is missing in: {text}");
        }
    }
    // A note and a controller of one number are two things.
    let both = "note = 20\naction = \"play\"\n[[button]]\ncc = 20\nmode = \"toggle\"\naction = \"undo\"";
    let map = Map::parse(&format!("{head}{both}"), "x", &known, &known_action).unwrap();
    let seen: Vec<_> = map.buttons.iter().map(|b| (b.source, b.mode)).collect();
    assert_eq!(seen, [(Source::Note(20), Mode::Momentary), (Source::Cc(20), Mode::Toggle)]);
}

#[test]
fn buttons_by_table() {
    let map = r#"
        name = "test"
        [[button]]
        note = 36
        action = "play"
        [[button]]
        note = 37
        channel = 2
        action = "before"
        [[button]]
        cc = 110
        action = "undo"
        [[button]]
        note = 38
        mode = "toggle"
        action = "redo"
        [[button]]
        cc = 111
        mode = "toggle"
        action = "before"
    "#;
    play(
        map,
        "90 24 7F => play↓
         80 24 40 => play↑       // a note off with a velocity
         93 24 01 => play↓       // any channel, any velocity
         93 24 00 => play↑       // velocity 0 is a note off (MIDI 1.0)
         90 25 40 => -           // the wrong channel
         91 25 40 => before↓
         B0 6E 7F => undo↓
         B0 6E 40 => undo↓       // from 64 on (MIDI 1.0)
         B0 6E 3F => undo↑
         B0 24 7F => -           // a controller is not a note
         90 26 7F => redo↓
         90 26 00 => redo↓       // every message of a toggle is a press
         B0 6F 00 => before↓
         release => before↑ before↑
         release => -            // once
         91 25 40 91 25 00 => before↓ before↑
         B0 6F 7F B0 6F 00 => before↓ before↓
         release => -",
    );
}

const FINE: &str = r#"
    name = "test"
    [[control]]
    cc = 20
    bits = 14
    coding = "absolute"
    takeover = "jump"
    target = "a"
"#;

#[test]
fn fine_controls_by_table() {
    assert_eq!(PAIR_WAIT, 3000);
    // MSB first. "A subsequent fine adjustment only requires the sending of the LSB" (MIDI 1.0).
    play(
        FINE,
        "set a 0
         @0 B0 14 10 => -
         @300 B0 34 05 => a=2053/16383
         @9000 B0 34 06 => a=2054/16383
         @9100 B0 34 05 => a=2053/16383",
    );
    // A lone MSB resets the LSB to 0 (MIDI 1.0), after the wait.
    play(
        FINE,
        "set a 0
         @0 B0 14 10 34 05 => a=2053/16383
         @1000 B0 14 11 => -
         settle 3999 => -
         settle 4000 => a=2176/16383
         settle 9000 => -
         @9000 B0 14 12 => -
         @9500 B0 14 13 => a=2304/16383   // the second says that the first stood alone
         @20000 B0 14 14 => a=2432/16383  // so does time
         settle 23000 => a=2560/16383",
    );
    // LSB first: across a carry, no value in between.
    play(
        FINE,
        "set a 0
         @0 B0 34 7F => -
         @300 B0 14 10 => a=2175/16383
         @9000 B0 34 00 => -
         @9300 B0 14 11 => a=2176/16383
         @20000 B0 34 04 => -
         settle 23000 => a=2180/16383     // a fine move",
    );
    // Lower halves say nothing before an upper half was heard.
    play(
        FINE,
        "set a 0\n@0 B0 34 7F => -\nsettle 9000 => -\n@9000 B0 14 10 => -\nsettle 12000 => a=2048/16383",
    );
    // State is kept for each channel.
    play(
        FINE,
        "set a 0
         @0 B0 14 10 => -
         @100 B1 14 20 => -
         @200 B0 34 01 => a=2049/16383
         @300 B1 34 02 => a=4098/16383
         @9000 B0 34 03 => a=2051/16383",
    );
    // The end of the range is reached exactly.
    play(FINE, "set a 0\nB0 14 7F 34 7F => a=16383/16383\nB0 14 00 34 00 => a=0/16383");
}

#[test]
fn fine_controls_pick_up_within_their_own_steps() {
    assert_eq!(FINE_TOLERANCE, 1.5 / 16383.0);
    let map = FINE.replace("jump", "pickup");
    // 63.5 of 127 is 8191.5 of 16383: 2¹³ is half a step from it.
    play(&map, "set a 63.5\nB0 14 3F 34 70 => -\nB0 14 3F 34 7D => -\nB0 14 40 34 00 => a=8192/16383");
    play(&map, "set a 63.5\nB0 14 3F 34 7E => a=8190/16383");
    play(&map, "set a 63.5\nB0 14 30 34 00 => -\nB0 14 50 34 00 => a=10240/16383");
}

/// One message of a sweep: when, which half, which byte.
type Timed = (u64, Half, u8);

/// The messages of a device that goes through `values`, a value every `every` microseconds, with
/// `apart` between the halves. `sparse` leaves out upper halves that do not change.
fn sweep(values: &[u16], lsb_first: bool, sparse: bool, every: u64, apart: u64) -> Vec<Timed> {
    let mut all = Vec::new();
    let mut last = None;
    for (i, value) in values.iter().enumerate() {
        let at = 1_000_000 + i as u64 * every;
        let (msb, lsb) = ((value >> 7) as u8, (value & 0x7F) as u8);
        let changed = last.replace(msb) != Some(msb);
        let mut halves = vec![(Half::Msb, msb), (Half::Lsb, lsb)];
        if sparse && !changed {
            halves.remove(0);
        }
        if lsb_first {
            halves.reverse();
        }
        all.extend(halves.iter().enumerate().map(|(n, (half, byte))| (at + n as u64 * apart, *half, *byte)));
    }
    all
}

/// What a pair makes of messages when it is asked to settle as soon as that is due.
fn made(pair: &mut Pair, messages: &[Timed]) -> Vec<u16> {
    let mut out = Vec::new();
    for &(at, half, byte) in messages {
        if let Some(due) = pair.due().filter(|due| *due < at) {
            out.extend(pair.settle(due));
            assert_eq!(pair.due(), None, "settled once, it waits for nothing");
        }
        out.extend(pair.hear(half, byte, at));
    }
    if let Some(due) = pair.due() {
        out.extend(pair.settle(due));
    }
    out
}

#[test]
fn sweeps_of_fine_controls_have_no_saw_teeth() {
    for step in [1, 3, 37, 128, 500] {
        let up: Vec<u16> = (0..=16383).step_by(step).collect();
        let down: Vec<u16> = up.iter().rev().copied().collect();
        for values in [&up, &down] {
            for (every, apart) in [(700, 0), (1_000, 320), (2_000, 960), (10_000, 960), (100_000, 2_900)] {
                for order in 0..4 {
                    let messages = sweep(values, order & 1 != 0, order & 2 != 0, every, apart);
                    let out = made(&mut Pair::default(), &messages);
                    // Not only monotone: every value of the sweep, once, and no other.
                    assert!(out == *values, "order {order}, step {step}, {every} µs: {:?}", &out[..20]);
                }
            }
        }
    }
}

#[test]
fn the_order_of_a_pair_is_learned_again_after_a_pause() {
    let values: Vec<u16> = (2000..2400).collect();
    for lsb_first in [false, true] {
        // The first byte was lost, so that each half at first seems to belong to the wrong neighbour.
        let messages = &sweep(&values, lsb_first, false, 1_000, 320)[1..];
        let mut pair = Pair::default();
        made(&mut pair, messages);
        let later: Vec<Timed> = sweep(&values, lsb_first, false, 1_000, 320)
            .iter()
            .map(|m| (m.0 + 10_000_000, m.1, m.2))
            .collect();
        assert_eq!(made(&mut pair, &later), values, "LSB first: {lsb_first}");
    }
}

#[test]
fn a_ports_clock_goes_on_between_messages() {
    let mut clock = PortClock::default();
    let start = Instant::now();
    assert_eq!((clock.at(start), clock.when(5)), (None, None));
    clock.heard(500, start);
    assert_eq!(clock.at(start + Duration::from_millis(2)), Some(2_500));
    assert_eq!(clock.when(3_500), Some(start + Duration::from_millis(3)));
    assert_eq!(clock.when(100), Some(start), "what is past is due now");
}

#[test]
fn targets_move_by_their_shares() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        coding = "twos-complement"
        scale = -2
        target = ["a", { address = "b", by = 0.25 }, { address = "c", by = -3 }, { address = "d" }]
        [[control]]
        cc = 21
        coding = "twos-complement"
        target = { address = "b", by = 0.5 }
    "#;
    play(
        map,
        "set a 10\nset b 10\nset c 10\nset d 10
         B0 14 01 => a-2 b-0.5 c+6 d-2
         B0 14 7E => a+4 b+1 c-12 d+4
         B0 15 03 => b+1.5
         gone c
         B0 14 01 => a-2 b-0.5 d-2",
    );
}

#[test]
fn the_middle_ball_pushes_colour_and_leaves_luma() {
    use greyhold::colour::{LUMA_709, YcbcrMatrix};
    let map = Arc::new(Map::parse(SHIPPED[2].1, SHIPPED[2].0, &known_target, &known_action).unwrap());
    let offsets = ["balance/offset-r", "balance/offset-g", "balance/offset-b"];
    let parameter = |key: &str| greyhold::picture::BALANCE.iter().find(|p| p.key == key).unwrap();
    let steps = ["offset-r", "offset-g", "offset-b"].map(|key| parameter(key).step);
    assert_eq!(steps, [steps[0]; 3], "one step for all, or the shares would not hold");
    // ITU-R BT.709: E'Y = 0.2126 R + 0.7152 G + 0.0722 B, C_B = (B − Y) / 1.8556, C_R = (R − Y) / 1.5748.
    let ycbcr = |rgb: [f64; 3]| {
        let y = 0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2];
        [y, (rgb[2] - y) / 1.8556, (rgb[0] - y) / 1.5748]
    };
    assert_eq!(LUMA_709, [0.2126, 0.7152, 0.0722]);
    let mut surface = Surface::new(map);
    let mut rgb = [0.0; 3];
    let mut feed = |cc, value| {
        let event = Event { port: 0, control: Control::Cc { channel: 0, number: cc }, value };
        for one in surface.feed(0, &event, &|_| Some(0.5)) {
            let Move::Turn { target, detents, .. } = one else { panic!("a ball turns: {one:?}") };
            let at = offsets.iter().position(|o| **o == *target).expect("an offset");
            rgb[at] += detents;
        }
        rgb
    };
    let near = |got: [f64; 3], expected: [f64; 3]| {
        let worst = got.iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(worst < 1e-12, "{got:?} is not {expected:?}");
    };
    near(ycbcr(feed(23, 5)), [0.0, 5.0, 0.0]);
    near(ycbcr(feed(24, 125)), [0.0, 5.0, -3.0]);
    near(ycbcr(feed(25, 2)), [2.0, 5.0, -3.0]);
    // The same as the picture room's own matrix, which the outer balls' parameters go through.
    let expected = YcbcrMatrix::Bt709.to_rgb().times([2.0, 5.0, -3.0]);
    near(feed(25, 0), expected);
    // Long rolling there and back does not creep.
    for _ in 0..1000 {
        feed(23, 1);
        feed(24, 127);
    }
    for _ in 0..1000 {
        feed(23, 127);
        feed(24, 1);
    }
    let worst = feed(25, 0).iter().zip(expected).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(worst < 1e-9, "crept by {worst:e}");
}

#[test]
fn ports_match_by_part_of_the_name() {
    let map = |port: &str| {
        Map::parse(&format!("name = \"x\"\nport = \"{port}\""), "x", &known, &known_action).unwrap()
    };
    assert!(map("eight").is_for("Box Of EIGHT MIDI 1"));
    assert!(!map("nine").is_for("Box Of EIGHT MIDI 1"));
    assert!(map("").is_for("") && map("").is_for("anything"));
}

#[test]
fn a_full_queue_drops_and_counts() {
    let woken = Arc::new(AtomicUsize::new(0));
    let count = woken.clone();
    let (mut sender, mut queue) = queue(4, Box::new(move || _ = count.fetch_add(1, Ordering::Relaxed)));
    // Three messages in one packet, with a clock byte inside and system exclusive around: one wake.
    sender.push(5, &bytes("F0 7D 01 F7 B0 14 F8 01 15 02 C3 07"));
    assert_eq!(woken.load(Ordering::Relaxed), 1);
    let mut got = Vec::new();
    queue.drain(|m| got.push((m.at, m.bytes().to_vec())));
    assert_eq!(got, [(5, bytes("B0 14 01")), (5, bytes("B0 15 02")), (5, bytes("C3 07"))]);
    // Clock alone wakes nobody.
    sender.push(6, &bytes("F8 FE"));
    assert_eq!(woken.load(Ordering::Relaxed), 1);
    for value in 0..7 {
        sender.push(7, &[0xB0, 20, value]);
    }
    assert_eq!(queue.overruns(), 3);
    got.clear();
    queue.drain(|m| got.push((m.at, m.bytes().to_vec())));
    assert_eq!(
        got.iter().map(|(_, b)| b[2]).collect::<Vec<_>>(),
        [0, 1, 2, 3],
        "the oldest are kept, in order"
    );
    // A reader that went away is no reason to fail.
    drop(queue);
    sender.push(8, &[0xB0, 20, 1]);
}

/// Counts what the thread takes from the heap, and what it has of it.
struct Counting;

thread_local! {
    static TAKEN: Cell<usize> = const { Cell::new(0) };
    static HELD: Cell<isize> = const { Cell::new(0) };
}

// SAFETY: everything is handed to the system's allocator as it came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        TAKEN.set(TAKEN.get() + 1);
        HELD.set(HELD.get() + layout.size() as isize);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HELD.set(HELD.get() - layout.size() as isize);
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static HEAP: Counting = Counting;

#[test]
fn the_callback_takes_nothing_from_the_heap() {
    let packet = bytes("B0 14 01 15 02 F8 F0 7D 01 F7 B0 16 03");
    let (mut sender, mut queue) = queue(64, Box::new(|| {}));
    let mut got = 0;
    let before = TAKEN.get();
    // More than fits, so that the way of an overrun is taken too.
    for at in 0..100 {
        sender.push(at, &packet);
    }
    queue.drain(|m| got += usize::from(read(0, m.bytes()).is_some()));
    let taken = TAKEN.get() - before;
    assert_eq!((taken, got, queue.overruns()), (0, 64, 236));
    drop(Box::new(std::hint::black_box(1)));
    assert_eq!(TAKEN.get() - before, 1, "the counter counts");
}

#[test]
fn the_system_has_ports_or_says_why_not() {
    match SystemPorts::new().list() {
        Ok(list) => assert!(list.iter().all(|p| !p.id.is_empty()), "{list:?}"),
        Err(PanelError::Unavailable { why }) => assert!(!why.is_empty()),
        Err(other) => panic!("a list fails only for want of MIDI: {other}"),
    }
    let sequencer = std::path::Path::new("/dev/snd/seq");
    if cfg!(all(target_os = "linux", feature = "midi", not(feature = "jack"))) && !sequencer.exists() {
        let why = SystemPorts::new().list().expect_err("no sequencer, no MIDI").to_string();
        assert!(why.starts_with("no MIDI: ") && why.contains("/dev/snd/seq"), "{why}");
    }
}

/// Ports as a script has them: what is listed, what refuses, and the senders of what is open.
#[derive(Default)]
struct Desk {
    list: Vec<PortInfo>,
    unavailable: Option<String>,
    refuse: Option<String>,
    lists: usize,
    open: Vec<(PortInfo, Rc<RefCell<Sender>>)>,
    closed: Rc<RefCell<Vec<String>>>,
}

struct Scripted(Rc<RefCell<Desk>>);

/// Says when it is dropped, as a connection that closes.
struct Closing(String, Rc<RefCell<Vec<String>>>);

impl Drop for Closing {
    fn drop(&mut self) {
        self.1.borrow_mut().push(self.0.clone());
    }
}

impl Ports for Scripted {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        let mut desk = self.0.borrow_mut();
        desk.lists += 1;
        match &desk.unavailable {
            Some(why) => Err(PanelError::Unavailable { why: why.clone() }),
            None => Ok(desk.list.clone()),
        }
    }

    fn open(&mut self, port: &PortInfo, waker: Waker) -> Result<Input, PanelError> {
        let mut desk = self.0.borrow_mut();
        if let Some(why) = &desk.refuse {
            return Err(PanelError::Open { port: port.name.clone(), why: why.clone() });
        }
        let (sender, queue) = queue(16, waker);
        desk.open.push((port.clone(), Rc::new(RefCell::new(sender))));
        Ok(Input::new(Box::new(Closing(port.id.clone(), desk.closed.clone())), queue))
    }
}

fn port(id: &str, name: &str) -> PortInfo {
    PortInfo { id: id.to_owned(), name: name.to_owned() }
}

fn told(news: &[Plug]) -> Vec<String> {
    news.iter()
        .map(|plug| match plug {
            Plug::Opened { port, name, .. } => format!("opened {port} {name}"),
            Plug::Answering { port } => format!("answering {port}"),
            Plug::Closed { port, name } => format!("closed {port} {name}"),
            Plug::Refused { name, why } => format!("refused {name}: {why}"),
            Plug::Absent { why } | Plug::Unavailable { why } => format!("{why}"),
        })
        .collect()
}

#[test]
fn panels_come_and_go() {
    let desk = Rc::new(RefCell::new(Desk::default()));
    let woken = Arc::new(AtomicUsize::new(0));
    let count = woken.clone();
    let waker = Arc::new(move || _ = count.fetch_add(1, Ordering::Relaxed));
    let mut plugs = Plugs::new(Box::new(Scripted(desk.clone())), "box", waker);
    let mut now = Instant::now();
    let mut second = |plugs: &mut Plugs| {
        now += Duration::from_secs(1);
        plugs.poll(now)
    };

    let absent = "no MIDI port has “box” in its name; there is none at all";
    assert_eq!(told(&second(&mut plugs)), [absent]);
    assert_eq!(told(&second(&mut plugs)), [""; 0], "told once");
    desk.borrow_mut().list = vec![port("2", "Other"), port("7", "Third")];
    let absent = "no MIDI port has “box” in its name; there are: Other, Third";
    assert_eq!(told(&second(&mut plugs)), [absent]);
    assert_eq!(told(&second(&mut plugs)), [""; 0], "told once");
    desk.borrow_mut().list = vec![port("1", "Box A"), port("2", "Other"), port("3", "Box A")];
    let news = second(&mut plugs);
    assert_eq!(told(&news), ["opened 0 Box A", "opened 1 Box A"], "what does not match stays closed");

    // Its messages arrive and wake the reader.
    let Some(Plug::Opened { queue, .. }) = news.into_iter().next() else { unreachable!() };
    let mut queue = queue;
    desk.borrow().open[0].1.borrow_mut().push(1, &[0xB0, 20, 1]);
    let mut got = Vec::new();
    queue.drain(|m| got.push(m.bytes().to_vec()));
    assert_eq!((got, woken.load(Ordering::Relaxed)), (vec![vec![0xB0, 20, 1]], 1));

    // One of two twins goes: the right one is closed, and has its number again when it is back, under
    // whatever handle.
    desk.borrow_mut().list.remove(0);
    assert_eq!(told(&second(&mut plugs)), ["closed 0 Box A"]);
    assert_eq!(*desk.borrow().closed.borrow(), ["1"], "the connection was dropped");
    desk.borrow_mut().list.push(port("9", "Box A"));
    assert_eq!(told(&second(&mut plugs)), ["opened 0 Box A"]);
    // Both go at once and come back in the other order: by handle, each has its own number.
    let both = std::mem::take(&mut desk.borrow_mut().list);
    assert_eq!(
        told(&second(&mut plugs)),
        ["closed 0 Box A", "closed 1 Box A", "no MIDI port has “box” in its name; there is none at all"]
    );
    desk.borrow_mut().list = both;
    assert_eq!(told(&second(&mut plugs)), ["opened 1 Box A", "opened 0 Box A"]);

    // A handle that another device has now.
    desk.borrow_mut().list = vec![port("9", "Box B")];
    assert_eq!(told(&second(&mut plugs)), ["closed 0 Box A", "closed 1 Box A", "opened 2 Box B"]);

    // Another map: what it is for is opened, the rest closed.
    desk.borrow_mut().list.push(port("2", "Other"));
    plugs.set_pattern("OTHER");
    assert_eq!(told(&second(&mut plugs)), ["closed 2 Box B", "opened 3 Other"]);
    plugs.set_pattern("");
    desk.borrow_mut().list.clear();
    assert_eq!(told(&second(&mut plugs)), ["closed 3 Other", "no MIDI port that messages can come from"]);
    desk.borrow_mut().list.push(port("2", "Other"));
    assert_eq!(told(&second(&mut plugs)), ["opened 3 Other"]);
    drop(plugs);
    assert_eq!(desk.borrow().closed.borrow().last().unwrap(), "2", "all is closed in the end");
}

#[test]
fn the_list_is_asked_for_once_a_second() {
    let desk = Rc::new(RefCell::new(Desk::default()));
    let mut plugs = Plugs::new(Box::new(Scripted(desk.clone())), "", Arc::new(|| {}));
    let start = Instant::now();
    for ms in (0..=3000).step_by(10) {
        plugs.poll(start + Duration::from_millis(ms));
    }
    assert_eq!(desk.borrow().lists, 4, "at 0, 1, 2 and 3 s");
}

#[test]
fn no_midi_and_refusals_are_told_once_and_tried_again() {
    let desk = Rc::new(RefCell::new(Desk { unavailable: Some("none here".to_owned()), ..Desk::default() }));
    let mut plugs = Plugs::new(Box::new(Scripted(desk.clone())), "", Arc::new(|| {}));
    let mut now = Instant::now();
    assert_eq!(told(&plugs.poll(now)), ["no MIDI: none here"]);
    now += Duration::from_secs(29);
    assert_eq!(
        (told(&plugs.poll(now)), desk.borrow().lists),
        (vec![], 1),
        "asking is noisy: not each second"
    );
    now += Duration::from_secs(1);
    assert_eq!((told(&plugs.poll(now)), desk.borrow().lists), (vec![], 2), "asked again, but not told again");

    *desk.borrow_mut() =
        Desk { list: vec![port("1", "Box")], refuse: Some("in use".to_owned()), ..Desk::default() };
    now += Duration::from_secs(30);
    let refused = "refused Box: MIDI port “Box” cannot be opened: in use";
    assert_eq!(told(&plugs.poll(now)), [refused]);
    now += Duration::from_secs(1);
    assert_eq!(told(&plugs.poll(now)), [""; 0]);
    desk.borrow_mut().refuse = None;
    now += Duration::from_secs(1);
    assert_eq!(told(&plugs.poll(now)), ["opened 0 Box"]);

    // MIDI as a whole goes: what was open is closed.
    desk.borrow_mut().unavailable = Some("gone".to_owned());
    now += Duration::from_secs(1);
    assert_eq!(told(&plugs.poll(now)), ["no MIDI: gone", "closed 0 Box"]);
    desk.borrow_mut().unavailable = None;
    now += Duration::from_secs(30);
    assert_eq!(told(&plugs.poll(now)), ["opened 0 Box"]);
}
