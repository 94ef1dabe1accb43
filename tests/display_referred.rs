//! Display-referred stills and graphics: under no grading they come out as they went in.

mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use greyhold::colour::{
    DISPLAYS, ENCODINGS, OUTPUT_TRANSFORMS, OutputTransform, Reference, display, encoding,
};
use greyhold::gpu::{Gpu, Request};
use greyhold::media::open;
use greyhold::picture::{Area, BalanceField, Frame, Recipe, Tail, cpu, mean_light};
use greyhold::show::{Shot, Show, recipe};
use support::greyhold;

/// Signals of BT.1886 below this are judged by their light: there a 10-bit code is 6e-5 of peak and less, down to
/// 6e-8 for the first.
const DARK: f32 = 0.02;

/// Every combination of 25 signals, and every grey of 10 bits.
fn signals() -> Vec<[f32; 3]> {
    let mut out: Vec<[f32; 3]> =
        (0..25 * 25 * 25).map(|i| [i % 25, i / 25 % 25, i / 625].map(|n| n as f32 / 24.0)).collect();
    out.extend((0..1024).map(|n| [n as f32 / 1023.0; 3]));
    out.resize(out.len().next_multiple_of(64), [0.0; 3]);
    out
}

fn show_of(id: &str, transform: OutputTransform) -> Show {
    let mut show = Show::new("stills");
    show.transform = transform;
    show.shots.push(Shot::new("still", "still.png", 0..1, encoding(id).unwrap()));
    show
}

/// The furthest that a picture is from its frame: in 10-bit codes, and where BT.1886's are too fine, in light.
fn furthest(id: &str, given: &[[f32; 3]], found: &[[f32; 3]]) -> (f32, f32) {
    let (mut codes, mut dark) = (0f32, 0f32);
    assert_eq!(given.len(), found.len());
    for (a, b) in given.iter().flatten().zip(found.iter().flatten()) {
        assert!(b.is_finite());
        if id == "bt1886" && *a < DARK {
            dark = dark.max((a.powf(2.4) - b.powf(2.4)).abs());
        } else {
            codes = codes.max((a - b).abs() * 1023.0);
        }
    }
    (codes, dark)
}

/// Through the recipe that a show gives, with its balance and chain that do nothing, on the CPU and on the GPU.
#[test]
fn a_still_comes_out_as_it_went_in() {
    let gpu = Gpu::headless(Request::default()).expect("the tests need an adapter");
    let given = signals();
    let frame = Frame::from_rgb(64, &given).unwrap();
    for (id, of) in [("bt1886", "rec709"), ("srgb", "srgb")] {
        for &transform in OUTPUT_TRANSFORMS {
            let show = show_of(id, transform);
            let tail = Tail::display(transform, display(of).unwrap());
            let recipe = recipe(&show, 0, tail, 0).unwrap();
            let pictures =
                [("cpu", cpu::signal(&recipe, &frame).pixels), ("gpu", gpu.signal(&recipe, &frame).unwrap())];
            for (on, found) in pictures {
                let (codes, dark) = furthest(id, &given, &found);
                println!("{id} {} {on}: {codes:.3} 10-bit codes, dark light {dark:.1e}", transform.id());
                assert!(codes < 1.0, "{id} {} {on}: {codes} codes", transform.id());
                assert!(dark < 1e-5, "{id} {} {on}: light {dark:e}", transform.id());
            }
        }
    }
}

/// The check of the check: with another transform on the way back than on the way out nothing comes back.
#[test]
fn another_transform_does_not_bring_it_back() {
    let given = signals();
    let frame = Frame::from_rgb(64, &given).unwrap();
    let tail = Tail::display(OutputTransform::Aces2, display("srgb").unwrap());
    let made = Recipe::conversion(encoding("srgb").unwrap(), tail);
    for other in [OutputTransform::Plain, OutputTransform::None] {
        let found = cpu::signal(&made.clone().rendered_by(other), &frame).pixels;
        assert!(furthest("srgb", &given, &found).0 > 100.0);
    }
}

/// A still lies under the look: 10 cd/m² of 100 is middle grey (the Academy's tone mapping table,
/// tests/data/tone_scale.csv), a stop brings it to twice that, and the graded scene-linear file holds that.
#[test]
fn a_still_is_graded_as_light_of_the_scene() {
    let mut show = show_of("bt1886", OutputTransform::Aces2);
    let grey = 0.1f32.powf(1.0 / 2.4);
    let frame = Frame::from_rgb(4, &[[grey; 3]; 4]).unwrap();
    let acescg = Tail::Encoding(encoding("acescg").unwrap());
    for (stops, light) in [(0.0, 0.18), (1.0, 0.36), (-2.0, 0.045)] {
        show.shots[0].balance.values[BalanceField::Exposure as usize] = stops;
        let recipe = recipe(&show, 0, acescg.clone(), 0).unwrap();
        for x in cpu::signal(&recipe, &frame).pixels[0] {
            assert!((x / light - 1.0).abs() < 1e-4, "{stops}: {x}");
        }
    }
}

/// A tinted grey card of a still becomes neutral where it is picked: the light that is measured is the scene's.
#[test]
fn a_patch_of_a_still_is_made_neutral() {
    for &transform in OUTPUT_TRANSFORMS {
        let mut show = show_of("srgb", transform);
        let frame = Frame::from_rgb(16, &[[0.55, 0.5, 0.42]; 16 * 16]).unwrap();
        let area = Area::around(&frame, 8, 8, 9).unwrap();
        let light = mean_light(&frame, show.decode(&show.shots[0]), area);
        let acescg = Tail::Encoding(encoding("acescg").unwrap());
        let scene = cpu::signal(&recipe(&show, 0, acescg, 0).unwrap(), &frame).pixels[0];
        for c in 0..3 {
            assert!((light[c] / f64::from(scene[c]) - 1.0).abs() < 1e-4, "{light:?} {scene:?}");
        }
        show.apply(show.neutral(0, light, None).unwrap()).unwrap();
        let tail = Tail::display(transform, display("srgb").unwrap());
        let [r, g, b] = cpu::signal(&recipe(&show, 0, tail, 0).unwrap(), &frame).pixels[0];
        let codes = (r - g).abs().max((b - g).abs()) * 1023.0;
        println!("{}: {codes:.3} 10-bit codes from neutral", transform.id());
        assert!(codes < 0.5, "{}: {r} {g} {b}", transform.id());
    }
}

