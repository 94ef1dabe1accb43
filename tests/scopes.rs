//! Scopes: the GPU's counts are the CPU's, number by number, on pictures whose codes are whole.

use greyhold::colour::encoding;
use greyhold::gpu::{Gpu, Output, Request, ScopeView, Traces};
use greyhold::picture::{Frame, Recipe, Structure, Tail, Target};
use greyhold::scope::{BINS, Counts, LEVELS, Setting, System, Window, count, marks, ten_bits};

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
    gpu.encode_scopes(&mut encoder, gpu.scopes().unwrap(), &output, bits, &view, &traces);
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
