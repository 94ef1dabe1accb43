//! Stages that read their neighbours: energy, the shape of what they spread, sizes, and the GPU against the CPU.

use std::sync::Arc;

use greyhold::colour::{DISPLAYS, OutputTransform, encoding};
use greyhold::gpu::{Gpu, Request};
use greyhold::look::{Kind, glare, stage};
use greyhold::picture::{Balance, Frame, Recipe, StageValues, Tail, Target, cpu};

fn gpu() -> Arc<Gpu> {
    Gpu::headless(Request::default()).expect("the tests need an adapter")
}

/// A stage on scene-linear ACEScg light, with some parameters set.
fn light(key: &str, set: &[(&str, f64)], strength: f64) -> Recipe {
    let kind: Kind = stage(key).unwrap();
    let d = kind.declaration();
    let mut values = d.defaults();
    for (name, value) in set {
        values[d.index(name).unwrap()] = *value;
    }
    let acescg = encoding("acescg").unwrap();
    let mut recipe = Recipe::conversion(acescg, Tail::Encoding(acescg));
    recipe.stages = vec![StageValues::new(kind, strength, &values, None)];
    recipe
}

fn run(recipe: &Recipe, width: u32, pixels: &[[f32; 3]]) -> Vec<[f32; 3]> {
    cpu::signal(recipe, &Frame::from_rgb(width, pixels).unwrap()).pixels
}

fn keys() -> Vec<&'static str> {
    let all = greyhold::look::STAGES
        .iter()
        .filter(|d| d.neighbourhood.is_some())
        .map(|d| d.key)
        .collect::<Vec<_>>();
    assert_eq!(all, ["softness", "diffusion", "halation"]);
    all
}

/// Common practice: a flat field is unchanged within 0.1 %.
#[test]
fn flat_fields_stay_as_they_are() {
    for key in keys() {
        for level in [0.0f32, 0.001, 0.18, 1.0, 20.0, 900.0] {
            for size in [(97, 61), (1, 1), (640, 3)] {
                let flat = vec![[level, level * 0.5, level * 2.0]; size.0 * size.1];
                for strength in [0.5, 1.5] {
                    let found = run(&light(key, &[("amount", 0.66)], strength), size.0 as u32, &flat);
                    for (a, b) in found.iter().flatten().zip(flat.iter().flatten()) {
                        assert!((a - b).abs() <= 1e-3 * b, "{key} at {level}: {b} became {a}");
                    }
                }
            }
        }
    }
}

/// The light of a picture is what it was: what a bright patch loses its surround gains. Patches stand away from the
/// edges, past which the last pixels go on.
#[test]
fn no_light_is_lost_or_won() {
    let (w, h) = (641usize, 479usize);
    let mut picture = vec![[0.02f32; 3]; w * h];
    for y in 225..250 {
        for x in 300..340 {
            picture[y * w + x] = [12.0, 8.0, 3.0];
        }
    }
    let sum = |p: &[[f32; 3]], c: usize| p.iter().map(|v| f64::from(v[c])).sum::<f64>();
    for (key, bound) in [("softness", 1e-5), ("halation", 1e-5), ("diffusion", 0.02)] {
        let found = run(&light(key, &[("amount", 0.3)], 1.0), w as u32, &picture);
        let moved = found.iter().zip(&picture).map(|(a, b)| f64::from((a[0] - b[0]).abs())).sum::<f64>();
        assert!(moved > 0.002 * sum(&picture, 0), "{key} does something: {moved}");
        for c in 0..3 {
            let (before, after) = (sum(&picture, c), sum(&found, c));
            // Diffusion's skirt reaches past this picture's edges.
            assert!((after / before - 1.0).abs() < bound, "{key}, channel {c}: {before} became {after}");
        }
    }
}

