//! What panels are told back: rings, motor faders, lights and displays; ports to tell it by; and that a panel which
//! answers what it is told comes to rest, through a running engine.
//!
//! Sources: the messages are MIDI 1.0 (Detailed Specification): controllers, notes, pitch bend, system exclusive,
//! 31,250 bits a second with ten to a byte. When motors and rings are told what is common practice of controllers.

mod support;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use greyhold::engine::{CACHE, Handle, Input, Options, known_action, known_target, start};
use greyhold::panel::{
    self, BURST, BYTES_PER_SECOND, CONTROL_EVERY, Control, Doing, ECHO, Echoes, Event, Feedback, LET_GO, Map,
    Output, PanelError, Plug, Plugs, PortInfo, Ports, Readout, Sender, Surface, TEXT_EVERY, TRAVEL, Waker,
    Way, When, Wish, queue,
};
use greyhold::picture::BalanceField::{Exposure, OffsetR};
use greyhold::show::load;
use support::{greyhold, sequence, wait_for};

fn any(_: &str) -> Result<(), String> {
    Ok(())
}

fn map(text: &str) -> Arc<Map> {
    let text = format!("name = \"test\"\n{text}");
    Arc::new(Map::parse(&text, "test.toml", &any, &any).unwrap_or_else(|e| panic!("{e}")))
}

/// How things stand, by hand.
#[derive(Default)]
struct Table {
    positions: BTreeMap<&'static str, f64>,
    values: BTreeMap<&'static str, String>,
    lit: Vec<usize>,
}

impl Table {
    fn at(address: &'static str, position: f64) -> Self {
        Self { positions: [(address, position)].into(), ..Self::default() }
    }
}

impl Readout for Table {
    fn position(&self, address: &str) -> Option<f64> {
        self.positions.get(address).copied()
    }

    fn value(&self, address: &str) -> Option<String> {
        self.values.get(address).cloned()
    }

    fn lit(&self, button: usize) -> bool {
        self.lit.contains(&button)
    }
}

fn due(feedback: &mut Feedback, table: &Table, now: Instant) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    feedback.due(table, now, &mut |message| all.push(message.to_vec()));
    all
}

fn ms(ms: u64) -> Duration {
    Duration::from_millis(ms)
}

fn turned(number: u8, value: u16) -> Event {
    Event { port: 0, control: Control::Cc { channel: 0, number }, value }
}

const FADER: &str = "[[control]]\ncc = 7\ncoding = \"absolute\"\ntarget = \"a\"\n";

#[test]
fn each_way_says_what_midi_says() {
    // Position, way, on channel 3 (2 on the wire): control change 1011nnnn, note on 1001nnnn, pitch bend 1110nnnn
    // with the lower seven bits first; of a pair the upper seven first.
    let cc = |from, to| Way::Cc { number: 20, from, to };
    let table: &[(f64, Way, &[&[u8]])] = &[
        (0.0, cc(0, 127), &[&[0xB2, 20, 0]]),
        (1.0, cc(0, 127), &[&[0xB2, 20, 127]]),
        (0.5, cc(0, 127), &[&[0xB2, 20, 64]]),
        (0.5, cc(33, 43), &[&[0xB2, 20, 38]]),
        (0.0, cc(43, 33), &[&[0xB2, 20, 43]]),
        (0.25, Way::Note { number: 9, from: 0, to: 100 }, &[&[0x92, 9, 25]]),
        (1.0, Way::Fine { number: 1 }, &[&[0xB2, 1, 127], &[0xB2, 33, 127]]),
        (0.5, Way::Fine { number: 1 }, &[&[0xB2, 1, 64], &[0xB2, 33, 0]]),
        (1.0, Way::Bend, &[&[0xE2, 127, 127]]),
        (0.5, Way::Bend, &[&[0xE2, 0, 64]]),
        // Not a number, and beyond the ends.
        (f64::NAN, cc(0, 127), &[&[0xB2, 20, 0]]),
        (7.0, Way::Bend, &[&[0xE2, 127, 127]]),
        (-1.0, cc(5, 9), &[&[0xB2, 20, 5]]),
    ];
    for (position, way, expected) in table {
        let mut said: Vec<Vec<u8>> = Vec::new();
        way.say(2, way.quantised(*position), &mut |m| said.push(m.to_vec()));
        assert_eq!(said, *expected, "{position} {way:?}");
        assert_eq!(said.iter().map(Vec::len).sum::<usize>(), way.length());
    }
}

#[test]
fn a_value_is_told_when_its_number_changes() {
    let mut feedback = Feedback::new(map(FADER));
    let start = Instant::now();
    // Milliseconds, position, what is told. 0.5 is 63.5 of 127: 64 by rounding away from zero.
    let table: &[(u64, f64, &[u8])] = &[
        (0, 0.5, &[64]),
        (100, 0.5, &[]),
        (200, 0.5 + 0.4 / 127.0, &[]),
        (300, 0.5 + 0.6 / 127.0, &[]),
        (400, 0.52, &[66]),
        (500, 0.0, &[0]),
        // No oftener than once in CONTROL_EVERY: the last one counts.
        (505, 0.1, &[]),
        (510, 0.2, &[]),
        (516, 0.3, &[38]),
    ];
    for (at, position, expected) in table {
        let told = due(&mut feedback, &Table::at("a", *position), start + ms(*at));
        let values: Vec<u8> = told.iter().map(|m| m[2]).collect();
        assert_eq!(values, *expected, "at {at} ms");
        assert!(told.iter().all(|m| m[..2] == [0xB0, 7]));
    }
    // It says when to come again.
    due(&mut feedback, &Table::at("a", 0.9), start + ms(520));
    assert_eq!(feedback.next(), Some(start + ms(516) + CONTROL_EVERY));
    // A parameter that is not there leaves a fader where it is.
    assert_eq!(due(&mut feedback, &Table::default(), start + ms(900)), Vec::<Vec<u8>>::new());
    // All again when the panel was away or shows something else.
    feedback.resend();
    assert_eq!(due(&mut feedback, &Table::at("a", 0.3), start + ms(1000)), [[0xB0, 7, 38]]);
}

