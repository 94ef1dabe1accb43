//! Framing: a frame in a raster of another size, fitted, moved and scaled.
//!
//! References: `tests/data/framing.csv`, Keys's published kernel worked out in numpy
//! (`tests/oracle/framing.py`); and the resampler of zimg, as FFmpeg's `zscale` runs it. The rest is what the
//! documentation of `picture::Framing` promises.

mod support;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use FramingField::{PanX, PanY, Scale};
use greyhold::colour::{DISPLAYS, OutputTransform, Range, YcbcrMatrix, encoding};
use greyhold::engine::{CACHE, Command as Ask, Handle, Input, Live, Options, start};
use greyhold::gpu::{Agreement, Assembly, Gpu, OF_PIXEL, Request, SIGNAL, Tolerance, agreement};
use greyhold::picture::{
    Balance, BalanceField, Chroma, FRAMING, Fitting, Format, Frame, Framing, FramingField, MOST_TAPS, Model,
    Recipe, SMALLEST, Sample, Siting, Structure, Tail, Target, Unpack, cpu, kernel,
};
use greyhold::show::{Change, Output, Shot, Show};
use support::{sequence, wait_for};

/// A value no recipe makes.
const POISON: f32 = -123_456.0;

fn gpu() -> Arc<Gpu> {
    Gpu::headless(Request::default()).expect("the tests need an adapter")
}

/// The signal as it is, in a raster.
fn plain(framing: Framing, raster: (u32, u32)) -> Recipe {
    let acescg = encoding("acescg").unwrap();
    Recipe::conversion(acescg, Tail::Encoding(acescg)).framed(framing, Some(raster))
}

fn grey_frame(width: u32, height: u32, value: impl Fn(f64, f64) -> f64) -> Frame {
    let pixels: Vec<[f32; 3]> =
        (0..width * height).map(|i| [value(f64::from(i % width), f64::from(i / width)) as f32; 3]).collect();
    Frame::from_rgb(width, &pixels).unwrap()
}

/// Ten-bit codes, as the oracle has them.
fn codes(width: u32, height: u32) -> Frame {
    let code: [fn(u32, u32) -> u32; 3] = [
        |x, y| (x * 37 + y * 101 + x * y * 7) % 1009,
        |x, y| (x * 211 + y * 13) % 1021,
        |x, y| (x * x + 3 * y * y) % 997,
    ];
    let planes = code.map(|code| {
        let samples = (0..width * height).map(|i| code(i % width, i / width) as u16);
        samples.flat_map(u16::to_le_bytes).collect::<Vec<u8>>().into()
    });
    Frame::new(width, height, Format::rgb(Sample::U16, 10), planes).unwrap()
}

/// A frame in double precision; `None` outside.
fn exact(frame: &Frame, framing: Framing, raster: (u32, u32)) -> Vec<Option<[f64; 3]>> {
    let values = framing.prepared::<f64>((frame.width, frame.height), raster);
    let unpack = Unpack::<f64>::of(&frame.format);
    (0..raster.0 * raster.1).map(|i| values.at(&unpack, frame, i % raster.0, i / raster.0)).collect()
}

#[test]
fn the_list_is_sound() {
    assert_eq!((FRAMING.len(), FramingField::ALL.len()), (4, FramingField::COUNT));
    for (i, p) in FRAMING.iter().enumerate() {
        assert_eq!(FramingField::ALL[i] as usize, i);
        assert_eq!(FramingField::of_key(p.key), Some(FramingField::ALL[i]));
        assert!((p.min..=p.max).contains(&p.default) && p.step > 0.0 && !p.doc.trim().is_empty());
    }
    let fittings = FramingField::Fitting.parameter();
    assert_eq!((fittings.choices(), fittings.max), (&["fit", "fill"][..], 1.0));
    for (i, fitting) in Fitting::ALL.into_iter().enumerate() {
        let framing = Framing::default().fitted(fitting);
        assert_eq!((framing.fitting(), framing.get(FramingField::Fitting)), (fitting, i as f64));
        assert_ne!(fitting.other(), fitting);
    }
    assert_eq!(Framing::default().fitting(), Fitting::default());
}

