//! OSC and its page, from another process: `tests/oracle/osc_surface.py`, by python-osc 1.10.2.
//!
//! Sources: "OSC 1.0" is the Open Sound Control 1.0 specification, "OSCQuery" the proposal of that name
//! (github.com/Vidvox/OSCQueryProposal; names of attributes from memory). Python's fnmatch is the witness of patterns.

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::process::Stdio;
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::engine::{ACTIONS, Compare, Input, OscOptions, Snapshot, known_action, known_target};
use greyhold::look::{STAGES, stage};
use greyhold::panel::osc::{LAYOUTS, Layout, Sent, encode, matches};
use greyhold::picture::{BALANCE, BalanceField, FRAMING, TRIM};
use greyhold::show::{Address, Output, check_address};
use serde_json::{Value, json};
use support::osc::{Surface, ask, get, local, run, show, soon, state};
use support::{Process, greyhold};

/// Every method of a page.
fn leaves(node: &Value, out: &mut BTreeMap<String, Value>) {
    match node.get("CONTENTS") {
        Some(contents) => contents.as_object().unwrap().values().for_each(|child| leaves(child, out)),
        None => {
            out.insert(node["FULL_PATH"].as_str().unwrap().to_owned(), node.clone());
        }
    }
}

/// Addresses that the declarations make of that show, written out here another way.
fn declared() -> BTreeSet<String> {
    let (mut all, mut trims, mut in_focus) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    all.extend(BALANCE.iter().map(|p| format!("/balance/{}", p.key)));
    all.extend(FRAMING.iter().map(|p| format!("/framing/{}", p.key)));
    all.extend(["/look/strength", "/view/shot", "/view/timecode"].map(str::to_owned));
    all.extend(["/view/frame", "/view/shuttle"].map(str::to_owned));
    all.extend(["/view/wipe", "/view/angle", "/view/difference"].map(str::to_owned));
    for output in ["desk", "client", "files"] {
        all.extend(TRIM.iter().map(|p| format!("/output/{output}/{}", p.key)));
        all.insert(format!("/output/{output}/display"));
    }
    all.extend(ACTIONS.iter().map(|a| format!("/do/{}", a.name)));
    let mut add = |begin: String, key: &str| {
        let declaration = stage(key).unwrap().declaration();
        let keys = ["on", "strength"].into_iter().chain(declaration.parameters.iter().map(|p| p.key));
        all.extend(keys.map(|k| format!("{begin}/{k}")));
    };
    for (list, key) in [("before", "saturation"), ("finish", "vignette")] {
        add(format!("/{list}/{key}"), key);
        add(format!("/{list}/1"), key);
    }
    for trim in ["/shot/trim", "/group/night/trim"] {
        let stages = STAGES.iter().filter(|d| !d.table).map(|d| d.key);
        let keys = ["look", "contrast-2"].into_iter().chain(stages);
        trims.extend(keys.map(|key| format!("{trim}/{key}")));
    }
    let look: Vec<&str> = STAGES.iter().filter(|d| !d.table).map(|d| d.key).collect();
    // The look's first stage is in focus.
    let parameters = stage(look[0]).unwrap().declaration().parameters.len().min(9);
    in_focus.extend(["/focus/on", "/focus/strength"].map(str::to_owned));
    in_focus.extend((1..=parameters).map(|n| format!("/focus/{n}")));
    for (at, key) in look.iter().enumerate() {
        add(format!("/look/{key}"), key);
        add(format!("/look/{}", at + 1), key);
    }
    add(format!("/look/{}", look.len() + 1), "contrast");
    all.extend(trims);
    all.extend(in_focus);
    all
}