#[test]
fn a_hand_is_left_alone_as_the_map_says() {
    for (when, under_hand, let_go) in
        [("never", false, false), ("released", false, true), ("always", true, true)]
    {
        let mut feedback = Feedback::new(map(&format!("{FADER}feedback = \"{when}\"\n")));
        let mut now = Instant::now();
        let first = due(&mut feedback, &Table::at("a", 0.0), now);
        assert_eq!(first.len(), usize::from(when != "never"), "{when}");
        now += ms(1000);
        let mut told = Vec::new();
        // A hand moves it, the parameter follows.
        for value in 1..=60u16 {
            now += ms(20);
            assert_eq!(feedback.hear(&turned(7, value), now), Doing::Hand, "{when} {value}");
            told.extend(due(&mut feedback, &Table::at("a", f64::from(value) / 127.0), now));
        }
        assert_eq!(!told.is_empty(), under_hand, "{when}: {told:?}");
        // Somebody else moves the parameter meanwhile.
        told = due(&mut feedback, &Table::at("a", 100.0 / 127.0), now + ms(50));
        assert_eq!(told, if under_hand { vec![vec![0xB0, 7, 100]] } else { vec![] }, "{when}");
        // Let go: the value is told, once.
        let table = Table::at("a", 60.0 / 127.0);
        told = due(&mut feedback, &table, now + ms(60));
        assert_eq!(told.len(), 0, "{when}: {told:?}");
        told = due(&mut feedback, &table, now + LET_GO);
        assert_eq!(told, if let_go { vec![vec![0xB0, 7, 60]] } else { vec![] }, "{when}");
        assert_eq!(due(&mut feedback, &table, now + LET_GO + ms(500)).len(), 0, "{when}: once");
    }
}

#[test]
fn a_hand_that_is_told_of_stays_as_long_as_it_says() {
    let mut feedback = Feedback::new(map(FADER));
    let start = Instant::now();
    due(&mut feedback, &Table::at("a", 0.0), start);
    feedback.hold(0, true);
    let moved = Table::at("a", 1.0);
    assert_eq!(due(&mut feedback, &moved, start + ms(60_000)).len(), 0, "held for a minute");
    feedback.hold(0, false);
    assert_eq!(due(&mut feedback, &moved, start + ms(60_001)), [[0xB0, 7, 127]], "at once when let go");
    // While a hand is known to be on it, nothing that it sends is taken for the motor's.
    feedback.hold(0, true);
    assert_eq!(feedback.hear(&turned(7, 30), start + ms(60_010)), Doing::Hand);
}

#[test]
fn rings_follow_turns_and_are_dark_without_a_parameter() {
    let mut feedback = Feedback::new(map(
        "[[control]]\ncc = 20\nchannel = 2\ncoding = \"twos-complement\"\ntarget = [\"gone\", \"a\"]\n\
         ring = { cc = 48, channel = 5, from = 1, to = 11 }\n\
         [[control]]\ncc = 21\ncoding = \"binary-offset\"\ntarget = \"a\"\n",
    ));
    let mut now = Instant::now();
    // The second has no ring: it is told nothing. The first shows the first target that is there.
    assert_eq!(due(&mut feedback, &Table::at("a", 0.5), now), [[0xB4, 48, 6]]);
    for step in 1..=5u8 {
        now += ms(20);
        let event = Event { port: 0, control: Control::Cc { channel: 1, number: 20 }, value: 1 };
        assert_eq!(feedback.hear(&event, now), Doing::Hand);
        let table = Table::at("a", 0.5 + 0.1 * f64::from(step));
        assert_eq!(due(&mut feedback, &table, now), [[0xB4, 48, 6 + step]], "at once, under the hand");
    }
    assert_eq!(due(&mut feedback, &Table::at("a", 1.0), now + ms(900)).len(), 0, "no echo was owed");
    assert_eq!(due(&mut feedback, &Table::default(), now + ms(950)), [[0xB4, 48, 1]], "dark");
}

#[test]
fn lights_show_what_is_on() {
    let mut feedback = Feedback::new(map("[[button]]\nnote = 36\nchannel = 10\naction = \"a\"\n\
         [[button]]\nnote = 37\naction = \"b\"\nlight = { cc = 80, channel = 2, on = 5, off = 1 }\n\
         [[button]]\ncc = 70\naction = \"c\"\nfeedback = \"never\"\n\
         [[button]]\ncc = 71\nmode = \"toggle\"\naction = \"d\"\n"));
    let mut now = Instant::now();
    let mut lit = |lit: &[usize], feedback: &mut Feedback, later: u64| {
        now += ms(later);
        (due(feedback, &Table { lit: lit.to_vec(), ..Table::default() }, now), now)
    };
    let dark = vec![vec![0x99, 36, 0], vec![0xB1, 80, 1], vec![0xB0, 71, 0]];
    assert_eq!(lit(&[], &mut feedback, 0).0, dark);
    assert_eq!(lit(&[0, 1, 2], &mut feedback, 100).0, [[0x99, 36, 127], [0xB1, 80, 5]]);
    // Pressed and kept down: nothing; let go: told, also where nothing changed, as some lights go out by themselves.
    let note = |value| Event { port: 0, control: Control::Note { channel: 9, number: 36 }, value };
    let at = lit(&[0, 1, 2], &mut feedback, 100).1;
    feedback.hear(&note(127), at);
    assert_eq!(lit(&[1, 2], &mut feedback, 2000).0, Vec::<Vec<u8>>::new());
    let at = lit(&[0, 1], &mut feedback, 10).1;
    feedback.hear(&note(0), at);
    assert_eq!(lit(&[0, 1], &mut feedback, 300).0, [[0x99, 36, 127]]);
    // A button by turns is told on the channel it was heard on.
    let event = Event { port: 0, control: Control::Cc { channel: 6, number: 71 }, value: 127 };
    let at = lit(&[0, 1], &mut feedback, 10).1;
    feedback.hear(&event, at);
    assert_eq!(lit(&[0, 1, 3], &mut feedback, 300).0, [[0xB6, 71, 127]]);
}