#[test]
fn keys_kernel_worked_out_elsewhere_gives_the_same() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/framing.csv");
    let text = std::fs::read_to_string(path).unwrap();
    let size = |t: &str| {
        let (w, h) = t.split_once('x').unwrap();
        (w.parse::<u32>().unwrap(), h.parse::<u32>().unwrap())
    };
    let (mut worst, mut inside, mut outside) = (0f64, 0, 0);
    let mut made = (String::new(), Vec::new());
    for line in text.lines().skip_while(|l| l.starts_with('#')).skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (frame, raster) = (size(cells[0]), size(cells[1]));
        let number = |i: usize| cells[i].parse::<f64>().unwrap();
        let case = cells[..6].join(",");
        if made.0 != case {
            let framing = Framing::default()
                .fitted(if cells[2] == "fill" { Fitting::Fill } else { Fitting::Fit })
                .with(PanX, number(3))
                .with(PanY, number(4))
                .with(Scale, number(5));
            made = (case, exact(&codes(frame.0, frame.1), framing, raster));
        }
        let (x, y) = (number(6) as usize, number(7) as usize);
        match made.1[y * raster.0 as usize + x] {
            None => {
                outside += 1;
                assert_eq!(&cells[8..], ["", "", ""], "{line}");
            }
            Some(rgb) => {
                inside += 1;
                for c in 0..3 {
                    let off = (rgb[c] - number(8 + c)).abs();
                    assert!(off <= 1e-9, "{line}: {rgb:?}");
                    worst = worst.max(off);
                }
            }
        }
    }
    println!("{inside} pixels inside, {outside} outside; worst {worst:.1e}");
    assert!(inside > 500 && outside > 300);
}

/// zimg's bicubic filter with B = 0, C = 1/2 is the same kernel, and is widened alike. It mirrors edges, so
/// what its kernels reach of them is left out.
#[test]
fn zimg_resamples_alike() {
    let frame = codes(64, 48);
    let floats: Vec<u8> = [1, 2, 0]
        .into_iter()
        .flat_map(|plane: usize| {
            let (samples, _) = frame.planes[plane].data.as_chunks::<2>();
            samples.iter().flat_map(|s| (f32::from(u16::from_le_bytes(*s)) / 1023.0).to_le_bytes())
        })
        .collect();
    for (w, h) in [(96, 72), (100, 75), (40, 30), (24, 18), (20, 15)] {
        let filter = format!("zscale=w={w}:h={h}:filter=bicubic:param_a=0:param_b=0.5,format=gbrpf32le");
        let mut ffmpeg = Command::new("ffmpeg")
            .args(["-v", "error", "-f", "rawvideo", "-pix_fmt", "gbrpf32le", "-s", "64x48", "-i", "-"])
            .args(["-vf", &filter, "-f", "rawvideo", "-"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("this test needs the `ffmpeg` program (Debian: apt-get install ffmpeg)");
        let mut input = ffmpeg.stdin.take().unwrap();
        let bytes = floats.clone();
        let writer = std::thread::spawn(move || input.write_all(&bytes));
        let out = ffmpeg.wait_with_output().unwrap();
        writer.join().unwrap().unwrap();
        assert_eq!(out.stdout.len(), 3 * 4 * w * h, "{w}x{h}");
        let (theirs, _) = out.stdout.as_chunks::<4>();
        let ours = exact(&frame, Framing::default(), (w as u32, h as u32));
        let edge = (2.0 * (w as f64 / 64.0).max(1.0)).ceil() as usize + 1;
        let mut worst = 0f64;
        for y in edge..h - edge {
            for x in edge..w - edge {
                let rgb = ours[y * w + x].unwrap();
                for (plane, c) in [1, 2, 0].into_iter().enumerate() {
                    let their = f32::from_le_bytes(theirs[plane * w * h + y * w + x]);
                    worst = worst.max((rgb[c] - f64::from(their)).abs());
                }
            }
        }
        println!("{w}x{h}: {worst:.1e}");
        // Theirs is in single floats.
        assert!(worst < 1e-6, "{w}x{h}: {worst:e}");
    }
}

#[test]
fn the_kernel_is_an_interpolation_whose_weights_sum_to_1() {
    assert_eq!(
        [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0].map(kernel::<f64>),
        [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]
    );
    assert_eq!([1.0, 2.0, 7.5].map(kernel::<f32>), [0.0; 3]);
    for i in 0..=1000 {
        let t = f64::from(i) / 1000.0;
        let sum: f64 = (-1..=2).map(|j| kernel(t - f64::from(j))).sum();
        assert!((sum - 1.0).abs() < 1e-14, "{t}: {sum}");
    }
}

fn format(model: Model, chroma: Chroma, siting: Siting) -> Format {
    Format { model, sample: Sample::U16, depth: 10, range: Range::Narrow, chroma, siting }
}

const YCBCR: Model = Model::Ycbcr(YcbcrMatrix::Bt709);

/// Noise, as codes over the whole of a format's range.
fn noise(width: u32, height: u32, format: Format) -> Frame {
    noise_within(width, height, format, [(64, 877); 3])
}

/// Noise, as codes from a first one on, so many in each plane.
fn noise_within(width: u32, height: u32, format: Format, codes: [(u32, u32); 3]) -> Frame {
    let mut state = 99u32;
    let planes = std::array::from_fn(|i| {
        let (w, h) = format.plane_size(i, width, height);
        let samples = (0..w * h).map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (codes[i].0 + (state >> 8) % codes[i].1) as u16
        });
        samples.flat_map(u16::to_le_bytes).collect::<Vec<u8>>().into()
    });
    Frame::new(width, height, format, planes).unwrap()
}