#[test]
fn every_parameter_is_reached_and_held_to_its_range() {
    let r = run(local());
    let mut surface = Surface::start(r.address.port());
    let (status, page) = r.get("/");
    assert_eq!(status, 200);
    let mut all = BTreeMap::new();
    leaves(&page, &mut all);
    assert_eq!(all.keys().cloned().collect::<BTreeSet<_>>(), declared());

    let mut numbers = 0;
    for (i, (path, node)) in all.iter().enumerate() {
        let address = &path[1..];
        let text = node["DESCRIPTION"].as_str().unwrap();
        assert!(!text.is_empty() && node["FULL_PATH"] == json!(path), "{path}");
        // These have a test of their own: they lead elsewhere, or show pictures.
        if [
            "/focus/",
            "/view/frame",
            "/view/shuttle",
            "/view/wipe",
            "/view/angle",
            "/view/difference",
            "/view/still",
        ]
        .iter()
        .any(|own| path.starts_with(own))
        {
            assert_eq!(node["ACCESS"], json!(3), "{path}");
            continue;
        }
        if node["ACCESS"] != json!(3) {
            let wanted = if path.starts_with("/do/") { (json!("T"), 2) } else { (json!("s"), 1) };
            assert_eq!((node["TYPE"].clone(), node["ACCESS"].as_i64().unwrap()), wanted, "{path}");
            continue;
        }
        let page = |what: &str, wanted: Value| {
            // As text: our reader of JSON may be a last bit off.
            let found = ask(r.address, &format!("{path}?VALUE")).unwrap();
            assert_eq!(found, (200, json!({ "VALUE": [wanted] }).to_string()), "{path} {what}");
        };
        match node["TYPE"].as_str().unwrap() {
            "f" => {
                let range = &node["RANGE"][0];
                let (min, max) = (range["MIN"].as_f64().unwrap(), range["MAX"].as_f64().unwrap());
                let declared = Address::parse(address).unwrap();
                let s = r.engine.snapshot();
                let p = s.show.resolve(&declared, s.shot).unwrap().parameter();
                assert_eq!((min, max), (p.min, p.max), "{path}");
                assert_eq!(node["UNIT"].is_null(), p.unit.suffix().is_empty(), "{path}");
                // A double is kept to its last bit; a float is the shortest decimal number that is that float.
                let value = min + (max - min) * (0.13 + 0.7 * ((i * 37 % 100) as f64 / 100.0));
                surface.send(path, json!([["d", value]]));
                r.becomes(address, value);
                page("after a double", json!(value));
                let value = value * 0.5 + p.default * 0.5;
                let float: f64 = (value as f32).to_string().parse().unwrap();
                surface.float(path, value);
                r.becomes(address, float);
                page("after a float", json!(float));
                for (out, end) in [(min - 1e6, min), (max + 1e6, max)] {
                    surface.float(path, out);
                    if node["CLIPMODE"] == json!(["both"]) {
                        r.becomes(address, end);
                    } else {
                        // The declaration's own rule: a circle goes round.
                        r.becomes(address, p.held(out));
                        assert!((min..=max).contains(&r.value(address)));
                    }
                }
                // Whole numbers will do.
                surface.send(path, json!([["i", 0]]));
                r.becomes(address, p.held(0.0));
                surface.send(&format!("{path}/reset"), json!([]));
                r.becomes(address, p.default);
                surface.send(&format!("{path}/turn"), json!([["f", 2.0]]));
                r.becomes(address, p.held(p.default + 2.0 * p.step));
                numbers += 1;
            }
            "i" => {
                let values = node["RANGE"][0]["VALS"].as_array().unwrap();
                for value in values.iter().rev() {
                    surface.send(path, json!([["i", value]]));
                    r.becomes(address, value.as_f64().unwrap());
                    page("after a choice", value.clone());
                }
                surface.float(path, 1e9);
                r.becomes(address, (values.len() - 1) as f64);
                let name = Address::parse(address).unwrap();
                let s = r.engine.snapshot();
                let choices = s.show.resolve(&name, s.shot).unwrap().parameter().choices();
                surface.send(path, json!([["s", choices[0]]]));
                r.becomes(address, 0.0);
                numbers += 1;
            }
            "T" => {
                for (args, on) in [
                    (json!([["F", null]]), false),
                    (json!([["T", null]]), true),
                    (json!([["i", 0]]), false),
                    (json!([["f", 1.0]]), true),
                    (json!([["F", null]]), false),
                ] {
                    surface.send(path, args);
                    soon(path, || (r.get(path).1["VALUE"] == json!([on])).then_some(()));
                }
            }
            "s" => {
                let ids = node["RANGE"][0]["VALS"].as_array().unwrap();
                assert!(ids.len() > 3);
                let output = Output::ALL.into_iter().find(|o| path.contains(o.key())).unwrap();
                for id in [&ids[2], &ids[0]] {
                    surface.send(path, json!([["s", id]]));
                    soon(path, || {
                        (json!(r.engine.snapshot().show.outputs.get(output).display.id) == *id).then_some(())
                    });
                    page("after a display", id.clone());
                }
            }
            other => panic!("{path} is a {other}"),
        }
    }
    assert!(numbers > 100, "{numbers}");
    let s = state(&r.engine);
    assert_eq!((s.bad, s.unknown, s.lost), (0, 0, 0), "{s:?}");
    assert!(r.engine.snapshot().show.chain.look.iter().all(|stage| !stage.on), "switches are in the show");
    // What is in the snapshot is what is saved.
    let saved = r.engine.snapshot().show.clone();
    let dir = r.engine.snapshot().dir.clone();
    r.engine.stop().unwrap();
    let read = greyhold::show::load(&dir).unwrap();
    assert_eq!(read.chain, saved.chain);
    assert_eq!(read.shots[0].balance, saved.shots[0].balance);
}

