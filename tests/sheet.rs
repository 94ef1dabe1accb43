//! The contact sheet: its pictures are the rendered ones, its frame is the one in the middle, its neutrals are neutral.

mod support;

use std::path::{Path, PathBuf};

use greyhold::colour::encoding;
use greyhold::engine::render::{Job as RenderJob, file_name, render};
use greyhold::engine::sheet::{Job, Sheet, SheetError, Tried, sheet, standing};
use greyhold::look::{Stage, stage};
use greyhold::media::{Image, ImageFormat, Interpretation, open, write_image};
use greyhold::show::{Change, Output, Shot, Show, shipped_looks};
use support::greyhold;

const SIZE: (u32, u32) = (192, 108);

/// Frames of a ramp whose code grows as `levels` say, as 10-bit DPX.
fn clip(dir: &Path, name: &str, levels: &[u16]) -> PathBuf {
    let folder = dir.join(name);
    std::fs::create_dir_all(&folder).unwrap();
    for (i, level) in levels.iter().enumerate() {
        let pixels: Vec<[u16; 3]> = (0..SIZE.0 * SIZE.1)
            .map(|p| {
                let (x, y) = ((p % SIZE.0) as u16, (p / SIZE.0) as u16);
                [level + x / 2, level + y, level + (x * 7 + y * 3) % 64]
            })
            .collect();
        let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
        write_image(&folder.join(format!("{name}.{i:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
    }
    folder.join(format!("{name}.####.dpx"))
}

/// Two shots; a saturation stage ahead of the look and one after it.
fn show(dir: &Path) -> Show {
    let mut show = Show::new("Sheet");
    let log = encoding("logc4").unwrap();
    for (name, levels) in [("rising", [100, 200, 300, 400, 500]), ("falling", [400, 350, 280, 260, 150])] {
        show.shots.push(Shot::new(name, clip(dir, name, &levels), 0..5, log));
    }
    let mut turned = Stage::new(stage("saturation").unwrap());
    turned.strength = 0.5;
    show.chain.before.push(turned);
    show.chain.finish.push(Stage::new(stage("contrast").unwrap()));
    show.chain.look.push(Stage::new(stage("crosstalk").unwrap()));
    show
}

fn tried(name: &str) -> Tried {
    let look = shipped_looks().iter().find(|l| l.name == name).unwrap();
    Tried { name: look.name.clone(), note: look.note.clone(), stages: Some(look.stages.clone()) }
}

fn looks() -> Vec<Tried> {
    let own = Tried { name: "as it is".into(), note: String::new(), stages: None };
    vec![own, tried("Reversal"), tried("Low-contrast print")]
}

fn drawn(show: &Show, dir: &Path, looks: &[Tried], width: u32) -> Result<Sheet, SheetError> {
    drawn_of(show, dir, looks, &[0, 1], width)
}

fn drawn_of(
    show: &Show,
    dir: &Path,
    looks: &[Tried],
    shots: &[usize],
    width: u32,
) -> Result<Sheet, SheetError> {
    let job = Job {
        show,
        dir,
        looks,
        shots,
        output: Some(Output::Files),
        settings: show.outputs.get(Output::Files),
        width,
        gpu: None,
    };
    sheet(&job, &mut |_, _, _, _| true)
}

/// What `render` writes of a frame: the whole path, in 16 bits.
fn rendered(show: &Show, dir: &Path, shot: usize, frame: u64) -> Vec<[f64; 3]> {
    let out = tempfile::tempdir().unwrap();
    let job = RenderJob {
        show,
        dir,
        shots: vec![shot],
        frames: Some(frame..=frame),
        out: out.path(),
        format: ImageFormat::Png.into(),
        tail: Some(show.tail(Output::Files)),
        gpu: None,
        options: Default::default(),
    };
    assert_eq!(render(&job, &mut |_| ()).unwrap().written, 1);
    let file = file_name(out.path(), &show.shots[shot], frame, ImageFormat::Png);
    let image = image::open(file).unwrap().into_rgb16();
    image.pixels().map(|p| p.0.map(|v| f64::from(v) / 65535.0)).collect()
}

fn picture(sheet: &Sheet, place: [u32; 4]) -> Vec<[f64; 3]> {
    let [left, top, width, height] = place;
    let at = |i: u32| ((top + i / width) * sheet.width + left + i % width) as usize;
    (0..width * height).map(|i| sheet.pixels[at(i)].map(|v| f64::from(v) / 255.0)).collect()
}

fn with_look(show: &Show, look: &Tried) -> Show {
    let mut show = show.clone();
    if let Some(stages) = &look.stages {
        show.chain.look = stages.clone();
    }
    show
}

/// Where there is room for the raster, a picture is the rendered frame, but for 8 bits and their dither: half a code
/// of rounding and one of noise. Stages ahead of the look and after it stay.
#[test]
fn a_picture_is_what_render_writes() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let looks = looks();
    let sheet = drawn(&show, dir.path(), &looks, 2000).unwrap();
    assert_eq!(sheet.places.len(), 6);
    for (i, place) in sheet.places.iter().enumerate() {
        let (look, shot) = (&looks[i / 2], i % 2);
        assert_eq!((place[2], place[3]), SIZE);
        let whole = rendered(&with_look(&show, look), dir.path(), shot, sheet.frames[shot]);
        let small = picture(&sheet, *place);
        let worst = whole
            .iter()
            .flatten()
            .zip(small.iter().flatten())
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        assert!(worst <= 1.501 / 255.0, "{} on shot {shot}: {worst}", look.name);
    }
    // They differ among themselves, or the comparison above would say nothing of looks.
    assert_ne!(picture(&sheet, sheet.places[0]), picture(&sheet, sheet.places[2]));
    assert_ne!(picture(&sheet, sheet.places[2]), picture(&sheet, sheet.places[4]));
}

/// Smaller pictures are means of display light: by BT.1886's exponent, 2.4, over the pixels that each covers.
#[test]
fn a_smaller_picture_is_the_mean_of_light() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let looks = looks();
    let sheet = drawn(&show, dir.path(), &looks, 350).unwrap();
    let place = sheet.places[1];
    let (width, height) = (place[2] as usize, place[3] as usize);
    assert!(width < SIZE.0 as usize, "{width}");
    let whole = rendered(&show, dir.path(), 1, sheet.frames[1]);
    let small = picture(&sheet, place);
    let (sx, sy) = (f64::from(SIZE.0) / width as f64, f64::from(SIZE.1) / height as f64);
    // Overlap of two intervals.
    let over = |a: f64, b: f64, c: f64| (b.min(c + 1.0) - a.max(c)).max(0.0);
    let mut worst = 0.0f64;
    for (x, y) in [(0, 0), (width / 2, height / 2), (width - 1, height - 1), (3, height - 2)] {
        let mut light = [0.0; 3];
        for (p, pixel) in whole.iter().enumerate() {
            let (px, py) = ((p % SIZE.0 as usize) as f64, (p / SIZE.0 as usize) as f64);
            let part =
                over(x as f64 * sx, (x + 1) as f64 * sx, px) * over(y as f64 * sy, (y + 1) as f64 * sy, py);
            for c in 0..3 {
                light[c] += pixel[c].powf(2.4) * part / (sx * sy);
            }
        }
        for c in 0..3 {
            worst = worst.max((light[c].powf(1.0 / 2.4) - small[y * width + x][c]).abs());
        }
    }
    assert!(worst <= 1.51 / 255.0, "{worst}");
}

/// The middle frame of a shot's own range, or the one that was chosen; another where that cannot be read.
#[test]
fn the_frame_that_stands_for_a_shot() {
    let dir = tempfile::tempdir().unwrap();
    let mut show = show(dir.path());
    let mixed = clip(dir.path(), "mixed", &[500, 120, 300, 110, 310, 320, 600]);
    show.shots.push(Shot::new("mixed", mixed, 1..6, encoding("logc4").unwrap()));
    let stands = |show: &Show, shot: usize| {
        let path = show.shots[shot].source_path(dir.path());
        let mut source = open(&path, &Interpretation::default()).unwrap();
        let (number, frame) = standing(&show.shots[shot], source.as_mut()).unwrap();
        assert_eq!((frame.width, frame.height), SIZE);
        number
    };
    assert_eq!([0, 1, 2].map(|shot| stands(&show, shot)), [2, 2, 2]);
    show.apply(Change::SetRepresentative { shot: 2, frame: Some(5) }).unwrap();
    assert_eq!(stands(&show, 2), 4);
    assert_eq!(drawn_of(&show, dir.path(), &looks()[..1], &[1, 2], 900).unwrap().frames, [2, 4]);
    std::fs::write(dir.path().join("mixed/mixed.0005.dpx"), "no picture").unwrap();
    assert_eq!(stands(&show, 2), 1);
}

/// The page has no colour of its own, its surround is the desk's (0.195 of signal), and there is text on it.
#[test]
fn the_page_is_neutral() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let sheet = drawn(&show, dir.path(), &looks(), 1200).unwrap();
    let inside = |x: u32, y: u32| {
        sheet.places.iter().any(|[l, t, w, h]| (*l..l + w).contains(&x) && (*t..t + h).contains(&y))
    };
    let (mut surround, mut bright) = (0usize, 0usize);
    let mut page = 0usize;
    for (i, pixel) in sheet.pixels.iter().enumerate() {
        let (x, y) = (i as u32 % sheet.width, i as u32 / sheet.width);
        if inside(x, y) {
            continue;
        }
        page += 1;
        assert!(pixel[0] == pixel[1] && pixel[1] == pixel[2], "{pixel:?} at {x}, {y}");
        surround += usize::from(pixel[0] == 50);
        bright += usize::from(pixel[0] > 150);
    }
    assert!(surround * 10 > page * 8, "{surround} of {page}");
    assert!(bright > 200, "{bright}");
}

