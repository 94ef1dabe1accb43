//! Scopes: the GPU's counts are the CPU's, number by number, on pictures whose codes are whole.

mod support;

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Handle, Input, Live, Options, start};
use greyhold::gpu::{Gpu, Output, Request, ScopeOf, ScopeView, Traces};
use greyhold::picture::{BalanceField, Frame, Recipe, Structure, Tail, Target, cpu};
use greyhold::scope::{BINS, Counts, LEVELS, SPAN, Setting, System, Window, count, marks, ten_bits};
use greyhold::show::{Change, Shot, Show, load, recipe, save};
use support::{Process, Screen, wait_for};

/// A picture for windows with exactly these codes.
fn picture(gpu: &Gpu, codes: &[[u16; 3]], width: u32, bits: u32) -> Output {
    let most = f32::from((1u16 << bits) - 1);
    let pixels: Vec<[f32; 3]> = codes.iter().map(|p| p.map(|c| f32::from(c) / most)).collect();
    let frame = Frame::from_rgb(width, &pixels).unwrap();
    let acescg = encoding("acescg").unwrap();
    let recipe = Recipe::conversion(acescg, Tail::Encoding(acescg));
    let target = if bits == 8 { Target::Screen } else { Target::DeepScreen };
    let pipeline = gpu.pipelines.wait(&Structure::of(&recipe, target)).unwrap();
    let upload = gpu.upload(&frame, None).unwrap();
    let output = gpu.output(frame.width, frame.height, target).unwrap();
    let mut encoder = gpu.device.create_command_encoder(&Default::default());
    gpu.encode(&mut encoder, &pipeline, &upload, &recipe, &output, bits, false, None).unwrap();
    gpu.queue.submit([encoder.finish()]);
    output
}

fn counted(gpu: &Gpu, codes: &[[u16; 3]], width: u32, bits: u32, setting: Setting) -> Counts {
    let output = picture(gpu, codes, width, bits);
    let traces = Traces::new(gpu, width);
    let mut encoder = gpu.device.create_command_encoder(&Default::default());
    let view = ScopeView { setting, ..ScopeView::default() };
    gpu.encode_scopes(&mut encoder, gpu.scopes().unwrap(), &output, bits, &view, &traces, None);
    gpu.queue.submit([encoder.finish()]);
    traces.counts(gpu).unwrap()
}

/// Bars of the primaries and their mixtures, white and black at the ends, at a height of 0…1 (SMPTE EG 1, Rec. ITU-R BT.471).
fn bars(width: u32, rows: u32, bits: u32, height: f64) -> Vec<[u16; 3]> {
    let most = f64::from((1u32 << bits) - 1);
    let colours =
        [[1.0; 3], marks::BARS[2].1, marks::BARS[4].1, marks::BARS[3].1, marks::BARS[0].1, marks::BARS[1].1];
    let colours: Vec<[f64; 3]> = colours.into_iter().chain([marks::BARS[5].1, [0.0; 3]]).collect();
    let bar = |x: u32| colours[(x * 8 / width) as usize].map(|v| (v * height * most).round() as u16);
    (0..rows).flat_map(|_| (0..width).map(bar)).collect()
}

/// Every code in a ramp, each channel its own way.
fn ramps(width: u32, rows: u32, bits: u32) -> Vec<[u16; 3]> {
    let codes = 1u32 << bits;
    let pixel =
        |x: u32, y: u32| [(x + y) % codes, (3 * x + 7 * y) % codes, (x * y + 5) % codes].map(|c| c as u16);
    (0..rows).flat_map(|y| (0..width).map(move |x| pixel(x, y))).collect()
}

/// Twenty-four flat patches of whole codes, as a chart has.
fn chart(width: u32, rows: u32, bits: u32) -> Vec<[u16; 3]> {
    let codes = (1u32 << bits) - 1;
    let patch = |i: u32| [i * 37 % 24, i * 11 % 24, i * 5 % 24].map(|v| (v * codes / 23) as u16);
    let at = |x: u32, y: u32| patch(x * 6 / width + 6 * (y * 4 / rows));
    (0..rows).flat_map(|y| (0..width).map(move |x| at(x, y))).collect()
}

