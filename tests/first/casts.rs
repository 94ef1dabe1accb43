//! With a chart or a card in frame a suggestion brings grey to grey, whatever the light was.

use greyhold::colour::{GREY, encoding};
use greyhold::picture::{BalanceField, luminance};
use greyhold::scope::{Evidence, Reading, Readings};
use greyhold::show::{Change, Shot, Show, balanced_grey};

use crate::chart::with_chart;
use crate::support::{CASTS, Dice, cast, delta_e, grained, scene};

/// A show of shots of scene light.
pub fn show(shots: usize) -> Show {
    let mut show = Show::new("first");
    let acescg = encoding("acescg").unwrap();
    show.shots =
        (0..shots).map(|i| Shot::new(format!("shot {i}"), format!("{i}.exr"), 0..10, acescg)).collect();
    show
}

/// Stops and ΔE_ITP (ITU-R BT.2124, at the same luminance) by which a grey of 18 % under a cast is beside middle grey after a
/// shot's balance.
fn residual(show: &Show, shot: usize, of: (f64, f64, f64)) -> (f64, f64) {
    let grey = cast(of).times([GREY; 3]);
    let after = balanced_grey(&show.shots[shot], &Reading::by_hand(grey));
    let y = luminance(after);
    ((y / GREY).log2(), delta_e(after.map(|v| v * GREY / y), [GREY; 3]))
}

#[test]
fn a_chart_in_frame_brings_grey_to_grey() {
    let mut worst = (0.0f64, 0.0f64);
    for (n, of) in CASTS.into_iter().enumerate() {
        let picture = with_chart(&scene(480, 270, 20 + n as u64), [200.0, 130.0], 110.0, 6.0, 0.1);
        let matrix = cast(of);
        let picture = grained(&picture.mapped(|l| matrix.times(l)), 0.03, n as u64);
        let readings = Readings::of(&picture);
        let reading = readings.best().expect("a reading");
        assert!(matches!(reading.evidence, Evidence::Chart(_)), "cast {n}: {reading:?}");
        assert!(reading.colour_sure > 0.85 && reading.outline().len() == 4);
        let mut show = show(1);
        let proposal = show.propose(0, reading).unwrap();
        assert!(!proposal.held, "{proposal:?}");
        show.apply(proposal.change(1.0)).unwrap();
        let (stops, colour) = residual(&show, 0, of);
        worst = (worst.0.max(stops.abs()), worst.1.max(colour));
    }
    println!("with a chart, ten casts: at most {:.3} stops, {:.2} ΔE_ITP", worst.0, worst.1);
    assert!(worst.0 < 0.1 && worst.1 < 2.0, "{worst:?}");
}

/// Puts a grey card into a picture.
fn with_card(picture: &greyhold::picture::Reduced, turn: f64) -> greyhold::picture::Reduced {
    let mut out = picture.clone();
    let (sin, cos) = turn.to_radians().sin_cos();
    for (i, pixel) in out.light.iter_mut().enumerate() {
        let (x, y) = ((i % 480) as f64 - 260.0, (i / 480) as f64 - 120.0);
        let (u, v) = (x * cos + y * sin, -x * sin + y * cos);
        if u.abs() < 44.0 && v.abs() < 31.0 {
            // Its edge is black, as those of many cards are.
            *pixel = if u.abs() < 40.0 && v.abs() < 27.0 { [GREY; 3] } else { [0.03; 3] };
        }
    }
    out
}

