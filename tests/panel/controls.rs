//! What controls send: every kind of message and coding, bytes in, events and moves out.

use super::script::{any, bytes, play};
use super::{HELD, TAKEN};
use greyhold::panel::{
    Control, Datum, Event, Half, Map, Registered, Selection, Splitter, Surface, events, is_registered, queue,
    read,
};
use std::{sync::Arc, time::Instant};

#[test]
fn benders_pressure_and_programs_are_heard_as_midi_says() {
    let event = |control, value| Event { port: 0, control, value };
    // MIDI 1.0, table 1: pitch bend 1110nnnn 0lllllll 0mmmmmmm, its centre 2000 (hexadecimal); channel pressure
    // 1101nnnn 0vvvvvvv; polyphonic key pressure 1010nnnn 0kkkkkkk 0vvvvvvv; program change 1100nnnn 0ppppppp.
    let table = [
        ("E0 00 40", vec![event(Control::Bend { channel: 0 }, 0x2000)]),
        ("E3 7F 7F", vec![event(Control::Bend { channel: 3 }, 0x3FFF)]),
        ("EF 01 00", vec![event(Control::Bend { channel: 15 }, 1)]),
        ("D5 07", vec![event(Control::Pressure { channel: 5 }, 7)]),
        ("A0 24 40", vec![event(Control::KeyPressure { channel: 0, number: 36 }, 64)]),
        ("C1 05", vec![event(Control::Program { channel: 1 }, 5)]),
        // Running status of messages of one data byte, a clock byte inside.
        (
            "D0 01 F8 02 C0 7F",
            vec![
                event(Control::Pressure { channel: 0 }, 1),
                event(Control::Pressure { channel: 0 }, 2),
                event(Control::Program { channel: 0 }, 127),
            ],
        ),
    ];
    for (packet, expected) in table {
        let mut all = Vec::new();
        events(0, &bytes(packet), |e| all.push(e));
        assert_eq!(all, expected, "{packet}");
    }
}

fn cut(packets: &[&[u8]]) -> Vec<Vec<u8>> {
    let mut splitter = Splitter::default();
    let mut all = Vec::new();
    for packet in packets {
        splitter.split(packet, |m| all.push(m.to_vec()));
    }
    all
}

#[test]
fn messages_go_over_packets() {
    // Packets, divided by |; then messages. MIDI 1.0, "Running Status", "System Real Time Messages" and "System
    // Exclusive Messages": a packet is the system's doing and means nothing.
    let table = [
        // A message in two packets, and in three with clock bytes between.
        ("B0 14|01", "B0 14 01"),
        ("B0|F8|14|FE|01", "B0 14 01"),
        // Running status from an earlier packet, also of one data byte.
        ("B0 14 01|15 02|16|03", "B0 14 01|B0 15 02|B0 16 03"),
        ("C0|05 06|07", "C0 05|C0 06|C0 07"),
        ("90 24 7F|F8|24 00", "90 24 7F|90 24 00"),
        // System exclusive over packets: no data byte of it is taken for another message's, with real time inside.
        ("B0 14 01|F0 7D 14 01|15 02|F8|16 03 F7|17 04", "B0 14 01"),
        // Cut off by another status byte, which counts.
        ("F0 7D 01|02 03|B2 14 05|15 06", "B2 14 05|B2 15 06"),
        ("F0 7D 01|F0 7D 02|F7|B0 14 01", "B0 14 01"),
        // Cut off by the end of all: nothing.
        ("F0 7D 01|02", ""),
        // System common ends running status and has data of its own.
        ("B0 14 01|F2 01|02|15 03", "B0 14 01"),
        ("B0 14 01|F6|15 03", "B0 14 01"),
        // A message that another begins in.
        ("B0 14|B3 15 06", "B3 15 06"),
        ("90|B0|14|01", "B0 14 01"),
    ];
    for (packets, expected) in table {
        let packets: Vec<Vec<u8>> = packets.split('|').map(bytes).collect();
        let packets: Vec<&[u8]> = packets.iter().map(Vec::as_slice).collect();
        let expected: Vec<Vec<u8>> = expected.split('|').filter(|m| !m.is_empty()).map(bytes).collect();
        assert_eq!(cut(&packets), expected, "{packets:02X?}");
    }
}

struct Random(u64);

impl Random {
    fn next(&mut self) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 32) as u32
    }
}