/// What a point of light becomes, less the point, by distance: the mean over every ring, per unit of area.
fn profile(key: &str, set: &[(&str, f64)], size: usize, bins: &[(f64, f64)]) -> Vec<[f64; 3]> {
    let centre = size / 2;
    let mut picture = vec![[0.0f32; 3]; size * size];
    picture[centre * size + centre] = [60_000.0; 3];
    let found = run(&light(key, set, 1.0), size as u32, &picture);
    bins.iter()
        .map(|(from, to)| {
            let mut sum = [0.0; 3];
            let mut count = 0.0;
            for (i, p) in found.iter().enumerate() {
                let (x, y) = ((i % size) as f64 - centre as f64, (i / size) as f64 - centre as f64);
                let r = x.hypot(y);
                if r >= *from && r < *to {
                    (0..3).for_each(|c| sum[c] += f64::from(p[c]));
                    count += 1.0;
                }
            }
            sum.map(|s| s / count)
        })
        .collect()
}

/// Diffusion's point-spread beside the skirt of Spencer and others' glare (SIGGRAPH 1995), from 2 to 200 pixels of a
/// picture 1080 high and then some: within 10 % in its shape over two decades of angle.
#[test]
fn diffusion_has_the_shape_of_glare() {
    let size = 1537usize;
    // A degree is 3 heights · tan 1°.
    let degree = 3.0 * 1f64.to_radians().tan() * size as f64;
    let edges: Vec<f64> = (0..=16).map(|i| 3.0 * 100f64.powf(f64::from(i) / 16.0)).collect();
    let bins: Vec<(f64, f64)> = edges.windows(2).map(|e| (e[0], e[1])).collect();
    let found = profile("diffusion", &[("threshold", -8.0)], size, &bins);
    // The published shape over the same rings.
    let wanted: Vec<f64> = bins
        .iter()
        .map(|(from, to)| {
            let steps = 200;
            let mut sum = (0.0, 0.0);
            for k in 0..steps {
                let r = from + (to - from) * (f64::from(k) + 0.5) / f64::from(steps);
                sum = (sum.0 + r * glare(r / degree), sum.1 + r);
            }
            sum.0 / sum.1
        })
        .collect();
    let ratios: Vec<f64> = found.iter().zip(&wanted).map(|(f, w)| f[1] / w).collect();
    let middle = (ratios.iter().map(|r| r.ln()).sum::<f64>() / ratios.len() as f64).exp();
    println!("distance, pixels: measured over published, its mean taken as 1");
    for (bin, ratio) in bins.iter().zip(&ratios) {
        let off = ratio / middle;
        println!("{:7.1} {:.3} {}", (bin.0 * bin.1).sqrt(), off, "#".repeat((off * 40.0) as usize));
    }
    for (bin, ratio) in bins.iter().zip(&ratios) {
        assert!((ratio / middle - 1.0).abs() < 0.1, "at {bin:?}: {}", ratio / middle);
    }
}

/// Warmth widens red and narrows blue.
#[test]
fn warm_glows_end_red() {
    let bins = [(60.0, 120.0)];
    let [far] = profile("diffusion", &[("threshold", -8.0), ("warmth", 0.6)], 513, &bins)[..] else {
        panic!()
    };
    assert!(far[0] > 1.05 * far[1] && far[1] > 1.05 * far[2], "{far:?}");
}

/// The ring's radius on film is 2 · d · tan(asin(1/n)): 0.229 mm for a base of 0.125 mm and 1.48 (optics of total
/// reflection), which is 35 pixels where a 24.89 mm gate is 3840 across (ISO 2906), and as many times more on a smaller
/// gate as that is narrower.
#[test]
fn a_halation_ring_is_as_wide_as_its_base_says() {
    let film = 2.0 * 0.125 * (1.0f64 / 1.48).asin().tan();
    assert!((film - 0.229).abs() < 5e-4, "{film}");
    let size = 961usize;
    for (gauge, gate) in [(4.0, 24.89), (3.0, 12.52), (2.0, 10.26)] {
        let pixels = film / gate * 3840.0;
        assert!(gauge != 4.0 || (pixels - 35.0).abs() < 0.5, "{pixels}");
        // As thick a base as there is, for as many pixels as a picture this small can have.
        let base = 20.0;
        let expected = 2.0 * base * 0.01 * (1.0f64 / 1.48).asin().tan() / gate * size as f64;
        let bins: Vec<(f64, f64)> =
            (0..40).map(|i| (expected * f64::from(i) / 16.0, expected * f64::from(i + 1) / 16.0)).collect();
        let set = [("gauge", gauge), ("base", base), ("threshold", -2.0), ("width", 0.1)];
        let found = profile("halation", &set, size, &bins);
        let brightest = (1..bins.len()).max_by(|a, b| found[*a][0].total_cmp(&found[*b][0])).unwrap();
        let at = 0.5 * (bins[brightest].0 + bins[brightest].1);
        println!("gate {gate} mm: {pixels:.1} px at 3840; ring of {expected:.2} px found at {at:.2}");
        // The ring reaches a tenth outwards, and is read in rings a sixteenth of its radius wide.
        assert!((at / expected - 1.05).abs() < 0.12, "gate {gate}: {at} px, {expected} expected");
        // Red most, blue least; dark within.
        let [r, g, b] = found[brightest];
        assert!(r > 2.5 * g && g > 2.5 * b, "{:?}", found[brightest]);
        assert!(found[3][0] < 0.6 * r, "{:?} within {r}", found[3]);
    }
}