#[test]
fn patterns_bundles_actions_and_undo() {
    let r = run(local());
    let mut surface = Surface::start(r.address.port());
    let steps = || r.engine.snapshot().steps.0;
    let strengths = || r.engine.snapshot().show.chain.look.iter().map(|s| s.strength).collect::<Vec<_>>();

    // A pattern reaches what it stands for, each parameter once, as one step.
    surface.send("/look/{contrast,split-tone,grain}/strength", json!([["f", 0.5]]));
    r.becomes("look/contrast/strength", 0.5);
    r.becomes("look/grain/strength", 0.5);
    assert_eq!(strengths().iter().filter(|s| **s == 0.5).count(), 3);
    assert_eq!(steps(), 1);
    // Position and kind are one parameter: it is turned once.
    let step = 0.01;
    surface.float("/look/*/strength/turn", 10.0);
    r.becomes("look/contrast/strength", 0.5 + 10.0 * step);
    r.becomes("look/strength", 1.0);
    assert_eq!(steps(), 2);
    surface.send("/do/undo", json!([]));
    r.becomes("look/contrast/strength", 0.5);
    surface.send("/do/undo", json!([["i", 1]]));
    surface.send("/do/undo", json!([["i", 0]]));
    r.becomes("look/contrast/strength", 0.0);
    assert_eq!((steps(), r.engine.snapshot().steps.1), (0, 2));
    // No pattern presses buttons or resets anything unless it says so.
    surface.float("/*/*", 0.25);
    r.becomes("look/strength", 0.25);
    r.stays("balance/exposure", 0.25);
    assert_eq!(r.engine.snapshot().compare, Compare::After);
    surface.send("/balance/*/reset", json!([]));
    r.becomes("balance/exposure", 0.0);
    r.becomes("balance/slope-r", 1.0);

    // A bundle is one step, in its order, however deep, at whatever time.
    let before = steps();
    surface.bundle(
        json!([
            ["/balance/exposure", [["f", 1.0]]],
            ["/balance/exposure/turn", [["i", 2]]],
            ["/balance/tint", [["d", 3.5]]],
        ]),
        3,
    );
    r.becomes("balance/tint", 3.5);
    r.becomes("balance/exposure", 1.0 + 2.0 * 0.05);
    assert_eq!(steps(), before + 1);
    surface.send("/do/undo", json!([]));
    r.becomes("balance/exposure", 0.0);
    r.becomes("balance/tint", 0.0);

    // One gesture is one step; a rest begins another; another surface's is another.
    let mut other = Surface::start(r.address.port());
    let before = steps();
    for i in 1..=20 {
        surface.float("/balance/exposure", f64::from(i) / 16.0);
    }
    r.becomes("balance/exposure", 1.25);
    assert_eq!(steps(), before + 1);
    other.float("/balance/exposure", 2.0);
    r.becomes("balance/exposure", 2.0);
    assert_eq!(steps(), before + 2);
    std::thread::sleep(Duration::from_millis(600));
    other.float("/balance/exposure", 3.0);
    r.becomes("balance/exposure", 3.0);
    assert_eq!(steps(), before + 3);
    // What is so already is no step.
    std::thread::sleep(Duration::from_millis(600));
    other.float("/balance/exposure", 3.0);
    r.stays("balance/exposure", 3.0);
    assert_eq!(steps(), before + 3);

    // Actions are held as long as their button is, and let go when the surface leaves.
    let compare = |wanted: Compare| {
        soon("the comparison", || (r.engine.snapshot().compare == wanted).then_some(()));
    };
    surface.float("/do/before", 1.0);
    compare(Compare::Before);
    surface.float("/do/before", 0.0);
    compare(Compare::After);
    surface.send("/do/before", json!([["T", null]]));
    compare(Compare::Before);
    surface.send("/bye", json!([]));
    compare(Compare::After);
    // Shots: the current one's balance is meant.
    surface.bundle(json!([["/do/next-shot", []], ["/balance/exposure", [["f", -2.0]]]]), 0);
    soon("the second shot", || (r.engine.snapshot().shot == 1).then_some(()));
    r.becomes("balance/exposure", -2.0);
    assert_eq!(r.engine.snapshot().show.shots[0].balance.get(BalanceField::Exposure), 3.0);

    // Stages that the show lacks are nobody's mistake; addresses that no show has are counted, and no packet is bad.
    for address in
        ["/look/lut/strength", "/before/grain/size", "/finish/7/strength", "/finish/grain/on", "/nothing*"]
    {
        surface.float(address, 0.5);
    }
    surface.float("/look/contrast/colour", 0.5);
    surface.float("/page1/slider1", 0.5);
    surface.send("/do/sing", json!([]));
    soon("unknown addresses", || (state(&r.engine).unknown >= 3).then_some(()));
    assert_eq!((state(&r.engine).bad, state(&r.engine).unknown), (0, 3));
    // An argument that means nothing there is a bad packet, and nothing of its bundle is done.
    surface.bundle(json!([["/look/strength", [["f", 0.75]]], ["/balance/tint", [["s", "green"]]]]), 0);
    soon("a bad packet", || (state(&r.engine).bad == 1).then_some(()));
    r.stays("look/strength", 0.25);
    let note = r.engine.snapshot().panel.note.clone().unwrap();
    assert_eq!(note, "OSC: a packet could not be read: /balance/tint: it takes no such argument");
    r.engine.stop().unwrap();
}