#[test]
fn where_packets_end_changes_nothing() {
    let mut random = Random(0x1234_5678_9ABC_DEF1);
    for _ in 0..200 {
        let stream: Vec<u8> = (0..500)
            .map(|_| match random.next() % 4 {
                0 => 0x80 | random.next() as u8,
                _ => random.next() as u8 & 0x7F,
            })
            .collect();
        let whole = cut(&[&stream]);
        let single: Vec<&[u8]> = stream.chunks(1).collect();
        let mut pieces = Vec::new();
        let mut rest = &stream[..];
        while !rest.is_empty() {
            let (piece, after) = rest.split_at((1 + random.next() as usize % 9).min(rest.len()));
            pieces.push(piece);
            rest = after;
        }
        assert!(whole.len() > 20);
        assert_eq!(cut(&single), whole);
        assert_eq!(cut(&pieces), whole);
    }
}

#[test]
fn a_queue_keeps_running_status_between_packets() {
    let (mut sender, mut queue) = queue(16, Box::new(|| {}));
    for (at, packet) in [(1, "B0 14 01"), (2, "15"), (3, "02 16 03"), (4, "F8")] {
        sender.push(at, &bytes(packet));
    }
    let mut got = Vec::new();
    queue.drain(|m| got.push((m.at, m.bytes().to_vec())));
    // A message has the time of the packet that ends it.
    assert_eq!(got, [(1, bytes("B0 14 01")), (3, bytes("B0 15 02")), (3, bytes("B0 16 03"))]);
}

/// A map of every kind of control, in banks and layers.
const EVERYTHING: &str = r#"
    name = "everything"
    [[control]]
    bend = true
    touch = 100
    smooth = 40
    target = "a"
    [[control]]
    pressure = true
    takeover = "scaled"
    target = "b"
    [[control]]
    key-pressure = 36
    takeover = "jump"
    target = ["a", "c"]
    [[control]]
    nrpn = 300
    coding = "absolute"
    target = "d"
    [[control]]
    rpn = 0
    coding = "twos-complement"
    target = "d"
    [[control]]
    cc = 20
    bits = 14
    coding = "absolute"
    target = "e"
    gang = ["a", "b"]
    [[control]]
    cc = 21
    down = 22
    coding = "increment"
    acceleration = 8
    target = "e"
    [[ball]]
    cc = [102, 103, 104]
    coding = "sign-magnitude"
    colour = ["a", "b", "c"]
    ring = "d"
    rotation = 33
    touch = 101
    [[control]]
    layer = "shift"
    cc = 20
    coding = "absolute"
    takeover = "scaled"
    smooth = 100
    target = "f"
    [[button]]
    note = 40
    layer = "shift"
    [[button]]
    note = 41
    action = "fine"
    [[button]]
    note = 42
    action = "gang"
    [[button]]
    note = 43
    action = "bank-next"
    resets = "bend"
    [[button]]
    cc = 70
    action = "fine-latch"
    [[bank]]
    name = "one"
    [[bank.control]]
    cc = 23
    coding = "binary-offset"
    step = 0.5
    target = "a"
    [[bank.button]]
    note = 50
    bank = "two"
    [[bank]]
    name = "two"
    [[bank.control]]
    cc = 23
    coding = "absolute"
    target = "f"
    [[bank.button]]
    note = 50
    mode = "toggle"
    action = "play"
"#;