#[test]
fn displays_show_label_and_value() {
    let mut feedback = Feedback::new(map(
        "[[control]]\nlabel = \"Bälge\"\ncc = 20\ncoding = \"twos-complement\"\ntarget = \"a\"\n\
         text = { sysex = \"F0 7D {at} {label} 20 {value} F7\", at = 14, chars = 7 }\n",
    ));
    let now = Instant::now();
    let mut table = Table::at("a", 0.5);
    table.values.insert("a", "−1.25\u{a0}stops".into());
    // F0 7D is system exclusive of no company (MIDI 1.0); what is no ASCII is shown as what comes nearest.
    let expected = [&[0xF0, 0x7D, 14][..], b"B?lge  ", b" ", b"-1.25 s", &[0xF7]].concat();
    assert_eq!(due(&mut feedback, &table, now), [expected]);
    table.values.insert("a", "0".into());
    assert_eq!(due(&mut feedback, &table, now + ms(50)).len(), 0, "not ten times a second");
    assert_eq!(feedback.next(), Some(now + TEXT_EVERY));
    let told = due(&mut feedback, &table, now + TEXT_EVERY);
    assert_eq!(&told[0][11..18], b"0      ");
    feedback.resend();
    assert_eq!(due(&mut feedback, &table, now + 3 * TEXT_EVERY), told);
}

#[test]
fn the_cable_is_never_asked_for_more_than_it_has() {
    let controls: String = (0..64)
        .map(|i| format!("[[control]]\ncc = {i}\ncoding = \"absolute\"\ntarget = \"a\"\nlabel = \"{i}\"\n"))
        .collect();
    let mut feedback = Feedback::new(map(&controls));
    let start = Instant::now();
    let mut told: Vec<(u64, Vec<u8>)> = Vec::new();
    let mut position = 0.0;
    // All of them move all the time, for two seconds.
    for at in 0..2000u64 {
        position = (at % 128) as f64 / 127.0;
        told.extend(
            due(&mut feedback, &Table::at("a", position), start + ms(at)).into_iter().map(|m| (at, m)),
        );
    }
    let bytes: usize = told.iter().map(|(_, m)| m.len()).sum();
    let most = BURST + 2.0 * BYTES_PER_SECOND + 3.0;
    assert!((0.9 * most..=most).contains(&(bytes as f64)), "{bytes} bytes, {most} allowed");
    // In no tenth of a second more than a cable of MIDI 1.0 carries beside the first burst: 312 bytes.
    for from in (0..1900).step_by(50) {
        let inside = told.iter().filter(|(at, _)| (from..from + 100).contains(at)).count() * 3;
        assert!(
            inside as f64 <= 312.5 + if from == 0 { BURST } else { 0.0 },
            "{inside} bytes from {from} ms"
        );
    }
    // Nobody starves: every control was told about as often as any other.
    let mut counts = [0usize; 64];
    told.iter().for_each(|(_, m)| counts[usize::from(m[1])] += 1);
    let (least, most) = (counts.iter().min().unwrap(), counts.iter().max().unwrap());
    assert!(*least >= 15 && most - least <= 3, "{counts:?}");
    // At rest, all come to show what stands there, within the time that takes, and then there is silence.
    let mut shows = [255u8; 64];
    told.iter().for_each(|(_, m)| shows[usize::from(m[1])] = m[2]);
    let mut at = 2000;
    loop {
        let rest = due(&mut feedback, &Table::at("a", position), start + ms(at));
        rest.iter().for_each(|m| shows[usize::from(m[1])] = m[2]);
        let Some(next) = feedback.next() else { break };
        at = (next - start).as_millis() as u64 + 1;
        assert!(at < 2300, "64 controllers take a tenth of a second");
    }
    let stands = (position * 127.0).round() as u8;
    assert_eq!(shows, [stands; 64]);
}

#[test]
fn answers_are_told_from_hands() {
    let mut feedback = Feedback::new(map(FADER));
    let start = Instant::now();
    due(&mut feedback, &Table::at("a", 0.0), start);
    let mut now = start + ms(1000);
    assert_eq!(due(&mut feedback, &Table::at("a", 1.0), now), [[0xB0, 7, 127]]);
    // The motor tells of its way there, and where it came to rest.
    for value in [20, 60, 90, 120, 126] {
        now += ms(20);
        assert_eq!(feedback.hear(&turned(7, value), now), Doing::Answer, "{value}");
    }
    now = start + ms(1000) + TRAVEL;
    assert_eq!(feedback.hear(&turned(7, 100), now), Doing::Hand, "the motor has had its time");
    // Let go: told where it stands, which it does already. A fader that answers a step beside that is no hand; one
    // that goes on is.
    now += LET_GO;
    assert_eq!(due(&mut feedback, &Table::at("a", 100.0 / 127.0), now), [[0xB0, 7, 100]]);
    assert_eq!(feedback.hear(&turned(7, 101), now + ms(5)), Doing::Answer);
    assert_eq!(feedback.hear(&turned(7, 102), now + ms(30)), Doing::Hand);
    // One that is never told anything has no answers.
    let mut silent = Feedback::new(map(&format!("{FADER}feedback = \"never\"\n")));
    due(&mut silent, &Table::at("a", 0.5), start);
    assert_eq!(silent.hear(&turned(7, 64), start + ms(1)), Doing::Hand);
}

