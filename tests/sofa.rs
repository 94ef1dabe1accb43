//! The sofa: clients watch a running engine in a real browser, in the picture's own colours, and answer.

mod support;

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::{apply, encoding};
use greyhold::demo::SCENES;
use greyhold::engine::{
    CACHE, Canvas, Command, Compare, Curtain, Handle, Input, Link, Live, Options, View, recipe_of_view, start,
};
use greyhold::gpu::{Gpu, Request};
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{Balance, cpu};
use greyhold::serve::{Book, Role, ServeOptions, Server};
use greyhold::show::{Shot, Show, known_display, save, shipped_looks};
use support::browser::{Browser, Page};
use support::wait_for;

const SIZE: (u32, u32) = (480, 270);
const FRAMES: u32 = 8;

/// A show of the demo's first two scenes, small, with a look.
fn show(dir: &Path) -> Show {
    let mut show = Show::new("Winter railway");
    show.raster = Some(SIZE);
    for scene in &SCENES[..2] {
        let folder = dir.join(scene.name);
        std::fs::create_dir_all(&folder).unwrap();
        let camera = encoding(scene.encoding).unwrap();
        let (matrix, curve) = (camera.from_acescg().rows::<f32>(), camera.curve.values::<f32>());
        let prepared = scene.prepare(SIZE.0, SIZE.1);
        for frame in 0..FRAMES {
            let code = |v: f32| (v * 1023.0).round().clamp(0.0, 1023.0) as u16;
            let light = prepared.frame(frame * 6);
            let pixels: Vec<[u16; 3]> =
                light.iter().map(|p| apply(&matrix, *p).map(|v| code(curve.encode(v)))).collect();
            let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
            write_image(&folder.join(format!("{}.{frame:04}.dpx", scene.name)), ImageFormat::Dpx, &image)
                .unwrap();
        }
        let source = Path::new(scene.name).join(format!("{}.####.dpx", scene.name));
        show.shots.push(Shot::new(scene.name, source, 0..FRAMES.into(), camera));
    }
    let look = shipped_looks().iter().find(|l| l.name == "Low-contrast print").unwrap();
    show.apply(look.change(1.0)).unwrap();
    save(&show, dir).unwrap();
    show
}

fn engine(dir: &Path, show: Show) -> Handle {
    let gpu = Gpu::headless(Request::default()).unwrap();
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(gpu, options).unwrap()
}

fn server(engine: &Handle) -> Server {
    let options = ServeOptions { address: "127.0.0.1:0".parse().unwrap(), ..ServeOptions::default() };
    Server::start(options, engine.link().unwrap()).unwrap()
}

fn invited(server: &Server, role: Role) -> String {
    format!("{}#{}", server.url(), server.invitation(role).word)
}

const AFTER: View = View { canvas: Canvas::Srgb, before: false };

/// Waits until a page shows the engine's picture exactly, and compares its codes with the GPU's and the CPU twin's.
fn shows_exactly(
    browser: &mut Browser,
    page: &Page,
    link: &Link,
    gpu: &Gpu,
    view: View,
    canvas: &str,
    what: &str,
) {
    let display = view.canvas.display();
    browser.comes(
        page,
        what,
        &format!("document.getElementById({canvas:?}).dataset.exact === 'true' && document.getElementById({canvas:?}).dataset.display === {display:?}"),
    );
    let space = if view.canvas == Canvas::P3 { "display-p3" } else { "srgb" };
    // What is under way may come yet.
    let mut last = String::new();
    let (picture, codes) = wait_for(what, || {
        let picture = link.watched(view)?;
        let (size, codes) = browser.codes(page, canvas, space);
        let gpu: Vec<u8> =
            gpu.read_screen(&picture.output).unwrap().iter().flat_map(|p| [p[0], p[1], p[2]]).collect();
        let differ = codes.iter().zip(&gpu).filter(|(a, b)| a != b).count();
        last = format!("{size:?} {differ} of {}", gpu.len());
        (size == SIZE && gpu == codes).then_some((picture, codes))
    });
    let snapshot = link.snapshot();
    let path = picture.show.shots[picture.shot].source_path(&snapshot.dir);
    let frame = greyhold::media::open(&path, &Default::default()).unwrap().frame(picture.frame).unwrap();
    let mut recipe = recipe_of_view(&picture.show, picture.shot, view.canvas, picture.frame as u32).unwrap();
    if view.before {
        recipe.balance = Some(Balance::default());
        recipe.stages.clear();
    }
    let twin = cpu::codes(&recipe, &frame, 8, true).pixels;
    let far = twin.iter().flatten().zip(&codes).filter(|(a, b)| a.abs_diff(u16::from(**b)) > 1).count();
    println!("{what}: equal to the GPU's {} codes; {far} more than 1/255 from the CPU twin's", codes.len());
    assert!(
        far * 1000 <= codes.len(),
        "{what}: {far} of {} codes differ from the twin's; {last}",
        codes.len()
    );
}

