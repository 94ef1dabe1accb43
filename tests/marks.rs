//! False colours and marks: the GPU draws and counts what the CPU twin says, pixel by pixel; only the desk gets them.

mod support;

use std::path::Path;
use std::sync::Arc;

use greyhold::colour::{Adaptation, BT709, DISPLAYS, Matrix, conversion, display, encoding};
use greyhold::engine::{CACHE, Command, Handle, Input, LightOf, Live, MarkCommand, Options, start};
use greyhold::gpu::{Gpu, MarkCounts, MarkInputs, MarkView, Output, Request, palette};
use greyhold::picture::{Decode, Frame, Recipe, Structure, Tail, Target, cpu};
use greyhold::scope::patterns::{
    CAMERA, Found, GAMUT, INSIDE, Ink, Marked, Pixel, Tally, UPPER, found, ink, unit,
};
use greyhold::scope::stops::{CLIP, Ends, FLOOR, SCALE, STEPS};
use greyhold::show::{Shot, Show, recipe, save};
use support::wait_for;

fn gpu() -> Arc<Gpu> {
    Gpu::headless(Request::default()).expect("the tests need an adapter")
}

/// A picture in floats that holds these values.
fn floats(gpu: &Gpu, width: u32, pixels: &[[f32; 3]]) -> Output {
    let acescg = encoding("acescg").unwrap();
    through(gpu, width, pixels, &Recipe::conversion(acescg, Tail::Light), Target::Float, 0)
}

fn through(gpu: &Gpu, width: u32, pixels: &[[f32; 3]], recipe: &Recipe, target: Target, bits: u32) -> Output {
    let frame = Frame::from_rgb(width, pixels).unwrap();
    let pipeline = gpu.pipelines.wait(&Structure::of(recipe, target)).unwrap();
    let upload = gpu.upload(&frame, None).unwrap();
    let output = gpu.output(frame.width, frame.height, target).unwrap();
    let mut encoder = gpu.device.create_command_encoder(&Default::default());
    gpu.encode(&mut encoder, &pipeline, &upload, recipe, &output, bits, false, None).unwrap();
    gpu.queue.submit([encoder.finish()]);
    output
}

fn random(seed: &mut u32) -> f32 {
    *seed = seed.wrapping_mul(1664525).wrapping_add(1013904223);
    (*seed >> 8) as f32 / (1 << 24) as f32
}

/// What the twin makes of a pixel of the picture.
fn drawn(
    base: [u32; 3],
    found: &Found,
    marked: Marked,
    at: [u32; 2],
    unit: u32,
    colours: &[[u32; 3]],
) -> [u32; 3] {
    let [dark, light] = [colours[STEPS + 2], colours[STEPS + 3]];
    if let Some(ink) = ink(found, marked, at[0], at[1], unit) {
        return if ink == Ink::Dark { dark } else { light };
    }
    let dot = greyhold::scope::patterns::dots(at[0] / unit, at[1] / unit) == Some(Ink::Dark);
    match found.place {
        _ if !marked.false_colour => base,
        FLOOR => {
            if dot {
                light
            } else {
                dark
            }
        }
        CLIP => {
            if dot {
                dark
            } else {
                light
            }
        }
        step => colours[step],
    }
}

