//! Charts and cards in frame.

use greyhold::colour::patches::PATCHES;
use greyhold::picture::Reduced;
use greyhold::scope::{Evidence, Readings, chart};

use crate::support::{CASTS, cast, grained, scene};

/// Puts a chart into a picture: its middle and width in pixels, its turn in degrees, and how much narrower its upper edge is.
pub fn with_chart(picture: &Reduced, middle: [f64; 2], across: f64, turn: f64, leaning: f64) -> Reduced {
    let (sin, cos) = turn.to_radians().sin_cos();
    let mut out = picture.clone();
    for (i, pixel) in out.light.iter_mut().enumerate() {
        let at = [(i % picture.width) as f64 + 0.5, (i / picture.width) as f64 + 0.5];
        // 16 places in a pixel, so that edges are soft as a lens makes them.
        let mut sum = [0.0; 3];
        for s in 0..16 {
            let (x, y) = (
                at[0] - middle[0] + (f64::from(s % 4) - 1.5) / 4.0,
                at[1] - middle[1] + (f64::from(s / 4) - 1.5) / 4.0,
            );
            let (u, v) = ((x * cos + y * sin) / across, (-x * sin + y * cos) / across);
            let u = u / (1.0 + leaning * v);
            let (column, row) = ((u + 0.5) * 6.5 - 0.25, (v + 4.5 / 13.0) * 6.5 - 0.25);
            let inside = (-0.25..6.25).contains(&column) && (-0.25..4.25).contains(&row);
            let light = if !inside {
                *pixel
            } else if (0.0..6.0).contains(&column) && (0.0..4.0).contains(&row) {
                let half = (column.fract() - 0.5).abs().max((row.fract() - 0.5).abs());
                if half < 0.43 { PATCHES[row as usize * 6 + column as usize] } else { [0.035; 3] }
            } else {
                [0.035; 3]
            };
            sum = std::array::from_fn(|c| sum[c] + light[c] / 16.0);
        }
        *pixel = sum;
    }
    out
}

#[test]
fn a_chart_is_found_in_any_turn_size_and_light() {
    let mut missed = Vec::new();
    for (n, of) in CASTS.into_iter().enumerate() {
        for (turn, across, leaning) in [
            (0.0, 200.0, 0.0),
            (7.0, 120.0, 0.2),
            (-15.0, 90.0, -0.2),
            (90.0, 150.0, 0.1),
            (183.0, 75.0, 0.0),
            (-80.0, 110.0, 0.0),
        ] {
            let picture = with_chart(&scene(480, 270, n as u64 + 1), [230.0, 140.0], across, turn, leaning);
            let matrix = cast(of);
            let picture = grained(&picture.mapped(|l| matrix.times(l)), 0.02, 5);
            match chart(&picture) {
                None => missed.push((n, turn, across)),
                Some(found) => {
                    let white = matrix.times([0.18; 3]);
                    for c in 0..3 {
                        let off = (found.grey[c] / white[c]).log2().abs();
                        assert!(off < 0.1, "cast {n}, turn {turn}: channel {c} is {off} stops off");
                    }
                }
            }
        }
    }
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn no_chart_is_found_where_there_is_none() {
    for seed in 0..40 {
        let picture = grained(&scene(480, 270, 100 + seed), 0.02, seed);
        assert_eq!(chart(&picture), None, "scene {seed}");
    }
    // A chessboard and a wall of tiles have the lattice and not the colours.
    for tiles in [8.0f64, 14.0, 30.0] {
        let mut picture = scene(480, 270, 3);
        for (i, pixel) in picture.light.iter_mut().enumerate() {
            let (x, y) = (((i % 480) as f64 / tiles) as usize, ((i / 480) as f64 / tiles) as usize);
            *pixel = [[0.6, 0.62, 0.58], [0.05, 0.06, 0.05], [0.3, 0.1, 0.08]][(x + 2 * y) % 3];
        }
        assert_eq!(chart(&picture), None, "tiles of {tiles}");
    }
    let flat = Reduced { width: 480, height: 270, light: vec![[0.18; 3]; 480 * 270] };
    assert_eq!(chart(&flat), None);
    assert!(Readings::of(&flat).statistics.is_none_or(|s| matches!(s.evidence, Evidence::Statistics(_))));
}