/// A picture of something: gradients, edges, highlights and a little texture, alike at every size.
fn picture(width: usize, height: usize) -> Vec<[f32; 3]> {
    (0..width * height)
        .map(|i| {
            let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            let (x, y) = (x / height as f64, y / height as f64);
            let mut v = [0.04 + 0.3 * x, 0.05 + 0.22 * y, 0.06 + 0.2 * (x - y).abs()];
            for (cx, cy, r, light) in
                [(0.4, 0.3, 0.03, 14.0), (1.2, 0.6, 0.012, 60.0), (0.9, 0.85, 0.08, 2.5)]
            {
                let d = (x - cx).hypot(y - cy);
                // Edges a two-hundredth of the height wide.
                let share = (1.0 - (d - r) / 0.005).clamp(0.0, 1.0);
                v = [v[0] + share * light, v[1] + share * light * 0.8, v[2] + share * light * 0.5];
            }
            if (0.1..0.25).contains(&x) && y > 0.6 {
                let stripe = 0.5 + 0.5 * (x * 400.0).sin();
                v = v.map(|c| c * (0.5 + stripe));
            }
            v.map(|c| c as f32)
        })
        .collect()
}

/// A look of all three, from camera light to a display.
fn look() -> Recipe {
    let acescg = encoding("acescg").unwrap();
    let tail = Tail::display(OutputTransform::Aces2, &DISPLAYS[0]);
    let mut recipe = Recipe::conversion(acescg, tail);
    recipe.balance = Some(Balance::default());
    for (key, strength) in
        [("softness", 0.8), ("contrast", 1.0), ("diffusion", 1.2), ("halation", 1.0), ("saturation", 1.0)]
    {
        let kind = stage(key).unwrap();
        let mut values = kind.declaration().defaults();
        if key == "contrast" {
            values[0] = 1.2;
        }
        recipe.stages.push(StageValues::new(kind, strength, &values, None));
    }
    assert_eq!(recipe.parts().len(), 4);
    recipe
}

/// The shaders give the CPU's picture within 0.25 of a 10-bit code above a signal of 0.02 and at the 99.9th percentile of
/// all of it, at a common size and an odd one; with half floats between passes, as windows have them, within one code.
#[test]
fn the_gpu_gives_the_same_picture() {
    let gpu = gpu();
    let mut failures = Vec::new();
    for (w, h) in [(1920usize, 1080usize), (1279, 717)] {
        let frame = Frame::from_rgb(w as u32, &picture(w, h)).unwrap();
        let mut recipes = vec![("the look".to_owned(), look())];
        for key in keys() {
            let mut one = look();
            one.stages.retain(|s| s.kind == stage(key).unwrap());
            recipes.push((key.to_owned(), one));
        }
        for (name, recipe) in recipes {
            let wanted = cpu::signal(&recipe, &frame).pixels;
            for (between, most) in [(Target::Float, 0.25), (Target::Half, 1.0)] {
                let found = gpu.signal_through(&recipe, &frame, between).unwrap();
                // Next to black the display's curve is so steep that rounding of light is magnified.
                let mut codes: Vec<(f64, f32)> = wanted
                    .iter()
                    .flatten()
                    .zip(found.iter().flatten())
                    .map(|(a, b)| (f64::from((a - b).abs()) * 1023.0, *a))
                    .collect();
                codes.sort_by(|a, b| a.0.total_cmp(&b.0));
                let p999 = codes[codes.len() * 999 / 1000].0;
                let (worst, at) = *codes.iter().rev().find(|(_, at)| *at >= 0.02).unwrap();
                println!(
                    "{w}×{h}, {name} through {between:?}: p99.9 {p999:.4}, most {worst:.4} of a 10-bit code, at {at}"
                );
                if worst >= most || p999 >= most {
                    failures.push(format!("{name} at {w}×{h} through {between:?}: {worst} codes"));
                }
            }
        }
    }
    assert!(failures.is_empty(), "{failures:#?}");
}

