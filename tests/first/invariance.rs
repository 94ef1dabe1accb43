//! What is read turns with the light: more of it is that much more, another colour that colour.

use greyhold::picture::Reduced;
use greyhold::scope::{Readings, angle, difference, neutral};

use crate::casts::show;
use crate::chart::with_chart;
use crate::support::{CASTS, Dice, cast, grained, scene};

fn pictures() -> Vec<Reduced> {
    let mut all: Vec<_> = (0..4).map(|seed| grained(&scene(320, 180, 200 + seed), 0.02, seed)).collect();
    all.push(grained(&with_chart(&scene(480, 270, 9), [250.0, 140.0], 130.0, -4.0, 0.0), 0.02, 4));
    all
}

#[test]
fn a_stop_up_is_a_stop_less_suggested() {
    let mut dice = Dice(77);
    for picture in pictures() {
        let read = |p: &Reduced| Readings::of(p).best().cloned().expect("a reading");
        let before = read(&picture);
        for stops in [1.0, -1.0, 6.0 * dice.roll() - 3.0] {
            let brighter = picture.mapped(|l| l.map(|v| v * f64::exp2(stops)));
            let after = read(&brighter);
            let [a, b] = [&before, &after].map(|r| show(1).propose(0, r).unwrap());
            assert!((b.to[0] - a.to[0] + stops).abs() < 1e-6, "{} and {} for {stops}", a.to[0], b.to[0]);
            assert!((b.to[1] - a.to[1]).abs() < 1e-4 && (b.to[2] - a.to[2]).abs() < 1e-4, "white stays");
            assert_eq!(after.evidence.name(), before.evidence.name());
            let by = difference(&picture, &brighter).unwrap();
            assert!((by.stops - stops).abs() < 1e-6 && angle(by.greys[0], by.greys[1]) < 1e-4, "{by:?}");
        }
        // Read again it is the same to the last bit.
        assert_eq!(read(&picture), before);
    }
}

#[test]
fn another_light_is_that_light() {
    for picture in pictures() {
        let own = neutral(&picture.smaller(160)).unwrap().grey;
        for of in CASTS {
            let matrix = cast(of);
            let there = neutral(&picture.mapped(|l| matrix.times(l)).smaller(160)).unwrap().grey;
            let off = angle(matrix.times(own), there);
            assert!(off < 3.0, "{of:?}: {off}°: the cast is no gain of channels, so it turns nearly with it");
        }
    }
}