/// The framings that twins are compared at, with the raster of each for a frame of 67 × 45.
fn framings() -> Vec<(Framing, (u32, u32))> {
    let f = Framing::default();
    vec![
        (f.with(PanX, 0.1), (67, 45)),
        (f.with(PanX, -0.0371).with(PanY, 0.0523), (67, 45)),
        (f, (128, 72)),
        (f.fitted(Fitting::Fill), (128, 72)),
        (f.with(Scale, 1.0001), (67, 45)),
        (f.with(Scale, 3.3).with(PanX, 0.4).with(PanY, -0.31), (90, 61)),
        (f.with(Scale, 10.0).with(PanX, -2.0).with(PanY, 2.0), (67, 45)),
        (f, (40, 24)),
        (f.fitted(Fitting::Fill).with(Scale, 0.83).with(PanX, 0.05), (31, 40)),
        (f.with(Scale, 0.1).with(PanY, 0.2), (67, 45)),
        // 670 pixels of the frame for one of the raster: a tap for every 42nd.
        (f.with(Scale, 0.1), (3, 1)),
        (f.fitted(Fitting::Fill), (1, 9)),
        (f.with(PanX, 1.5), (67, 45)),
    ]
}

fn compare(gpu: &Gpu, recipe: &Recipe, frame: &Frame, tolerance: Tolerance) -> Agreement {
    let pipeline = gpu.pipelines.wait(&Structure::of(recipe, Target::Float)).unwrap();
    let on_gpu = gpu.signal_with(&pipeline, recipe, frame, Some(POISON)).unwrap();
    assert!(on_gpu.iter().all(|p| p[0] != POISON), "a pixel was not written");
    let on_cpu = cpu::signal(recipe, frame);
    assert_eq!((on_cpu.width, on_cpu.height), recipe.size(frame));
    agreement(&on_cpu.pixels, &on_gpu, tolerance)
}