#[test]
fn it_listens_where_it_is_told() {
    // An address of this machine's that is not the loopback's, if it has one.
    let outside = UdpSocket::bind("0.0.0.0:0").and_then(|s| {
        s.connect("192.0.2.1:9")?;
        s.local_addr()
    });
    let outside = outside.ok().map(|a| a.ip()).filter(|ip| !ip.is_loopback() && !ip.is_unspecified());
    // Linux answers to all of 127.0.0.0/8.
    let mut others: Vec<std::net::IpAddr> = vec!["127.0.0.2".parse().unwrap()];
    others.extend(outside);

    let r = run(local());
    assert!(r.address.ip().is_loopback());
    assert_eq!(state(&r.engine).page, Some(r.address));
    let mut surface = Surface::start(r.address.port());
    for ip in &others {
        surface.order(json!(["to", ip.to_string()]));
        surface.float("/look/strength", 0.25);
        r.stays("look/strength", 1.0);
        assert!(TcpStream::connect((*ip, r.address.port())).is_err(), "{ip}");
    }
    surface.order(json!(["to", "127.0.0.1"]));
    surface.float("/look/strength", 0.25);
    r.becomes("look/strength", 0.25);

    // Told to listen everywhere, it does.
    r.engine.send(Input::Osc(OscOptions { address: "0.0.0.0:0".parse().unwrap(), layout: None }));
    let address = soon("another port", || state(&r.engine).address.filter(|a| a.ip().is_unspecified()));
    let mut surface = Surface::start(address.port());
    for (i, ip) in others.iter().enumerate() {
        surface.order(json!(["to", ip.to_string()]));
        let value = 0.5 + i as f64 / 8.0;
        surface.float("/look/strength", value);
        r.becomes("look/strength", value);
        assert_eq!(
            get(SocketAddr::new(*ip, address.port()), "/look/strength?VALUE").1,
            json!({ "VALUE": [value] })
        );
        let info = get(SocketAddr::new(*ip, address.port()), "/?HOST_INFO").1;
        assert_eq!((&info["OSC_IP"], &info["OSC_PORT"]), (&json!(ip.to_string()), &json!(address.port())));
    }
    // The first port is free again.
    drop(UdpSocket::bind(r.address).expect("the first port"));

    // A port that is taken is said, and the show goes on.
    let taken = UdpSocket::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap();
    r.engine.send(Input::Osc(OscOptions { address, layout: None }));
    let trouble = soon("the trouble", || r.engine.snapshot().trouble.clone());
    let said = format!("OSC cannot listen on {address}: another program has it (");
    assert!(trouble.starts_with(&said), "{trouble}");
    assert!(r.engine.snapshot().panel.note.as_ref().unwrap().starts_with(&said));
    let input = Input::Turn { target: "look/strength".into(), detents: 1.0, control: 1 };
    let now = r.value("look/strength");
    r.engine.send(input);
    r.becomes("look/strength", now + 0.01);
    // So is that of the page, and OSC goes on.
    drop(taken);
    let page = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = page.local_addr().unwrap();
    r.engine.send(Input::Osc(OscOptions { address, layout: None }));
    let said = format!("no OSCQuery page on {address}: another program has it (");
    soon("the other trouble", || r.engine.snapshot().trouble.clone().filter(|t| t.starts_with(&said)));
    let mut surface = Surface::start(address.port());
    surface.float("/look/strength", 0.125);
    r.becomes("look/strength", 0.125);
    r.engine.stop().unwrap();
}