#[test]
fn the_gpu_draws_and_counts_what_the_twin_says() {
    let gpu = gpu();
    let (width, height) = (1440u32, 40u32);
    let count = (width * height) as usize;
    let mut seed = 9;
    let ends = Ends::of(encoding("logc3").unwrap(), Some(1023), 0.9);
    let client = display("rec709").unwrap();
    let to_limit: [f32; 9] = client.from_acescg().rows();
    let from_limit = client.from_acescg().inverse();
    // Light of −9 … +9 stops; none within a ten-thousandth of a stop of where a step begins, and the camera's and the display's
    // signals at and beside their ends.
    let mut pixels = Vec::new();
    let codes = |seed: &mut u32| [0; 3].map(|_| (random(seed) * 1100.0) as u32 as f32 / 1023.0 - 0.03);
    for i in 0..count {
        let mut stops = random(&mut seed) * 18.0 - 9.0;
        if ((stops + 0.5) - (stops + 0.5).round()).abs() < 1e-4 {
            stops += 0.01;
        }
        let tint = [0; 3].map(|_| 0.5 + random(&mut seed));
        let light: [f32; 3] = tint.map(|t| t * 0.18 * stops.exp2());
        // Inside and outside the primaries, but for what is within a tenth of the threshold.
        let mut limited = [0; 3].map(|_| random(&mut seed) * 1.2 - 0.1);
        if i % 3 == 0 {
            let share = if i % 2 == 0 { 0.8 } else { 1.2 };
            limited = [1.0, 0.3, -share / 256.0].map(|v: f32| v * (1.0 + random(&mut seed)));
        }
        let graded = from_limit.times(limited.map(f64::from)).map(|v| v as f32);
        let near = |s: f32| (s - 0.5 / 1023.0).abs() < 1e-5 || (s - 1.0 + 0.5 / 1023.0).abs() < 1e-5;
        let signal = codes(&mut seed).map(|s| if near(s) { 0.5 } else { s.clamp(0.0, 1.0) });
        let camera = if i % 17 == 0 { [0.09; 3] } else { codes(&mut seed) };
        pixels.push((camera, light, signal, graded));
    }
    let camera: Vec<_> = pixels.iter().map(|p| p.0).collect();
    let light: Vec<_> = pixels.iter().map(|p| p.1).collect();
    let signal: Vec<_> = pixels.iter().map(|p| p.2).collect();
    let graded: Vec<_> = pixels.iter().map(|p| p.3).collect();
    let pictures = [&camera, &light, &signal, &graded].map(|p| floats(&gpu, width, p));
    let [camera_there, light_there, signal_there, graded_there] = &pictures;

    for (bits, target) in [(8u32, Target::Screen), (10, Target::DeepScreen)] {
        let most = (1u32 << bits) - 1;
        let acescg = encoding("acescg").unwrap();
        let plain: Vec<[f32; 3]> = (0..count)
            .map(|i| [i as u32 % (most + 1), 3, most / 2].map(|c| c as f32 / most as f32))
            .collect();
        let recipe = Recipe::conversion(acescg, Tail::Encoding(acescg));
        let base = through(&gpu, width, &plain, &recipe, target, bits);
        let whole = |v: f32| (v * most as f32).round() as u32;
        let colours: Vec<[u32; 3]> =
            palette(&DISPLAYS[0], None, bits).into_iter().map(|c| c.map(whole)).collect();
        for what in 1..8u32 {
            let marked =
                Marked { false_colour: what & 1 != 0, clipping: what & 2 != 0, gamut: what & 4 != 0 };
            let to = gpu.output(width, height, target).unwrap();
            let counts = MarkCounts::new(&gpu);
            let view = MarkView { marked, ends, client, desk: &DISPLAYS[0], calibration: None, depth: bits };
            let inputs = MarkInputs {
                base: &base,
                camera: camera_there,
                light: light_there,
                signal: signal_there,
                graded: graded_there,
            };
            let mut encoder = gpu.device.create_command_encoder(&Default::default());
            gpu.encode_marks(&mut encoder, gpu.marks().unwrap(), &inputs, &view, &to, &counts, None);
            gpu.queue.submit([encoder.finish()]);
            counts.ask();
            gpu.wait().unwrap();
            let tally = counts.take().unwrap();

            let mut expected = Tally::default();
            let shown: Vec<[u32; 3]> = match target {
                Target::Screen => {
                    gpu.read_screen(&to).unwrap().iter().map(|p| [p[0], p[1], p[2]].map(u32::from)).collect()
                }
                _ => gpu.read_deep_screen(&to).unwrap().iter().map(|p| p.map(whole)).collect(),
            };
            for i in 0..count {
                let v = graded[i];
                let row = |r: usize| {
                    to_limit[3 * r] * v[0] + to_limit[3 * r + 1] * v[1] + to_limit[3 * r + 2] * v[2]
                };
                let limited = [row(0), row(1), row(2)];
                let pixel = Pixel { camera: camera[i], light: light[i], signal: signal[i], limited };
                let mut so = found(&pixel, &ends);
                expected.add(&so);
                so.upper &= marked.clipping;
                let at = [i as u32 % width, i as u32 / width];
                let base = plain[i].map(whole);
                let wanted = drawn(base, &so, marked, at, unit(width), &colours);
                assert_eq!(shown[i], wanted, "{bits} bits, {marked:?}, pixel {i}: {pixel:?}");
            }
            if !marked.false_colour {
                expected.0[..UPPER].fill(0);
            }
            if !marked.clipping {
                expected.0[UPPER..GAMUT].fill(0);
            }
            if !marked.gamut {
                expected.0[GAMUT] = 0;
            }
            assert_eq!(tally, expected, "{bits} bits, {marked:?}");
            if what == 7 {
                assert!(expected.0.iter().all(|n| *n > 0), "each of them occurs: {expected:?}");
                assert_eq!(expected.0[INSIDE], width * height);
            }
        }
    }
}

