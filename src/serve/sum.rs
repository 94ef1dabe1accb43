//! One number for everything that decides how a shot looks.

use sha2::{Digest, Sha256};

use crate::show::Show;

/// The checksum of a shot's settings: 32 hexadecimal digits of a SHA-256 over its footage, how that is read, framing, balance,
/// the chain as it acts on this shot, and what makes the client's version of it. `None` when there is no such shot.
///
/// Names, groups, notes and the displays of other outputs change nothing. A table's file counts by its path.
pub fn sum(show: &Show, shot: usize) -> Option<String> {
    let shot = show.shots.get(shot)?;
    let mut hash = Sha256::new();
    let mut add = |key: &str, value: &[u8]| {
        for part in [key.as_bytes(), value] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
    };
    // −0 and 0 are one number.
    let bits = |value: f64| (value + 0.0).to_bits().to_le_bytes();
    add("source", shot.source.to_string_lossy().as_bytes());
    add("frames", &[shot.start.to_le_bytes(), shot.end.to_le_bytes()].concat());
    add("encoding", shot.encoding.id.as_bytes());
    add("read", format!("{:?} {:?}", shot.range, shot.matrix).as_bytes());
    add("raster", format!("{:?}", show.raster).as_bytes());
    for value in shot.framing.values {
        add("framing", &bits(value));
    }
    for value in shot.balance.values {
        add("balance", &bits(value));
    }
    for (stage, strength) in show.chain_of(shot).in_order().filter(|(_, strength)| *strength != 0.0) {
        add("stage", stage.declaration().key.as_bytes());
        add("strength", &bits(strength));
        for (parameter, value) in stage.declaration().parameters.iter().zip(&stage.values) {
            if *value != parameter.default {
                add(parameter.key, &bits(*value));
            }
        }
        if let Some(lut) = &stage.lut {
            add("file", lut.file.to_string_lossy().as_bytes());
        }
    }
    add("transform", show.transform.id().as_bytes());
    if let Some(lut) = &show.show_lut {
        add("table", lut.lut.file.to_string_lossy().as_bytes());
    }
    let client = &show.outputs.client;
    add("display", client.display.id.as_bytes());
    for value in client.trim.values {
        add("trim", &bits(value));
    }
    Some(hash.finalize().iter().take(16).map(|b| format!("{b:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::encoding;
    use crate::look::{Stage, stage};
    use crate::picture::BalanceField;
    use crate::show::Shot;

    #[test]
    fn a_checksum_sees_what_changes_the_picture_of_its_shot_and_nothing_else() {
        let mut show = Show::new("sums");
        let shot = Shot::new("a", "take.####.dpx", 0..10, encoding("logc4").unwrap());
        show.shots = vec![shot.clone(), Shot { name: "b".into(), ..shot }];
        show.chain.look = vec![Stage::new(stage("contrast").unwrap())];
        let own = sum(&show, 0).unwrap();
        assert_eq!(own.len(), 32);
        assert_eq!(sum(&show, 2), None);
        assert_eq!(sum(&show, 1), Some(own.clone()), "the same settings, the same sum");
        let mut same = show.clone();
        same.name = "other".into();
        same.shots[0].name = "c".into();
        same.shots[1].balance = same.shots[1].balance.with(BalanceField::Exposure, 1.0);
        let other = same.all_displays().nth(1).unwrap();
        same.outputs.files.display = other;
        assert_eq!(sum(&same, 0), Some(own.clone()));
        assert_ne!(sum(&same, 1), Some(own.clone()));
        let changes: [fn(&mut Show); 6] = [
            |s| s.shots[0].balance = s.shots[0].balance.with(BalanceField::Exposure, 0.25),
            |s| s.shots[0].start = 1,
            |s| s.chain.look[0].values[0] += 0.1,
            |s| s.chain.look[0].on = false,
            |s| s.chain.look_strength = 0.5,
            |s| s.raster = Some((64, 36)),
        ];
        let mut seen = vec![own];
        for change in changes {
            let mut other = show.clone();
            change(&mut other);
            let sum = sum(&other, 0).unwrap();
            assert!(!seen.contains(&sum));
            seen.push(sum);
        }
    }
}
