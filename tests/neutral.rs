//! White balance from a picked neutral: the light that is read, what it sets, and a hand that picks it on
//! the desk.

mod support;

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use BalanceField::{Adaptation, Exposure, Tint, Warmth};
use greyhold::colour::{ADAPTATIONS, encoding};
use greyhold::demo::SCENES;
use greyhold::engine::{CACHE, Command, Handle, Input, Options, Patch, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::Chain;
use greyhold::media::{Image, ImageFormat, Interpretation, open, write_image};
use greyhold::picture::{
    Area, Balance, BalanceField, Fitting, Frame, Framing, FramingField, Recipe, Tail, cpu, mean_light,
};
use greyhold::show::{Change, Shot, Show, load, save};
use support::{Process, Screen, greyhold, wait_for};

/// How far the channels lie from their mean, of it.
fn spread(rgb: [f64; 3]) -> f64 {
    let mean = rgb.iter().sum::<f64>() / 3.0;
    rgb.iter().map(|v| (v / mean - 1.0).abs()).fold(0.0, f64::max)
}

fn balance_of(change: Change) -> Balance {
    let mut show = show_with(encoding("acescg").unwrap());
    show.apply(change).unwrap();
    show.shots[0].balance
}

fn show_with(encoding: &'static greyhold::colour::Encoding) -> Show {
    let mut show = Show::new("test");
    show.shots.push(Shot::new("a", "footage", 0..4, encoding));
    show
}

#[test]
fn an_area_is_where_it_was_pointed_at_and_inside_the_frame() {
    let frame = Frame::from_rgb(100, &[[0.0; 3]; 6000]).unwrap();
    let area = |x, y, width, height| Area { x, y, width, height };
    assert_eq!(Area::around(&frame, 50, 30, 9), Some(area(46, 26, 9, 9)));
    assert_eq!(Area::around(&frame, 0, 59, 9), Some(area(0, 51, 9, 9)));
    assert_eq!(Area::around(&frame, 99, 0, 1), Some(area(99, 0, 1, 1)));
    assert_eq!(Area::around(&frame, 50, 30, 1000), Some(area(0, 0, 100, 60)));
    assert_eq!((Area::around(&frame, 100, 0, 9), Area::around(&frame, 0, 60, 9)), (None, None));
    // From corner to corner, in any order, both ends included.
    assert_eq!(Area::between(&frame, [0.205, 0.1], [0.405, 0.5], 9), area(20, 6, 21, 25));
    assert_eq!(Area::between(&frame, [0.405, 0.5], [0.205, 0.1], 9), area(20, 6, 21, 25));
    assert_eq!(Area::between(&frame, [-1.0, 0.0], [2.0, 1.0], 9), area(0, 0, 100, 60));
    assert_eq!(Area::between(&frame, [0.505; 2], [0.505; 2], 9), area(46, 26, 9, 9));
}

/// The mean is of light: half of the pixels at grey and half two stops over it are 2.5 greys, whatever the
/// camera's curve. LogC4's codes of 0.18 and 0.72 are from its specification's formula.
/// What is pointed at in the raster is the place of the frame that is drawn there.
#[test]
fn a_place_of_the_raster_is_one_of_the_frame() {
    let number = |d: [i32; 4]| {
        f64::from(d[0])
            + f64::from(d[1]) / 65536.0
            + (f64::from(d[2]) + f64::from(d[3]) / 65536.0) / 65536f64.powi(2)
    };
    let frame = (960, 540);
    for raster in [(960, 540), (1920, 800), (333, 400)] {
        for fitting in Fitting::ALL {
            for (x, y, scale) in [(0.0, 0.0, 1.0), (0.2, -0.1, 1.7), (-0.35, 0.3, 0.6)] {
                let framing = Framing::default()
                    .fitted(fitting)
                    .with(FramingField::PanX, x)
                    .with(FramingField::PanY, y)
                    .with(FramingField::Scale, scale);
                let drawn = framing.prepared::<f64>(frame, raster);
                let middle = [7u32, 101].map(|v| f64::from(v) + 0.5);
                let at = [middle[0] / f64::from(raster.0), middle[1] / f64::from(raster.1)];
                let place = framing.place(frame, raster, at);
                for axis in 0..2 {
                    let size = [frame.0, frame.1][axis];
                    let pixel = number(drawn.start[axis]) + (middle[axis] - 0.5) * number(drawn.step);
                    assert!(
                        (place[axis] * f64::from(size) - 0.5 - pixel).abs() < 1e-9,
                        "{framing:?} {raster:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn the_mean_is_of_light_not_of_codes() {
    let (a, b, c, s) = ((2f64.powi(18) - 16.0) / 117.45, (1023.0 - 95.0) / 1023.0, 95.0 / 1023.0, 64.0);
    let code = |x: f64| (((a * x + s).log2() - 6.0) / 14.0 * b + c) as f32;
    let pixels: Vec<_> = (0..300 * 40).map(|i| [code(if i % 2 == 0 { 0.18 } else { 0.72 }); 3]).collect();
    let frame = Frame::from_rgb(300, &pixels).unwrap();
    let logc4 = encoding("logc4").unwrap();
    for area in [
        Area { x: 20, y: 3, width: 10, height: 8 },
        Area { x: 0, y: 0, width: 128, height: 40 },
        // So large that not every pixel of it is read.
        Area { x: 0, y: 0, width: 300, height: 40 },
    ] {
        let mean = mean_light(&frame, logc4, area);
        assert!(mean.iter().all(|v| (v - 0.45).abs() < 1e-6), "{area:?}: {mean:?}");
    }
    let one = mean_light(&frame, logc4, Area { x: 1, y: 0, width: 1, height: 1 });
    assert!(one.iter().all(|v| (v - 0.72).abs() < 1e-6), "{one:?}");
}

/// Scenes of the demo under three lights: a camera balanced to its daylight, tungsten, green tubes.
#[test]
fn greys_of_the_demo_become_neutral_under_any_light() {
    let acescg = encoding("acescg").unwrap();
    for (scene, grey, casts) in [
        ("platform", "grey card", 0.0..0.02),
        ("workshop", "drawing paper", 0.3..2.0),
        ("corridor", "white tile", 0.1..1.0),
    ] {
        let scene = SCENES.iter().find(|s| s.name == scene).unwrap();
        let prepared = scene.prepare(480, 270);
        let target = prepared.targets().into_iter().find(|t| t.name == grey).unwrap();
        let light = prepared.frame(0);
        // What the camera's file holds.
        let to_camera = Recipe::conversion(acescg, Tail::Encoding(encoding(scene.encoding).unwrap()));
        let frame = cpu::signal(&to_camera, &Frame::from_rgb(480, &light).unwrap()).pixels;
        let frame = Frame::from_rgb(480, &frame).unwrap();
        let [x, y] = target.centre.map(|v| v as u32);
        let area = Area::around(&frame, x, y, 5).unwrap();
        let camera = encoding(scene.encoding).unwrap();
        let patch = mean_light(&frame, camera, area);
        assert!(casts.contains(&spread(patch)), "{}: {patch:?}", scene.name);

        let show = show_with(camera);
        let mut balance = balance_of(show.neutral(0, patch, Some(-0.5)).unwrap());
        for n in 0..ADAPTATIONS.len() {
            balance = balance.with(Adaptation, n as f64);
            // The whole path in f32, through ACEScct and back, pixel by pixel.
            let recipe = Recipe::graded(camera, balance, &Chain::default(), Tail::Encoding(acescg));
            let graded = Frame::from_rgb(480, &cpu::signal(&recipe, &frame).pixels).unwrap();
            let made = mean_light(&graded, acescg, area);
            println!(
                "{} {}: warmth {:.1}, tint {:.2}, spread {:.1e}",
                scene.name,
                ADAPTATIONS[n],
                balance.get(Warmth),
                balance.get(Tint),
                spread(made)
            );
            assert!(spread(made) < 1e-5, "{}: {made:?}", scene.name);
            let wanted = 0.18 * 0.5f64.sqrt();
            assert!(
                (made[1] / wanted - 1.0).abs() < 1e-5,
                "{}: half a stop under grey: {made:?}",
                scene.name
            );
        }
    }
}

#[test]
fn what_cannot_be_made_neutral_is_told_with_what_it_would_take() {
    let show = show_with(encoding("acescg").unwrap());
    let said = |patch, stops| show.neutral(0, patch, stops).unwrap_err().to_string();
    // A light of 1800 K has a colour of its own that warmth does not reach; ranges are those of the list.
    let far = said([0.6, 0.2, 0.03], None);
    assert!(far.contains("out of balance's reach") && far.contains("warmth -"), "{far}");
    let range = Warmth.parameter();
    assert!(far.contains(&format!("warmth {} to {}", range.show(range.min), range.show(range.max))), "{far}");
    for patch in [[0.0; 3], [-0.1, 0.2, 0.3], [0.4, 0.0, 0.0]] {
        let said = said(patch, None);
        assert!(said.contains("no light") && said.contains("was grey in the scene"), "{patch:?}: {said}");
    }
    let dark = said([1e-4; 3], Some(0.0));
    assert!(dark.contains("exposure +10.81 stops") && dark.contains("-8.00 stops to +8.00 stops"), "{dark}");
    let missing = show.neutral(1, [0.2; 3], None).unwrap_err().to_string();
    assert!(missing.contains("no shot 2"), "{missing}");
    // A patch that is neutral already asks for nothing that shows.
    let still = balance_of(show.neutral(0, [0.18; 3], None).unwrap());
    assert!(still.get(Warmth).abs() < 1e-6 && still.get(Tint).abs() < 1e-6, "{still:?}");
    assert_eq!(still.get(Exposure), 0.0);
}

const SIZE: (u32, u32) = (320, 180);

/// Grey codes of LogC4 with a cast and some grain, but for a part on the left that is red.
fn cast(folder: &Path) {
    std::fs::create_dir_all(folder).unwrap();
    let pixels: Vec<[u16; 3]> = (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let (x, y) = (i % SIZE.0, i / SIZE.0);
            let grain = ((x * 7 + y * 13) % 11) as u16;
            if x < 80 { [700, 150, 120] } else { [330 + grain, 300 + grain, 255 + grain] }
        })
        .collect();
    for n in 0..4 {
        let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
        write_image(&folder.join(format!("take.{n:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
    }
}

fn make_show(dir: &Path) -> Show {
    cast(&dir.join("footage"));
    let mut show = show_with(encoding("logc4").unwrap());
    show.shots[0].source = "footage".into();
    save(&show, dir).unwrap();
    show
}

/// What a patch around a pixel asks for.
fn wanted(dir: &Path, show: &Show, x: u32, y: u32) -> Balance {
    let mut source = open(&show.shots[0].source_path(dir), &Interpretation::default()).unwrap();
    let frame = source.frame(0).unwrap();
    let patch = mean_light(&frame, show.shots[0].encoding, Area::around(&frame, x, y, 9).unwrap());
    assert!(spread(patch) > 0.1, "{patch:?} has no cast");
    balance_of(show.neutral(0, patch, None).unwrap())
}

#[test]
fn the_engine_picks_in_one_step() {
    let dir = tempfile::tempdir().unwrap();
    let show = make_show(dir.path());
    let wanted = wanted(dir.path(), &show, 200, 90);
    let engine = start(
        Gpu::headless(Request::default()).unwrap(),
        Options {
            dir: dir.path().to_owned(),
            show: show.clone(),
            lock: None,
            panel: None,
            cache: CACHE,
            notify: Arc::new(|| ()),
        },
    )
    .unwrap();
    let balance = |e: &Handle| e.snapshot().show.shots[0].balance;
    wait_for("the first picture", || engine.picture(greyhold::engine::Live::Desk));
    let pick = |x: f64, y: f64| {
        let at = [(x + 0.5) / f64::from(SIZE.0), (y + 0.5) / f64::from(SIZE.1)];
        engine.send(Input::Command(Command::Neutral(Patch { shot: 0, frame: 0, from: at, to: at })));
    };

    engine.send(Input::Command(Command::Picking(true)));
    wait_for("picking", || engine.snapshot().picking.then_some(()));
    // A red wall is no grey card: nothing changes, and the next click may be a better one.
    pick(20.0, 90.0);
    let trouble = wait_for("a word about it", || engine.snapshot().trouble.clone());
    assert!(trouble.contains("this patch") && engine.snapshot().picking, "{trouble}");
    assert_eq!((balance(&engine), engine.snapshot().steps), (Balance::default(), (0, 0)));

    pick(200.0, 90.0);
    wait_for("balance", || (balance(&engine) != Balance::default()).then_some(()));
    let s = engine.snapshot();
    assert_eq!(s.show.shots[0].balance, wanted);
    assert_eq!((s.steps, s.picking, s.trouble.clone()), ((1, 0), false, None));
    engine.send(Input::Command(Command::Undo));
    wait_for("undo", || (balance(&engine) == Balance::default()).then_some(()));
    assert_eq!(engine.snapshot().steps, (0, 1));

    // What was said of a patch goes when picking does.
    engine.send(Input::Command(Command::Picking(true)));
    pick(20.0, 90.0);
    wait_for("a word about it", || engine.snapshot().trouble.clone());
    engine.send(Input::Command(Command::Picking(false)));
    wait_for("silence", || (!engine.snapshot().picking && engine.snapshot().trouble.is_none()).then_some(()));
    engine.stop().unwrap();
}

/// N, then a click, a drag, and Esc, in a real window.
#[test]
fn a_click_on_the_desk_picks() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let show = make_show(dir);
    let screen = Screen::start(1100, 700);
    let runtime = tempfile::tempdir().unwrap();
    let mut command = greyhold();
    command.arg("open").arg(dir).args(["--size", "960x540", "--client", "closed"]);
    command
        .env("DISPLAY", &screen.display)
        .env("XDG_RUNTIME_DIR", runtime.path())
        .env_remove("WAYLAND_DISPLAY");
    let mut program = Process::start(&mut command, "greyhold");
    let desk = screen.window("desk");
    screen.tool("xdotool", &["windowmove", &desk, "0", "0"]);
    let key = |name: &str| {
        screen.tool("xdotool", &["windowactivate", "--sync", &desk, "key", "--window", &desk, name]);
    };
    // Without panes the picture fills the window, three pixels for one.
    key("h");
    let pixels = |x: i32, y: i32| {
        let all = screen.pixels(&desk);
        (all.len() == 960 * 540).then(|| all[(y * 960 + x) as usize])
    };
    wait_for("the picture in the whole window", || pixels(4, 4).filter(|p| p[0] > 2 * p[1]));
    let mouse = |events: &[&str]| {
        let at = |x: u32, y: u32| [(3 * x + 1).to_string(), (3 * y + 1).to_string()];
        let mut arguments: Vec<String> = Vec::new();
        for event in events {
            match event.split_once(',') {
                Some((x, y)) => {
                    let [x, y] = at(x.parse().unwrap(), y.parse().unwrap());
                    arguments.extend(["mousemove".into(), "--window".into(), desk.clone(), x, y]);
                }
                None => arguments.extend([(*event).to_owned(), "1".into()]),
            }
            arguments.extend(["sleep".into(), "0.15".into()]);
        }
        screen.tool("xdotool", &arguments.iter().map(String::as_str).collect::<Vec<_>>());
    };
    let saved = || load(dir).unwrap().shots[0].balance;

    // A click without having asked for it does nothing; nor after Esc.
    mouse(&["200,90", "click"]);
    key("n");
    key("Escape");
    mouse(&["210,90", "click"]);
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(saved(), Balance::default());

    key("n");
    std::thread::sleep(Duration::from_millis(300));
    mouse(&["200,90", "click"]);
    let made = wait_for("the saved balance", || Some(saved()).filter(|b| *b != Balance::default()));
    assert_eq!(made, wanted(dir, &show, 200, 90));
    key("ctrl+z");
    wait_for("undo", || (saved() == Balance::default()).then_some(()));

    // Dragged over a part: the mean of all of it.
    key("n");
    std::thread::sleep(Duration::from_millis(300));
    mouse(&["120,40", "mousedown", "180,70", "240,120", "mouseup"]);
    let made = wait_for("the saved balance", || Some(saved()).filter(|b| *b != Balance::default()));
    let mut source = open(&show.shots[0].source_path(dir), &Interpretation::default()).unwrap();
    let area = Area { x: 120, y: 40, width: 121, height: 81 };
    let patch = mean_light(&source.frame(0).unwrap(), show.shots[0].encoding, area);
    assert_eq!(made, balance_of(show.neutral(0, patch, None).unwrap()));
    program.stop();
}