#[test]
fn counts_are_the_twins() {
    let gpu = Gpu::headless(Request::default()).unwrap();
    let name = gpu.name();
    // Sizes: several pixels a column; odd; fewer pixels than columns; every second pixel.
    for (width, rows) in [(960, 54), (1279, 71), (300, 40), (3840, 60)] {
        for bits in [8, 10] {
            let pictures = [
                ("bars of 75 %", bars(width, rows, bits, 0.75)),
                ("bars of 100 %", bars(width, rows, bits, 1.0)),
                ("ramps", ramps(width, rows, bits)),
                ("chart", chart(width, rows, bits)),
            ];
            for (what, codes) in pictures {
                for (system, window) in [(System::Bt709, Window::WHOLE), (System::Bt2020, Window::SHADOWS)] {
                    let setting = Setting { system, window };
                    let tens: Vec<[u16; 3]> = match bits {
                        8 => codes.iter().map(|p| p.map(|c| ten_bits(c.into()) as u16)).collect(),
                        _ => codes.clone(),
                    };
                    let wanted = count(&tens, width, setting);
                    let found = counted(&gpu, &codes, width, bits, setting);
                    assert!(found == wanted, "{what}, {width}×{rows}, {bits} bits, {setting:?} on {name}");
                }
            }
        }
    }
}

/// Each bar is one peak of the vectorscope, half a bin at most from where the recommendations put it.
#[test]
fn bars_are_counted_where_they_belong() {
    let gpu = Gpu::headless(Request::default()).unwrap();
    for (system, bits, height) in [
        (System::Bt709, 10, 0.75),
        (System::Bt709, 8, 1.0),
        (System::Bt2020, 10, 0.75),
        (System::Bt2020, 10, 1.0),
    ] {
        let setting = Setting { system, ..Setting::default() };
        let found = counted(&gpu, &bars(800, 20, bits, height), 800, bits, setting);
        for (name, colour) in marks::BARS {
            let [cb, cr] = marks::bins(marks::bar(system, colour, height));
            let peak = (0..BINS * BINS).filter(|i| found.vector[*i as usize] == 100 * 20);
            let nearest = peak
                .map(|i| (f64::from(i % BINS) - cb).abs().max((f64::from(i / BINS) - cr).abs()))
                .fold(f64::INFINITY, f64::min);
            // Codes are rounded besides: by a tenth of a bin at ten bits, by four tenths at eight.
            let rounding = if bits == 8 { 0.4 } else { 0.1 };
            assert!(nearest <= 0.5 + rounding, "{name} of {system:?} at {height}: {nearest} bins");
        }
        // White and black are the rest.
        assert_eq!(found.vector[(BINS * BINS / 2 + BINS / 2) as usize], 2 * 100 * 20);
    }
}

/// What a waveform is: in each column, as many pixels at a level as the picture has there.
#[test]
fn columns_and_levels_lie_where_the_picture_has_them() {
    let width = 960;
    // A ramp across in ten bits; three rows.
    let codes: Vec<[u16; 3]> =
        (0..3).flat_map(|_| (0..width).map(|x| [(x * 1023 / 959) as u16; 3])).collect();
    let counts = count(&codes, width, Setting::default());
    assert_eq!(counts.columns, 480);
    for column in 0..480 {
        for channel in 0..4 {
            for x in [2 * column, 2 * column + 1] {
                let level = (x * 1023 / 959) >> 2;
                assert!(counts.wave_at(column, channel, level) >= 3);
            }
            let all: u32 = (0..LEVELS).map(|level| counts.wave_at(column, channel, level)).sum();
            assert_eq!(all, 6);
        }
    }
    // Of the shadows, the lowest quarter alone, a code to a level.
    let shadows = count(&codes, width, Setting { window: Window::SHADOWS, ..Setting::default() });
    assert_eq!(
        shadows.histogram[..LEVELS as usize].iter().sum::<u32>(),
        3 * codes[..width as usize].iter().filter(|p| p[0] < 256).count() as u32
    );
    assert_eq!(Window::SHADOWS.level(255), Some(255));
    assert_eq!(Window::SHADOWS.level(256), None);
    assert_eq!(Window::WHOLE.level(1023), Some(255));
}