fn shots_folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("sofa")
}

#[test]
fn a_client_watches_and_answers_in_a_browser() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), show(dir.path()));
    let (gpu, link) = (engine.gpu.clone(), engine.link().unwrap());
    wait_for("a picture", || engine.picture(Live::Client));
    let server = server(&engine);
    let mut browser = Browser::start();
    let b = &mut browser;

    wrong_words_see_nothing(b, &server);
    let page = b.page((1366, 768));
    let begun = Instant::now();
    b.open(&page, &invited(&server, Role::Viewer));
    b.comes(&page, "the picture", "!!document.getElementById('picture')?.dataset.serial");
    let took = begun.elapsed();
    println!("from opening the address to the picture: {took:.0?}");
    assert!(took < Duration::from_secs(2), "{took:?}");
    assert_eq!(b.text(&page, "location.hash"), "", "the word does not stay in the address");
    assert_eq!(b.text(&page, "document.title"), "Winter railway · Greyhold");

    true_colour(b, &page, &link, &gpu);
    moving(b, &page, &engine);
    follows(b, &page, &engine);
    compares(b, &page, &link, &gpu);
    curtain(b, &page, &engine, &link, &gpu);
    answers(b, &page, &engine, &server);
    by_keys_and_to_readers(b, &page);
    sizes(b, &page, &engine, &server);
    stranger(b, &page, &server);
    pocket(b, &server, &engine);

    // Another word: whoever came in by the old one is out.
    server.renew(Role::Viewer).unwrap();
    b.comes(&page, "the door", "document.getElementById('door')?.hidden === false");
    let book = server.book();
    drop(server);
    assert_eq!(Book::read(dir.path()).unwrap(), *book);
    let again = self::server(&engine);
    assert_eq!(*again.book(), *book, "answers survive");
    assert!(!book.notes.is_empty() && !book.approvals.is_empty());
    let page = b.page((1366, 768));
    b.open(&page, &invited(&again, Role::Viewer));
    b.comes(&page, "the notes", "document.getElementById('notes')?.innerText.includes('warmer')");
    drop(again);
    b.comes(&page, "word of the end", "document.getElementById('line-out').innerText.length > 0");
    engine.stop().unwrap();
}

fn wrong_words_see_nothing(b: &mut Browser, server: &Server) {
    let page = b.page((800, 600));
    b.open(&page, &format!("{}#0000-0000-0000", server.url()));
    b.comes(&page, "the door", "document.getElementById('door')?.hidden === false");
    assert!(b.text(&page, "document.getElementById('refused').innerText").contains("does not let you in"));
    assert_eq!(b.value(&page, "fetch('/me').then(a => a.status)"), 401);
    let socket = "new Promise(done => { const s = new WebSocket(`ws://${location.host}/live`); s.onopen = () => done('open'); s.onerror = () => done('refused'); })";
    assert_eq!(b.text(&page, socket), "refused");
    b.screenshot(&page, &shots_folder().join("door.png"));
    // Typed, with a name, it lets in; a cookie that no script sees keeps it.
    let word = server.invitation(Role::Viewer).word;
    b.press(&page, "word");
    b.types(&page, &word.to_uppercase());
    b.press(&page, "name");
    b.types(&page, "Ada");
    b.key(&page, "Enter", 13);
    b.value(&page, "document.getElementById('enter').requestSubmit()");
    b.comes(&page, "the picture", "!!document.getElementById('picture')?.dataset.serial");
    assert_eq!(b.text(&page, "document.cookie"), "");
    assert_eq!(b.text(&page, "fetch('/me').then(a => a.json()).then(w => w.name + w.role)"), "Adaviewer");
    b.value(&page, "fetch('/leave', {method: 'POST'}).then(a => a.status)");
    b.comes(&page, "the door", "document.getElementById('door')?.hidden === false");
    b.open(&page, "about:blank");
}