#[test]
fn echoes_come_back_once_by_each_port_within_their_time() {
    let mut echoes = Echoes::default();
    let start = Instant::now();
    echoes.sent(&[0xB0, 7, 5], start);
    echoes.sent(&[0x90, 36, 0], start);
    echoes.sent(&[0xF0, 0x7D, 1, 0xF7], start);
    let table: &[(usize, &[u8], u64, bool)] = &[
        (0, &[0xB0, 7, 6], 10, false),
        (0, &[0xB0, 7, 5], 10, true),
        (0, &[0xB0, 7, 5], 10, false),
        (1, &[0xB0, 7, 5], 200, true),
        // A note that ends is one that begins with velocity 0 (MIDI 1.0).
        (0, &[0x80, 36, 64], 20, true),
        (0, &[0xC0, 7], 20, false),
        (2, &[0xB0, 7, 5], 500, false),
    ];
    for (port, message, at, expected) in table {
        assert_eq!(echoes.is_echo(*port, message, start + ms(*at)), *expected, "{port} {message:02X?} {at}");
    }
    // What is kept is bounded.
    for i in 0..100_000u32 {
        echoes.sent(&[0xB0, (i % 100) as u8, (i / 100 % 128) as u8], start + ms(1));
    }
    assert!(format!("{echoes:?}").len() < 1024 * 160);
    assert!(!echoes.is_echo(0, &[0xB0, 99, 103], start + ms(1) + ECHO));
}

#[test]
fn wrong_keys_say_where_and_what_is_accepted() {
    let control = "name = \"x\"\n[[control]]\ncc = 7\ncoding = \"absolute\"\ntarget = \"a\"\n";
    let button = "name = \"x\"\n[[button]]\nnote = 7\naction = \"a\"\n";
    let table = [
        (
            control,
            "feedback = \"often\"",
            "unknown variant `often`, expected one of `never`, `released`, `always`",
        ),
        (control, "ring = { cc = 120 }", "cc = 120: it goes from 0 to 119"),
        (control, "ring = { cc = 32, bits = 14 }", "cc with bits = 14 = 32: it goes from 0 to 31"),
        (control, "ring = { cc = 1, bits = 8 }", "bits = 8: 7 or 14 is accepted"),
        (control, "ring = { cc = 1, note = 2 }", "a ring has a cc, a note or bend = true, one of them"),
        (control, "ring = { bend = true, from = 3 }", "from and to are for rings with seven bits"),
        (control, "ring = { cc = 1, to = 128 }", "to = 128: it goes from 0 to 127"),
        (control, "ring = { cc = 1, channel = 17 }", "channel = 17: channels go from 1 to 16"),
        (control, "ring = { cc = 1, glow = 3 }", "unknown field `glow`"),
        (control, "text = { sysex = \"7D {label} F7\", chars = 3 }", "sysex begins with F0 and ends with F7"),
        (
            control,
            "text = { sysex = \"F0 80 {label} F7\", chars = 3 }",
            "sysex has 80 inside: its bytes go to 7F",
        ),
        (control, "text = { sysex = \"F0 0x {label} F7\", chars = 3 }", "two hexadecimal digits"),
        (control, "text = { sysex = \"F0 7D F7\", chars = 3 }", "neither {label} nor {value}"),
        (control, "text = { sysex = \"F0 {at} {label} F7\", chars = 3 }", "{at} needs the key at"),
        (control, "text = { sysex = \"F0 {label} F7\", chars = 65 }", "chars = 65: a display has 1 to 64"),
        (button, "light = { on = 200 }", "on = 200: it goes from 0 to 127"),
        (button, "light = { cc = 1, note = 1 }", "a light has a cc or a note, one of the two"),
    ];
    for (before, line, said) in table {
        let text = format!("{before}{line}\n");
        let error = Map::parse(&text, "m.toml", &any, &any).expect_err(line).to_string();
        let at = format!("m.toml:{}: ", text.lines().count());
        assert!(error.starts_with(&at) && error.contains(said), "{line}: {error}");
    }
    let ring = map(&format!("{FADER}ring = {{ bend = true, channel = 3 }}\n"));
    let told = &ring.controls[0].feedback;
    assert_eq!(
        (told.when, told.way, told.same, told.channel),
        (When::Released, Some(Way::Bend), false, Some(2))
    );
}

