//! Values as people type them.

use greyhold::colour::light_temperature;
use greyhold::look::{STAGES, strength};
use greyhold::picture::{BALANCE, BalanceField, FRAMING, FramingField, TRIM};

fn exposure(text: &str) -> Result<f64, String> {
    BalanceField::Exposure.parameter().typed(text)
}

#[test]
fn numbers_with_and_without_units() {
    for (text, value) in [
        ("0.5", 0.5),
        ("0,5", 0.5),
        (".5 stop", 0.5),
        ("+1 stops", 1.0),
        ("−1", -1.0),
        ("1/3 stop", 1.0 / 3.0),
        ("-1 1/3", -4.0 / 3.0),
        ("default", 0.0),
    ] {
        assert_eq!(exposure(text), Ok(value), "{text}");
    }
    // 12.04 points are a stop, within a hundredth of a point.
    assert!((exposure("12.04 pts").unwrap() - 1.0).abs() < 1e-3);
    let offset = BalanceField::OffsetR.parameter();
    assert!((offset.typed("1/2 stop").unwrap() - 6.02).abs() < 1e-3);
    assert_eq!(offset.typed("3 pts"), Ok(3.0));
    let half_more = strength(1.5);
    assert_eq!((half_more.typed("50 %"), half_more.typed("150%")), (Ok(0.5), Ok(1.5)));
}

/// A lamp of 3200 K becomes white at 10⁶/6000.03 − 10⁶/3200 mired: the white of ACES has 6000 K, on the
/// locus's scale (S-2008-001 gives its chromaticity; the kelvin here are those the row shows).
#[test]
fn kelvin_are_those_of_the_light_that_becomes_white() {
    let warmth = BalanceField::Warmth.parameter();
    for kelvin in [3200.0, 5600.0, 6500.0] {
        let value = warmth.typed(&format!("{kelvin} K")).unwrap();
        assert!((light_temperature(value, 0.0).0 - kelvin).abs() < 1e-6, "{kelvin}");
        let apart = 1e6 / 6000.0 - 1e6 / kelvin;
        assert!((value - apart).abs() < 0.01, "{value} {apart}");
    }
    assert!(warmth.typed("0 K").is_err() && warmth.typed("200 K").is_err() && exposure("6500 K").is_err());
}

#[test]
fn what_is_refused_says_what_is_accepted() {
    for text in
        ["", "abc", "1/0", "1//2", "1.2.3", "1 2", "0.5 1/2", "1 px", "99", "1e3", "inf", "nan", "--1", "/"]
    {
        let why = exposure(text).expect_err(text);
        assert!(why.contains("accepted: ") && why.contains("stops"), "{why}");
    }
    assert!(exposure("99").unwrap_err().starts_with("99 is outside its range"));
    let fitting = FramingField::Fitting.parameter();
    let why = fitting.typed("middle").unwrap_err();
    assert!(fitting.choices().iter().all(|name| why.contains(name)), "{why}");
    assert_eq!(fitting.typed("FILL"), Ok(1.0));
    assert!(fitting.typed("fi").is_err(), "more than one name begins so");
}

/// Whatever a row shows can be typed back.
#[test]
fn what_is_shown_is_accepted() {
    let stages = STAGES.iter().flat_map(|d| std::iter::once(&d.strength).chain(d.parameters));
    for p in BALANCE.iter().chain(FRAMING).chain(TRIM).chain(stages) {
        for n in 0..=8 {
            let value = p.held(p.at(f64::from(n) / 8.0));
            let shown = p.show(value);
            let read = p.typed(&shown).unwrap_or_else(|e| panic!("{}: {shown}: {e}", p.key));
            assert!((read - value).abs() <= p.step, "{}: {shown} is {read}", p.key);
        }
    }
}