#[test]
fn gpu_and_cpu_agree_at_every_size_place_and_layout() {
    let gpu = gpu();
    let mut signal = Agreement::default();
    let mut layouts = vec![Format::rgb(Sample::U16, 10), format(YCBCR, Chroma::C444, Siting::Left)];
    for siting in [Siting::Left, Siting::Centre, Siting::TopLeft] {
        layouts.push(format(YCBCR, Chroma::C422, siting));
        layouts.push(format(YCBCR, Chroma::C420, siting));
    }
    for layout in &layouts {
        let frame = noise(67, 45, *layout);
        for (framing, raster) in framings() {
            let found = compare(&gpu, &plain(framing, raster), &frame, OF_PIXEL);
            assert!(found.holds(), "{layout:?} {framing:?} in {raster:?}: {found:?}");
            signal = signal.and(found);
        }
    }
    println!("signal: {:.3} of the tolerance, {:.1e} at most", signal.worst_share, signal.worst);

    // And the whole path, camera signal to display signal and codes, for colours that a camera makes: light of
    // others cancels in the matrices.
    let balance = Balance::default().with(BalanceField::Exposure, 0.4).with(BalanceField::OffsetR, 2.0);
    let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]);
    let recipe = Recipe::graded(encoding("logc4").unwrap(), balance, &Default::default(), tail).at_frame(5);
    let layout = format(YCBCR, Chroma::C420, Siting::Left);
    let frame = noise_within(67, 45, layout, [(200, 500), (472, 80), (472, 80)]);
    let mut display = Agreement::default();
    for (framing, raster) in framings() {
        let recipe = recipe.clone().framed(framing, Some(raster));
        let found = compare(&gpu, &recipe, &frame, SIGNAL);
        assert!(found.holds(), "{framing:?} in {raster:?}: {found:?}");
        display = display.and(found);
        let on_gpu = gpu.codes(&recipe, &frame, 10, true).unwrap().finish(&gpu).unwrap();
        let on_cpu = cpu::codes(&recipe, &frame, 10, true);
        assert_eq!((on_cpu.width, on_cpu.height), raster);
        assert_eq!(on_cpu.pixels.len(), on_gpu.len());
        let apart = on_cpu.pixels.iter().flatten().zip(on_gpu.iter().flatten());
        assert!(apart.clone().all(|(c, g)| c.abs_diff(*g) <= 1), "{framing:?} in {raster:?}");
        let differ = apart.clone().filter(|(c, g)| c != g).count();
        assert!(differ * 25 <= on_gpu.len() * 3, "{framing:?} in {raster:?}: {differ}");
    }
    println!("display: {:.3} of the tolerance, {:.1e} at most", display.worst_share, display.worst);
}

/// Where raster pixels are frame pixels, the shader gives the bits that it gives without any framing in it.
#[test]
fn a_frame_as_large_as_the_raster_keeps_its_bits() {
    let gpu = gpu();
    let tail = Tail::display(OutputTransform::Plain, &DISPLAYS[0]);
    let camera = encoding("logc4").unwrap();
    let graded = Recipe::graded(camera, Balance::default(), &Default::default(), tail);
    for (layout, size) in [
        (Format::rgb(Sample::U16, 10), (67, 45)),
        (format(YCBCR, Chroma::C422, Siting::Left), (130, 9)),
        (format(YCBCR, Chroma::C420, Siting::TopLeft), (67, 45)),
    ] {
        let frame = noise(size.0, size.1, layout);
        for recipe in [plain(Framing::default(), size), graded.clone().framed(Framing::default(), None)] {
            let structure = Structure::of(&recipe, Target::Float);
            let mut assembly = Assembly::picture(&structure);
            let plain_call = "vec4(unpack_signal(p.head.unpack, unpack_samples(p.head.unpack, at)), 1.0)";
            let call = "framed_signal(p.head.framing, p.head.unpack, at)";
            assert_eq!(assembly.text.matches(call).count(), 1);
            assembly.text = assembly.text.replace(call, plain_call);
            let without = gpu.pipelines.build(&assembly, &structure).unwrap();
            let without = gpu.signal_with(&without, &recipe, &frame, Some(POISON)).unwrap();
            let with = gpu.signal(&recipe, &frame).unwrap();
            // One ULP where a compiler contracts across the two.
            let one_ulp = Tolerance { abs: 1e-9, rel: 1.2e-7, of_pixel: false };
            assert!(agreement(&without, &with, one_ulp).holds(), "{layout:?}");
            if greyhold::gpu::is_software(&gpu) {
                let bits = |p: &[[f32; 3]]| p.iter().flatten().map(|v| v.to_bits()).collect::<Vec<_>>();
                assert_eq!(bits(&with), bits(&without), "{layout:?}");
            }
        }
        // … and the CPU twin does the frame's own arithmetic.
        let unpack = Unpack::<f32>::of(&layout);
        let made = cpu::signal(&plain(Framing::default(), size), &frame).pixels;
        let grader = cpu::Grader::<f32>::new(&plain(Framing::default(), size));
        for (i, pixel) in made.iter().enumerate() {
            let (x, y) = (i as u32 % size.0, i as u32 / size.0);
            assert_eq!(*pixel, grader.pixel(unpack.at(&frame, x, y)));
        }
    }
}