#[test]
fn a_million_random_bytes_through_a_whole_panel_do_no_harm() {
    let map = Arc::new(Map::parse(EVERYTHING, "x", &any, &any).unwrap());
    let mut surface = Surface::new(map);
    let mut random = Random(0x9E37_79B9_7F4A_7C15);
    let mut splitter = Splitter::default();
    let (mut fed, mut moves, mut at, mut heard) = (0usize, 0usize, 0u64, 0usize);
    let start = Instant::now();
    let held = HELD.get();
    let mut packet = Vec::with_capacity(64);
    while fed < 1_000_000 {
        packet.clear();
        // Half of it nothing but noise, half as a mad panel sends it: numbers of the map in sound messages.
        if random.next() % 2 == 0 {
            packet.extend((0..random.next() % 64).map(|_| random.next() as u8));
        } else {
            let status =
                [0xB0, 0xB1, 0x90, 0x80, 0xE0, 0xD0, 0xA0, 0xC0, 0xF0, 0xF7][random.next() as usize % 10];
            let number =
                [20, 52, 21, 22, 23, 99, 98, 6, 38, 96, 97, 100, 101, 102, 103, 104, 36, 40, 41, 42, 43, 50]
                    [random.next() as usize % 22];
            packet.extend([status, number, random.next() as u8 & 0x7F]);
        }
        fed += packet.len();
        at += u64::from(random.next() % 5_000);
        let position = |address: &str| {
            let place = f64::from(address.as_bytes()[0] - b'a') / 6.0;
            (random.0 % 17 != 0).then_some(place)
        };
        splitter.split(&packet, |message| {
            let Some(event) = read(0, message) else { return };
            heard += 1;
            moves += surface.feed(at, &event, &position).len();
        });
        moves += surface.settle(at, &position).len();
        surface.arrived(&position);
        if random.next() % 1000 == 0 {
            surface.reset();
            moves += surface.release().len();
        }
    }
    let (took, kept) = (start.elapsed(), HELD.get() - held);
    assert!(heard > 50_000 && moves > 10_000, "{heard} events, {moves} moves: hardly anything was heard");
    // What is kept is bounded by the map: pairs of sixteen channels, touch notes, turns of a tenth of a second.
    assert!(kept < 64 * 1024, "{kept} bytes more are held than before");
    assert!(took.as_secs() < 20, "{took:?}");
    println!("{fed} bytes, {heard} events, {moves} moves in {took:?}; {kept} bytes held");
    assert!(TAKEN.get() > 0);
}

#[test]
fn registered_parameters_are_chosen_as_midi_says() {
    let mut selection = Selection::default();
    let nrpn = |number| Registered { registered: false, number };
    let rpn = |number| Registered { registered: true, number };
    let msb = |byte| Datum::Half(Half::Msb, byte);
    // Channel, controller, value; what is said. MIDI 1.0, table 3a and "Registered and Non-Registered Parameter
    // Numbers": 99 and 98 choose a non-registered, 101 and 100 a registered parameter, upper half first or last.
    let table = [
        (0, 6, 5, None), // nothing is chosen
        (0, 99, 2, None),
        (0, 6, 5, None), // half a number
        (0, 98, 44, None),
        (0, 6, 5, Some((nrpn(300), msb(5)))),
        (0, 38, 9, Some((nrpn(300), Datum::Half(Half::Lsb, 9)))),
        (0, 96, 0, Some((nrpn(300), Datum::Step(1)))), // data increment, whatever its value
        (0, 97, 127, Some((nrpn(300), Datum::Step(-1)))),
        (1, 6, 5, None), // another channel
        (1, 100, 1, None),
        (1, 101, 0, None), // lower half first
        (1, 6, 7, Some((rpn(1), msb(7)))),
        (0, 6, 6, Some((nrpn(300), msb(6)))), // stays chosen
        (0, 98, 45, None),                    // the lower half alone
        (0, 6, 6, Some((nrpn(301), msb(6)))),
        (0, 101, 0, None), // the other kind: its lower half is not known
        (0, 6, 6, None),
        (0, 100, 0, None),
        (0, 6, 6, Some((rpn(0), msb(6)))),
        (0, 101, 127, None), // registered parameter 16383 is none
        (0, 100, 127, None),
        (0, 6, 6, None),
        (0, 96, 0, None),
    ];
    for (step, (channel, cc, value, expected)) in table.into_iter().enumerate() {
        assert_eq!(selection.hear(channel, cc, value), expected, "step {step}");
    }
    let all: Vec<u8> = (0..128).filter(|cc| is_registered(*cc)).collect();
    assert_eq!(all, [6, 38, 96, 97, 98, 99, 100, 101]);
}

#[test]
fn registered_parameters_by_table() {
    let map = r#"
        name = "test"
        [[control]]
        nrpn = 300
        coding = "absolute"
        takeover = "jump"
        target = "a"
        [[control]]
        rpn = 0
        channel = 2
        coding = "twos-complement"
        target = "b"
        [[control]]
        nrpn = 301
        bits = 7
        coding = "absolute"
        takeover = "jump"
        target = "c"
        [[control]]
        nrpn = 302
        coding = "increment"
        scale = 2
        target = "b"
    "#;
    play(
        map,
        "set a 0
         set b 0
         set c 0
         @0 B0 63 02 62 2C => -
         @100 B0 06 10 => -                   // the lower half may come
         @200 B0 26 05 => a=2053/16383
         @9000 B0 26 06 => a=2054/16383       // a fine move
         @20000 B0 06 11 => -                 // an upper half sets the lower to 0
         settle 23000 => a=2176/16383
         @30000 B0 60 00 => a+1               // data increment and decrement
         @30001 B0 61 7F => a-1
         @40000 B0 62 2D 06 7F => c=16383/16383   // the next parameter, seven bits: at once
         @40001 B0 06 00 => c=0/16383
         @40002 B0 26 40 => -                 // which have no lower half
         @50000 B0 62 2E 60 01 => b+2
         @50001 B0 61 01 61 01 => b-2 b-2
         @50002 B0 06 01 => -                 // steps only
         @60000 B1 65 00 64 00 06 7F => b-1   // relative data entry on its channel
         @60001 B0 65 00 64 00 06 7F => -     // and on another
         @70000 B1 65 7F 64 7F 06 01 => -     // nothing chosen
         @80000 B3 63 02 62 2C 06 7F 26 7F => a=16383/16383  // any channel, chosen for each
         @80001 B0 14 01 => -",
    );
}