#[test]
fn a_sheet_without_room_says_what_would_do() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path());
    let Err(SheetError::Layout { what, accepted }) = drawn(&show, dir.path(), &looks(), 200) else {
        panic!("200 pixels are no room for names and two pictures")
    };
    assert!(what.contains("200 pixels"), "{what}");
    let least: u32 = accepted.split_whitespace().find_map(|w| w.parse().ok()).unwrap();
    assert!(drawn(&show, dir.path(), &looks(), least).is_ok());
}

/// The command: the file, what it says, what it refuses; a file that is there stays until the new one is whole.
#[test]
fn the_command_writes_a_sheet() {
    let dir = tempfile::tempdir().unwrap();
    greyhold::show::save(&show(dir.path()), dir.path()).unwrap();
    let out = dir.path().join("sheet.png");
    let run = |more: &[&str]| {
        let mut command = greyhold();
        command.args(["sheet", dir.path().to_str().unwrap(), "--out", out.to_str().unwrap(), "--on", "cpu"]);
        command.args(more).output().unwrap()
    };
    let done = run(&["--looks", "low-contrast-print", "--shots", "falling", "--width", "640"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(said.contains("falling: frame 2\n2 looks × 1 shots"), "{said}");
    let before = std::fs::read(&out).unwrap();
    assert_eq!(image::open(&out).unwrap().color(), image::ColorType::Rgb8);
    for (more, accepted) in [
        (["--looks", "soft"], "reversal"),
        (["--shots", "rise"], "rising, falling"),
        (["--output", "wall"], "desk, client, files"),
    ] {
        let refused = run(&more);
        let error = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert_eq!(refused.status.code(), Some(2), "{error}");
        assert!(error.contains(accepted), "{error}");
    }
    assert_eq!(std::fs::read(&out).unwrap(), before);
}