/// Moved by whole pixels, a picture is moved and nothing else.
#[test]
fn whole_pixels_are_copied() {
    let frame = codes(40, 30);
    let still = exact(&frame, Framing::default(), (40, 30));
    // + is to the right and up.
    let moved = exact(&frame, Framing::default().with(PanX, 0.1).with(PanY, 0.2), (40, 30));
    for y in 0..30usize {
        for x in 0..40usize {
            let from = (x >= 4 && y < 24).then(|| still[(y + 6) * 40 + x - 4].unwrap());
            match (moved[y * 40 + x], from) {
                (Some(a), Some(b)) => assert!((0..3).all(|c| (a[c] - b[c]).abs() < 1e-12), "{x} {y}"),
                (a, b) => assert_eq!(a.is_some(), b.is_some(), "{x} {y}"),
            }
        }
    }
}

/// How much of a raster a frame covers: columns and rows, each from … to.
fn covered(frame: (u32, u32), framing: Framing, raster: (u32, u32)) -> [std::ops::Range<u32>; 2] {
    let made = exact(&grey_frame(frame.0, frame.1, |_, _| 0.5), framing, raster);
    let all: Vec<_> = (0..raster.0 * raster.1).filter(|i| made[*i as usize].is_some()).collect();
    let span = |of: &dyn Fn(u32) -> u32| {
        let places = all.iter().map(|i| of(*i));
        places.clone().min().unwrap()..places.max().unwrap() + 1
    };
    let spans = [span(&|i| i % raster.0), span(&|i| i / raster.0)];
    assert_eq!(all.len(), spans[0].len() * spans[1].len(), "it is a rectangle");
    spans
}

#[test]
fn fit_shows_all_of_the_frame_and_fill_covers_all_of_the_raster() {
    let (fit, fill) = (Framing::default(), Framing::default().fitted(Fitting::Fill));
    // 4:3 in 16:9: bars of an eighth of the width.
    assert_eq!(covered((40, 30), fit, (64, 36)), [8..56, 0..36]);
    assert_eq!(covered((40, 30), fill, (64, 36)), [0..64, 0..36]);
    // 2:1 in 16:9: bars of an eighteenth of the height.
    assert_eq!(covered((100, 50), fit, (64, 36)), [0..64, 2..34]);
    assert_eq!(covered((100, 50), fill, (64, 36)), [0..64, 0..36]);
    assert_eq!(covered((10, 10), fit.with(Scale, 0.5), (64, 36)), [23..41, 9..27]);
    assert_eq!(
        covered((10, 10), fit.with(Scale, 0.5).with(PanX, 0.125).with(PanY, 0.25), (64, 36)),
        [31..49, 0..18]
    );
    // A shape that differs by less than a pixel leaves no line.
    assert_eq!(covered((1920, 1080), fit, (853, 480)), [0..853, 0..480]);
    assert_eq!(fill.magnification((40, 30), (64, 36)), 1.6);
    assert_eq!(fit.with(Scale, 2.0).magnification((40, 30), (64, 36)), 2.4);
    assert_eq!(fit.with(Scale, 0.1).magnification((16384, 1), (1, 1)), SMALLEST);
}

/// Outside the frame every output's signal is 0, whatever the grade makes of black.
#[test]
fn outside_is_black_whatever_the_grade() {
    let gpu = gpu();
    let lifted = Balance::default().with(BalanceField::OffsetR, 40.0).with(BalanceField::OffsetB, 60.0);
    let (logc4, acescg) = (encoding("logc4").unwrap(), encoding("acescg").unwrap());
    let display = Tail::display(OutputTransform::Plain, &DISPLAYS[0]);
    let frame = grey_frame(30, 30, |_, _| 0.0);
    for tail in [display, Tail::Encoding(logc4), Tail::Encoding(acescg)] {
        let recipe = Recipe::graded(logc4, lifted, &Default::default(), tail)
            .framed(Framing::default(), Some((64, 36)));
        for pixels in [cpu::signal(&recipe, &frame).pixels, gpu.signal(&recipe, &frame).unwrap()] {
            for (i, pixel) in pixels.iter().enumerate() {
                let inside = (14..50).contains(&(i % 64));
                assert_eq!(*pixel == [0.0; 3], !inside, "{i}: {pixel:?}");
            }
        }
        let codes = gpu.codes(&recipe, &frame, 10, true).unwrap().finish(&gpu).unwrap();
        assert!((0..36).all(|y| codes[64 * y] == [0; 3] && codes[64 * y + 63] == [0; 3]), "no dither there");
    }
}

