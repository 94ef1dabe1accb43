//! Live pictures in the depth of their windows' surfaces, and cuts between footage and stills.

mod support;

use std::path::Path;
use std::sync::Arc;

use greyhold::colour::{DISPLAYS, encoding};
use greyhold::engine::{CACHE, Command, Handle, Input, Live, Options, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::picture::{Target, cpu};
use greyhold::show::{Change, Output, Shot, Show};
use support::{sequence, wait_for};

const SIZE: (u32, u32) = (64, 36);

/// A running engine over the same frames twice: as a camera's, and as a display's.
fn engine(dir: &Path) -> Handle {
    let gpu = Gpu::headless(Request::default()).expect("the tests need an adapter");
    let mut show = Show::new("depths");
    sequence(&dir.join("footage"), SIZE, 2);
    for (name, id) in [("camera", "logc4"), ("still", "srgb")] {
        show.shots.push(Shot::new(name, "footage/take.####.dpx", 0..2, encoding(id).unwrap()));
    }
    let options =
        Options { dir: dir.to_owned(), show, lock: None, panel: None, cache: CACHE, notify: Arc::new(|| ()) };
    start(gpu, options).unwrap()
}

/// Waits until an output's picture is of a shot, in a target, and what the CPU twin says, dithered to `bits`.
fn shows(engine: &Handle, live: Live, shot: usize, target: Target, bits: u32) {
    shows_within(engine, live, shot, target, bits, 0.01);
}

/// The same with another share of codes that may be the next one.
fn shows_within(engine: &Handle, live: Live, shot: usize, target: Target, bits: u32, share: f64) {
    wait_for(&format!("shot {shot} on {live:?} in {target:?}, {bits} bit, as the CPU has it"), || {
        let picture = engine.picture(live).filter(|p| p.shot == shot && p.output.target == target)?;
        let snapshot = engine.snapshot();
        let path = snapshot.show.shots[shot].source_path(&snapshot.dir);
        let frame = greyhold::media::open(&path, &Default::default()).ok()?.frame(picture.frame).ok()?;
        let output = if live == Live::Desk { Output::Desk } else { Output::Client };
        let tail = snapshot.show.tail(output);
        let recipe = greyhold::show::recipe(&snapshot.show, shot, tail, picture.frame as u32)?;
        let wanted = cpu::codes(&recipe, &frame, bits, true).pixels;
        let max = ((1u32 << bits) - 1) as f32;
        let found: Vec<[f32; 3]> = match target {
            Target::Screen => {
                let found = engine.gpu.read_screen(&picture.output).unwrap();
                found.into_iter().map(|[r, g, b, _]| [r, g, b].map(f32::from)).collect()
            }
            _ => {
                let found = engine.gpu.read_deep_screen(&picture.output).unwrap();
                found.into_iter().map(|p| p.map(|v| v * max)).collect()
            }
        };
        if wanted.len() != found.len() {
            return None;
        }
        let mut others = 0;
        for (w, f) in wanted.iter().flatten().zip(found.iter().flatten()) {
            // Codes, or the halves nearest to them.
            if (f - f.round()).abs() > 0.26 || (f.round() - f32::from(*w)).abs() > 1.0 {
                return None;
            }
            others += usize::from(f.round() != f32::from(*w));
        }
        (others as f64 / ((3 * wanted.len()) as f64) < share).then_some(())
    });
}

#[test]
fn every_window_is_dithered_to_its_own_depth() {
    let dir = tempfile::tempdir().unwrap();
    let running = engine(dir.path());
    for live in Live::ALL {
        shows(&running, live, 0, Target::Screen, 8);
    }
    // One display, two depths: two pictures.
    running.send(Input::Depth { output: Live::Client, bits: 10 });
    // They share one that is graded in half floats, whose rounding is a fortieth of a 10-bit code here.
    shows_within(&running, Live::Client, 0, Target::DeepScreen, 10, 0.06);
    shows_within(&running, Live::Desk, 0, Target::DeepScreen, 8, 0.02);
    // Another display.
    let pq = DISPLAYS.iter().find(|d| d.id == "rec2100-pq-1000").unwrap();
    let change = Change::SetDisplay { output: Output::Client, display: pq.into() };
    running.send(Input::Change { change, control: 0 });
    wait_for("the display", || (running.snapshot().show.outputs.client.display.id == pq.id).then_some(()));
    shows_within(&running, Live::Client, 0, Target::DeepScreen, 10, 0.06);
    // One depth and one display again: one picture.
    let change = Change::SetDisplay { output: Output::Client, display: (&DISPLAYS[0]).into() };
    running.send(Input::Change { change, control: 0 });
    running.send(Input::Depth { output: Live::Client, bits: 8 });
    for live in Live::ALL {
        shows(&running, live, 0, Target::Screen, 8);
    }
    let [desk, client] = Live::ALL.map(|live| running.picture(live).unwrap().output.clone());
    assert!(Arc::ptr_eq(&desk, &client));
    running.stop().unwrap();
}

/// A display-referred shot takes another plan than a camera's: going from one to the other and back shows both.
#[test]
fn footage_and_stills_are_cut_together() {
    let dir = tempfile::tempdir().unwrap();
    let running = engine(dir.path());
    for shot in [0, 1, 0, 1] {
        running.send(Input::Command(Command::Shot(shot)));
        shows(&running, Live::Desk, shot, Target::Screen, 8);
    }
    running.stop().unwrap();
}