#[test]
fn halves_of_registered_parameters_make_no_saw_teeth() {
    let map =
        "name = \"x\"\n[[control]]\nnrpn = 5\ncoding = \"absolute\"\ntakeover = \"jump\"\ntarget = \"a\"";
    let map = Arc::new(Map::parse(map, "x", &any, &any).unwrap());
    for lsb_first in [false, true] {
        let mut surface = Surface::new(map.clone());
        let (mut got, mut at) = (Vec::new(), 0u64);
        let mut hear = |surface: &mut Surface, at, cc, value: u16| {
            let event = Event { port: 0, control: Control::Cc { channel: 0, number: cc }, value };
            let moves = surface.feed(at, &event, &|_| Some(0.0));
            got.extend(moves.iter().map(|m| match m {
                greyhold::panel::Move::Set { position, .. } => (position * 16383.0).round() as u16,
                other => panic!("{other:?}"),
            }));
        };
        let values: Vec<u16> = (1000..3000).step_by(7).collect();
        for value in &values {
            at += 4_000;
            // As such devices do, the parameter is chosen anew for every value.
            for (cc, byte) in [(99, 0), (98, 5)] {
                hear(&mut surface, at, cc, byte);
            }
            let mut halves = [(6, value >> 7), (38, value & 0x7F)];
            if lsb_first {
                halves.reverse();
            }
            for (cc, byte) in halves {
                at += 320;
                hear(&mut surface, at, cc, byte);
            }
        }
        assert_eq!(got, values, "LSB first: {lsb_first}");
    }
}

#[test]
fn benders_and_pressure_are_faders() {
    let map = r#"
        name = "test"
        [[control]]
        bend = true
        channel = 1
        takeover = "jump"
        target = "a"
        [[control]]
        bend = true
        channel = 2
        target = "b"
        [[control]]
        pressure = true
        takeover = "jump"
        target = "c"
        [[control]]
        key-pressure = 36
        takeover = "jump"
        target = "d"
    "#;
    play(
        map,
        "set a 0\nset b 63.5\nset c 0\nset d 0
         E0 00 40 => a=8192/16383
         E0 7F 7F => a=16383/16383
         E0 00 00 => a=0/16383
         E1 00 30 => -                    // on its own channel, and it has to be picked up
         E1 01 40 => b=8193/16383
         E2 00 40 => -
         D7 7F => c=16383/16383
         D7 00 => c=0/16383
         A0 24 7F => d=16383/16383
         A0 25 7F => -",
    );
}

#[test]
fn two_messages_for_up_and_down() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        down = 21
        coding = "increment"
        scale = 0.5
        target = ["a", { address = "b", by = -1 }]
    "#;
    play(
        map,
        "set a 0\nset b 0
         B0 14 01 => a+0.5 b-0.5
         B0 15 01 => a-0.5 b+0.5
         B0 14 7F => a+0.5 b-0.5      // its value says nothing: some send 127
         B0 14 00 => -                // and 0 when a step is over
         B0 15 7F 15 00 => a-0.5 b+0.5",
    );
}

#[test]
fn a_step_in_the_parameters_own_unit() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        coding = "twos-complement"
        step = 0.1
        target = ["a", { address = "b", by = -2 }]
    "#;
    play(map, "set a 0\nset b 0\nB0 14 01 => a+0.1u b-0.2u\nB0 14 7E => a-0.2u b+0.4u");
}