/// Scene-referred footage is not touched by it, whatever the transform.
#[test]
fn footage_of_the_scene_is_left_alone() {
    let frame = Frame::from_rgb(64, &signals()).unwrap();
    let tail = Tail::Encoding(encoding("acescg").unwrap());
    let made = Recipe::conversion(encoding("logc4").unwrap(), tail);
    let plain = cpu::signal(&made, &frame).pixels;
    for &transform in OUTPUT_TRANSFORMS {
        assert_eq!(cpu::signal(&made.clone().rendered_by(transform), &frame).pixels, plain);
    }
}

/// Every encoding of display light is that of one display, with its curve and primaries.
#[test]
fn every_display_encoding_has_its_display() {
    let of_displays: Vec<_> = ENCODINGS.iter().filter(|e| e.reference == Reference::Display).collect();
    assert_eq!(of_displays.iter().map(|e| e.id).collect::<Vec<_>>(), ["bt1886", "srgb"]);
    assert_eq!(of_displays[0].display().unwrap().id, "rec709");
    assert_eq!(of_displays[1].display().unwrap().id, "srgb");
    assert!(ENCODINGS.iter().filter(|e| e.reference == Reference::Scene).all(|e| e.display().is_none()));
    assert!(DISPLAYS.iter().all(|d| d.id != "rec709" || d.peak == 100.0));
}

fn tool(program: &str, arguments: &[&str]) -> Vec<u8> {
    let out = Command::new(program).args(arguments).stderr(Stdio::null()).output();
    let out = out.unwrap_or_else(|e| panic!("{program} does not start ({e}): see tests/setup.sh"));
    assert!(out.status.success(), "{program} {arguments:?}");
    out.stdout
}

fn fine(arguments: &[&str]) {
    let out = greyhold().args(arguments).output().unwrap();
    assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
}

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// The only file of a folder, as signal.
fn rendered(folder: PathBuf) -> Vec<[f32; 3]> {
    let mut source = open(&folder, &Default::default()).unwrap();
    let frame = source.frame(0).unwrap();
    let acescg = encoding("acescg").unwrap();
    cpu::signal(&Recipe::conversion(acescg, Tail::Encoding(acescg)), &frame).pixels
}

/// A PNG and a JPEG, added and rendered as a person does it. What the files hold is read with FFmpeg; JFIF's
/// conversion from Y'CbCr (ITU-T T.871, 7) is written out.
#[test]
fn stills_are_added_and_rendered() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    let (png, jpeg, show) = (at("card.png"), at("photo.jpg"), at("show"));
    let pattern = ["-v", "error", "-f", "lavfi", "-i", "testsrc2=size=96x64:rate=1", "-frames:v", "1"];
    tool("ffmpeg", &[&pattern[..], &["-pix_fmt", "rgb24", path(&png)]].concat());
    tool("ffmpeg", &[&pattern[..], &["-pix_fmt", "yuvj444p", "-q:v", "2", path(&jpeg)]].concat());
    fine(&["new", path(&show)]);
    fine(&["add", path(&show), path(&png), path(&jpeg), "--encoding", "srgb"]);

    let raw = |file: &Path, format: &str| {
        tool("ffmpeg", &["-v", "error", "-i", path(file), "-f", "rawvideo", "-pix_fmt", format, "-"])
    };
    let of_png: Vec<[f32; 3]> =
        raw(&png, "rgb24").as_chunks::<3>().0.iter().map(|p| p.map(|v| f32::from(v) / 255.0)).collect();
    let planes = raw(&jpeg, "yuvj444p");
    let size = 96 * 64;
    let of_jpeg: Vec<[f32; 3]> = (0..size)
        .map(|i| {
            let [y, cb, cr] = [0, 1, 2].map(|p| f64::from(planes[p * size + i]));
            let (cb, cr) = (cb - 128.0, cr - 128.0);
            [y + 1.402 * cr, y - 0.344_136_3 * cb - 0.714_136_3 * cr, y + 1.772 * cb]
                .map(|v| (v / 255.0).clamp(0.0, 1.0) as f32)
        })
        .collect();
    assert!(of_png.len() == size && planes.len() == 3 * size);

    for on in ["cpu", "gpu"] {
        for transform in OUTPUT_TRANSFORMS {
            let text = std::fs::read_to_string(show.join("show.toml")).unwrap();
            let line = text.lines().find(|l| l.starts_with("transform = ")).unwrap();
            let text = text.replace(line, &format!("transform = \"{}\"", transform.id()));
            std::fs::write(show.join("show.toml"), text).unwrap();
            let out = at(&format!("{on}-{}", transform.id()));
            fine(&["render", path(&show), "--out", path(&out), "--display", "srgb", "--on", on]);
            for (shot, given) in [("card", &of_png), ("photo", &of_jpeg)] {
                let (codes, _) = furthest("srgb", given, &rendered(out.join(shot)));
                println!("{shot} {} {on}: {codes:.3} 10-bit codes", transform.id());
                assert!(codes < 1.0, "{shot} {} {on}: {codes} codes", transform.id());
            }
        }
    }
}
