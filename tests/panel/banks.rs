//! Banks, layers and pages; touch notes, gangs, double presses.

use super::script::{any, bytes, play};
use greyhold::panel::{Map, Standing, Surface, events};
use std::sync::Arc;

const BANKS: &str = r#"
    name = "test"
    [[control]]
    cc = 19
    coding = "absolute"
    target = "z"
    [[bank]]
    name = "one"
    [[bank.control]]
    cc = 20
    coding = "absolute"
    target = "a"
    [[bank.button]]
    note = 36
    action = "play"
    [[bank]]
    name = "two"
    [[bank.control]]
    cc = 20
    coding = "absolute"
    target = "b"
    [[bank.button]]
    note = 36
    action = "stop"
    [[bank]]
    name = "three"
    [[button]]
    note = 40
    action = "bank-next"
    [[button]]
    note = 41
    action = "bank-previous"
    [[button]]
    note = 42
    bank = "three"
"#;

#[test]
fn banks_by_table() {
    play(
        BANKS,
        "set a 64\nset b 64\nset z 64
         B0 14 40 => a=64
         90 24 7F 24 00 => play↓ play↑
         90 28 7F 28 00 => -         // the next bank
         B0 14 41 => b=65
         90 24 7F => stop↓
         90 28 7F 28 00 => -               // and the next, while a button of this one is down
         90 24 00 => stop↑           // it comes up where it went down
         B0 14 42 => -               // which has nothing there
         90 28 7F 28 00 => -               // round
         B0 14 42 => -               // picks up again: the knob was turned meanwhile
         B0 14 40 => a=64
         90 29 7F 29 00 => -               // back: the third
         B0 14 41 => -
         90 29 7F 29 00 => -               // the second
         B0 14 41 => b=65
         90 2A 7F 2A 00 => -               // by name
         B0 14 41 => -
         C0 00 => -                  // program changes count from 0 on the wire: the first
         B0 14 40 => a=64
         C5 01 => -                  // on any channel
         B0 14 41 => b=65
         C0 7F => -                  // there is no such bank
         B0 14 42 => b=66
         90 28 7F 28 7F 28 7F => -   // down is down, however often it says so: one bank on
         B0 14 40 => -
         90 28 00 => -
         C0 00 => -
         B0 14 40 => a=64
         B0 13 40 => z=64            // always",
    );
}

#[test]
fn a_bank_lets_go_of_its_own_controls_only() {
    play(
        BANKS,
        "set a 64\nset b 10\nset z 64
         B0 13 40 14 40 => z=64 a=64
         90 28 7F 28 00 => -
         B0 13 60 => z=96            // the knob that is always in force has its parameter still
         B0 14 60 => -
         90 29 7F 29 00 => -
         B0 14 00 => -               // not taken from 96 past 64 to 0: where it was is not known here
         B0 14 50 => a=80            // but now it came past",
    );
}

const LAYERS: &str = r#"
    name = "test"
    [[control]]
    cc = 20
    coding = "twos-complement"
    target = "a"
    [[control]]
    layer = "shift"
    cc = 20
    coding = "twos-complement"
    target = "b"
    [[control]]
    layer = "deep"
    cc = 20
    coding = "twos-complement"
    target = "c"
    [[control]]
    cc = 21
    coding = "twos-complement"
    target = "a"
    [[control]]
    cc = 22
    coding = "absolute"
    target = "d"
    [[control]]
    layer = "shift"
    cc = 22
    coding = "absolute"
    target = "e"
    [[button]]
    note = 40
    layer = "shift"
    [[button]]
    note = 41
    mode = "toggle"
    layer = "deep"
    [[button]]
    note = 36
    action = "play"
    [[button]]
    layer = "shift"
    note = 36
    action = "stop"
"#;

#[test]
fn layers_by_table() {
    play(
        LAYERS,
        "set a 64\nset b 64\nset c 64\nset d 64\nset e 64
         B0 14 01 => a+1
         90 28 7F => -
         B0 14 01 => b+1
         B0 15 01 => a+1             // what the layer has not is beneath it
         90 24 7F => stop↓
         90 28 00 => -
         90 24 00 => stop↑           // it comes up where it went down
         B0 14 01 => a+1
         90 24 7F 24 00 => play↓ play↑
         90 29 7F => -               // held from one press to the next
         B0 14 01 => c+1
         90 28 7F => -
         B0 14 01 => b+1             // the last one held is on top
         90 29 00 => -
         B0 14 01 => b+1
         90 28 00 => -
         B0 14 01 => a+1",
    );
    // A knob that was turned in a layer stands elsewhere, so that it has crossed nothing when it comes back.
    play(
        LAYERS,
        "set d 64\nset e 64
         B0 16 20 => -
         90 28 7F => -
         B0 16 60 => -
         90 28 00 => -
         B0 16 5F => -
         B0 16 40 => d=64
         90 28 7F 28 00 => -         // nothing was turned: it holds on
         B0 16 60 => d=96",
    );
    // The panel goes away with a layer held.
    play(LAYERS, "set a 64\nset b 64\n90 28 7F => -\nrelease => -\nB0 14 01 => a+1");
}