/// The engine's traces are of the client's own picture.
#[test]
fn the_engine_counts_what_the_client_gets() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path());
    wait_for("a picture", || engine.picture(Live::Client));
    let asked = [Window::WHOLE, Window::SHADOWS];
    for window in asked {
        let setting = Setting { window, ..Setting::default() };
        engine.send(Input::Scopes(Some(ScopeView { setting, ..ScopeView::default() })));
        wait_for("its counts", || {
            let picture = engine.picture(Live::Client)?;
            let found = picture.traces.as_ref()?.counts(&engine.gpu).unwrap();
            let codes = engine.gpu.read_screen(&picture.output).unwrap();
            let tens = |p: &[u8; 4]| [p[0], p[1], p[2]].map(|c| ten_bits(c.into()) as u16);
            let tens: Vec<_> = codes.iter().map(tens).collect();
            (found == count(&tens, picture.output.width, setting)).then_some(())
        });
    }
    // Of balance alone: the counts of the client's picture by a chain without any stage.
    let setting = Setting::default();
    let stage = greyhold::look::Stage::new(greyhold::look::stage("contrast").unwrap());
    let (list, at) = (greyhold::look::List::Look, 0);
    let change = Change::AddStage { list, at, stage };
    engine.send(Input::Change { change, control: 1 });
    engine.send(Input::Turn { target: "look/contrast/contrast".into(), detents: 10.0, control: 1 });
    engine.send(Input::Scopes(Some(ScopeView { setting, of: ScopeOf::Balance, ..ScopeView::default() })));
    let mut show = engine.snapshot().show.as_ref().clone();
    show.chain = Default::default();
    let alone = recipe(&show, 0, show.tail(greyhold::show::Output::Client), 0).unwrap();
    let frame = greyhold::media::open(&dir.path().join("take/take.####.dpx"), &Default::default());
    let codes = cpu::codes(&alone, &frame.unwrap().frame(0).unwrap(), 8, true).pixels;
    let tens: Vec<_> = codes.iter().map(|p| p.map(|c| ten_bits(c.into()) as u16)).collect();
    let wanted = count(&tens, RASTER.0, setting);
    wait_for("counts of balance alone", || {
        let picture = engine.picture(Live::Client)?;
        let found = picture.traces.as_ref()?.counts(&engine.gpu).unwrap();
        // Dithered codes on the other side of a rounding: less than one in a thousand.
        let off: u32 = found.histogram.iter().zip(&wanted.histogram).map(|(a, b)| a.abs_diff(*b)).sum();
        (off * 1000 < 4 * RASTER.0 * RASTER.1).then_some(())
    });
    // Nobody looks: nothing is counted, however many pictures are made.
    engine.send(Input::Scopes(None));
    wait_for("a picture without", || engine.picture(Live::Client).filter(|p| p.traces.is_none()));
    let counted = engine.gpu.scopes_encoded();
    assert!(counted > 2);
    for (frame, _) in [(1, ()), (0, ()), (1, ())] {
        engine.send(Input::Command(Command::Seek(frame)));
        wait_for("another frame", || engine.picture(Live::Client).filter(|p| p.frame == frame));
    }
    assert_eq!(engine.gpu.scopes_encoded(), counted, "hidden, scopes cost nothing");
}

const RASTER: (u32, u32) = (320, 180);

fn show(dir: &Path) -> Show {
    support::sequence(&dir.join("take"), RASTER, 2);
    let mut show = Show::new("scopes");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..2, encoding("logc4").unwrap()));
    save(&show, dir).unwrap();
    show
}