#[test]
fn another_bank_is_told_in_full() {
    let map = map("[[control]]\nbend = true\nchannel = 2\ntouch = 104\ntarget = \"c\"\n\
         [[button]]\nnote = 1\naction = \"bank-next\"\nfeedback = \"never\"\n\
         [[button]]\nnote = 2\nbank = \"B\"\n\
         [[bank]]\nname = \"A\"\n[[bank.control]]\ncc = 7\ncoding = \"absolute\"\ntarget = \"a\"\n\
         [[bank]]\nname = \"B\"\n[[bank.control]]\ncc = 7\ncoding = \"absolute\"\ntarget = \"b\"\n");
    let mut surface = Surface::new(map.clone());
    let mut feedback = Feedback::new(map);
    let table = Table { positions: [("a", 0.0), ("b", 1.0), ("c", 0.5)].into(), ..Table::default() };
    let mut now = Instant::now();
    let bend = vec![0xE1, 0, 64];
    assert_eq!(due(&mut feedback, &table, now), [bend.clone(), vec![0xB0, 7, 0], vec![0x90, 2, 0]]);
    // The same fader stands for another parameter.
    let press = |value| Event { port: 0, control: Control::Note { channel: 0, number: 1 }, value };
    surface.feed(0, &press(127), &|_| None);
    feedback.put_in_force(surface.in_force());
    now += ms(100);
    let told = due(&mut feedback, &table, now);
    assert_eq!(told.len(), 3, "{told:?}");
    assert!(told.contains(&bend) && told.contains(&vec![0xB0, 7, 127]), "{told:?}");
    feedback.put_in_force(surface.in_force());
    assert_eq!(due(&mut feedback, &table, now + ms(100)).len(), 0, "nothing changed");
    // What the fader sends on its way there is the motor's; the bender's own value counts in 14 bits.
    assert_eq!(feedback.hear(&turned(7, 60), now + ms(110)), Doing::Answer);
    let bent = |value| Event { port: 0, control: Control::Bend { channel: 1 }, value };
    now += ms(1000);
    feedback.hold(0, true);
    assert_eq!(feedback.hear(&bent(9000), now), Doing::Hand);
    let moved =
        Table { positions: [("a", 0.0), ("b", 1.0), ("c", 9000.0 / 16383.0)].into(), ..Table::default() };
    assert_eq!(due(&mut feedback, &moved, now + ms(5000)).len(), 0, "held");
    feedback.hold(0, false);
    // 9000 is 70 · 128 + 40.
    assert_eq!(due(&mut feedback, &moved, now + ms(5001)), [[0xE1, 40, 70]]);
}

/// A device of a rig: what it does with what it is told, and what it was told.
#[derive(Default)]
struct Device {
    name: String,
    output: Option<String>,
    there: bool,
    answers: Answers,
    sender: Option<Sender>,
    told: Vec<Vec<u8>>,
    /// Where its faders stand.
    stands: BTreeMap<u8, u8>,
    clock: u64,
    refuses: bool,
}

#[derive(Clone, Copy, Default)]
enum Answers {
    #[default]
    Nothing,
    /// What it got.
    Same,
    /// A step beside it.
    Beside,
    /// Its way there in steps, then there.
    Travels,
    /// What it got comes out of another device.
    Through(usize),
}

/// Devices that tests plug and unplug.
#[derive(Clone, Default)]
struct Rig(Arc<Mutex<Vec<Device>>>);

struct Line(Rig, usize);

impl Output for Line {
    fn send(&mut self, message: &[u8]) -> Result<(), PanelError> {
        let mut all = self.0.0.lock().unwrap();
        let device = &mut all[self.1];
        if !device.there || device.refuses {
            return Err(PanelError::Open { port: device.name.clone(), why: "gone".into() });
        }
        device.told.push(message.to_vec());
        let mut out: Vec<(usize, Vec<u8>)> = Vec::new();
        let with = |value: u8| message[..2].iter().copied().chain([value]).collect::<Vec<u8>>();
        match device.answers {
            Answers::Nothing => {}
            Answers::Same => out.push((self.1, message.to_vec())),
            Answers::Beside if message[0] < 0xF0 => out.push((self.1, with((message[2] + 1).min(127)))),
            Answers::Beside => {}
            Answers::Travels => {
                let (from, to) =
                    (i32::from(device.stands.get(&message[1]).copied().unwrap_or(0)), i32::from(message[2]));
                for part in 1..=3 {
                    out.push((self.1, with((from + (to - from) * part / 3) as u8)));
                }
                // One that is there already does not move.
                if from == to {
                    out.clear();
                }
            }
            Answers::Through(other) => out.push((other, message.to_vec())),
        }
        for (to, message) in out {
            send(&mut all[to], &message);
        }
        Ok(())
    }
}

fn send(device: &mut Device, message: &[u8]) {
    device.clock += 1000;
    device.stands.insert(message[1], message[2]);
    if let Some(sender) = device.sender.as_mut().filter(|_| device.there) {
        sender.push(device.clock, message);
    }
}

impl Rig {
    fn with(devices: Vec<Device>) -> Self {
        Self(Arc::new(Mutex::new(devices)))
    }

    fn list(&self, name: impl Fn(&Device) -> Option<String>) -> Vec<PortInfo> {
        let all = self.0.lock().unwrap();
        let there = all.iter().enumerate().filter(|(_, d)| d.there);
        there.filter_map(|(i, d)| Some(PortInfo { id: i.to_string(), name: name(d)? })).collect()
    }

    fn send(&self, device: usize, message: &[u8]) {
        send(&mut self.0.lock().unwrap()[device], message);
    }

    fn told(&self, device: usize) -> Vec<Vec<u8>> {
        self.0.lock().unwrap()[device].told.clone()
    }

    fn change(&self, device: usize, change: impl FnOnce(&mut Device)) {
        change(&mut self.0.lock().unwrap()[device]);
    }
}

impl Ports for Rig {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Ok(Rig::list(self, |d| Some(d.name.clone())))
    }

    fn open(&mut self, port: &PortInfo, waker: Waker) -> Result<panel::Input, PanelError> {
        let (sender, queue) = queue(4096, waker);
        self.change(port.id.parse().unwrap(), |d| d.sender = Some(sender));
        Ok(panel::Input::new(Box::new(()), queue))
    }

    fn outputs(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Ok(Rig::list(self, |d| d.output.clone()))
    }

    fn open_output(&mut self, port: &PortInfo) -> Result<Box<dyn Output>, PanelError> {
        Ok(Box::new(Line(self.clone(), port.id.parse().unwrap())))
    }
}

