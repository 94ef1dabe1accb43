//! What a drawn panel sends. Messages are those of MIDI 1.0 (CC Bn, note 9n, pressure Dn and An, bend En lower half first,
//! registered parameters by 98 … 101 with 6, 38, 96, 97); relative codings are common practice, as `Coding` has them.

use super::script::any;
use greyhold::panel::{Act, Map, Mimic, Move, Surface, read};
use std::sync::Arc;

const MAP: &str = r#"
    name = "test"
    [[control]]
    cc = 20
    channel = 3
    coding = "twos-complement"
    touch = 90
    target = "a"
    [[control]]
    cc = 21
    coding = "binary-offset"
    target = "a"
    [[control]]
    cc = 22
    coding = "sign-magnitude"
    target = "a"
    [[control]]
    cc = 23
    down = 24
    coding = "increment"
    target = "a"
    [[control]]
    nrpn = 300
    coding = "increment"
    target = "a"
    [[control]]
    cc = 25
    coding = "absolute"
    takeover = "jump"
    target = "a"
    [[control]]
    cc = 7
    bits = 14
    coding = "absolute"
    takeover = "jump"
    target = "a"
    [[control]]
    bend = true
    takeover = "jump"
    target = "a"
    [[control]]
    pressure = true
    takeover = "jump"
    target = "a"
    [[control]]
    rpn = 130
    takeover = "jump"
    coding = "absolute"
    target = "a"
    [[button]]
    note = 36
    action = "play"
    [[button]]
    cc = 64
    mode = "toggle"
    action = "stop"
    [[bank]]
    name = "one"
    [[bank]]
    name = "two"
"#;

struct Drawn(Arc<Map>, Mimic, Surface);

impl Drawn {
    fn new() -> Self {
        let map = Arc::new(Map::parse(MAP, "t.toml", &any, &any).unwrap());
        Self(map.clone(), Mimic::default(), Surface::new(map))
    }

    /// What an act sends, and what its own map makes of that.
    fn act(&mut self, act: Act) -> (Vec<Vec<u8>>, Vec<Move>) {
        let sent = self.1.messages(&self.0, act);
        let events = sent.iter().filter_map(|message| read(0, message));
        let moves = events.flat_map(|event| self.2.feed(0, &event, &|_| Some(0.5))).collect();
        (sent, moves)
    }

    fn turn(&mut self, control: usize, by: f64) -> (Vec<Vec<u8>>, f64) {
        let (sent, moves) = self.act(Act::Turn { control, by });
        let told = moves.iter().map(|m| match m {
            Move::Turn { detents, .. } => *detents,
            Move::Set { position, .. } => *position,
            other => panic!("{other:?}"),
        });
        let relative = matches!(moves.first(), Some(Move::Turn { .. }));
        (sent, if relative { told.sum() } else { told.last().unwrap_or(f64::NAN) })
    }
}

#[test]
fn turns_are_in_each_controls_own_coding() {
    let mut drawn = Drawn::new();
    for (control, up, down) in [
        (0, [0xB2, 20, 3], [0xB2, 20, 126]),
        (1, [0xB0, 21, 67], [0xB0, 21, 62]),
        (2, [0xB0, 22, 3], [0xB0, 22, 66]),
    ] {
        assert_eq!(drawn.turn(control, 3.0), (vec![up.to_vec()], 3.0));
        assert_eq!(drawn.turn(control, -2.0), (vec![down.to_vec()], -2.0));
    }
    assert_eq!(drawn.turn(3, 2.0), (vec![vec![0xB0, 23, 127]; 2], 2.0));
    assert_eq!(drawn.turn(3, -1.0), (vec![vec![0xB0, 24, 127]], -1.0));
    let chosen = [vec![0xB0, 99, 2], vec![0xB0, 98, 44]];
    assert_eq!(drawn.turn(4, -1.0), ([&chosen[..], &[vec![0xB0, 97, 0]]].concat(), -1.0));
    // More than a byte has room for goes in several; more than a hand turns is cut off.
    for control in 0..5 {
        assert_eq!(drawn.turn(control, 100.0).1, 100.0);
        assert_eq!(drawn.turn(control, -1e9).1, -127.0);
        assert_eq!(drawn.act(Act::Turn { control, by: f64::NAN }).0.len(), 0);
    }
    // Parts of detents add up.
    for n in 1..=10 {
        assert_eq!(drawn.turn(0, 0.1).0.len(), usize::from(n == 10), "{n} tenths");
    }
}