fn true_colour(b: &mut Browser, page: &Page, link: &Link, gpu: &Gpu) {
    shows_exactly(b, page, link, gpu, AFTER, "picture", "sRGB");
    let p3 = |on: &str| serde_json::json!({"features": [{"name": "color-gamut", "value": on}]});
    b.ask(page, "Emulation.setEmulatedMedia", p3("p3"));
    let view = View { canvas: Canvas::P3, before: false };
    shows_exactly(b, page, link, gpu, view, "picture", "Display P3");
    b.ask(page, "Emulation.setEmulatedMedia", p3(""));
    b.value(page, "document.getElementById('signal').click()");
    let view = View { canvas: Canvas::Signal, before: false };
    shows_exactly(b, page, link, gpu, view, "picture", "the monitor's signal");
    assert!(
        b.text(page, "document.getElementById('about').textContent")
            .contains("Rec. 709 signal shown as sRGB")
    );
    b.value(page, "document.getElementById('signal').click()");
    shows_exactly(b, page, link, gpu, AFTER, "picture", "sRGB again");
}

/// While it plays, what comes is near the CPU twin of the frame that it says it is.
fn moving(b: &mut Browser, page: &Page, engine: &Handle) {
    engine.send(Input::Command(Command::TogglePlay));
    b.comes(page, "a moving picture", "document.getElementById('picture').dataset.exact === 'false'");
    let mut frames = std::collections::BTreeSet::new();
    let start = Instant::now();
    while frames.len() < 3 && start.elapsed() < support::PATIENCE {
        let (size, codes, about) = b.codes_and_about(page, "picture", "srgb");
        if about["exact"] != "false" {
            continue;
        }
        let frame: u64 = about["frame"].as_str().unwrap().parse().unwrap();
        if !frames.insert(frame) {
            continue;
        }
        let snapshot = engine.snapshot();
        let path = snapshot.show.shots[0].source_path(&snapshot.dir);
        let image = greyhold::media::open(&path, &Default::default()).unwrap().frame(frame).unwrap();
        let recipe = recipe_of_view(&snapshot.show, 0, Canvas::Srgb, frame as u32).unwrap();
        let twin = cpu::codes(&recipe, &image, 8, true).pixels;
        assert_eq!(size, SIZE);
        let mut off: Vec<u16> =
            twin.iter().flatten().zip(&codes).map(|(a, b)| a.abs_diff(u16::from(*b))).collect();
        off.sort_unstable();
        let mean = off.iter().map(|v| f64::from(*v)).sum::<f64>() / off.len() as f64;
        let p99 = off[off.len() * 99 / 100];
        println!("moving frame {frame}: mean {mean:.2}/255, p99 {p99}/255");
        assert!(mean <= 2.0 && p99 <= 6, "frame {frame}: mean {mean}, p99 {p99}");
    }
    assert!(frames.len() >= 3, "only frames {frames:?} were seen");
    engine.send(Input::Command(Command::TogglePlay));
    let stopped = Instant::now();
    wait_for("the stop", || (!engine.snapshot().playing).then_some(()));
    b.comes(page, "the exact picture", "document.getElementById('picture').dataset.exact === 'true'");
    println!("from stop to the exact picture: {:.0?}", stopped.elapsed());
    engine.send(Input::Command(Command::Seek(2)));
    b.comes(page, "the third frame", "document.getElementById('timecode').textContent === '00:00:00:02'");
}

/// What the operator does arrives.
fn follows(b: &mut Browser, page: &Page, engine: &Handle) {
    let press = |name: &str, down| engine.send(Input::Press { action: name.into(), down });
    press("before", true);
    b.comes(page, "before", "document.getElementById('compare').textContent === 'before'");
    press("before", false);
    b.comes(page, "after", "document.getElementById('compare').textContent === ''");
    press("next-shot", true);
    let second = SCENES[1].name;
    b.comes(page, "the next shot", &format!("document.getElementById('shot').textContent === '2  {second}'"));
    press("previous-shot", true);
    b.comes(page, "the shot before", "document.getElementById('shot').textContent.startsWith('1')");
    assert_eq!(b.text(page, "document.getElementById('look').textContent"), "Low-contrast print");
    engine.send(Input::Command(Command::TryLook(0)));
    let name = engine.snapshot().looks[0].name.clone();
    b.comes(page, "another look", &format!("document.getElementById('look').textContent === {name:?}"));
    engine.send(Input::Command(Command::LeaveLook));
    b.comes(page, "its own look", "document.getElementById('look').textContent === 'Low-contrast print'");
}