#[test]
fn a_card_that_is_clicked_brings_grey_to_grey() {
    let mut worst = (0.0f64, 0.0f64);
    let mut found = 0;
    for (n, of) in CASTS.into_iter().enumerate() {
        let matrix = cast(of);
        let picture = with_card(&scene(480, 270, 60 + n as u64), 8.0);
        let picture = grained(&picture.mapped(|l| matrix.times(l)), 0.03, n as u64);
        // Nine by nine pixels, as a click takes them.
        let patch = (0..81).map(|i| picture.light[(116 + i / 9) * 480 + 256 + i % 9]);
        let light = patch.fold([0.0; 3], |s, l| std::array::from_fn(|c| s[c] + l[c] / 81.0));
        let mut show = show(1);
        show.apply(show.propose(0, &Reading::by_hand(light)).unwrap().change(1.0)).unwrap();
        let (stops, colour) = residual(&show, 0, of);
        worst = (worst.0.max(stops.abs()), worst.1.max(colour));
        let readings = Readings::of(&picture);
        if let Some(card) = &readings.card {
            let right = greyhold::scope::angle(card.grey, matrix.times([1.0; 3])) < 1.0;
            found += usize::from(right);
            assert!(right || card.colour_sure < 0.85, "what only looks like a card is not sure");
        }
    }
    println!(
        "with a card clicked, ten casts: at most {:.3} stops, {:.2} ΔE_ITP; found without: {found} of 10",
        worst.0, worst.1
    );
    assert!(worst.0 < 0.1 && worst.1 < 2.0, "{worst:?}");
}

#[test]
fn strength_takes_a_part_and_undo_all_of_it() {
    let of = (3200.0, 0.005, 1.0);
    let mut show = show(2);
    let before = show.clone();
    let proposal = show.propose(1, &Reading::by_hand(cast(of).times([GREY; 3]))).unwrap();
    for strength in [0.0, 0.3, 0.7, 1.0, 7.0] {
        let back = show.apply(proposal.change(strength)).unwrap();
        let part: f64 = f64::min(strength, 1.0);
        let at = |field: BalanceField| show.shots[1].balance.get(field);
        assert!((at(BalanceField::Exposure) - part * proposal.to[0]).abs() < 1e-12);
        assert!((at(BalanceField::Warmth) - part * proposal.to[1]).abs() < 1e-12);
        assert!((at(BalanceField::Tint) - part * proposal.to[2]).abs() < 1e-12);
        assert!(matches!(back, Change::Together(_)), "one step");
        show.apply(back).unwrap();
        assert_eq!(show, before);
    }
    assert!((proposal.to[0] + 1.0).abs() < 0.01, "a stop too bright");
    let far = show.propose(0, &Reading::by_hand([1e4; 3])).unwrap();
    assert!(far.held && far.to[0] == -8.0, "held to exposure's range, and that is said");
    assert!(show.propose(0, &Reading::by_hand([0.0, 0.5, 0.0])).is_err());
    assert!(show.propose(2, &Reading::by_hand([0.2; 3])).is_err());
}

#[test]
fn balances_are_copied_whole_and_come_back() {
    let mut show = show(4);
    let mut dice = Dice(9);
    for field in BalanceField::ALL {
        let p = field.parameter();
        show.shots[1].balance =
            show.shots[1].balance.with(*field, p.held(p.min + (p.max - p.min) * dice.roll()));
    }
    show.shots[3].source = "elsewhere/3.exr".into();
    let before = show.clone();
    assert_eq!(show.same_camera(1, &|_| None), [0, 2], "the same folder, read alike");
    let camera = |i: usize| Some(if i == 0 { "one" } else { "two" }.to_owned());
    assert_eq!(show.same_camera(1, &camera), [2, 3], "files that name their camera count by that");
    show.shots[2].encoding = encoding("logc4").unwrap();
    assert_eq!(show.same_camera(1, &camera), [3], "read alike");
    show = before.clone();
    let back = show.apply(show.copy_balance(1, &[0, 1, 3]).unwrap()).unwrap();
    assert_eq!(show.shots[0].balance, before.shots[1].balance);
    assert_eq!(show.shots[3].balance, before.shots[1].balance);
    assert_eq!(show.shots[2], before.shots[2]);
    show.apply(back).unwrap();
    assert_eq!(show, before);
    assert!(show.copy_balance(1, &[]).is_err() && show.copy_balance(1, &[1]).is_err());
    assert!(show.copy_balance(0, &[7]).is_err());

    let log = encoding("logc4").unwrap();
    let change = show.encode_shots(&[0, 2], log, Some(Some(greyhold::colour::Range::Full))).unwrap();
    let back = show.apply(change).unwrap();
    assert_eq!([0, 1, 2].map(|i| show.shots[i].encoding.id), ["logc4", "acescg", "logc4"]);
    assert_eq!(show.shots[2].range, Some(greyhold::colour::Range::Full));
    show.apply(back).unwrap();
    assert_eq!(show, before);
}
