//! Against real places: the CC0 panoramas that `tests/oracle/panoramas.py` makes views of, under ten known casts.
//!
//! The truth is the photographer's own balance: a view as it was published counts as lit by white, so that under a cast its
//! light is the cast's. Places whose light is meant to be coloured, dawn and neon, are in it: nothing is left out.

use std::path::Path;

use greyhold::colour::GREY;
use greyhold::picture::{Reduced, luminance};
use greyhold::scope::{angle, chart, grey_world, neutral};

use crate::support::{CASTS, cast, delta_e};

fn views() -> Vec<(String, Reduced)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/panoramas");
    let folder = std::env::var_os("GREYHOLD_PANORAMAS").map_or(folder, Into::into);
    let read = |name: &str| {
        std::fs::read(folder.join(name))
            .unwrap_or_else(|e| panic!("{}: {e}; tests/setup.sh makes it", folder.join(name).display()))
    };
    let about: serde_json::Value = serde_json::from_slice(&read("views.json")).unwrap();
    let side = |key: &str| about[key].as_u64().unwrap() as usize;
    let (width, height) = (side("width"), side("height"));
    let bytes = read("views.f32");
    let values: Vec<f64> =
        bytes.chunks_exact(4).map(|b| f64::from(f32::from_le_bytes(b.try_into().unwrap()))).collect();
    let names = about["names"].as_array().unwrap();
    assert_eq!(values.len(), names.len() * width * height * 3);
    names
        .iter()
        .zip(values.chunks_exact(width * height * 3))
        .map(|(name, v)| {
            let light = v.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect();
            (name.as_str().unwrap().to_owned(), Reduced { width, height, light })
        })
        .collect()
}

fn part(values: &[f64], part: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * part).round() as usize]
}

/// ΔE_ITP that a grey has from neutral, at 18 %, once what was estimated is taken for white.
fn left(truth: [f64; 3], estimate: [f64; 3]) -> f64 {
    let white: [f64; 3] = std::array::from_fn(|c| truth[c] / estimate[c]);
    delta_e(white.map(|v| v * GREY / luminance(white)), [GREY; 3])
}

#[test]
fn edges_and_grey_pixels_beat_the_grey_world() {
    let views = views();
    let (mut ours, mut worlds) = ((Vec::new(), Vec::new()), (Vec::new(), Vec::new()));
    let mut told = Vec::new();
    for (_, view) in &views {
        for of in CASTS {
            let matrix = cast(of);
            let picture = view.mapped(|l| matrix.times(l));
            let truth = matrix.times([1.0; 3]);
            let found = neutral(&picture).expect("edges");
            let world = grey_world(&picture).expect("light");
            ours.0.push(angle(found.grey, truth));
            ours.1.push(left(truth, found.grey));
            worlds.0.push(angle(world, truth));
            worlds.1.push(left(truth, world));
            told.push((found.apart, angle(found.grey, truth)));
        }
    }
    println!(
        "{} views under {} casts: angle in degrees, ΔE_ITP; median and nine tenths",
        views.len(),
        CASTS.len()
    );
    for (name, of) in [("edges and grey pixels", &ours), ("grey world", &worlds)] {
        println!(
            "  {name:22} {:.2}° {:.2}°   {:.1} {:.1}",
            part(&of.0, 0.5),
            part(&of.0, 0.9),
            part(&of.1, 0.5),
            part(&of.1, 0.9)
        );
    }
    told.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = told.len() / 2;
    let [close, apart] = [&told[..half], &told[half..]].map(|t| t.iter().map(|t| t.1).collect::<Vec<_>>());
    println!(
        "  where quarters lie within {:.1}° of the whole: {:.2}° {:.2}°; elsewhere {:.2}° {:.2}°",
        told[half].0,
        part(&close, 0.5),
        part(&close, 0.9),
        part(&apart, 0.5),
        part(&apart, 0.9)
    );
    for p in [0.5, 0.9] {
        assert!(part(&ours.0, p) < part(&worlds.0, p), "angle at {p}");
        assert!(part(&ours.1, p) < part(&worlds.1, p), "ΔE_ITP at {p}");
    }
    assert!(part(&close, 0.5) < 0.8 * part(&apart, 0.5), "how sure it is says something");
}

#[test]
fn no_chart_is_seen_in_places_that_have_none() {
    for (name, view) in views() {
        assert_eq!(chart(&view), None, "{name}");
    }
}