/// The client compares on their own screen, and nobody else sees it.
fn compares(b: &mut Browser, page: &Page, link: &Link, gpu: &Gpu) {
    b.press(page, "wipe");
    let view = View { canvas: Canvas::Srgb, before: true };
    shows_exactly(b, page, link, gpu, view, "plain", "without the grade");
    let [from, to] = [0.5, 0.25].map(|x| b.place(page, "frame", (x, 0.5)));
    b.mouse(page, "mousePressed", from);
    b.mouse(page, "mouseMoved", to);
    b.mouse(page, "mouseReleased", to);
    let at: f64 = b
        .text(page, "document.getElementById('frame').style.getPropertyValue('--wipe')")
        .trim_end_matches('%')
        .parse()
        .unwrap();
    assert!((at - 25.0).abs() < 1.0, "the wipe stands at {at} %");
    assert_eq!(link.snapshot().compare, Compare::After, "the operator's own comparing is left alone");
    assert!(b.value(page, "document.body.classList.contains('whole')") == false, "a drag is no tap");
    b.screenshot(page, &shots_folder().join("wipe.png"));
    b.press(page, "wipe");
    b.comes(page, "the whole picture", "document.getElementById('plain').hidden");
    // Held, and let go.
    let hold = b.place(page, "hold", (0.5, 0.5));
    b.mouse(page, "mousePressed", hold);
    b.comes(
        page,
        "before",
        "!document.getElementById('plain').hidden && !!document.getElementById('plain').dataset.serial",
    );
    b.mouse(page, "mouseReleased", hold);
    b.comes(page, "after", "document.getElementById('plain').hidden");
}

fn curtain(b: &mut Browser, page: &Page, engine: &Handle, link: &Link, gpu: &Gpu) {
    let press = |name: &str| {
        engine.send(Input::Press { action: name.into(), down: true });
        engine.send(Input::Press { action: name.into(), down: false });
    };
    let serial = |b: &mut Browser| b.text(page, "document.getElementById('picture').dataset.serial");
    shows_exactly(b, page, link, gpu, AFTER, "picture", "ahead of the curtain");
    let (before, client) = (serial(b), engine.picture(Live::Client).unwrap().serial);
    press("hold-clients");
    wait_for("the curtain", || (engine.snapshot().curtain == Curtain::Held).then_some(()));
    let desk = engine.picture(Live::Desk).unwrap().serial;
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: 20.0, control: 9 });
    wait_for("the desk's picture", || (engine.picture(Live::Desk).unwrap().serial > desk).then_some(()));
    std::thread::sleep(Duration::from_millis(500));
    assert_eq!(serial(b), before, "a client sees what was there when the curtain fell");
    assert!(engine.picture(Live::Client).unwrap().serial <= client + 1, "and so does the client's window");
    press("hold-clients");
    b.comes(
        page,
        "what was made meanwhile",
        &format!("document.getElementById('picture').dataset.serial !== '{before}'"),
    );
    press("blank-clients");
    b.comes(page, "nothing", "document.getElementById('nothing').hidden === false && !document.getElementById('picture').dataset.serial");
    assert!(engine.picture(Live::Client).is_none());
    assert!(engine.picture(Live::Desk).is_some());
    let (_, codes) = b.codes(page, "picture", "srgb");
    assert!(codes.iter().all(|c| *c == codes[0]), "nothing of the picture is left");
    press("blank-clients");
    b.comes(page, "the picture", "!!document.getElementById('picture').dataset.serial");
    press("undo");
    shows_exactly(b, page, link, gpu, AFTER, "picture", "after the curtain");
}

