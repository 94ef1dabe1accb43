//! Thumbnails: what the CPU twin says of the representative frame, soon after a change, never while it plays.

mod support;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Command, Handle, Input, Options, THUMBNAIL, Thumbnail, start};
use greyhold::gpu::Gpu;
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{BalanceField, Frame, cpu};
use greyhold::show::{Change, Output, Shot, Show, Slot, recipe};
use support::wait_for;

/// Large enough to be made small by a whole number.
const SIZE: (u32, u32) = (THUMBNAIL.0 * 4, THUMBNAIL.1 * 4);

/// Smooth colours that get brighter from frame to frame, as 10-bit codes.
fn picture(frame: u32) -> Vec<[u16; 3]> {
    (0..SIZE.0 * SIZE.1)
        .map(|i| {
            let (x, y) = (i % SIZE.0, i / SIZE.0);
            [200 + x / 4 + frame * 20, 200 + y / 2 + frame * 20, 420 - x / 8 + frame * 20].map(|v| v as u16)
        })
        .collect()
}

fn clip(folder: &Path, frames: u32) -> PathBuf {
    std::fs::create_dir_all(folder).unwrap();
    for frame in 0..frames {
        let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &picture(frame) };
        write_image(&folder.join(format!("a.{frame:04}.dpx")), ImageFormat::Dpx, &image).unwrap();
    }
    folder.join("a.####.dpx")
}

fn engine(dir: &Path) -> Handle {
    let mut show = Show::new("thumbnails");
    show.rate = (24, 1);
    let source = clip(&dir.join("footage"), 9);
    let log = encoding("logc4").unwrap();
    show.shots.push(Shot::new("first", &source, 0..9, log));
    show.shots.push(Shot::new("second", &source, 4..9, log));
    show.shots.push(Shot::new("lost", dir.join("gone.mov"), 0..9, log));
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(Gpu::headless(Default::default()).unwrap(), options).unwrap()
}

fn thumbnail(engine: &Handle, shot: usize) -> Option<Arc<Thumbnail>> {
    engine.snapshot().thumbnails.get(shot)?.clone()?.ok()
}

/// The whole frame graded by the CPU twin, and the mean over each thumbnail's pixel.
fn wanted(show: &Show, shot: usize, frame: u32) -> Vec<[f64; 3]> {
    let signal: Vec<[f32; 3]> = picture(frame).iter().map(|p| p.map(|v| f32::from(v) / 1023.0)).collect();
    let frame_of = Frame::from_rgb(SIZE.0, &signal).unwrap();
    let recipe = recipe(show, shot, show.tail(Output::Desk), 0).unwrap();
    let whole = cpu::signal(&recipe, &frame_of).pixels;
    let (width, height) = THUMBNAIL;
    (0..width * height)
        .map(|i| {
            let (x, y) = (i % width * 4, i / width * 4);
            let mut sum = [0.0; 3];
            for n in 0..16 {
                let p = whole[((y + n / 4) * SIZE.0 + x + n % 4) as usize];
                (0..3).for_each(|c| sum[c] += f64::from(p[c]) / 16.0);
            }
            sum
        })
        .collect()
}

/// Mean and greatest difference in 8-bit codes, edges left out, where framing reads beyond the frame.
fn off(found: &Thumbnail, wanted: &[[f64; 3]]) -> (f64, f64) {
    assert_eq!((found.width, found.height), THUMBNAIL);
    let (mut sum, mut most, mut count) = (0.0, 0.0f64, 0.0);
    for (i, (f, w)) in found.pixels.iter().zip(wanted).enumerate() {
        let (x, y) = (i as u32 % THUMBNAIL.0, i as u32 / THUMBNAIL.0);
        if x < 2 || y < 2 || x + 3 > THUMBNAIL.0 || y + 3 > THUMBNAIL.1 {
            continue;
        }
        for c in 0..3 {
            let d = (f64::from(f[c]) - w[c] * 255.0).abs();
            (sum, most, count) = (sum + d, most.max(d), count + 1.0);
        }
    }
    (sum / count, most)
}

#[test]
fn thumbnails_follow_the_grade() {
    let dir = tempfile::tempdir().unwrap();
    let engine = engine(dir.path());
    // Nobody asks: none is made.
    wait_for("a picture", || engine.picture(greyhold::engine::Live::Desk));
    std::thread::sleep(Duration::from_millis(900));
    assert!(engine.snapshot().thumbnails.iter().all(Option::is_none));

    engine.send(Input::Thumbnails(Some(0..3)));
    let first = wait_for("the first shot's", || thumbnail(&engine, 0));
    let second = wait_for("the second shot's", || thumbnail(&engine, 1));
    let lost = wait_for("word of the lost one", || engine.snapshot().thumbnails.get(2)?.clone()?.err());
    assert!(lost.contains("gone.mov"), "{lost}");
    // The middle frames: 4 of 0 to 8, and 6 of 4 to 8.
    let show = engine.snapshot().show.clone();
    for (found, shot, frame) in [(&first, 0, 4), (&second, 1, 6)] {
        let (mean, most) = off(found, &wanted(&show, shot, frame));
        println!("shot {shot}: {mean:.3} codes off, most {most:.2}");
        assert!(mean < 0.6 && most < 8.0, "{mean} {most}");
        // It could tell: the frame before is another picture.
        assert!(off(found, &wanted(&show, shot, frame - 1)).0 > 2.0);
    }

    // Another balance, of the shot that is not on view: redrawn shortly after.
    let change = |change| engine.send(Input::Change { change, control: 1 });
    let slot = Slot::Balance { shot: 1, field: BalanceField::Exposure };
    let start = Instant::now();
    change(Change::SetParameter { slot, value: -1.0 });
    let darker = wait_for("another", || thumbnail(&engine, 1).filter(|t| t.made_of != second.made_of));
    println!("redrawn after {:?}", start.elapsed());
    let show = engine.snapshot().show.clone();
    assert!(off(&darker, &wanted(&show, 1, 6)).0 < 0.6);
    assert_eq!(thumbnail(&engine, 0).unwrap(), first, "the other stays");

    // Undone, it is the one from before, without being made again.
    engine.send(Input::Command(Command::Undo));
    let again = wait_for("the one before", || thumbnail(&engine, 1).filter(|t| t.made_of == second.made_of));
    assert!(Arc::ptr_eq(&again, &second));

    // Another frame, and another place in the running order.
    change(Change::SetRepresentative { shot: 1, frame: Some(8) });
    let chosen = wait_for("that frame's", || thumbnail(&engine, 1).filter(|t| t.made_of != second.made_of));
    let show = engine.snapshot().show.clone();
    assert!(off(&chosen, &wanted(&show, 1, 8)).0 < 0.6);
    change(Change::MoveShot { from: 1, to: 0 });
    let moved =
        wait_for("it in the first place", || thumbnail(&engine, 0).filter(|t| t.made_of == chosen.made_of));
    assert!(Arc::ptr_eq(&moved, &chosen));

    // While it plays none is made.
    engine.send(Input::Command(Command::TogglePlay));
    wait_for("playback", || engine.snapshot().playing.then_some(()));
    change(Change::SetParameter {
        slot: Slot::Balance { shot: 0, field: BalanceField::Exposure },
        value: 1.0,
    });
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(thumbnail(&engine, 0).unwrap().made_of, chosen.made_of);
    engine.send(Input::Command(Command::Stop));
    wait_for("a brighter one", || thumbnail(&engine, 0).filter(|t| t.made_of != chosen.made_of));
    engine.stop().unwrap();
}
