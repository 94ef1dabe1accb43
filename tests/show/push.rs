//! Colour pushed on the vectorscope and levels lifted on the waveform do what the CPU twin says.

use greyhold::colour::{GREY, encoding};
use greyhold::look::{Stage, stage};
use greyhold::picture::cpu::Grader;
use greyhold::picture::{BalanceField, Recipe};
use greyhold::scope::{System, marks};
use greyhold::show::{Change, Output, Shot, Show, known_display};

fn show(display: &str) -> Show {
    let mut show = Show::new("push");
    show.outputs.client.display = known_display(display).unwrap();
    let mut shot = Shot::new("a", "a.mov", 0..8, encoding("logc4").unwrap());
    shot.balance = shot.balance.with(BalanceField::Exposure, 0.4).with(BalanceField::OffsetG, -2.0);
    show.shots.push(shot);
    show.chain.look.push(Stage::new(stage("contrast").unwrap()));
    show
}

/// The client's signal of neutral light, so many stops over grey.
fn signal(show: &Show, stops: f64) -> [f64; 3] {
    let recipe = Recipe::graded(
        encoding("acescg").unwrap(),
        show.shots[0].balance,
        &show.chain,
        show.tail(Output::Client),
    );
    Grader::<f64>::new(&recipe).pixel([GREY * stops.exp2(); 3])
}

fn luma(system: System, signal: [f64; 3]) -> f64 {
    system.weights().iter().zip(signal).map(|(w, v)| w * v).sum()
}

#[test]
fn a_push_moves_grey_as_far_at_the_same_luma_and_undo_takes_it_back() {
    for (display, system) in [("rec709", System::Bt709), ("rec2100-pq-1000", System::Bt2020)] {
        let mut show = show(display);
        for way in [[0.03, 0.0], [0.0, -0.04], [-0.02, 0.025]] {
            let (before, was) = (signal(&show, 0.0), show.clone());
            let change = show.push_colour(0, way).unwrap();
            let back = show.apply(change).unwrap();
            let after = signal(&show, 0.0);
            let (from, to) = (marks::chroma(system, before), marks::chroma(system, after));
            for axis in 0..2 {
                assert!(
                    (to[axis] - from[axis] - way[axis]).abs() < 1e-6,
                    "{display} {way:?}: {from:?} {to:?}"
                );
            }
            assert!((luma(system, after) - luma(system, before)).abs() < 1e-6);
            show.apply(back).unwrap();
            assert_eq!(show, was);
        }
        // Only offsets move.
        let Ok(Change::Together(parts)) = show.push_colour(0, [0.01, 0.01]) else { panic!("three parts") };
        assert_eq!(parts.len(), 3);
    }
    let e = show("rec709").push_colour(0, [0.9, 0.0]).unwrap_err().to_string();
    assert!(e.contains("smaller"), "{e}");
    assert!(show("rec709").push_colour(3, [0.0; 2]).is_err());
}

#[test]
fn a_level_is_lifted_by_exposure_alone() {
    let mut show = show("rec709");
    for (from, to) in [(0.3, 0.42), (0.42, 0.2), (0.05, 0.09)] {
        // The neutral light that has that level now: found by going through the stops.
        let at = |show: &Show, stops| luma(System::Bt709, signal(show, stops));
        let stops = (-14000..14000).map(|i| f64::from(i) / 1000.0).find(|s| at(&show, *s) >= from).unwrap();
        let change = show.lift_level(0, from, to).unwrap();
        show.apply(change).unwrap();
        let found = at(&show, stops);
        // The thousandth of a stop that it was found to.
        assert!((found - to).abs() < 1e-3, "{from} to {to}: {found}");
    }
    let e = show.lift_level(0, 0.3, 1.2).unwrap_err().to_string();
    assert!(e.contains("120.0 %"), "{e}");
}
