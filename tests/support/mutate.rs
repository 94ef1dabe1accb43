//! Files made wrong at random, from a seed, for readers that must never panic.

/// Steele, Lea & Flood's SplitMix64: every run has the same numbers.
pub struct Random(pub u64);

impl Random {
    /// The next number.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below another.
    pub fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }
}

/// How many inputs a reader is given: 20,000, or what `GREYHOLD_FUZZ` says.
pub fn count() -> usize {
    std::env::var("GREYHOLD_FUZZ").ok().and_then(|n| n.parse().ok()).unwrap_or(20_000)
}

/// One of the files with one to eight edits: bits turned, bytes put in and taken out, pieces cut, doubled, swapped with
/// another file's, and words that readers trip over.
pub fn mutated(seeds: &[Vec<u8>], words: &[&str], random: &mut Random) -> Vec<u8> {
    let mut file = seeds[random.below(seeds.len())].clone();
    for _ in 0..1 + random.below(8) {
        let at = random.below(file.len() + 1);
        let end = (at + random.below(40)).min(file.len());
        match random.below(8) {
            0 if at < file.len() => file[at] ^= 1 << random.below(8),
            1 => file.insert(at, random.next() as u8),
            2 => drop(file.drain(at..end)),
            3 => {
                let piece = file[at..end].to_vec();
                file.splice(at..at, piece);
            }
            4 => file.truncate(at),
            5 => {
                let other = &seeds[random.below(seeds.len())];
                let from = random.below(other.len());
                let piece = other[from..(from + random.below(60)).min(other.len())].to_vec();
                file.splice(at..end, piece);
            }
            _ => {
                let word = words[random.below(words.len())].bytes();
                file.splice(at..at, word);
            }
        }
    }
    file
}