fn answers(b: &mut Browser, page: &Page, engine: &Handle, server: &Server) {
    engine.send(Input::Command(Command::Seek(2)));
    b.comes(page, "the third frame", "document.getElementById('timecode').textContent === '00:00:00:02'");
    b.press(page, "pin");
    let at = b.place(page, "frame", (0.25, 0.4));
    b.click(page, at);
    b.comes(page, "the form", "document.getElementById('note').hidden === false");
    b.types(page, "a little warmer here? <b>");
    b.press(page, "note-name");
    b.types(page, "Grace");
    b.screenshot(page, &shots_folder().join("note.png"));
    let sent = Instant::now();
    b.value(page, "document.getElementById('note').requestSubmit()");
    let note = wait_for("the note", || server.book().notes.first().cloned());
    println!("from pinning a note to the desk: {:.0?}", sent.elapsed());
    assert_eq!((note.text.as_str(), note.name.as_str()), ("a little warmer here? <b>", "Grace"));
    assert_eq!((note.shot.as_str(), note.frame, note.timecode.as_str()), (SCENES[0].name, 2, "00:00:00:02"));
    assert!((note.at[0] - 0.25).abs() < 0.01 && (note.at[1] - 0.4).abs() < 0.01, "{:?}", note.at);
    b.comes(page, "its pin", "document.querySelectorAll('#pins button').length === 1");
    server.set_done(note.id, true);
    b.comes(page, "that it is done", "document.querySelector('#notes li.done') !== null");
    server.point(Some([0.7, 0.3]));
    b.comes(page, "the pointer", "document.getElementById('here').hidden === false && document.getElementById('here').style.left === '70%'");

    b.comes(page, "the exact picture", "document.getElementById('picture').dataset.exact === 'true'");
    b.press(page, "approve");
    let approval = wait_for("the approval", || server.book().approvals.first().cloned());
    let sum = greyhold::serve::sum(&engine.snapshot().show, 0).unwrap();
    assert_eq!(
        (approval.name.as_str(), approval.shot.as_str(), approval.sum),
        ("Grace", SCENES[0].name, sum)
    );
    b.comes(page, "word of it", "document.getElementById('word-of').textContent === 'approved by Grace'");
    b.screenshot(page, &shots_folder().join("approved.png"));
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: 5.0, control: 9 });
    b.comes(
        page,
        "that it has changed",
        "document.getElementById('word-of').textContent === 'approved by Grace, changed since'",
    );
    engine.send(Input::Command(Command::Undo));
    b.comes(page, "that it holds", "document.getElementById('word-of').textContent === 'approved by Grace'");
    server.point(None);
    // A viewer moves nothing.
    let exposure = engine.snapshot().show.shots[0].balance;
    for said in [
        r#"{"set":{"target":"balance/exposure","to":1}}"#,
        r#"{"press":{"action":"undo","down":true}}"#,
        r#"{"done":{"id":0,"is":false}}"#,
        "{}",
        "x",
    ] {
        let (answer, _) = over_a_line(server, Role::Viewer, said);
        assert!(answer.contains("refused"), "{said}: {answer}");
    }
    assert_eq!(engine.snapshot().show.shots[0].balance, exposure);
    // What was never shown cannot be approved.
    let (answer, _) = over_a_line(
        server,
        Role::Viewer,
        &format!(r#"{{"approve":{{"shot":{:?},"sum":"00"}}}}"#, SCENES[0].name),
    );
    assert!(answer.contains("changed meanwhile"), "{answer}");
}

/// Says something over a line of its own; the first answer that is about it.
fn over_a_line(server: &Server, role: Role, said: &str) -> (String, Line) {
    let mut line = Line::open(server.address(), &server.invitation(role).word).unwrap();
    line.say(said);
    let answer = line.hears(|text| text.contains("refused") || text.contains("kept"));
    (answer, line)
}