/// Half the size looks alike: blocks of the large picture are pixels of the small one, in the mean within 2 % and in
/// how wide a point is spread within 2 %.
#[test]
fn a_proxy_looks_like_the_whole() {
    let (w, h) = (1280usize, 720usize);
    let large = picture(w, h);
    let small: Vec<[f32; 3]> = (0..w / 2 * h / 2)
        .map(|i| {
            let (x, y) = (i % (w / 2) * 2, i / (w / 2) * 2);
            let at = |x: usize, y: usize| large[y * w + x];
            let [a, b, c, d] = [at(x, y), at(x + 1, y), at(x, y + 1), at(x + 1, y + 1)];
            std::array::from_fn(|k| (a[k] + b[k] + c[k] + d[k]) / 4.0)
        })
        .collect();
    for key in keys() {
        let recipe = light(key, &[("amount", 0.5)], 1.0);
        let (a, b) = (run(&recipe, w as u32, &large), run(&recipe, w as u32 / 2, &small));
        let mean = |p: &[[f32; 3]]| p.iter().flatten().map(|v| f64::from(*v)).sum::<f64>() / p.len() as f64;
        assert!((mean(&a) / mean(&b) - 1.0).abs() < 0.02, "{key}: {} and {}", mean(&a), mean(&b));
    }
    // How wide: root mean square distance of what is spread, within what both pictures hold.
    for (key, set) in [
        ("softness", vec![("size", 6.0)]),
        ("diffusion", vec![("threshold", -8.0)]),
        ("halation", vec![("threshold", -2.0), ("gauge", 0.0)]),
    ] {
        let width = |size: usize| {
            let reach = 0.3 * size as f64;
            // The pixel that the light comes from keeps a part, and a smaller picture's pixel is a larger part of it.
            let bins: Vec<(f64, f64)> =
                (0..60).map(|i| (reach * f64::from(i) / 60.0, reach * f64::from(i + 1) / 60.0)).collect();
            let found = profile(key, &set, size, &bins);
            let (mut sum, mut all) = (0.0, 0.0);
            for (bin, p) in bins.iter().zip(&found).skip(1).filter(|(_, p)| p[0].is_finite()) {
                let (r, area) = (0.5 * (bin.0 + bin.1), bin.1 * bin.1 - bin.0 * bin.0);
                sum += p[0] * area * r * r;
                all += p[0] * area;
            }
            (sum / all).sqrt() / size as f64
        };
        let (large, small) = (width(1025), width(513));
        println!("{key}: {large:.5} and {small:.5} of the height");
        assert!((large / small - 1.0).abs() < 0.02, "{key}: {large} and {small}");
    }
}

/// What a stage makes is mixed in its own domain, which is light: half the strength moves a pixel half as far.
#[test]
fn strength_mixes_in_light() {
    let still = picture(320, 180);
    for key in keys() {
        let at = |s: f64| run(&light(key, &[("amount", 0.4)], s), 320, &still);
        let (half, whole) = (at(0.5), at(1.0));
        for ((a, b), x) in half.iter().flatten().zip(whole.iter().flatten()).zip(still.iter().flatten()) {
            assert!((a - (x + (b - x) * 0.5)).abs() <= 2e-6 * (1.0 + x.abs()), "{key}");
        }
        assert_eq!(at(0.0), still, "{key}");
    }
}
