//! A shot sits with another one.

use greyhold::colour::GREY;
use greyhold::picture::{BalanceField, Reduced, luminance};
use greyhold::scope::{Reading, difference};
use greyhold::show::{Show, balanced_grey, balanced_picture};

use crate::casts::show;
use crate::chart::with_chart;
use crate::support::{CASTS, cast, delta_e, grained, scene};

/// Stops and ΔE_ITP between the greys of two shots under two casts, both balanced.
fn between(show: &Show, casts: [(f64, f64, f64); 2]) -> (f64, f64) {
    let [a, b] =
        [0, 1].map(|i| balanced_grey(&show.shots[i], &Reading::by_hand(cast(casts[i]).times([GREY; 3]))));
    let stops = (luminance(a) / luminance(b)).log2();
    let unit = |l: [f64; 3]| l.map(|v| v * GREY / luminance(l));
    (stops, delta_e(unit(a), unit(b)))
}

/// Matches the first shot to the second.
fn matched(show: &mut Show, pictures: [&Reduced; 2]) -> f64 {
    let [a, b] = [0, 1].map(|i| balanced_picture(&show.shots[i], pictures[i]));
    let by = difference(&a, &b).expect("a difference");
    let proposal = show.propose_match(0, "shot 1", &by).unwrap();
    assert!(!proposal.held, "{proposal:?}");
    show.apply(proposal.change(1.0)).unwrap();
    proposal.colour_sure
}

#[test]
fn with_charts_greys_become_the_same() {
    let mut worst = (0.0f64, 0.0f64);
    let under = |n: usize, of: (f64, f64, f64)| {
        let picture = with_chart(&scene(480, 270, 30 + n as u64), [240.0, 150.0], 120.0, -5.0, 0.0);
        let matrix = cast(of);
        grained(&picture.mapped(|l| matrix.times(l)), 0.03, n as u64)
    };
    for i in 0..CASTS.len() {
        // To a shot that is balanced already, both with a contrast of their own; and to one in daylight as it is.
        for balanced in [true, false] {
            let other = if balanced { CASTS[(i + 3) % CASTS.len()] } else { (5600.0, 0.002, 0.7) };
            let casts = [CASTS[i], other];
            let pictures = casts.map(|of| under(i, of));
            let mut show = show(2);
            if balanced {
                let grey = Reading::by_hand(cast(casts[1]).times([GREY; 3]));
                show.apply(show.propose(1, &grey).unwrap().change(1.0)).unwrap();
                for shot in &mut show.shots {
                    shot.balance =
                        shot.balance.with(BalanceField::Contrast, 1.1).with(BalanceField::OffsetR, 1.0);
                }
            }
            matched(&mut show, [&pictures[0], &pictures[1]]);
            let (stops, colour) = between(&show, casts);
            worst = (worst.0.max(stops.abs()), worst.1.max(colour));
        }
    }
    println!("match by charts, twenty pairs: at most {:.3} stops, {:.2} ΔE_ITP", worst.0, worst.1);
    assert!(worst.0 < 0.1 && worst.1 < 2.0, "{worst:?}");
}

#[test]
fn without_charts_the_same_place_comes_near() {
    let mut all: Vec<(f64, f64)> = Vec::new();
    for i in 0..CASTS.len() {
        let pictures = [0, 1].map(|k| {
            let matrix = cast(if k == 0 { CASTS[i] } else { (5600.0, 0.0, 0.0) });
            // The camera has moved on: another grain, a twelfth of the picture to the side.
            let whole = scene(520, 270, 90 + i as u64);
            let light = (0..480 * 270).map(|p| whole.light[(p / 480) * 520 + p % 480 + 40 * k]).collect();
            grained(&Reduced { width: 480, height: 270, light }.mapped(|l| matrix.times(l)), 0.03, k as u64)
        });
        let mut show = show(2);
        matched(&mut show, [&pictures[0], &pictures[1]]);
        let (stops, colour) = between(&show, [CASTS[i], (5600.0, 0.0, 0.0)]);
        all.push((stops.abs(), colour));
    }
    let most = |f: fn(&(f64, f64)) -> f64| all.iter().map(f).fold(0.0, f64::max);
    let (stops, colour) = (most(|a| a.0), most(|a| a.1));
    println!("match by statistics, ten casts: at most {stops:.2} stops, {colour:.1} ΔE_ITP");
    assert!(stops < 0.35 && colour < 12.0, "{all:?}");
}

#[test]
fn what_cannot_be_matched_is_refused() {
    let flat = Reduced { width: 60, height: 40, light: vec![[0.0; 3]; 2400] };
    assert!(difference(&flat, &scene(60, 40, 1)).is_none());
    let picture = scene(160, 90, 1);
    let by = difference(&picture, &picture).unwrap();
    assert!(by.stops.abs() < 1e-12);
    assert!(show(1).propose_match(1, "x", &by).is_err(), "no such shot");
    // What has no red left cannot be brought anywhere.
    let mut show = show(1);
    show.shots[0].balance = show.shots[0].balance.with(BalanceField::SlopeR, 0.0);
    assert!(show.propose_match(0, "x", &by).is_err());
}