#[test]
fn pages_by_table() {
    let map = format!(
        "{BANKS}
    [[page]]
    name = \"suite\"
    banks = [\"one\", \"three\"]
    [[page]]
    name = \"set\"
    banks = [\"two\"]
    [[button]]
    note = 43
    page = \"set\"
    [[button]]
    note = 44
    page = \"suite\"
    [[button]]
    note = 45
    bank = \"two\""
    );
    let mut surface = Surface::new(Arc::new(Map::parse(&map, "x", &any, &any).unwrap()));
    let mut after = |packet: &str| {
        events(0, &bytes(packet), |e| {
            surface.feed(0, &e, &|_| Some(0.5));
        });
        let Standing { page, bank, .. } = surface.standing();
        format!("{} {}", page.unwrap(), bank.unwrap())
    };
    assert_eq!(after(""), "suite one");
    assert_eq!(after("90 28 7F 28 00"), "suite three");
    assert_eq!(after("90 28 7F 28 00"), "suite one", "round the page");
    assert_eq!(after("90 28 7F 28 00"), "suite three");
    assert_eq!(after("90 2B 7F 2B 00"), "set two");
    assert_eq!(after("90 28 7F 28 00"), "set two", "the only one");
    assert_eq!(after("90 2C 7F 2C 00"), "suite three", "where it was left");
    assert_eq!(after("C0 00"), "suite one", "a program counts in the page");
    assert_eq!(after("90 2D 7F 2D 00"), "set two", "a bank of another page brings that page");
    assert_eq!(after("C0 01"), "set two", "there is no second one");
}

#[test]
fn what_is_in_force_is_described() {
    let map = Arc::new(Map::parse(LAYERS, "x", &any, &any).unwrap());
    let mut surface = Surface::new(map);
    let seen = |s: &Surface| {
        let all = s.describe();
        let one = |c: &greyhold::panel::ControlState| {
            let target = &c.targets[0].address;
            format!("{}{}:{target}", c.index, c.layer.as_ref().map_or("", |_| "^"))
        };
        all.iter().map(one).collect::<Vec<_>>().join(" ")
    };
    let buttons = |s: &Surface| {
        s.buttons()
            .iter()
            .map(|b| format!("{}{}", b.action, if b.down { "!" } else { "" }))
            .collect::<Vec<_>>()
    };
    let feed = |s: &mut Surface, packet: &str| {
        events(0, &bytes(packet), |e| {
            s.feed(0, &e, &|_| Some(0.5));
        });
    };
    assert_eq!(seen(&surface), "0:a 3:a 4:d");
    assert_eq!(buttons(&surface), ["layer shift", "layer deep", "play"]);
    feed(&mut surface, "90 28 7F");
    assert_eq!(seen(&surface), "1^:b 3:a 5^:e");
    assert_eq!(buttons(&surface), ["layer shift!", "layer deep", "stop"]);
    assert_eq!(surface.standing().layers.iter().map(|l| &**l).collect::<Vec<_>>(), ["shift"]);
    feed(&mut surface, "90 29 7F 28 00");
    assert_eq!(seen(&surface), "2^:c 3:a 4:d");

    let mut surface = Surface::new(Arc::new(Map::parse(BANKS, "x", &any, &any).unwrap()));
    feed(&mut surface, "C0 01 B0 14 05");
    let all = surface.describe();
    let labels: Vec<_> = all.iter().map(|c| (&*c.label, c.bank.as_deref(), c.last)).collect();
    assert_eq!(labels, [("CC 19", None, None), ("CC 20", Some("two"), Some(5))]);
    assert_eq!(buttons(&surface), ["bank-next", "bank-previous", "bank three", "stop"]);
    feed(&mut surface, "90 2A 7F 2A 00");
    assert_eq!(buttons(&surface), ["bank-next", "bank-previous", "bank three!"], "the bank in force is lit");
}

#[test]
fn a_hand_on_a_control_holds_it() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        touch = 60
        coding = "twos-complement"
        target = "a"
        [[ball]]
        cc = [102, 103, 104]
        touch = 61
        coding = "twos-complement"
        plane = ["b", "c"]
        ring = "d"
        [[button]]
        note = 40
        layer = "shift"
        [[control]]
        layer = "shift"
        cc = 20
        touch = 60
        coding = "twos-complement"
        target = "e"
    "#;
    // Hands are the map's controls: 0 and, in the layer, 1; the ball's axes 2, its ring 4.
    play(
        map,
        "set a 0\nset b 0\nset c 0\nset d 0\nset e 0
         90 3C 7F => 0✋
         B0 14 01 => a+1
         90 3C 00 => 0✋↑
         80 3C 40 => -                   // it was not on it
         90 3D 7F => 2✋ 4✋
         90 3C 7F => 0✋                 // two hands
         90 28 7F => 0✋↑ 1✋            // under the hand the control became another
         B0 14 01 => e+1
         90 28 00 => 1✋↑ 0✋
         90 3D 00 => 2✋↑ 4✋↑
         release => 0✋↑
         release => -",
    );
    let mut surface = Surface::new(Arc::new(Map::parse(map, "x", &any, &any).unwrap()));
    events(0, &bytes("90 3D 7F"), |e| {
        surface.feed(0, &e, &|_| Some(0.5));
    });
    let touched: Vec<bool> = surface.describe().iter().map(|c| c.touched).collect();
    assert_eq!(touched, [false, true, true, true], "nothing should move the ball and its ring now");
}

#[test]
fn a_gang_moves_while_it_is_held() {
    let map = r#"
        name = "test"
        [[control]]
        cc = 20
        coding = "twos-complement"
        target = "a"
        gang = ["b", { address = "c", by = -2 }]
        [[control]]
        cc = 21
        coding = "absolute"
        target = "a"
        gang = "b"
        [[button]]
        note = 40
        action = "gang"
        resets = "a"
    "#;
    play(
        map,
        "set a 64\nset b 20\nset c 0
         B0 14 01 => a+1
         90 28 7F => -
         B0 14 01 => a+1 b+1 c-2
         gone b
         B0 14 01 => a+1 c-2
         90 28 00 => -
         B0 14 01 => a+1
         set a 64\nset b 20
         90 28 7F => -
         B0 15 40 => a=64               // picked up one by one
         B0 15 14 => a=20 b=20
         90 28 00 => -
         B0 15 15 => a=21",
    );
}

#[test]
fn a_double_press_resets() {
    let map = r#"
        name = "test"
        [[ball]]
        label = "Ball"
        cc = [102, 103]
        coding = "twos-complement"
        plane = ["x", "y"]
        [[bank]]
        name = "one"
        [[bank.control]]
        label = "Knob"
        cc = 20
        coding = "twos-complement"
        target = ["a", "b"]
        [[bank]]
        name = "two"
        [[bank.control]]
        label = "Knob"
        cc = 20
        coding = "twos-complement"
        target = ["b", "c"]
        [[button]]
        note = 40
        resets = "Knob"
        [[button]]
        note = 41
        action = "before"
        resets = "balance/exposure"
        [[button]]
        note = 42
        resets = "Ball"
    "#;
    play(
        map,
        "set a 0\nset b 0\nset c 0\nset x 0\nset y 0\nset balance/exposure 0
         @1000000 90 28 7F 28 00 => -
         @1400000 90 28 7F 28 00 => a⟲ b⟲   // within 400 ms
         @1400001 90 28 7F 28 00 => -       // a third press is a first
         @2000000 90 28 7F 28 00 => -       // 600 ms after that
         @2400001 90 28 7F 28 00 => -       // a hair too late
         @3000000 90 28 7F 28 7F 28 00 => - // down is down, however often it says so
         @3500000 90 28 7F 28 00 => -
         @3500001 B0 14 01 => a+1 b+1
         @3500002 90 28 7F 28 00 => -       // it was turned between
         @4000000 90 28 7F 28 00 2A 7F 2A 00 28 7F 28 00 => - // another button between
         @5000000 90 29 7F 29 00 29 7F 29 00 => before↓ before↑ before↓ balance/exposure⟲ before↑
         @6000000 90 2A 7F 2A 00 2A 7F 2A 00 => x⟲ y⟲
         @7000000 C0 01 => -
         @7000001 90 28 7F 28 00 28 7F 28 00 => b⟲ c⟲   // what is in force",
    );
}

#[test]
fn wrong_banks_say_where_and_what_is_accepted() {
    let control = |cc: u8| format!("cc = {cc}\ncoding = \"absolute\"\ntarget = \"a\"\n");
    let (one, two) = (control(20), control(21));
    let known = |name: &str| match name {
        "a" | "b" | "play" => Ok(()),
        _ => Err("there is a, b, play".to_owned()),
    };
    let table: &[(String, usize, &[&str])] = &[
        (
            format!("[[control]]\n{one}[[bank]]\nname = \"x\"\n[[bank.control]]\n{one}"),
            8,
            &["CC 20", "one control"],
        ),
        (format!("[[bank]]\nname = \"x\"\n[[bank.control]]\n{one}[[bank.control]]\n{one}"), 8, &["CC 20"]),
        (format!("[[bank]]\nname = \"x\"\n[[bank]]\nname = \"x\"\n"), 5, &["“x” already"]),
        (
            format!("[[bank]]\nname = \"x\"\n[[button]]\nnote = 1\nbank = \"y\"\n"),
            6,
            &["bank = \"y\"", "there are x"],
        ),
        (format!("[[button]]\nnote = 1\nbank = \"y\"\n"), 4, &["bank = \"y\"", "there are none"]),
        (format!("[[button]]\nnote = 1\npage = \"y\"\n"), 4, &["page = \"y\"", "there are none"]),
        (
            format!("[[bank]]\nname = \"x\"\n[[page]]\nname = \"p\"\nbanks = [\"y\"]"),
            6,
            &["banks = \"y\"", "there are x"],
        ),
        (format!("[[bank]]\nname = \"x\"\n[[page]]\nname = \"p\"\nbanks = []"), 6, &["at least one"]),
        (
            format!(
                "[[bank]]\nname = \"x\"\n[[bank]]\nname = \"y\"\n[[page]]\nname = \"p\"\nbanks = [\"x\"]"
            ),
            5,
            &["\"y\" is on no page"],
        ),
        (format!("[[control]]\nlayer = \"s\"\n{one}"), 3, &["layer = \"s\"", "no button holds it"]),
        (format!("[[button]]\nnote = 1\nlayer = \"s\"\naction = \"play\"\n"), 4, &["no button holds it"]),
        (
            format!(
                "[[control]]\n{two}layer = \"s\"\n[[control]]\nlayer = \"s\"\n{two}[[button]]\nnote = 1\nlayer = \"s\""
            ),
            7,
            &["CC 21"],
        ),
        (
            format!("[[button]]\nnote = 1\nbank = \"x\"\naction = \"play\"\n[[bank]]\nname = \"x\""),
            2,
            &["one of them"],
        ),
        (
            format!("[[button]]\nnote = 1\nresets = \"Knob\"\n"),
            4,
            &["resets \"Knob\"", "no control has this label", "a, b"],
        ),
        (
            format!("[[button]]\nnote = 1\naction = \"fly\"\n"),
            4,
            &["there is a, b", "fine-latch", "bank-previous"],
        ),
        (format!("[[bank]]\nname = \"x\"\ncolour = 3"), 4, &["colour", "`control`", "`ball`"]),
        (
            format!("[[ball]]\ncc = [1]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]"),
            3,
            &["two controllers"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2]\ncoding = \"absolute\"\nplane = [\"a\", \"b\"]"),
            4,
            &["a ball's is twos"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\""),
            3,
            &["plane, two addresses, or a colour"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\"]"),
            5,
            &["1 addresses: 2"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"a\"]"),
            5,
            &["twice"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"c\"]"),
            5,
            &["there is a"],
        ),
        (
            format!(
                "[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]\nring = \"a\""
            ),
            6,
            &["three in cc"],
        ),
        (
            format!("[[ball]]\ncc = [1, 2, 3]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]"),
            3,
            &["ring, what it moves"],
        ),
        (
            format!(
                "[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]\nrotation = inf"
            ),
            6,
            &["rotation = inf", "finite"],
        ),
        (
            format!(
                "[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]\ninvert = [\"z\"]"
            ),
            6,
            &["z", "`x`", "`y`"],
        ),
        (
            format!(
                "[[ball]]\ncc = [1, 2]\ncoding = \"twos-complement\"\nplane = [\"a\", \"b\"]\nsensitivity = 0"
            ),
            6,
            &["sensitivity = 0", "finite"],
        ),
    ];
    for (body, line, parts) in table {
        let text = format!("name = \"t\"\n{body}");
        let error = Map::parse(&text, "x.toml", &known, &known).expect_err(body).to_string();
        assert!(error.starts_with(&format!("x.toml:{line}: ")), "{error}\n{body}");
        for part in *parts {
            assert!(error.contains(part), "“{part}” is missing in: {error}");
        }
    }
    // The same message in two banks, in two layers, and touch notes that controls share.
    let fine = format!(
        "name = \"t\"\n[[bank]]\nname = \"x\"\n[[bank.control]]\n{one}touch = 9\n[[bank]]\nname = \"y\"\n[[bank.control]]\n{one}\
         touch = 9\n[[bank.control]]\n{one}layer = \"s\"\n[[button]]\nnote = 1\nlayer = \"s\""
    );
    assert_eq!(Map::parse(&fine, "x.toml", &known, &known).unwrap().controls.len(), 3);
}