#[test]
fn a_constant_picture_stays_constant() {
    let gpu = gpu();
    let mut worst = 0f32;
    for layout in [Format::rgb(Sample::U16, 10), format(YCBCR, Chroma::C420, Siting::Left)] {
        let planes = std::array::from_fn(|plane| {
            let (w, h) = layout.plane_size(plane, 67, 45);
            let code = [700u16, 410, 590][plane].to_le_bytes();
            code.repeat((w * h) as usize).into()
        });
        let frame = Frame::new(67, 45, layout, planes).unwrap();
        let wanted = Unpack::<f64>::of(&layout).at(&frame, 0, 0);
        for (framing, raster) in framings() {
            let recipe = plain(framing, raster);
            let inside = exact(&frame, framing, raster);
            for pixels in [cpu::signal(&recipe, &frame).pixels, gpu.signal(&recipe, &frame).unwrap()] {
                for (pixel, _) in pixels.iter().zip(&inside).filter(|(_, i)| i.is_some()) {
                    for c in 0..3 {
                        worst = worst.max((f64::from(pixel[c]) - wanted[c]).abs() as f32);
                    }
                }
            }
            for pixel in inside.into_iter().flatten() {
                assert!((0..3).all(|c| (pixel[c] - wanted[c]).abs() < 1e-13));
            }
        }
    }
    println!("off by {worst:.1e} at most");
    assert!(worst <= 1e-6, "{worst:e}");
}

/// A soft disc's light and its middle: (sum, x, y).
fn disc(pixels: &[f64], width: u32) -> (f64, f64, f64) {
    let mut sums = (0.0, 0.0, 0.0);
    for (i, v) in pixels.iter().enumerate() {
        sums.0 += v;
        sums.1 += v * f64::from(i as u32 % width);
        sums.2 += v * f64::from(i as u32 / width);
    }
    (sums.0, sums.1 / sums.0, sums.2 / sums.0)
}

#[test]
fn a_disc_moves_by_the_pan_and_grows_by_the_scale() {
    let (w, h) = (120u32, 80u32);
    let (x0, y0) = (57.3, 36.8);
    let soft = |x: f64, y: f64| 1.0 / (1.0 + ((x - x0).hypot(y - y0) - 9.0).exp());
    let frame = grey_frame(w, h, soft);
    let (light, ..) = disc(&(0..w * h).map(|i| soft((i % w).into(), (i / w).into())).collect::<Vec<_>>(), w);
    for (pan, scale, raster) in [
        ((0.0, 0.0), 1.0, (w, h)),
        ((0.1, 0.2), 1.0, (w, h)),
        ((0.0713, -0.1049), 1.0, (w, h)),
        ((-0.21, 0.037), 1.0, (w, h)),
        ((0.05, -0.04), 1.62, (w, h)),
        ((-0.05, 0.11), 0.5, (w, h)),
        ((0.03, 0.02), 0.37, (w, h)),
        ((0.03, 0.02), 1.0, (200, 90)),
        ((0.03, 0.02), 1.0, (48, 32)),
    ] {
        let framing = Framing::default().with(PanX, pan.0).with(PanY, pan.1).with(Scale, scale);
        let made: Vec<f64> = exact(&frame, framing, raster).iter().map(|p| p.map_or(0.0, |p| p[0])).collect();
        let m = framing.magnification((w, h), raster);
        let (sum, x, y) = disc(&made, raster.0);
        // The disc's middle, from the frame's middle to the raster's.
        let place = |at: f64, frame: u32, raster: u32, pan: f64| {
            (at + 0.5 - f64::from(frame) / 2.0) * m + f64::from(raster) * (0.5 + pan) - 0.5
        };
        let wanted = (place(x0, w, raster.0, pan.0), place(y0, h, raster.1, -pan.1));
        let off = (x - wanted.0).hypot(y - wanted.1);
        assert!(off < 0.002, "{pan:?} {scale} {raster:?}: {off} pixels off");
        assert!((sum / (light * m * m) - 1.0).abs() < 1e-3, "{pan:?} {scale} {raster:?}: {}", sum / light);
    }
}