#[test]
fn positions_are_sent_as_fine_as_the_control_is() {
    let mut drawn = Drawn::new();
    let map = drawn.0.clone();
    assert_eq!((drawn.1.stands(&map, 0), drawn.1.stands(&map, 5)), (None, Some(0.5)));
    // From the middle, 63.5, a step up is 64.5: of 127 the next is 65, rounded; one of 14 bits says more.
    assert_eq!(drawn.turn(5, 1.0), (vec![vec![0xB0, 25, 65]], 65.0 / 127.0));
    let value = (64.5 / 127.0 * 16383.0_f64).round() as u16;
    let (upper, lower) = ((value >> 7) as u8, (value & 0x7F) as u8);
    let place = f64::from(value) / 16383.0;
    assert_eq!(drawn.turn(6, 1.0), (vec![vec![0xB0, 7, upper], vec![0xB0, 39, lower]], place));
    assert_eq!(drawn.turn(7, 1.0), (vec![vec![0xE0, lower, upper]], place));
    assert_eq!(drawn.turn(8, 1.0), (vec![vec![0xD0, 65]], 65.0 / 127.0));
    let chosen = [vec![0xB0, 101, 1], vec![0xB0, 100, 2], vec![0xB0, 6, upper], vec![0xB0, 38, lower]];
    assert_eq!(drawn.turn(9, 1.0), (chosen.to_vec(), place));
    for control in 5..10 {
        assert_eq!(drawn.turn(control, 90.0).1, 1.0, "its end");
        assert!(drawn.turn(control, 1.0).0.is_empty(), "no further");
        assert_eq!(drawn.turn(control, -127.0).1, 0.0);
        assert_eq!(drawn.1.stands(&map, control), Some(0.0));
    }
}

#[test]
fn hands_buttons_and_banks() {
    let mut drawn = Drawn::new();
    let (sent, moves) = drawn.act(Act::Touch { control: 0, down: true });
    assert_eq!((sent, moves), (vec![vec![0x92, 90, 127]], vec![Move::Hold { hand: 0, down: true }]));
    let (_, moves) = drawn.act(Act::Touch { control: 0, down: false });
    assert_eq!(moves, [Move::Hold { hand: 0, down: false }]);
    assert!(drawn.act(Act::Touch { control: 1, down: true }).0.is_empty(), "it tells of no hand");
    let press = |action: &str, down| vec![Move::Press { action: action.into(), down }];
    let button = |button, down| Act::Button { button, down };
    assert_eq!(drawn.act(button(0, true)), (vec![vec![0x90, 36, 127]], press("play", true)));
    assert_eq!(drawn.act(button(0, false)), (vec![vec![0x90, 36, 0]], press("play", false)));
    // One that sends high and low by turns says nothing when it comes up.
    for value in [127, 0, 127] {
        assert_eq!(drawn.act(button(1, true)), (vec![vec![0xB0, 64, value]], press("stop", true)));
        assert!(drawn.act(button(1, false)).0.is_empty());
    }
    assert_eq!(drawn.act(Act::Bank(1)).0, [vec![0xC0, 1]]);
    assert_eq!(drawn.2.standing().bank.as_deref(), Some("two"));
    assert_eq!(drawn.2.banks(), ["one".into(), "two".into()]);
    // A panel that is taken over from another is where that was; another map's says nothing.
    let mut second = Surface::new(drawn.0.clone());
    second.follow(&drawn.2);
    assert_eq!(second.standing().bank.as_deref(), Some("two"));
    let mut other = Drawn::new();
    other.2.follow(&drawn.2);
    assert_eq!(other.2.standing().bank.as_deref(), Some("one"));
    for act in [Act::Turn { control: 99, by: 1.0 }, Act::Touch { control: 99, down: true }, button(99, true)]
    {
        assert!(drawn.act(act).0.is_empty(), "there is none");
    }
}
