//! The invented show: its light, its movement, and that it is the same every time.

use greyhold::colour::{OutputTransform, display, encoding};
use greyhold::demo::SCENES;
use greyhold::look::Chain;
use greyhold::picture::{Balance, Frame, Recipe, Tail, cpu};

/// Not a check: writes graded frames to look at, `/tmp/demo-SCENE-FRAME.png`. DEMO_SIZE=WxH,
/// DEMO_FRAMES=0,24 and DEMO_SCENE choose what.
#[test]
#[ignore = "writes pictures for a person to look at"]
fn pictures() {
    let size = std::env::var("DEMO_SIZE").unwrap_or("960x540".into());
    let (w, h) = size.split_once('x').map(|(w, h)| (w.parse().unwrap(), h.parse().unwrap())).unwrap();
    let frames = std::env::var("DEMO_FRAMES").unwrap_or("0".into());
    let only = std::env::var("DEMO_SCENE").unwrap_or_default();
    for scene in SCENES.iter().filter(|s| s.name.contains(&only)) {
        let start = std::time::Instant::now();
        let prepared = scene.prepare(w, h);
        println!("{} prepared in {:.1?}", scene.name, start.elapsed());
        for n in frames.split(',').map(|n| n.parse::<u32>().unwrap()) {
            let start = std::time::Instant::now();
            let pixels = prepared.frame(n);
            println!("frame {n} in {:.1?}", start.elapsed());
            let mut balance = Balance::default();
            balance.values[0] = if scene.name == "platform" { -2.0 / 3.0 } else { 0.0 };
            let tail = Tail::Display { transform: OutputTransform::Plain, display: display("srgb").unwrap() };
            let recipe = Recipe::graded(encoding("acescg").unwrap(), balance, &Chain::default(), tail);
            let codes = cpu::codes(&recipe, &Frame::from_rgb(w, &pixels).unwrap(), 8, true);
            let bytes = codes.pixels.iter().flatten().map(|&c| c as u8).collect();
            let name = format!("/tmp/demo-{}-{n:02}.png", scene.name);
            image::RgbImage::from_raw(w, h, bytes).unwrap().save(name).unwrap();
        }
    }
}