#[test]
fn surfaces_are_told_what_changes_and_no_echo() {
    let r = run(local());
    let mut surface = Surface::start(r.address.port());
    surface.send("/hello", json!([]));
    // Everything that can be read.
    surface.comes("/view/timecode", |_| true);
    let mut all = BTreeMap::new();
    leaves(&r.get("/").1, &mut all);
    let readable: BTreeSet<String> =
        all.iter().filter(|(_, n)| n["ACCESS"] != json!(2)).map(|(p, _)| p.clone()).collect();
    let told = soon("everything", || {
        let heard = surface.heard.lock().unwrap();
        let told: BTreeMap<String, Value> = heard
            .iter()
            .filter_map(|(_, v)| Some((v.get("address")?.as_str()?.to_owned(), v["args"][0].clone())))
            .collect();
        (told.len() == readable.len()).then_some(told)
    });
    assert_eq!(told.keys().cloned().collect::<BTreeSet<_>>(), readable);
    for (path, value) in &told {
        let page = &all[path]["VALUE"][0];
        match (value.as_f64(), page.as_f64()) {
            (Some(told), Some(page)) => assert_eq!(told as f32, page as f32, "{path}"),
            _ => assert_eq!(value, page, "{path}"),
        }
    }
    assert_eq!(told["/view/shot"], json!("first"));
    surface.told();

    // A change from elsewhere is told at once, at every address of it.
    let asked = Instant::now();
    r.engine.send(Input::Turn { target: "look/contrast/strength".into(), detents: 30.0, control: 1 });
    let number = 1 + STAGES.iter().filter(|d| !d.table).position(|d| d.key == "contrast").unwrap();
    let is = |wanted: f64| move |v: &Value| v.as_f64().is_some_and(|v| (v - wanted).abs() < 1e-6);
    surface.comes("/look/contrast/strength", is(0.3));
    surface.comes(&format!("/look/{number}/strength"), is(0.3));
    // It is the look's first stage, the one in focus.
    assert_eq!(number, 1);
    surface.comes("/focus/strength", is(0.3));
    assert!(asked.elapsed() < Duration::from_secs(1));
    assert_eq!(surface.told().len(), 3);

    // Its own is not, now or later; the other surface is told.
    let mut other = Surface::start(r.address.port());
    other.send("/hello", json!([]));
    other.comes("/view/timecode", |_| true);
    for i in 0..40 {
        surface.float("/balance/exposure", f64::from(i) / 16.0);
        std::thread::sleep(Duration::from_millis(5));
    }
    other.comes("/balance/exposure", is(39.0 / 16.0));
    std::thread::sleep(Duration::from_millis(400));
    let told = surface.told();
    assert!(told.iter().all(|(_, a, _)| a != "/balance/exposure"), "{told:?}");
    // A value that was held to its range is told, when the hand has gone.
    surface.float("/balance/exposure", 99.0);
    let sent = Instant::now();
    surface.comes("/balance/exposure", is(8.0));
    let at = surface.told().into_iter().find(|(_, a, _)| a == "/balance/exposure").unwrap().0;
    assert!(at - sent > Duration::from_millis(150), "{:?} after it was sent", at - sent);
    // What is turned is told at once: only who turned it knows by how much.
    surface.float("/balance/tint/turn", 2.0);
    surface.comes("/balance/tint", is(0.5));
    // What is asked for is told.
    surface.told();
    surface.send("/balance/saturation", json!([]));
    surface.comes("/balance/saturation", is(1.0));

    // A storm is told no more than thirty times a second, and its end is told.
    other.told();
    let start = Instant::now();
    let mut last = 0.0;
    while start.elapsed() < Duration::from_secs(1) {
        last = (last + 0.01) % 3.0;
        surface.float("/balance/exposure", last);
    }
    other.comes("/balance/exposure", is(last));
    let span = start.elapsed().as_secs_f64();
    let told = other.told().into_iter().filter(|(_, a, _)| a == "/balance/exposure").count();
    assert!((3..=(31.0 * span) as usize + 2).contains(&told), "{told} in {span} s");

    // Another shot: everything of it.
    surface.told();
    other.told();
    surface.send("/do/next-shot", json!([]));
    surface.comes("/view/shot", |v| v == "second");
    surface.comes("/balance/exposure", is(0.0));
    soon("all of it", || {
        let addresses: BTreeSet<String> = {
            let heard = surface.heard.lock().unwrap();
            heard.iter().filter_map(|(_, v)| Some(v.get("address")?.as_str()?.to_owned())).collect()
        };
        (addresses == readable).then_some(())
    });
    // While it plays, the time.
    surface.told();
    surface.send("/do/play", json!([]));
    soon("the time", || {
        let heard = surface.heard.lock().unwrap();
        let times: BTreeSet<String> = heard
            .iter()
            .filter(|(_, v)| v["address"] == "/view/timecode")
            .map(|(_, v)| v["args"][0].to_string())
            .collect();
        (times.len() > 3).then_some(())
    });
    surface.send("/do/play", json!([["i", 1]]));
    soon("a stop", || (!r.engine.snapshot().playing).then_some(()));

    // Who says goodbye is told nothing; who names a port is told there, whatever port it sends from.
    assert_eq!(state(&r.engine).surfaces, 2);
    surface.send("/bye", json!([]));
    soon("its leave", || (state(&r.engine).surfaces == 1).then_some(()));
    other.send("/bye", json!([]));
    soon("its leave", || (state(&r.engine).surfaces == 0).then_some(()));
    std::thread::sleep(Duration::from_millis(100));
    surface.told();
    other.send("/hello", json!([["i", surface.port]]));
    surface.comes("/view/shot", |v| v == "second");
    let mut third = Surface::start(r.address.port());
    third.float("/balance/tint", 1.0);
    r.becomes("balance/tint", 1.0);
    assert_eq!(state(&r.engine).surfaces, 1);
    // Seven more, and more: eight are remembered.
    let sockets: Vec<UdpSocket> = (0..12).map(|_| UdpSocket::bind("127.0.0.2:0").unwrap()).collect();
    let hello = encode(&[("/hello", Sent::Text(String::new()))]).remove(0);
    for socket in &sockets {
        // Without argument: the address and an empty list of tags.
        let bytes = [&hello[..8], b",\0\0\0"].concat();
        socket.send_to(&bytes, r.address).unwrap();
    }
    soon("eight", || (state(&r.engine).surfaces == 8).then_some(()));
    r.engine.stop().unwrap();
}