fn by_keys_and_to_readers(b: &mut Browser, page: &Page) {
    let tree = b.ask(page, "Accessibility.getFullAXTree", serde_json::json!({}));
    let nodes = tree["nodes"].as_array().unwrap();
    let named = |role: &str| -> Vec<String> {
        let of = nodes.iter().filter(|n| n["ignored"] == false && n["role"]["value"] == role);
        of.map(|n| n["name"]["value"].as_str().unwrap_or("").to_owned()).collect()
    };
    let buttons = named("button");
    for wanted in ["Before", "Wipe", "Note", "Full screen"] {
        assert!(buttons.iter().any(|n| n == wanted), "{wanted}: {buttons:?}");
    }
    assert!(buttons.iter().all(|n| !n.is_empty()), "{buttons:?}");
    let pictures = [named("image"), named("img")].concat();
    assert!(pictures.iter().any(|n| n.starts_with("Shot 1")), "{pictures:?}");
    assert!(named("toolbar").iter().any(|n| n == "What you can do"));
    // Each tool is reached by Tab and says that it is.
    b.value(page, "document.activeElement.blur()");
    let mut reached = Vec::new();
    for _ in 0..14 {
        b.key(page, "Tab", 9);
        reached.push(b.text(page, "document.activeElement.id"));
    }
    for id in ["picture", "hold", "wipe", "pin", "list", "approve", "whole"] {
        assert!(reached.iter().any(|r| r == id), "{id}: {reached:?}");
    }
    // By keys alone: a note in the middle, and left.
    b.key(page, "n", 78);
    b.comes(page, "the picture in focus", "document.activeElement.id === 'picture'");
    b.key(page, "Enter", 13);
    b.comes(page, "the form", "document.activeElement.id === 'note-text'");
    b.key(page, "Escape", 27);
    b.comes(page, "no form", "document.getElementById('note').hidden");
    b.key(page, "w", 87);
    b.comes(page, "the wipe", "!document.getElementById('wipe-at').hidden");
    b.key(page, "w", 87);
    b.key(page, "l", 76);
    b.comes(page, "the notes", "!document.getElementById('drawer').hidden");
}

fn sizes(b: &mut Browser, page: &Page, engine: &Handle, server: &Server) {
    let folder = shots_folder();
    server.point(Some([0.62, 0.42]));
    for (name, size, dense) in [
        ("laptop", (1366, 768), 1.0),
        ("phone", (390, 844), 2.0),
        ("phone-flat", (844, 390), 2.0),
        ("tablet", (820, 1180), 1.0),
    ] {
        b.resize(page, size, dense);
        b.value(page, "new Promise(r => setTimeout(r, 400))");
        b.screenshot(page, &folder.join(format!("{name}-notes.png")));
        b.value(page, "document.getElementById('drawer-leave').click()");
        b.value(page, "new Promise(r => setTimeout(r, 400))");
        b.screenshot(page, &folder.join(format!("{name}.png")));
        let wide = b.value(page, "document.documentElement.scrollWidth <= innerWidth && document.documentElement.scrollHeight <= innerHeight + 1");
        assert_eq!(wide, true, "{name}: nothing lies outside the window");
        let small = b.value(page, "[...document.querySelectorAll('.tools button')].filter(x => { const r = x.getBoundingClientRect(); return r.height < 36 || r.width < 36 || r.right > innerWidth || r.bottom > innerHeight; }).length");
        assert_eq!(small, 0, "{name}: every tool is on the window and large enough for a finger");
        b.value(page, "document.getElementById('list').click()");
    }
    b.value(page, "document.getElementById('drawer-leave').click()");
    server.point(None);
    b.resize(page, (1366, 768), 1.0);
    // A tap is full screen, another ends it.
    b.value(page, "new Promise(r => setTimeout(r, 300))");
    let at = b.place(page, "frame", (0.8, 0.8));
    b.click(page, at);
    b.comes(page, "the picture alone", "document.body.classList.contains('whole')");
    b.screenshot(page, &folder.join("whole.png"));
    b.key(page, "Escape", 27);
    b.value(page, "document.body.classList.contains('whole') && document.dispatchEvent(new KeyboardEvent('keydown', {key: 'Escape', bubbles: true}))");
    b.comes(page, "the tools", "!document.body.classList.contains('whole')");
    let _ = engine;
}