fn device(name: &str, answers: Answers) -> Device {
    Device { name: name.into(), output: Some(name.into()), there: true, answers, ..Device::default() }
}

fn news(plugs: &mut Plugs, now: &mut Instant) -> Vec<String> {
    *now += Duration::from_secs(1);
    let said = |plug: Plug| match plug {
        Plug::Opened { port, name, wish, .. } => format!("opened {port} {name} for {wish}"),
        Plug::Answering { port } => format!("answering {port}"),
        Plug::Closed { port, name } => format!("closed {port} {name}"),
        Plug::Refused { name, why } => format!("refused {name}: {why}"),
        Plug::Absent { why } | Plug::Unavailable { why } => why.to_string(),
    };
    plugs.poll(*now).into_iter().map(said).collect()
}

#[test]
fn the_port_that_a_device_listens_on_is_found_beside_the_one_it_speaks_by() {
    // As systems name them: the same name; client and port; directions in words. From memory.
    let named =
        |input: &str, output: &str| Device { output: Some(output.into()), ..device(input, Answers::Nothing) };
    let rig = Rig::with(vec![
        named("Box MIDI 1", "Box MIDI 1"),
        named("Fader:out", "Fader:in"),
        named("bridge:Rack [20] (capture): Port 1", "bridge:Rack [20] (playback): Port 1"),
        named("MIDIIN2 (Slab)", "MIDIOUT2 (Slab)"),
        named("Slab", "Slab"),
        named("Lone", "Something Else"),
    ]);
    let mut plugs = Plugs::new(Box::new(rig.clone()), "", Arc::new(|| {}));
    let mut now = Instant::now();
    let said = news(&mut plugs, &mut now);
    assert_eq!(said[6..], ["answering 0", "answering 1", "answering 2", "answering 3", "answering 4"]);
    for port in 0..6 {
        plugs.send(port, &[0xB0, 1, port as u8]);
        assert_eq!(rig.told(port).len(), usize::from(port != 5), "{port}");
    }
    // A map may say which it is.
    let wish = Wish { input: "lone".into(), output: Some("something".into()) };
    let mut plugs = Plugs::several(Box::new(rig.clone()), vec![wish], Arc::new(|| {}));
    assert_eq!(news(&mut plugs, &mut now), ["opened 0 Lone for 0", "answering 0"]);
    plugs.send(0, &[0xB0, 1, 5]);
    assert_eq!(rig.told(5), [[0xB0, 1, 5]]);
    // It goes away under our hands: that harms nothing, and it is told again when it takes something again.
    rig.change(5, |d| d.refuses = true);
    plugs.send(0, &[0xB0, 1, 6]);
    plugs.send(0, &[0xB0, 1, 7]);
    rig.change(5, |d| d.refuses = false);
    assert_eq!(news(&mut plugs, &mut now), ["answering 0"]);
    plugs.send(99, &[0xB0, 1, 6]);
}

#[test]
fn twins_are_kept_apart_both_ways() {
    let rig = Rig::with(vec![device("Box", Answers::Nothing), device("Box", Answers::Nothing)]);
    let mut plugs = Plugs::new(Box::new(rig.clone()), "box", Arc::new(|| {}));
    let mut now = Instant::now();
    news(&mut plugs, &mut now);
    let check = |plugs: &mut Plugs, value: u8| {
        for port in [0, 1] {
            plugs.send(port, &[0xB0, port as u8, value]);
            assert_eq!(rig.told(port).last().unwrap(), &[0xB0, port as u8, value], "{port}");
        }
    };
    check(&mut plugs, 1);
    for (round, away) in [0, 1, 0, 1].into_iter().enumerate() {
        rig.change(away, |d| d.there = false);
        assert_eq!(news(&mut plugs, &mut now), [format!("closed {away} Box")]);
        plugs.send(away, &[0xB0, 9, 9]);
        rig.change(away, |d| d.there = true);
        assert_eq!(
            news(&mut plugs, &mut now),
            [format!("opened {away} Box for 0"), format!("answering {away}")]
        );
        check(&mut plugs, 10 + round as u8);
    }
    assert!(rig.told(0).iter().chain(&rig.told(1)).all(|m| m[1] != 9), "what is away is told nothing");
}

#[test]
fn each_port_goes_to_the_map_that_says_most_of_its_name() {
    let names = ["Box Left", "Box Right", "Other"];
    let rig = Rig::with(names.map(|name| device(name, Answers::Nothing)).into());
    let wish = |input: &str| Wish { input: input.into(), output: None };
    let wishes = vec![wish(""), wish("box"), wish("box right"), wish("never")];
    let mut plugs = Plugs::several(Box::new(rig.clone()), wishes, Arc::new(|| {}));
    let said = news(&mut plugs, &mut Instant::now());
    assert_eq!(said[..3], ["opened 0 Box Left for 1", "opened 1 Box Right for 2", "opened 2 Other for 0"]);
    let absent = "no MIDI port has “never” in its name; there are: Box Left, Box Right, Other";
    assert_eq!(said.last().unwrap(), absent);
    assert_eq!(said.len(), 7);
}

const ENCODERS: &str = r#"
name = "encoders"
port = "encoders"
[[control]]
cc = 20
coding = "twos-complement"
target = "balance/exposure"
ring = { cc = 20 }
[[button]]
note = 40
action = "next-shot"
[[button]]
note = 41
action = "before"
"#;