/// The stage in focus and the transport: plainly, by a pattern that says so, by a layout's faders, on the page, and told.
#[test]
fn focus_and_transport() {
    let layout = r#"
        name = "t"
        [[control]]
        osc = "/1/focus"
        coding = "absolute"
        target = "focus/strength"
        [[control]]
        osc = "/1/frame"
        coding = "absolute"
        takeover = "jump"
        target = "view/frame"
        [[control]]
        osc = "/1/jog"
        coding = "relative"
        target = "view/frame"
        [[control]]
        osc = "/1/switch"
        coding = "relative"
        target = "focus/on"
    "#;
    let layout = Layout::parse(layout, "t.toml", &known_target, &known_action).unwrap();
    assert!(
        Layout::parse(
            "name = \"t\"\n[[button]]\nosc = \"/view/frame\"\naction = \"undo\"",
            "t",
            &known_target,
            &known_action
        )
        .is_err()
    );
    let r = run(OscOptions { layout: Some(Arc::new(layout)), ..local() });
    let mut surface = Surface::start(r.address.port());
    surface.send("/hello", json!([]));
    let snapshot = || r.engine.snapshot();
    let is = |what: &str, is: &dyn Fn(&Snapshot) -> bool| soon(what, || is(&snapshot()).then_some(()));
    soon("the shot's twelve frames", || (snapshot().frames == 12).then_some(()));

    // Frames, from 0, no further than they go; what is no whole frame is the nearest.
    surface.send("/view/frame", json!([["i", 5]]));
    is("frame 5", &|s| s.frame == 5 && !s.playing);
    let (_, page) = r.get("/view/frame");
    assert_eq!((&page["VALUE"], &page["RANGE"]), (&json!([5]), &json!([{ "MIN": 0, "MAX": 11 }])));
    surface.float("/view/frame", 7.4);
    is("frame 7", &|s| s.frame == 7);
    surface.float("/view/frame/turn", -3.0);
    is("three back", &|s| s.frame == 4);
    surface.float("/view/frame", 1e9);
    is("the last", &|s| s.frame == 11);
    surface.comes("/view/frame", |v| *v == json!(11));
    surface.send("/view/frame/reset", json!([]));
    is("the first", &|s| s.frame == 0);
    surface.float("/1/frame", 1.0);
    is("a fader's end", &|s| s.frame == 11);
    surface.float("/1/frame", 0.5);
    is("its middle", &|s| s.frame == 6);
    surface.float("/1/jog", -2.0);
    is("two back", &|s| s.frame == 4);
    surface.comes("/1/frame", |v| v.as_f64().is_some_and(|v| (v - 4.0 / 11.0).abs() < 1e-6));
    assert_eq!(snapshot().steps.0, 0, "nothing of it is in the show");

    // Speeds; while it plays, frames are told no more often than anything is.
    surface.told();
    surface.float("/view/shuttle", -0.5);
    is("half as fast, backwards", &|s| s.speed == -0.5 && s.playing);
    surface.float("/view/shuttle", 100.0);
    is("the fastest", &|s| s.speed == 8.0);
    surface.told();
    std::thread::sleep(Duration::from_secs(1));
    let told = surface.told().iter().filter(|(_, address, _)| address == "/view/frame").count();
    assert!((2..=33).contains(&told), "{told} times a second");
    surface.send("/view/shuttle/reset", json!([]));
    is("rest", &|s| !s.playing && s.speed == 0.0);
    surface.comes("/view/shuttle", |v| *v == json!(0.0));

    // The stage in focus, under its own address and that one; another comes into focus.
    let declaration = |s: &Snapshot, at: usize| s.show.chain.look[at].declaration();
    surface.float("/focus/strength", 0.25);
    is("its strength", &|s| s.show.chain.look[0].strength == 0.25);
    surface.comes("/look/1/strength", |v| *v == json!(0.25));
    let text = r.get("/focus").1["DESCRIPTION"].as_str().unwrap().to_owned();
    assert!(text.contains(declaration(&snapshot(), 0).key), "{text}");
    surface.send("/do/focus-next", json!([]));
    is("the second in focus", &|s| s.focus.is_some_and(|focus| focus.at == 1));
    surface.comes("/focus/strength", |v| *v == json!(0.0));
    let first = &declaration(&snapshot(), 1).parameters[0];
    let goal = first.held(first.default + 3.0 * first.step);
    surface.float("/focus/1/turn", 3.0);
    is("its first parameter", &|s| s.show.chain.look[1].values[0] == goal);
    surface.send("/focus/on", json!([["F", null]]));
    is("it off", &|s| !s.show.chain.look[1].on && s.show.chain.look[0].on);
    surface.float("/1/switch", 1.0);
    is("it on", &|s| s.show.chain.look[1].on);
    // A fader is picked up anew for another stage.
    surface.float("/1/focus", 0.0);
    surface.float("/1/focus", 0.3);
    let most = declaration(&snapshot(), 1).strength.max;
    is("by the fader", &|s| (s.show.chain.look[1].strength - 0.3 * most).abs() < 1e-6);
    surface.send("/do/focus-previous", json!([]));
    is("the first in focus", &|s| s.focus.is_some_and(|focus| focus.at == 0));
    surface.float("/1/focus", 0.8);
    r.stays("look/1/strength", 0.25);
    // A pattern means them if it says so, and only then.
    let (before, frame) = (snapshot().show.chain.look[0].values.clone(), snapshot().frame);
    surface.float("/*/*", 0.5);
    r.becomes("look/strength", 0.5);
    let s = snapshot();
    assert_eq!((&s.show.chain.look[0].values, s.frame, s.speed), (&before, frame, 0.0));
    surface.float("/focus/s*", 0.75);
    r.becomes("look/1/strength", 0.75);
    // What the stage lacks is nobody's mistake; there is no tenth.
    surface.float("/focus/9", 0.5);
    surface.float("/focus/10", 0.5);
    soon("an unknown address", || (state(&r.engine).unknown == 1).then_some(()));
    assert_eq!(state(&r.engine).bad, 0);
    r.engine.stop().unwrap();
}