/// A page from elsewhere, in the same browser, with the same cookies, gets nothing.
fn stranger(b: &mut Browser, page: &Page, server: &Server) {
    let elsewhere = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = elsewhere.local_addr().unwrap();
    std::thread::spawn(move || {
        for stream in elsewhere.incoming().take(4).flatten() {
            let mut stream = stream;
            let _ = stream.read(&mut [0; 4096]);
            let body = "<!doctype html><title>elsewhere</title>";
            let _ = write!(
                stream,
                "HTTP/1.1 200 OK\r\ncontent-type: text/html\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
                body.len()
            );
        }
    });
    let here = server.address();
    b.open(page, &format!("http://{address}/"));
    b.comes(page, "the page from elsewhere", "document.title === 'elsewhere'");
    let fetched = format!(
        "fetch('http://{here}/me', {{credentials: 'include'}}).then(a => a.text()).catch(() => 'nothing')"
    );
    assert_eq!(b.text(page, &fetched), "nothing");
    let word = server.invitation(Role::Viewer).word;
    let posted = format!(
        "fetch('http://{here}/enter', {{method: 'POST', credentials: 'include', mode: 'no-cors', headers: {{'content-type': 'text/plain'}}, body: JSON.stringify({{word: {word:?}}})}}).then(a => a.type + a.status).catch(() => 'nothing')"
    );
    assert!(["opaque0", "nothing"].contains(&b.text(page, &posted).as_str()));
    let socket = format!(
        "new Promise(done => {{ const s = new WebSocket('ws://{here}/live'); s.onopen = () => done('open'); s.onerror = () => done('refused'); }})"
    );
    assert_eq!(b.text(page, &socket), "refused", "its socket has the cookie, and another origin");
    let framed = format!(
        "new Promise(done => {{ const f = document.createElement('iframe'); f.src = 'http://{here}/'; f.onload = () => {{ try {{ done(f.contentDocument ? 'seen' : 'nothing'); }} catch {{ done('nothing'); }} }}; document.body.append(f); }})"
    );
    assert_eq!(b.text(page, &framed), "nothing");
    // The same by hand, with the right cookie.
    let cookie = Line::enter(here, &word).unwrap();
    for (origin, wanted) in [
        (format!("http://{address}"), "403"),
        ("null".into(), "403"),
        (String::new(), "403"),
        (format!("http://{here}"), "101"),
    ] {
        let origin = if origin.is_empty() { origin } else { format!("Origin: {origin}\r\n") };
        let head = format!(
            "GET /live HTTP/1.1\r\nHost: {here}\r\n{origin}Cookie: {cookie}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
        );
        let answer = request(here, &head);
        assert!(answer.starts_with(&format!("HTTP/1.1 {wanted}")), "{origin}: {answer}");
    }
    // A name that leads here by somebody else's word is not ours.
    let answer = request(here, "GET / HTTP/1.1\r\nHost: example.com\r\n\r\n");
    assert!(answer.starts_with("HTTP/1.1 421"), "{answer}");
    b.open(page, &invited(server, Role::Viewer));
    b.comes(page, "the picture", "!!document.getElementById('picture')?.dataset.serial");
}

/// The operator's tablet.
fn pocket(b: &mut Browser, server: &Server, engine: &Handle) {
    let page = b.page((820, 1180));
    let url = |role| format!("{}panel#{}", server.url(), server.invitation(role).word);
    b.open(&page, &url(Role::Viewer));
    b.comes(&page, "the door", "document.getElementById('door')?.hidden === false");
    b.open(&page, "about:blank");
    b.open(&page, &url(Role::Operator));
    b.comes(&page, "faders", "document.querySelectorAll('#own .fader').length >= 3");
    assert!(b.value(&page, "document.querySelectorAll('#stage .fader').length").as_u64().unwrap() >= 1);
    let before = engine.snapshot().show.shots[0].balance.get(greyhold::picture::BalanceField::Exposure);
    let steps = engine.snapshot().steps.0;
    let [from, to] = [0.5, 0.7].map(|x| b.place(&page, "f-balance-exposure", (x, 0.5)));
    b.mouse(&page, "mousePressed", from);
    for i in 1..=6 {
        b.mouse(&page, "mouseMoved", (from.0 + (to.0 - from.0) * f64::from(i) / 6.0, from.1));
    }
    b.mouse(&page, "mouseReleased", to);
    let now = wait_for("a brighter picture", || {
        let now = engine.snapshot().show.shots[0].balance.get(greyhold::picture::BalanceField::Exposure);
        (now > before + 0.5).then_some(now)
    });
    b.comes(&page, "its number", "document.querySelector('#own output').textContent.includes('+')");
    assert_eq!(engine.snapshot().steps.0, steps + 1, "one touch is one step to undo ({before} → {now})");
    b.screenshot(&page, &shots_folder().join("pocket.png"));
    b.press(&page, "held");
    wait_for("the curtain", || (engine.snapshot().curtain == Curtain::Held).then_some(()));
    b.press(&page, "held");
    wait_for("no curtain", || (engine.snapshot().curtain == Curtain::Open).then_some(()));
    engine.send(Input::Command(Command::Undo));
    b.open(&page, "about:blank");
}