/// Colours of known places: greys lie inside every display's primaries; Rec. 2020's primaries (BT.2020-2) and P3's (SMPTE EG 432-1)
/// outside Rec. 709's (BT.709-6), whose own lie on the edge and are not marked.
#[test]
fn primaries_of_recommendations_are_told_apart() {
    use greyhold::colour::{AP1, BT2020, P3_D65, Primaries};
    let client = display("rec709").unwrap();
    let ends = Ends { floor: -1.0, clip: 2.0 };
    let to_limit: Matrix = client.from_acescg();
    let is_out = |primaries: &Primaries, rgb: [f64; 3]| {
        let light = conversion(primaries, &AP1, Adaptation::Bradford).times(rgb);
        // As the picture between passes holds it.
        let light = light.map(|v| half::f16::from_f64(v).to_f64());
        let limited = to_limit.times(light).map(|v| v as f32);
        found(&Pixel { camera: [0.5; 3], light: [0.18; 3], signal: [0.5; 3], limited }, &ends).gamut
    };
    for channel in 0..3 {
        for level in [0.001, 0.18, 1.0, 40.0] {
            let pure: [f64; 3] = std::array::from_fn(|c| if c == channel { level } else { 0.0 });
            assert!(is_out(&BT2020, pure), "{pure:?}");
            assert!(!is_out(&BT709, pure), "{pure:?}");
        }
    }
    assert!(is_out(&P3_D65, [1.0, 0.0, 0.0]) && is_out(&P3_D65, [0.0, 1.0, 0.0]));
    for level in [0.0, 1e-4, 0.18, 16.0] {
        assert!(!is_out(&BT709, [level; 3]) && !is_out(&BT709, [level, level, 0.0]));
    }
}

/// tests/oracle/false_colour.py: CIE L*a*b* and CIEDE2000 of the scale by colour-science, as seen by the common kinds of colour
/// blindness (Machado, Oliveira and Fernandes 2009, severity 1).
#[test]
fn the_scale_reads_without_telling_hues_apart() {
    let table = include_str!("data/false_colour.tsv");
    let rows: Vec<Vec<&str>> =
        table.lines().filter(|l| !l.starts_with('#')).map(|l| l.split('\t').collect()).collect();
    let number = |text: &str| text.parse::<f64>().unwrap();
    let scale: Vec<_> = rows.iter().filter(|r| r[0] == "step").collect();
    assert_eq!(scale.len(), SCALE.len());
    for (row, codes) in scale.iter().zip(SCALE) {
        // The table is of this very scale.
        assert_eq!([2, 3, 4].map(|i| number(row[i])), codes.map(f64::from));
        let stops = number(row[1]);
        assert!((number(row[5]) - (53.0 + 6.3 * stops)).abs() < 0.4, "L* of {stops}: {}", row[5]);
    }
    let seen: Vec<_> = rows.iter().filter(|r| r[0] == "seen").collect();
    assert_eq!(seen.len(), 4);
    for row in seen {
        // Lightness always goes up, and neighbours differ by several just noticeable differences.
        assert!(number(row[2]) > 3.9, "{}: least step of L* {}", row[1], row[2]);
        assert!(number(row[3]) > 3.8, "{}: least difference of neighbours {}", row[1], row[3]);
    }
}

const RASTER: (u32, u32) = (320, 180);

fn engine(dir: &Path) -> Handle {
    support::sequence(&dir.join("take"), RASTER, 2);
    let mut show = Show::new("marks");
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..2, encoding("logc4").unwrap()));
    save(&show, dir).unwrap();
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(gpu(), options).unwrap()
}