#[test]
fn a_tablet_with_fixed_addresses() {
    let (file, text) = LAYOUTS[0];
    let layout = Layout::parse(text, file, &check_address, &known_action).unwrap_or_else(|e| panic!("{e}"));
    assert!(layout.faders.len() > 5 && layout.pushes.len() > 4);
    let r = run(OscOptions { layout: Some(Arc::new(layout)), ..local() });
    let mut surface = Surface::start(r.address.port());
    surface.send("/hello", json!([]));
    // Exposure is −8 … 8 stops: 0 is the middle.
    assert_eq!(surface.comes("/page1/slider1", |_| true), json!(0.5));
    // Nothing moves until the fader comes past where the parameter stands.
    surface.float("/page1/slider1", 0.9);
    r.stays("balance/exposure", 0.0);
    surface.told();
    // Its hand gone, the fader is told to go back.
    surface.comes("/page1/slider1", |v| *v == json!(0.5));
    surface.float("/page1/slider1", 0.375);
    r.becomes("balance/exposure", -2.0);
    surface.float("/page1/slider1", 0.75);
    r.becomes("balance/exposure", 4.0);
    surface.comes("/balance/exposure", |v| *v == json!(4.0));
    // What turns turns.
    surface.float("/page1/wheel1", 5.0);
    soon("five fifths of a step", || ((r.value("balance/exposure") - 4.05).abs() < 1e-12).then_some(()));
    surface.comes("/page1/slider1", |v| v.as_f64().is_some_and(|v| (v - 12.05 / 16.0).abs() < 1e-6));
    // Another shot has to be picked up again.
    surface.float("/page2/key3", 1.0);
    surface.float("/page2/key3", 0.0);
    soon("the second shot", || (r.engine.snapshot().shot == 1).then_some(()));
    surface.float("/page1/slider1", 0.8);
    r.stays("balance/exposure", 0.0);
    surface.float("/page2/key5", 1.0);
    soon("what was undone", || (r.engine.snapshot().shot == 0).then_some(()));
    assert_eq!((state(&r.engine).bad, state(&r.engine).unknown), (0, 0));
    r.engine.stop().unwrap();
}