/// A zone plate made smaller: where it has 3/4 of a cycle and more to a pixel of the raster, one way or the
/// other, at most 7 % of its swing comes back as another pattern; read without a kernel, all of it would.
/// What the kernel passes just over its limit (half of it at half a cycle) is the price of its sharpness.
#[test]
fn a_zone_plate_made_smaller_does_not_alias() {
    for reduction in [2.0, 3.0, 4.0] {
        let side = 480u32;
        // Half a cycle to a pixel of the frame at its right and lower edges.
        let swing = |x: f64, y: f64| (std::f64::consts::PI * 0.5 / f64::from(side) * (x * x + y * y)).cos();
        let frame = grey_frame(side, side, |x, y| 0.5 + 0.4 * swing(x, y));
        let raster = ((f64::from(side) / reduction) as u32, (f64::from(side) / reduction) as u32);
        let made = exact(&frame, Framing::default(), raster);
        let (mut filtered, mut unfiltered, mut seen, mut passed) = (0f64, 0f64, 0, 0f64);
        for (i, pixel) in made.iter().enumerate() {
            let [x, y] =
                [i as u32 % raster.0, i as u32 / raster.0].map(|at| (f64::from(at) + 0.5) * reduction - 0.5);
            let cycles = [x, y].map(|at| 0.5 * at / f64::from(side) * reduction);
            // At its edges the frame is repeated: no plate any more.
            if [x, y].iter().any(|at| *at > f64::from(side) - 2.0 * reduction) {
                continue;
            }
            let left = (pixel.unwrap()[0] - 0.5).abs() / 0.4;
            if cycles[0].max(cycles[1]) >= 0.75 {
                filtered = filtered.max(left);
                unfiltered = unfiltered.max(swing(x.round(), y.round()).abs());
                seen += 1;
            } else if cycles[0].max(cycles[1]) < 0.2 {
                passed = passed.max(left);
            }
        }
        println!("{reduction} times smaller: {filtered:.4} of the swing, {unfiltered:.4} without a kernel");
        assert!(seen > 1000 && filtered <= 0.07, "{reduction}: {filtered}");
        assert!(unfiltered > 0.99 && passed > 0.95, "{reduction}: {unfiltered} {passed}");
    }
}

#[test]
fn taps_are_bounded() {
    let f = Framing::default();
    for (scale, frame, raster, stride) in [
        (10.0, (100, 100), (100, 100), 1),
        (0.5, (100, 100), (100, 100), 1),
        (0.0625, (100, 100), (100, 100), 1),
        (0.1, (400, 400), (100, 100), 3),
        (0.1, (16384, 16384), (1, 1), 256),
    ] {
        let values = f.with(Scale, scale).prepared::<f32>(frame, raster);
        let reach = (2.0 / f.with(Scale, scale).magnification(frame, raster)).max(2.0).ceil() as i32;
        assert_eq!(values.stride, stride, "{scale} {frame:?}");
        assert!(values.count <= MOST_TAPS);
        // From one end of the kernel to the other.
        assert_eq!(values.first, 1 - reach);
        assert!(values.first + (values.count - 1) * values.stride > reach - values.stride);
        assert!(values.first + (values.count - 1) * values.stride <= reach);
    }
    assert_eq!(f.prepared::<f32>((100, 50), (100, 50)).count, 1);
    assert_eq!(f.with(PanX, 0.001).prepared::<f32>((100, 50), (100, 50)).count, 4);
}

/// A running engine over shots of 64 × 36 and 48 × 48, in that order; of the first only if it is to be there.
fn engine(dir: &Path, gpu: &Arc<Gpu>, raster: Option<(u32, u32)>, first: bool) -> Handle {
    let mut show = Show::new("two sizes");
    show.raster = raster;
    for (name, size) in [("wide", (64, 36)), ("square", (48, 48))] {
        let source = Path::new(name).join("take.####.dpx");
        if first || name != "wide" {
            sequence(&dir.join(name), size, 2);
        }
        show.shots.push(Shot::new(name, source, 0..2, encoding("logc4").unwrap()));
    }
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(gpu.clone(), options).unwrap()
}

