//! The probe tells what the picture holds, step by step.

mod support;

use std::path::Path;
use std::sync::Arc;

use greyhold::colour::encoding;
use greyhold::engine::{CACHE, Input, Options, Snapshot, start};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{Stage, stage};
use greyhold::media::{Image, ImageFormat, write_image};
use greyhold::picture::{BalanceField, Probed, cpu};
use greyhold::show::{Output, Shot, Show, recipe};
use support::wait_for;

/// LogC4 in ten bits, left to right: grey (0.18 at signal 0.27836, "ARRI LogC4 Logarithmic Color Space, Specification", Cooper
/// and Brendel, 2022), and a stop over it (0.36, worked out from the formula there: 0.33653).
const CODES: [u16; 2] = [285, 344];
const SIZE: (u32, u32) = (64, 36);

fn probed(s: &Snapshot) -> Option<Probed> {
    s.probe.clone()?.ok()
}

#[test]
fn every_step_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("take");
    std::fs::create_dir_all(&folder).unwrap();
    let pixels: Vec<[u16; 3]> =
        (0..SIZE.0 * SIZE.1).map(|i| [CODES[(i % SIZE.0 * 2 / SIZE.0) as usize]; 3]).collect();
    let image = Image::Codes { width: SIZE.0, height: SIZE.1, depth: 10, pixels: &pixels };
    write_image(&folder.join("take.0000.dpx"), ImageFormat::Dpx, &image).unwrap();
    let mut show = Show::new("probe");
    // Taller than the frame: there is something beside it.
    show.raster = Some((64, 64));
    let source = Path::new("take").join("take.####.dpx");
    show.shots.push(Shot::new("a", source, 0..1, encoding("logc4").unwrap()));
    show.chain.look.push(Stage::new(stage("contrast").unwrap()));
    let options = Options {
        dir: dir.path().to_owned(),
        show: show.clone(),
        lock: None,
        panel: None,
        cache: CACHE,
        notify: Arc::new(|| ()),
    };
    let engine = start(Gpu::headless(Request::default()).unwrap(), options).unwrap();
    let ask = |from: [f64; 2], to: [f64; 2]| engine.send(Input::Probe(Some([from, to])));
    let (left, right) = ([0.2, 0.5], [0.8, 0.5]);
    ask(left, left);
    let grey = wait_for("grey", || probed(&engine.snapshot()));
    assert!((grey.camera[0] * 1023.0 - 285.0).abs() < 1e-9);
    // A tenth of a code of ten bits is some thousandths of a stop here.
    assert!((grey.light[1] - 0.18).abs() < 1e-3 && grey.stops.unwrap().abs() < 0.01, "{grey:?}");
    // The client's signal is the CPU twin's picture at that place.
    let frame = greyhold::media::open(&show.shots[0].source_path(dir.path()), &Default::default())
        .unwrap()
        .frame(0)
        .unwrap();
    let whole = cpu::signal(&recipe(&show, 0, show.tail(Output::Client), 0).unwrap(), &frame);
    let there = whole.pixels[32 * 64 + 12];
    for (told, twin) in grey.signal.iter().zip(there) {
        assert!((told - f64::from(twin)).abs() < 1e-5, "{grey:?} {there:?}");
    }
    assert!(!grey.partial);
    // A stop over; a stop less exposure brings that to grey.
    ask(right, right);
    let over = wait_for("a stop over", || probed(&engine.snapshot()).filter(|p| p.camera[0] > 0.3));
    assert!((over.stops.unwrap() - 1.0).abs() < 0.01, "{over:?}");
    let step = BalanceField::Exposure.parameter().step;
    engine.send(Input::Turn { target: "balance/exposure".into(), detents: -1.0 / step, control: 1 });
    let down =
        wait_for("a stop less", || probed(&engine.snapshot()).filter(|p| p.stops.is_some_and(|s| s < 0.5)));
    assert!((down.stops.unwrap() - over.stops.unwrap() + 1.0).abs() < 1e-9 && down.camera == over.camera);
    // The mean of an area over both halves; texture is left out and said to be.
    ask([0.25, 0.4], [0.75, 0.6]);
    let mean =
        wait_for("both", || probed(&engine.snapshot()).filter(|p| p.camera[0] < over.camera[0] - 1e-6));
    let middle = (f64::from(CODES[0]) + f64::from(CODES[1])) / 2.0 / 1023.0;
    assert!((mean.camera[1] - middle).abs() < 2e-3, "{mean:?}");
    let change = greyhold::show::Change::AddStage {
        list: greyhold::look::List::Finish,
        at: 0,
        stage: Stage::new(stage("grain").unwrap()),
    };
    engine.send(Input::Change { change, control: 1 });
    wait_for("what is left out", || probed(&engine.snapshot()).filter(|p| p.partial));
    ask([0.5, 0.01], [0.5, 0.01]);
    wait_for("a place beside the frame", || engine.snapshot().probe.clone()?.err());
    engine.send(Input::Probe(None));
    wait_for("no more", || engine.snapshot().probe.is_none().then_some(()));
}