#[test]
fn patterns_are_fnmatch_s() {
    let text = std::fs::read_to_string("tests/data/osc_patterns.csv").unwrap();
    let parts = ["a", "b", "c", "ab", "ba", "aab", "bba", "abab", "a-b", "cab"];
    let (mut yes, mut no) = (0, 0);
    for line in text.lines().skip(1) {
        let (pattern, found) = line.split_once('|').unwrap();
        let found: BTreeSet<&str> = found.split(' ').filter(|f| !f.is_empty()).collect();
        let addresses: Vec<String> = match pattern.starts_with("/x/") {
            false => parts.iter().map(|p| format!("/{p}")).collect(),
            true => parts[..4]
                .iter()
                .flat_map(|a| parts[..6].iter().map(move |b| format!("/x/{a}/{b}")))
                .chain(["/x/a".to_owned(), "/x/a/a/a".to_owned()])
                .collect(),
        };
        for address in &addresses {
            assert_eq!(matches(pattern, address), found.contains(&**address), "{pattern} and {address}");
        }
        yes += found.len();
        no += addresses.len() - found.len();
    }
    assert!(yes > 1000 && no > 5000, "{yes} and {no}");
}

#[test]
fn the_command_says_who_can_hear() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("show");
    assert!(greyhold().args(["new", folder.to_str().unwrap()]).status().unwrap().success());
    // Without a screen it ends; what it says before that is looked at.
    let said = |arguments: &[&str]| {
        let mut command = greyhold();
        command.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").arg("open").arg(&folder).args(arguments);
        let out = command.output().unwrap();
        assert!(!out.status.success());
        String::from_utf8_lossy(&out.stderr).into_owned()
    };
    assert!(!said(&["--osc", "9000"]).contains("caution"));
    assert!(!said(&["--osc", "[::1]:9000"]).contains("caution"));
    let caution = said(&["--osc", "0.0.0.0:9000"]);
    assert!(
        caution.contains("caution: OSC on 0.0.0.0:9000 has no password")
            && caution.contains("move the grade"),
        "{caution}"
    );
    assert!(said(&["--osc", "nine"]).contains("a port (9000) or an address with a port"));
    assert!(said(&["--osc", "0"]).contains("is accepted"));
    assert!(said(&["--osc", "9000", "--osc-layout", "none"]).contains("none of osc-tablet"));
    assert!(said(&["--osc-layout", "osc-tablet"]).contains("--osc"));
}

#[test]
fn the_desk_opens_with_it() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    greyhold::show::save(&show, dir.path()).unwrap();
    let port = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let screen = support::Screen::start(1600, 900);
    let mut command = greyhold();
    command.env("DISPLAY", &screen.display).arg("open").arg(dir.path());
    command.args(["--client", "closed", "--osc", &port.to_string(), "--osc-layout", "osc-tablet"]);
    command.stdout(Stdio::null());
    let mut desk = Process::start(&mut command, "greyhold");
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    soon("the page", || TcpStream::connect(address).ok());
    let mut surface = Surface::start(port);
    surface.send("/hello", json!([]));
    assert_eq!(surface.comes("/page1/slider1", |_| true), json!(0.5));
    surface.float("/balance/exposure", 0.5);
    soon("it", || (get(address, "/balance/exposure?VALUE").1 == json!({ "VALUE": [0.5] })).then_some(()));
    soon("it in the file", || {
        let saved = greyhold::show::load(dir.path()).ok()?;
        (saved.shots[0].balance.get(BalanceField::Exposure) == 0.5).then_some(())
    });
    assert!(desk.0.try_wait().unwrap().is_none(), "it goes on");
    desk.stop();
}
