//! Which look of a library a chain's look was, and whether it still is.

use super::{Intent, Stage};

/// A look as it was when it was put into a chain.
#[derive(Clone, Debug, PartialEq)]
pub struct Origin {
    /// What people call it.
    pub name: String,
    /// A line about it; may be empty.
    pub note: String,
    /// What it means to do with colour, if it says so.
    pub intent: Option<Intent>,
    /// The [`fingerprint`] of its stages.
    pub fingerprint: u64,
}

/// A number that stages have in common only with stages of the same kinds, switches, strengths and parameters, in the same
/// order, which read LUTs of the same file names as the same encodings (FNV-1a, 64 bits).
///
/// Parameters at their defaults are left out, so that one that a later version adds changes nothing.
pub fn fingerprint(stages: &[Stage]) -> u64 {
    let mut sum = 0xcbf2_9ce4_8422_2325u64;
    let mut add = |bytes: &[u8]| {
        for byte in (bytes.len() as u64).to_le_bytes().iter().chain(bytes) {
            sum = (sum ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        }
    };
    // −0 and 0 are one number.
    let bits = |value: f64| (value + 0.0).to_bits().to_le_bytes();
    for stage in stages {
        let declaration = stage.declaration();
        add(declaration.key.as_bytes());
        add(&[u8::from(stage.on)]);
        add(&bits(stage.strength));
        for (parameter, value) in declaration.parameters.iter().zip(&stage.values) {
            if *value != parameter.default {
                add(parameter.key.as_bytes());
                add(&bits(*value));
            }
        }
        if let Some(lut) = &stage.lut {
            add(lut.file.file_name().unwrap_or_default().to_string_lossy().as_bytes());
            for side in [lut.expects, lut.gives] {
                add(side.by_hand().map_or("", |s| s.id()).as_bytes());
            }
        }
        add(b"/");
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::super::{Kind, STAGES};
    use super::*;

    /// Whatever is turned, switched, moved, added or taken out shows; what is put back does not.
    #[test]
    fn a_fingerprint_sees_every_difference() {
        let own: Vec<Stage> = (0..STAGES.len()).map(|k| Stage::new(Kind(k))).collect();
        let mut seen = std::collections::BTreeSet::from([fingerprint(&own)]);
        let mut other = |stages: &[Stage], what: &str| {
            assert!(seen.insert(fingerprint(stages)), "{what}");
        };
        for (at, stage) in own.iter().enumerate() {
            for (i, p) in stage.declaration().parameters.iter().enumerate() {
                let mut changed = own.clone();
                changed[at].values[i] = if p.default == p.max { p.min } else { p.max };
                other(&changed, &format!("{} {}", stage.declaration().key, p.key));
            }
            let mut changed = own.clone();
            changed[at].strength = 0.5;
            other(&changed, "strength");
            changed[at].strength = 1.0;
            assert_eq!(fingerprint(&changed), fingerprint(&own));
            changed[at].on = false;
            other(&changed, "switch");
            changed.remove(at);
            other(&changed, "taken out");
        }
        let mut turned = own.clone();
        turned.swap(0, 1);
        other(&turned, "moved");
        other(&[], "none");
    }

    /// It is in files, so it stays: worked out apart from this code, in Python, from the lengths and bytes above.
    #[test]
    fn a_fingerprint_stays() {
        let mut stage = Stage::new(super::super::stage("contrast").unwrap());
        stage.values[0] = 1.25;
        assert_eq!(fingerprint(&[]), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fingerprint(&[stage]), 0x4527_e2a3_3f49_b7e1);
    }
}