fn engine(dir: &Path) -> Handle {
    let options = Options {
        dir: dir.to_owned(),
        show: show(dir),
        lock: None,
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    start(Gpu::headless(Request::default()).unwrap(), options).unwrap()
}

/// Parts of a row, longer than 60 pixels, between gaps of the panes' grey.
fn parts(row: &[[u8; 3]]) -> Vec<std::ops::Range<usize>> {
    const GAP: usize = 6;
    let mut out = Vec::new();
    let (mut start, mut grey) = (None, 0);
    for (x, pixel) in row.iter().chain(&[[30; 3]; GAP]).enumerate() {
        // A trace has that grey here and there.
        grey = if *pixel == [30; 3] { grey + 1 } else { 0 };
        match start {
            None if grey == 0 => start = Some(x),
            Some(from) if grey == GAP => {
                let end = x + 1 - GAP;
                out.extend((end - from > 60).then_some(from..end));
                start = None;
            }
            _ => {}
        }
    }
    out
}

/// The vectorscope in a picture of the desk: the square in the middle of three.
fn vectorscope(pixels: &[[u8; 3]], width: usize) -> Option<[usize; 3]> {
    let rows: Vec<_> = pixels.chunks_exact(width).map(parts).collect();
    let is = |y: &usize| rows[*y].len() == 3 && rows[*y][1].len() < 260;
    // What most rows like that have; others are in the picture.
    let alike = |y: &usize| rows.iter().filter(|other| **other == rows[*y]).count();
    let row = (0..rows.len()).filter(is).max_by_key(alike)?;
    let top = rows.iter().position(|other| *other == rows[row])?;
    let (square, height) = (rows[row][1].clone(), alike(&row));
    (height.abs_diff(square.len()) <= 2).then(|| [square.start, top, square.len()])
}

/// A drag on the vectorscope, by a mouse on the real desk, moves the offsets as the CPU twin says; undo is one step.
#[test]
fn the_vectorscope_is_pushed_with_the_mouse() {
    let dir = tempfile::tempdir().unwrap();
    let before = show(dir.path());
    let screen = Screen::start(1500, 900);
    let runtime = tempfile::tempdir().unwrap();
    let mut command = support::greyhold();
    command.arg("open").arg(dir.path()).args(["--size", "1440x810", "--client", "closed"]);
    command
        .env("DISPLAY", &screen.display)
        .env("XDG_RUNTIME_DIR", runtime.path())
        .env_remove("WAYLAND_DISPLAY");
    let _program = Process::start(&mut command, "greyhold");
    let desk = screen.window("desk");
    screen.tool("xdotool", &["windowmove", "--sync", &desk, "0", "0"]);
    screen.tool("xdotool", &["mousemove", "--window", &desk, "600", "200", "windowfocus", "--sync", &desk]);
    // Drawn once, it hears keys.
    wait_for("the desk", || {
        screen.pixels(&desk).iter().filter(|p| **p == [30; 3]).count().checked_sub(100_000)
    });
    screen.tool("xdotool", &["key", "v"]);
    let [left, top, side] = wait_for("the vectorscope", || {
        let geometry = screen.tool("xdotool", &["getwindowgeometry", "--shell", &desk]);
        let text = String::from_utf8(geometry).unwrap();
        let width = text.lines().find_map(|l| l.strip_prefix("WIDTH="))?.parse().ok()?;
        vectorscope(&screen.pixels(&desk), width)
    });
    // From the middle, to the right and up: more C_B, more C_R.
    let (way, steps) = ([2i32, -3], 4);
    let from = [left + side / 2 + 3, top + side / 2 + 5].map(|v| v as i32);
    let to = |step: i32| [0, 1].map(|axis| (from[axis] + way[axis] * step).to_string());
    let go = |step: i32| {
        let [x, y] = to(step);
        screen.tool("xdotool", &["mousemove", "--window", &desk, &x, &y]);
        // The desk may be slow to draw, and what happens between two pictures of it is one move.
        std::thread::sleep(Duration::from_millis(350));
    };
    go(0);
    screen.tool("xdotool", &["mousedown", "1"]);
    std::thread::sleep(Duration::from_millis(700));
    (1..=steps).for_each(go);
    std::thread::sleep(Duration::from_millis(700));
    screen.tool("xdotool", &["mouseup", "1"]);
    // A bin is a 256th of the square, the range of a colour difference 254 of them.
    let per_pixel = f64::from(BINS) / f64::from(SPAN) / side as f64;
    let by = [way[0], -way[1]].map(|v| f64::from(v * steps) * per_pixel);
    let mut wanted = before.clone();
    wanted.apply(before.push_colour(0, by).unwrap()).unwrap();
    // Moved in parts, from where each part led: alike to a part in a thousand.
    wait_for("offsets as the twin says in the saved show", || {
        let found = load(dir.path()).ok()?.shots[0].balance;
        let near = |(found, wanted): (&f64, &f64)| (found - wanted).abs() <= 1e-3 * (1.0 + wanted.abs());
        found.values.iter().zip(&wanted.shots[0].balance.values).all(near).then_some(())
    });
    assert!(wanted.shots[0].balance.get(BalanceField::OffsetB) > 1.0);
    screen.tool("xdotool", &["key", "ctrl+z"]);
    wait_for("one step back", || (load(dir.path()).ok()? == before).then_some(()));
}