const FADERS: &str = r#"
name = "faders"
port = "faders"
[[control]]
cc = 30
coding = "absolute"
takeover = "jump"
target = "balance/exposure"
[[control]]
cc = 31
coding = "absolute"
takeover = "jump"
target = "balance/offset-r"
"#;

/// An engine with a show of two shots, and panels.
fn engine(dir: &std::path::Path, rig: &Rig, maps: &[&str]) -> Handle {
    let clip = sequence(&dir.join("footage"), (64, 36), 6);
    let folder = dir.join("show");
    for arguments in [
        vec!["new", folder.to_str().unwrap()],
        vec!["add", folder.to_str().unwrap(), clip.to_str().unwrap(), "--encoding", "logc4"],
    ] {
        assert!(greyhold().args(arguments).status().unwrap().success());
    }
    let mut show = load(&folder).unwrap();
    let mut second = show.shots[0].clone();
    second.name = "take two".into();
    second.balance = second.balance.with(Exposure, 3.0);
    show.shots.push(second);
    let parse = |text: &&str| Arc::new(Map::parse(text, "test.toml", &known_target, &known_action).unwrap());
    let ports = rig.clone();
    start(
        greyhold::gpu::Gpu::headless(Default::default()).unwrap(),
        Options {
            lock: None,
            show,
            dir: folder,
            panel: Some((maps.iter().map(parse).collect(), Box::new(move || Box::new(ports)))),
            cache: CACHE,
            notify: Arc::new(|| ()),
        },
    )
    .unwrap()
}

fn exposure(engine: &Handle) -> f64 {
    let s = engine.snapshot();
    s.show.shots[s.shot].balance.get(Exposure)
}

/// Waits until no device is told anything for a while; what they were told since is given.
fn rest(rig: &Rig) -> Vec<Vec<Vec<u8>>> {
    let count = || rig.0.lock().unwrap().iter().map(|d| d.told.len()).sum::<usize>();
    let (begun, mut last, mut since) = (Instant::now(), count(), Instant::now());
    while since.elapsed() < ms(900) {
        assert!(begun.elapsed() < Duration::from_secs(20), "they never come to rest: {last} messages");
        std::thread::sleep(ms(20));
        if count() != last {
            (last, since) = (count(), Instant::now());
        }
    }
    rig.0.lock().unwrap().iter_mut().map(|d| std::mem::take(&mut d.told)).collect()
}

/// A ring that listens on the very controller that its encoder turns by, of a device that answers nothing: turns that look
/// like what the ring was told are turns.
#[test]
fn no_turn_is_taken_for_an_echo_of_a_device_that_has_none() {
    let dir = tempfile::tempdir().unwrap();
    let rig = Rig::with(vec![device("Encoders", Answers::Nothing)]);
    // One up is 65, and so is the ring a little above the middle.
    let map = ENCODERS.replace("twos-complement", "binary-offset");
    let engine = engine(dir.path(), &rig, &[&map]);
    wait_for("the panel", || (engine.snapshot().panel.ports.len() == 1).then_some(()));
    rest(&rig);
    for i in 0..60 {
        rig.send(0, &[0xB0, 20, if i < 40 { 65 } else { 63 }]);
        std::thread::sleep(ms(15));
    }
    let told = rest(&rig);
    assert!(told[0].iter().any(|m| m[..] == [0xB0, 20, 65]), "the ring was told what a turn is: {told:?}");
    let stands = exposure(&engine);
    assert!((stands - 20.0 * 0.05).abs() < 1e-6, "{stands} after 40 turns up and 20 down");
}

#[test]
fn panels_are_told_what_stands_there_and_their_answers_move_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let rig = Rig::with(vec![device("Encoders", Answers::Same), device("Faders", Answers::Travels)]);
    let engine = engine(dir.path(), &rig, &[ENCODERS, FADERS]);
    wait_for("both panels", || (engine.snapshot().panel.ports.len() == 2).then_some(()));
    // Exposure of 0 and an offset of 0 stand in the middle.
    let told = rest(&rig);
    assert!(told[0].contains(&vec![0xB0, 20, 64]) && told[0].contains(&vec![0x90, 41, 0]), "{told:?}");
    assert!(told[1].contains(&vec![0xB0, 30, 64]) && told[1].contains(&vec![0xB0, 31, 64]), "{told:?}");
    assert_eq!(exposure(&engine), 0.0, "answers moved it");

    // An encoder whose ring answers with the very message that a turn is: each turn counts once, and motors that
    // tell of their way do not count at all.
    let step = {
        rig.send(0, &[0xB0, 20, 1]);
        wait_for("a step", || Some(exposure(&engine)).filter(|e| *e != 0.0))
    };
    for _ in 0..39 {
        rig.send(0, &[0xB0, 20, 2]);
        std::thread::sleep(ms(10));
    }
    let told = rest(&rig);
    let stands = exposure(&engine);
    assert!((stands - 79.0 * step).abs() < 1e-6, "{stands} after 79 steps of {step}");
    let bends = told[1].iter().filter(|m| m[1] == 30).count();
    assert!((2..=40).contains(&bends), "the fader was told {bends} times: {:?}", told[1]);
    let ring = told[0].iter().rfind(|m| m[1] == 20).unwrap()[2];
    assert_eq!(told[1].iter().rfind(|m| m[1] == 30).unwrap()[2], ring, "both show one value");

    // A hand on the fader: the ring follows, the fader is left alone until it is let go, then told once.
    for value in [90, 95, 100, 104] {
        rig.send(1, &[0xB0, 30, value]);
        std::thread::sleep(ms(30));
    }
    let told = rest(&rig);
    assert_eq!(told[1].iter().filter(|m| m[1] == 30).collect::<Vec<_>>(), [&vec![0xB0, 30, 104]]);
    assert_eq!(told[0].iter().rfind(|m| m[1] == 20).unwrap()[2], 104);
    let held = exposure(&engine);

    // Another shot: all show its values. Undo comes back by its own way; before is lit while it is held.
    rig.send(0, &[0x90, 40, 127]);
    rig.send(0, &[0x90, 40, 0]);
    wait_for("the second shot", || (engine.snapshot().shot == 1).then_some(()));
    let told = rest(&rig);
    assert_eq!(exposure(&engine), 3.0);
    let fader = told[1].iter().rfind(|m| m[1] == 30).unwrap()[2];
    assert_eq!(told[0].iter().rfind(|m| m[1] == 20).unwrap()[2], fader);
    assert_ne!(fader, 104, "{held}");

    // Pulled out: absent, by its name. Back again: told everything, within two seconds.
    rig.change(1, |d| d.there = false);
    wait_for("word of it", || (engine.snapshot().panel.absent == ["Faders"]).then_some(()));
    rig.change(1, |d| {
        d.there = true;
        d.told.clear();
    });
    let back = Instant::now();
    wait_for("both faders told", || {
        let told = rig.told(1);
        (told.contains(&vec![0xB0, 30, fader]) && told.contains(&vec![0xB0, 31, 64])).then_some(())
    });
    assert!(back.elapsed() < Duration::from_secs(2), "{:?}", back.elapsed());
    assert!(engine.snapshot().panel.absent.is_empty());
    engine.stop().unwrap();
}