fn request(here: SocketAddr, head: &str) -> String {
    let mut stream = TcpStream::connect(here).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    stream.write_all(head.as_bytes()).unwrap();
    let mut answer = [0; 2048];
    let n = stream.read(&mut answer).unwrap_or(0);
    String::from_utf8_lossy(&answer[..n]).into_owned()
}

#[test]
fn a_word_that_has_expired_lets_nobody_in() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path(), Show::new("nothing"));
    let options = ServeOptions {
        address: "127.0.0.1:0".parse().unwrap(),
        word_lasts: Duration::from_millis(300),
        ..ServeOptions::default()
    };
    let server = Server::start(options, engine.link().unwrap()).unwrap();
    let word = server.invitation(Role::Viewer).word;
    let cookie = Line::enter(server.address(), &word).unwrap();
    let me = |cookie: &str| {
        request(
            server.address(),
            &format!("GET /me HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}\r\n\r\n", server.address()),
        )
    };
    assert!(me(&cookie).starts_with("HTTP/1.1 200"));
    std::thread::sleep(Duration::from_millis(350));
    assert!(me(&cookie).starts_with("HTTP/1.1 401"), "the session has ended with it");
    assert!(Line::enter(server.address(), &word).unwrap_err().starts_with("HTTP/1.1 401"));
    // Every answer keeps others out; none has the word.
    let page = request(server.address(), &format!("GET / HTTP/1.1\r\nHost: {}\r\n\r\n", server.address()))
        .to_lowercase();
    for header in [
        "content-security-policy: default-src 'none'",
        "x-content-type-options: nosniff",
        "referrer-policy: no-referrer",
        "cache-control: no-store",
        "cross-origin-resource-policy: same-origin",
    ] {
        assert!(page.contains(header), "{header}: {page}");
    }
    drop(server);
    assert!(known_display("srgb").is_some());
    engine.stop().unwrap();
}

use support::line::Line;

/// From a knob's message to the changed canvas: run it with `--ignored --nocapture` on a quiet machine.
#[test]
#[ignore = "a measurement of a minute"]
fn from_a_knob_to_the_canvas() {
    for size in [(960, 540), (1280, 720)] {
        let dir = tempfile::tempdir().unwrap();
        support::sequence(&dir.path().join("take"), size, 2);
        let mut show = Show::new("delay");
        let source = Path::new("take").join("take.####.dpx");
        show.shots.push(Shot::new("a", source, 0..2, encoding("logc4").unwrap()));
        let engine = engine(dir.path(), show);
        wait_for("a picture", || engine.picture(Live::Client));
        let server = server(&engine);
        let mut browser = Browser::start();
        let b = &mut browser;
        let page = b.page((1600, 1000));
        b.open(&page, &invited(&server, Role::Viewer));
        b.comes(&page, "the picture", "document.getElementById('picture')?.dataset.exact === 'true'");
        b.value(&page, "window.seen = []; new MutationObserver(() => seen.push([performance.timeOrigin + performance.now(), document.getElementById('picture').dataset.sum])).observe(document.getElementById('picture'), {attributes: true, attributeFilter: ['data-serial']})");
        let mut delays = Vec::new();
        for i in 0..120 {
            let before = b.text(&page, "document.getElementById('picture').dataset.sum");
            let sent =
                std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs_f64()
                    * 1e3;
            engine.send(Input::Turn {
                target: "balance/exposure".into(),
                detents: if i % 2 == 0 { 1.0 } else { -1.0 },
                control: 9,
            });
            b.comes(
                &page,
                "the change",
                &format!("document.getElementById('picture').dataset.sum !== '{before}'"),
            );
            let at = b.value(&page, &format!("seen.find(s => s[0] > {sent} && s[1] !== '{before}')?.[0]"));
            delays.push(at.as_f64().unwrap() - sent);
        }
        delays.sort_by(f64::total_cmp);
        println!(
            "{size:?}: from a message to the canvas: median {:.0} ms, p99 {:.0} ms",
            delays[60], delays[118]
        );
        drop(server);
        engine.stop().unwrap();
    }
}