/// The desk's picture is that of the CPU's run with the twin's marks; the client's has none.
#[test]
fn only_the_desk_is_marked_and_as_the_cpu_says() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path());
    let pixels = |live: Live| {
        let picture = engine.picture(live)?;
        Some((engine.gpu.read_screen(&picture.output).unwrap(), picture.serial, picture.tally))
    };
    let (plain, serial, none) = wait_for("a picture", || pixels(Live::Client));
    assert_eq!((none, engine.gpu.marks_encoded()), (None, 0));
    let mark = |command| engine.send(Input::Command(Command::Mark(command)));
    // A camera that clips where this picture's highest lights are.
    for command in
        [MarkCommand::FalseColour, MarkCommand::Clipping, MarkCommand::Gamut, MarkCommand::ClipAt(0.76)]
    {
        mark(command);
    }
    let marked = Marked { false_colour: true, clipping: true, gamut: true };
    let show = engine.snapshot().show.clone();
    let frame = greyhold::media::open(&dir.path().join("take/take.####.dpx"), &Default::default())
        .unwrap()
        .frame(0)
        .unwrap();
    for (light, command) in [(LightOf::Balance, None), (LightOf::Camera, Some(MarkCommand::Light))] {
        command.map(mark);
        if light == LightOf::Balance {
            let target = "balance/exposure".into();
            engine.send(Input::Turn { target, detents: -30.0, control: 1 });
        }
        let show = wait_for("the balance", || {
            let s = engine.snapshot();
            (s.steps.0 == 1 && s.marks.light == light && s.marks.gamut).then(|| s.show.clone())
        });
        let recipe = recipe(&show, 0, show.tail(greyhold::show::Output::Client), 0).unwrap();
        let run = |recipe: &Recipe| cpu::signal(recipe, &frame).pixels;
        let acescg = encoding("acescg").unwrap();
        let camera = run(&Recipe {
            balance: None,
            stages: Vec::new(),
            tail: Tail::Light,
            decode: Decode::from(acescg),
            ..recipe.clone()
        });
        let balance = recipe.balance.filter(|_| light == LightOf::Balance);
        let lights = run(&Recipe { balance, stages: Vec::new(), tail: Tail::Light, ..recipe.clone() });
        let (graded, signal) = (run(&recipe.without_tail()), run(&recipe));
        let ends = Ends::of(encoding("logc4").unwrap(), Some(1023), 0.76);
        let to_limit: Matrix = DISPLAYS[0].from_acescg();
        let mut expected = Tally::default();
        let so: Vec<Found> = (0..camera.len())
            .map(|i| {
                let limited = to_limit.times(graded[i].map(f64::from)).map(|v| v as f32);
                let pixel = Pixel { camera: camera[i], light: lights[i], signal: signal[i], limited };
                found(&pixel, &ends)
            })
            .collect();
        so.iter().for_each(|f| expected.add(f));
        let colours: Vec<[u32; 3]> = palette(&DISPLAYS[0], None, 8)
            .into_iter()
            .map(|c| c.map(|v| (v * 255.0).round() as u32))
            .collect();
        assert!(expected.share(CAMERA) > 0.001 && expected.0[..STEPS].iter().filter(|n| **n > 0).count() > 3);
        wait_for("the twin's picture", || {
            let (shown, now, tally) = pixels(Live::Desk)?;
            let tally = tally.filter(|_| now > serial)?;
            // On the nearer side of a threshold: light is rounded to halves on the GPU's way, and not on the CPU's.
            let off: u32 = tally.0.iter().zip(expected.0).map(|(a, b)| a.abs_diff(b)).sum();
            let other = (0..so.len())
                .filter(|i| {
                    let at = [*i as u32 % RASTER.0, *i as u32 / RASTER.0];
                    let p = shown[*i];
                    drawn([0; 3], &so[*i], marked, at, unit(RASTER.0), &colours)
                        != [p[0], p[1], p[2]].map(u32::from)
                })
                .count();
            (off < 60 && other < 60).then_some(())
        });
        let client = pixels(Live::Client).unwrap();
        let codes: Vec<[u16; 3]> = cpu::codes(&recipe, &frame, 8, true).pixels;
        let differ =
            client.0.iter().zip(&codes).filter(|(a, b)| (0..3).any(|c| u16::from(a[c]).abs_diff(b[c]) > 1));
        assert_eq!(differ.count(), 0, "the client's picture is the picture");
    }
    for command in [MarkCommand::FalseColour, MarkCommand::Clipping, MarkCommand::Gamut] {
        mark(command);
    }
    engine.send(Input::Command(Command::Undo));
    wait_for("the plain picture", || {
        let (shown, _, tally) = pixels(Live::Desk)?;
        (shown == plain && tally.is_none()).then_some(())
    });
    let encoded = engine.gpu.marks_encoded();
    engine.send(Input::Command(Command::Step(1)));
    wait_for("the next frame", || engine.picture(Live::Desk).filter(|p| p.frame == 1));
    assert_eq!(engine.gpu.marks_encoded(), encoded, "off, they cost nothing");
    drop(show);
}