#[test]
fn a_control_is_learned_while_it_moves_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let rig = Rig::with(vec![device("Encoders", Answers::Same)]);
    let engine = engine(dir.path(), &rig, &[ENCODERS]);
    wait_for("the panel", || (!engine.snapshot().panel.ports.is_empty()).then_some(()));
    rest(&rig);
    engine.send(Input::Learn { target: Some("look/strength".into()) });
    wait_for("learning", || engine.snapshot().panel.learning.clone());
    let turn = |value: u8| {
        (0..8).for_each(|_| rig.send(0, &[0xB0, 20, value]));
        let guessed = |count: usize| {
            let learning = engine.snapshot().panel.learning.clone()?;
            let guess = learning.guess.filter(|g| g.need.is_none() || count == 0)?;
            Some((learning, guess))
        };
        wait_for("a guess", || guessed(usize::from(value == 127)))
    };
    turn(1);
    let (learning, guess) = turn(127);
    assert_eq!((&*learning.target, learning.port.as_deref()), ("look/strength", Some("Encoders")));
    let (coding, reversed) = (panel::Coding::TwosComplement, false);
    assert_eq!(guess.kind, panel::Kind::Relative { cc: 20, coding, reversed });
    let taken = Some(("CC 20".to_owned(), "moves balance/exposure".to_owned()));
    assert_eq!(learning.conflict, taken, "the map has a meaning for it");
    assert_eq!(exposure(&engine), 0.0, "it moved something");
    engine.send(Input::Learn { target: None });
    wait_for("the end of it", || engine.snapshot().panel.learning.is_none().then_some(()));
    rig.send(0, &[0xB0, 20, 2]);
    wait_for("a step", || (exposure(&engine) > 0.0).then_some(()));
    engine.stop().unwrap();
}

#[test]
fn surfaces_that_feed_each_other_settle() {
    let dir = tempfile::tempdir().unwrap();
    // What either is told comes out of the other, and both have the same map: two hands on one value. A third
    // answers a step beside what it is told.
    let rig = Rig::with(vec![
        device("Faders", Answers::Through(1)),
        device("Faders", Answers::Through(0)),
        device("Faders", Answers::Beside),
    ]);
    let engine = engine(dir.path(), &rig, &[FADERS]);
    wait_for("three panels", || (engine.snapshot().panel.ports.len() == 3).then_some(()));
    rest(&rig);
    assert_eq!(exposure(&engine), 0.0);
    // A hand trembles its way up on one of them, so that it sends again what the others were told just before.
    for value in (70..110u8).flat_map(|v| [v, v + 1, v]) {
        rig.send(0, &[0xB0, 31, value]);
        std::thread::sleep(ms(4));
    }
    let told = rest(&rig);
    let stands = || {
        let offset = engine.snapshot().show.shots[0].balance.get(OffsetR);
        OffsetR.parameter().position(offset) * 127.0
    };
    // What comes out of another device may be taken for the hand's last step: one step, and no more.
    assert!((stands() - 109.0).abs() < 1.001, "where the hand left it: {}", stands());
    for (device, told) in told.iter().enumerate() {
        let of_it: Vec<u8> = told.iter().filter(|m| m[1] == 31).map(|m| m[2]).collect();
        let last = of_it.last().copied().map(f64::from).unwrap_or(-1.0);
        assert!((last - stands()).abs() < 1e-3, "device {device}: {of_it:?}");
        assert!(of_it.len() <= 80, "device {device}: {} messages for half a second of a hand", of_it.len());
    }

    // Without the cables between them each step of such a hand counts, the last one too.
    (0..3).for_each(|i| rig.change(i, |d| d.answers = Answers::Nothing));
    for value in (20..60u8).rev().flat_map(|v| [v, v + 1, v]) {
        rig.send(0, &[0xB0, 31, value]);
        std::thread::sleep(ms(4));
    }
    rest(&rig);
    assert!((stands() - 20.0).abs() < 1e-3, "{}", stands());
    engine.stop().unwrap();
}