/// Waits until the picture is of a shot, has a size, and is what the CPU twin says of the show as it stands.
fn shows(engine: &Handle, shot: usize, size: (u32, u32)) {
    wait_for(&format!("shot {shot} at {size:?}, as the CPU has it"), || {
        let picture = engine.picture(Live::Desk).filter(|p| p.shot == shot)?;
        let snapshot = engine.snapshot();
        let path = snapshot.show.shots[shot].source_path(&snapshot.dir);
        let frame = greyhold::media::open(&path, &Default::default()).ok()?.frame(picture.frame).ok()?;
        let tail = snapshot.show.tail(Output::Desk);
        let mut recipe = greyhold::show::recipe(&snapshot.show, shot, tail, picture.frame as u32)?;
        recipe.raster = Some(size);
        let wanted = cpu::codes(&recipe, &frame, 8, true).pixels;
        let found = engine.gpu.read_screen(&picture.output).unwrap();
        let near = |(w, f): (&[u16; 3], &[u8; 4])| (0..3).all(|c| w[c].abs_diff(f[c].into()) <= 1);
        let there = (picture.output.width, picture.output.height) == size && wanted.len() == found.len();
        (there && wanted.iter().zip(&found).all(near)).then_some(())
    });
}

#[test]
fn every_shot_is_shown_in_the_shows_raster() {
    let (dir, gpu) = (tempfile::tempdir().unwrap(), gpu());
    let running = engine(dir.path(), &gpu, Some((80, 60)), true);
    shows(&running, 0, (80, 60));
    assert_eq!(running.snapshot().raster, Some((80, 60)));
    running.send(Input::Command(Ask::Shot(1)));
    shows(&running, 1, (80, 60));
    // Without a raster of its own the show has the first shot's, whichever is on view and is the first.
    running.send(Input::Change { change: Change::SetRaster(None), control: 0 });
    shows(&running, 1, (64, 36));
    assert_eq!(running.snapshot().raster, Some((64, 36)));
    running.send(Input::Turn { target: "framing/pan-x".into(), detents: 125.0, control: 0 });
    wait_for("pan", || (running.snapshot().show.shots[1].framing.get(PanX) > 0.12).then_some(()));
    shows(&running, 1, (64, 36));
    running.send(Input::Change { change: Change::MoveShot { from: 1, to: 0 }, control: 0 });
    wait_for("another first shot", || (running.snapshot().raster == Some((48, 48))).then_some(()));
    // The shot in hand stays in hand where it goes.
    shows(&running, 0, (48, 48));
    running.stop().unwrap();
}

#[test]
fn a_first_shot_that_is_not_there_does_not_hide_the_others() {
    let (dir, gpu) = (tempfile::tempdir().unwrap(), gpu());
    let running = engine(dir.path(), &gpu, None, false);
    running.send(Input::Command(Ask::Shot(1)));
    shows(&running, 1, (48, 48));
    running.stop().unwrap();
}

/// The comparison can fail: a kernel that is a little wrong is rejected, and so is a place.
#[test]
fn a_wrong_twin_is_rejected() {
    let gpu = gpu();
    let frame = noise(67, 45, Format::rgb(Sample::U16, 10));
    let recipe = plain(Framing::default().with(Scale, 1.3), (67, 45));
    let structure = Structure::of(&recipe, Target::Float);
    let right = Assembly::picture(&structure);
    for (from, to) in [("(1.5 * x - 2.5)", "(1.5 * x - 2.501)"), ("high & 0xffff", "high & 0xfff0")] {
        assert_eq!(right.text.matches(from).count(), 1, "{from}");
        let mut wrong = right.clone();
        wrong.text = wrong.text.replace(from, to);
        let pipeline = gpu.pipelines.build(&wrong, &structure).unwrap();
        let on_gpu = gpu.signal_with(&pipeline, &recipe, &frame, Some(POISON)).unwrap();
        let found = agreement(&cpu::signal(&recipe, &frame).pixels, &on_gpu, OF_PIXEL);
        assert!(!found.holds() && found.outside > 100, "{to}: {found:?}");
    }
}