#[test]
fn wrong_controls_say_where_and_what_is_accepted() {
    let head = "name = \"x\"\n[[control]]\n";
    let table: &[(&str, usize, &[&str])] = &[
        ("cc = 20\nbend = true\ncoding = \"absolute\"\ntarget = \"a\"", 2, &["one of cc, nrpn"]),
        ("bend = false\ntarget = \"a\"", 3, &["bend = false", "true is accepted"]),
        ("bend = true\ncoding = \"binary-offset\"\ntarget = \"a\"", 4, &["binary-offset", "are absolute"]),
        ("bend = true\nbits = 7\ntarget = \"a\"", 4, &["bits is for cc, nrpn and rpn"]),
        ("nrpn = 16384\ncoding = \"absolute\"\ntarget = \"a\"", 3, &["nrpn = 16384", "0 to 16383"]),
        ("rpn = 16383\ncoding = \"absolute\"\ntarget = \"a\"", 3, &["rpn = 16383", "0 to 16382"]),
        ("key-pressure = 128\ntarget = \"a\"", 3, &["key-pressure = 128", "0 to 127"]),
        ("cc = 20\ncoding = \"increment\"\ntarget = \"a\"", 4, &["needs down"]),
        ("cc = 20\ndown = 20\ncoding = \"increment\"\ntarget = \"a\"", 4, &["down = 20 is cc"]),
        ("cc = 20\ndown = 21\ncoding = \"absolute\"\ntarget = \"a\"", 4, &["down goes with cc"]),
        ("cc = 20\ndown = 120\ncoding = \"increment\"\ntarget = \"a\"", 4, &["down = 120", "0 to 119"]),
        (
            "cc = 20\nscale = 2\nstep = 2\ncoding = \"binary-offset\"\ntarget = \"a\"",
            5,
            &["scale and step", "one of the two"],
        ),
        ("cc = 20\nstep = 0\ncoding = \"binary-offset\"\ntarget = \"a\"", 4, &["step = 0", "finite"]),
        ("cc = 20\nsmooth = 0\ncoding = \"absolute\"\ntarget = \"a\"", 4, &["smooth = 0", "1 to 2000"]),
        ("cc = 20\nsmooth = 9\ncoding = \"binary-offset\"\ntarget = \"a\"", 4, &["smooth is for absolute"]),
        (
            "cc = 20\nacceleration = 0.5\ncoding = \"binary-offset\"\ntarget = \"a\"",
            4,
            &["acceleration = 0.5", "1 to 100"],
        ),
        (
            "cc = 20\nacceleration = 2\ncoding = \"absolute\"\ntarget = \"a\"",
            4,
            &["acceleration is for relative"],
        ),
        ("cc = 20\ntouch = 128\ncoding = \"absolute\"\ntarget = \"a\"", 4, &["touch = 128", "0 to 127"]),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = \"a\"\ngang = [\"b\", \"a\"]",
            6,
            &["gang \"a\" is listed twice"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntakeover = \"catch\"\ntarget = \"a\"",
            5,
            &["pickup", "scaled", "jump"],
        ),
        (
            "cc = 20\ncoding = \"absolute\"\ntarget = \"a\"\ntouch = 40\n[[button]]\nnote = 40\naction = \"b\"",
            7,
            &["CC 20", "one control only"],
        ),
        (
            "nrpn = 1\ncoding = \"absolute\"\ntarget = \"a\"\n[[control]]\ncc = 38\ncoding = \"absolute\"\ntarget = \"b\"",
            6,
            &["CC 38", "6, 38 and 96 to 101"],
        ),
        (
            "nrpn = 1\ncoding = \"absolute\"\ntarget = \"a\"\n[[control]]\nnrpn = 1\ncoding = \"increment\"\ntarget = \"b\"",
            6,
            &["NRPN 1", "one control only"],
        ),
        (
            "bend = true\ntarget = \"a\"\n[[control]]\nbend = true\nchannel = 3\ntarget = \"b\"",
            5,
            &["bend", "one control only"],
        ),
        (
            "cc = 20\ndown = 21\ncoding = \"increment\"\ntarget = \"a\"\n[[button]]\ncc = 21\naction = \"b\"",
            7,
            &["CC 20 and 21", "one control only"],
        ),
    ];
    for (body, line, parts) in table {
        let text = Map::parse(&format!("{head}{body}"), "x.toml", &any, &any).expect_err(body).to_string();
        assert!(text.starts_with(&format!("x.toml:{line}: ")), "{text}\n{body}");
        for part in *parts {
            assert!(text.contains(part), "“{part}” is missing in: {text}");
        }
    }
}
