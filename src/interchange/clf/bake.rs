//! A shaper and a 3D LUT in place of a list of processes, for where only tables are computed.

use rayon::prelude::*;

use super::Process;
use super::process::Step;
use crate::colour::{HALVES, Interpolation, Lut1, Lut3, Shaped, acescct_decode, acescct_encode};
use crate::interchange::Error;

/// The inputs that tables are made for; what lies outside counts as the nearest end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Domain {
    /// Evenly spread, for signals and logarithmic encodings.
    Signal {
        /// Lowest input.
        min: f64,
        /// Highest input.
        max: f64,
    },
    /// As halves are spread, for scene-linear light: the shaper has an entry for each half-float, whatever
    /// size is asked for.
    Light {
        /// Lowest input, −65504 or more.
        min: f64,
        /// Highest input, 65504 or less.
        max: f64,
    },
}

/// How a shaper spreads the domain over the 3D LUT's axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shaping {
    /// Evenly.
    Even,
    /// By ACEScct's curve: stops evenly, near black and below in a line.
    Stops,
    /// By the list's own first processes, those that work on each channel alone.
    Nodes,
}

/// How far tables are from the processes they stand for: |difference| / max(1, |processes' value|), the
/// largest of a colour's channels, over 8192 seeded colours of the domain: a quarter neutral, a quarter
/// nearly so, a half anywhere; evenly spread in signals, by ACEScct's curve in light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Half of the colours are nearer than this.
    pub p50: f64,
    /// 99 of 100 colours are nearer than this.
    pub p99: f64,
    /// The farthest colour.
    pub max: f64,
    /// Its input.
    pub worst: [f64; 3],
}

/// Tables in place of a list of processes.
#[derive(Clone, Debug, PartialEq)]
pub struct Baked {
    /// A shaper, and a 3D LUT from 0 to 1 by tetrahedra.
    pub lut: Shaped<f32>,
    /// How the shaper was made.
    pub shaping: Shaping,
    /// What it costs, in f32 against the processes in f64.
    pub residual: Residual,
}

const SAMPLES: usize = 8192;

/// Seeds of the colours that choose the shaping, and of those that measure the choice.
const SEEDS: [u64; 2] = [0x9e37_79b9_7f4a_7c15, 0x5851_f42d_4c95_7f2d];

impl Domain {
    fn ends(self) -> (f64, f64) {
        match self {
            Self::Signal { min, max } | Self::Light { min, max } => (min, max),
        }
    }

    /// The input at a share of the way through the domain.
    fn at(self, share: f64) -> f64 {
        let (min, max) = self.ends();
        let x = match self {
            Self::Signal { .. } => min + (max - min) * share,
            Self::Light { .. } => unshaped_stops(min, max, share),
        };
        x.clamp(min, max)
    }
}

/// 0 to 1 over the domain, by ACEScct's curve.
fn stops(min: f64, max: f64, x: f64) -> f64 {
    let (low, high) = (acescct_encode(min), acescct_encode(max));
    (acescct_encode(x) - low) / (high - low)
}

fn unshaped_stops(min: f64, max: f64, share: f64) -> f64 {
    let (low, high) = (acescct_encode(min), acescct_encode(max));
    acescct_decode(low + (high - low) * share)
}

/// Seeded numbers in [0, 1). Steele, Lea & Flood 2014 (SplitMix64).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

fn colours(domain: Domain, seed: u64) -> Vec<[f64; 3]> {
    let mut random = Random(seed);
    let colour = |i: usize| {
        let grey = random.next();
        let spread = [0.0, 0.04, 1.0, 1.0][i % 4];
        let mut near = || (grey + spread * (random.next() - grey)).clamp(0.0, 1.0);
        [near(), near(), near()].map(|share| domain.at(share))
    };
    (0..SAMPLES).map(colour).collect()
}

impl Process<f64> {
    /// Tables that come near to this list: a shaper of `shaper` entries and a 3D LUT of `cube` entries along
    /// an axis. Each [`Shaping`] that can be is tried, the one with the smallest p99 is taken.
    ///
    /// Takes three times `cube`³ colours: some hundredths of a second for 33, many seconds for 256. Fails
    /// where sizes or the domain cannot be: [`Error::Invalid`].
    pub fn bake(&self, shaper: usize, cube: usize, domain: Domain) -> Result<Baked, Error> {
        if !(2..=HALVES).contains(&shaper) {
            return Err(Error::invalid("entries of the shaper", shaper, format!("2 to {HALVES}")));
        }
        if !(2..=256).contains(&cube) {
            return Err(Error::invalid("entries along an axis of the 3D LUT", cube, "2 to 256"));
        }
        let (min, max) = domain.ends();
        if !(min < max && min >= -65504.0 && max <= 65504.0) {
            let found = format!("{min} to {max}");
            return Err(Error::invalid("domain", found, "a lowest and a higher input, within ±65504"));
        }
        let [choosing, measuring] = SEEDS.map(|seed| {
            let inputs = colours(domain, seed);
            inputs.into_iter().map(|v| (v, self.apply(v))).collect::<Vec<_>>()
        });
        let mut best: Option<Baked> = None;
        for shaping in [Shaping::Even, Shaping::Stops, Shaping::Nodes] {
            let Some(lut) = self.tables(shaper, cube, domain, shaping) else { continue };
            let residual = residual(&lut, &choosing);
            if best.as_ref().is_none_or(|b| residual.p99 < b.residual.p99) {
                best = Some(Baked { lut, shaping, residual });
            }
        }
        let Some(mut baked) = best else {
            return Err(Error::invalid("domain", format!("{min} to {max}"), "ends farther from each other"));
        };
        baked.residual = residual(&baked.lut, &measuring);
        Ok(baked)
    }

    fn tables(&self, shaper: usize, cube: usize, domain: Domain, shaping: Shaping) -> Option<Shaped<f32>> {
        let (min, max) = domain.ends();
        let first = match shaping {
            Shaping::Nodes => self.steps.iter().take_while(|step| step.is_by_channel()).count(),
            _ => 0,
        };
        let (head, tail) = self.steps.split_at(first);
        if shaping == Shaping::Nodes && head.is_empty() {
            return None;
        }
        let run = |steps: &[Step<f64>], v| steps.iter().fold(v, |v, step| step.apply(v));
        let inputs: Vec<f64> = match domain {
            Domain::Signal { .. } => {
                (0..shaper).map(|i| min + (max - min) * i as f64 / (shaper - 1) as f64).collect()
            }
            Domain::Light { .. } => (0..HALVES)
                .map(|bits| half::f16::from_bits(bits as u16).to_f64())
                .map(|x| if x.is_nan() { min.max(0.0) } else { x.clamp(min, max) })
                .collect(),
        };
        let shaped: Vec<[f64; 3]> = match shaping {
            Shaping::Even => inputs.iter().map(|x| [(x - min) / (max - min); 3]).collect(),
            Shaping::Stops => inputs.iter().map(|x| [stops(min, max, *x); 3]).collect(),
            Shaping::Nodes => inputs.iter().map(|x| run(head, [*x; 3])).collect(),
        };
        // What the shaper's 0 and 1 are to the processes that come after it.
        let (mut low, mut high) = ([0.0; 3], [1.0; 3]);
        if shaping == Shaping::Nodes && !tail.first().is_some_and(Step::takes_0_to_1) {
            for c in 0..3 {
                low[c] = shaped.iter().fold(f64::MAX, |m, v| m.min(v[c]));
                high[c] = shaped.iter().fold(f64::MIN, |m, v| m.max(v[c]));
                if high[c] <= low[c] {
                    high[c] = low[c] + 1.0;
                }
            }
        }
        let position = |v: &[f64; 3]| {
            std::array::from_fn(|c| ((v[c] - low[c]) / (high[c] - low[c])).clamp(0.0, 1.0) as f32)
        };
        let shaped = shaped.iter().map(position).collect();
        let shaper = match domain {
            Domain::Signal { .. } => Lut1::even(shaped, [min; 3], [max; 3]),
            Domain::Light { .. } => Lut1::halves(shaped),
        }?;
        let entry = |i: usize| {
            let at = [i % cube, i / cube % cube, i / cube / cube].map(|i| i as f64 / (cube - 1) as f64);
            let v = match shaping {
                Shaping::Even => self.apply(at.map(|share| min + (max - min) * share)),
                Shaping::Stops => self.apply(at.map(|share| unshaped_stops(min, max, share).clamp(min, max))),
                Shaping::Nodes => run(tail, std::array::from_fn(|c| low[c] + (high[c] - low[c]) * at[c])),
            };
            v.map(|x| x as f32)
        };
        let values = (0..cube * cube * cube).into_par_iter().map(entry).collect();
        let cube = Lut3::new(cube, values, [0.0; 3], [1.0; 3], Interpolation::Tetrahedral)?;
        Some(Shaped { shaper: Some(shaper), cube: Some(cube) })
    }
}

/// Tables for a stage that reads a curve, a cube or both.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// A curve alone where no channel depends on another, else a 3D LUT by tetrahedra, with or without a curve
    /// ahead of it.
    pub lut: Shaped<f32>,
    /// What it costs, in f32 against the processes in f64: as [`Residual`] says, but three quarters of the
    /// colours lie between 0 and 1 and a quarter anywhere among the signals asked for.
    pub residual: Residual,
}

/// Entries of a curve.
const CURVE: usize = HALVES;

/// Entries of a curve ahead of a cube.
const SHAPER: usize = 16_385;

/// Entries along an axis of a cube that is tried first, and of a finer one.
const CUBES: [usize; 2] = [33, 65];

/// A residual that nothing finer is tried for: a twentieth of a 10-bit code.
const FINE: f64 = 0.05 / 1023.0;

/// What is made smallest: a tail counts by how many colours are in it.
fn score(residual: &Residual) -> f64 {
    residual.p99 + 0.01 * residual.max
}

/// The tables with the smallest score so far, and how they were made: over which domain, and with the first
/// processes ahead of the cube or not.
struct Best<'a> {
    choosing: &'a [([f64; 3], [f64; 3])],
    found: Option<(f64, (Domain, bool), Shaped<f32>)>,
}

impl Best<'_> {
    fn consider(&mut self, way: (Domain, bool), lut: Option<Shaped<f32>>) {
        let Some(lut) = lut else { return };
        let score = score(&residual(&lut, self.choosing));
        if self.found.as_ref().is_none_or(|b| score < b.0) {
            self.found = Some((score, way, lut));
        }
    }
}

impl Process<f64> {
    /// Tables that come near to this list for signals from `min` (0 or less) to `max` (1 or more); what lies
    /// outside counts as the nearest end. Tables from 0 to 1 and over all the signals are tried, even and with the
    /// list's first processes as a curve ahead; then the best of them in finer steps, and in those of the list's
    /// own 3D LUTs.
    ///
    /// Takes up to a million colours; tenths of a second. Fails where the signals cannot be:
    /// [`Error::Invalid`].
    pub fn fit(&self, min: f64, max: f64) -> Result<Fitted, Error> {
        if !(min <= 0.0 && max >= 1.0 && min >= -65504.0 && max <= 65504.0) {
            let found = format!("{min} to {max}");
            return Err(Error::invalid("signals", found, "from 0 or less to 1 or more, within ±65504"));
        }
        let whole = Domain::Signal { min, max };
        let unit = Domain::Signal { min: 0.0, max: 1.0 };
        let [choosing, measuring] = SEEDS.map(|seed| {
            let (near, far) = (colours(unit, seed), colours(whole, !seed));
            let pick = |i: usize| if i / 4 % 4 == 3 { far[i] } else { near[i] };
            let all = (0..SAMPLES).into_par_iter().map(pick);
            all.map(|v| (v, self.apply(v))).collect::<Vec<_>>()
        });
        let domains = if (min, max) == (0.0, 1.0) { vec![unit] } else { vec![unit, whole] };
        let mut best = Best { choosing: &choosing, found: None };
        if self.steps.iter().all(Step::is_by_channel) {
            domains.into_iter().for_each(|domain| best.consider((domain, false), self.curve(domain)));
        } else {
            self.fit_cube(&domains, &mut best);
        }
        match best.found {
            Some((.., lut)) => Ok(Fitted { residual: residual(&lut, &measuring), lut }),
            None => Err(Error::invalid("signals", format!("{min} to {max}"), "ends farther from each other")),
        }
    }

    fn fit_cube(&self, domains: &[Domain], best: &mut Best<'_>) {
        let cube = |(domain, by_nodes): (Domain, bool), size: usize| match by_nodes {
            true => self.tables(SHAPER, size, domain, Shaping::Nodes),
            false => self.even_cube(size, domain),
        };
        let own: Vec<usize> = self.steps.iter().filter_map(Step::cube_size).collect();
        let first = own.iter().copied().find(|n| (17..=CUBES[0]).contains(n)).unwrap_or(CUBES[0]);
        for way in domains.iter().flat_map(|domain| [(*domain, false), (*domain, true)]) {
            best.consider(way, cube(way, first));
        }
        let Some((score, way)) = best.found.as_ref().map(|b| (b.0, b.1)) else { return };
        if score <= FINE {
            return;
        }
        // Twice as fine as the file's own too, since it may go between its entries otherwise than by tetrahedra.
        let mut sizes: Vec<_> = own.iter().flat_map(|n| [*n, 2 * n - 1]).chain(CUBES).collect();
        sizes.retain(|n| *n != first && super::SIZES_3D.contains(n));
        sizes.sort_unstable();
        sizes.dedup();
        sizes.into_iter().for_each(|size| best.consider(way, cube(way, size)));
    }

    /// The list as a curve: entries where a LUT1D that begins the list has its own, if there is one.
    fn curve(&self, domain: Domain) -> Option<Shaped<f32>> {
        let (min, max) = domain.ends();
        let own = self.steps.iter().find_map(Step::curve_length).unwrap_or(2) - 1;
        let entries = own * ((CURVE - 1) / own).max(1) + 1;
        let at = |i: usize| min + (max - min) * i as f64 / (entries - 1) as f64;
        let value = |i: usize| self.apply([at(i); 3]).map(|x| x as f32);
        let curve = Lut1::even((0..entries).into_par_iter().map(value).collect(), [min; 3], [max; 3])?;
        Some(Shaped { shaper: Some(curve), cube: None })
    }

    /// The list as a cube over a domain, with nothing ahead of it.
    fn even_cube(&self, size: usize, domain: Domain) -> Option<Shaped<f32>> {
        let (min, max) = domain.ends();
        let entry = |i: usize| {
            let at = [i % size, i / size % size, i / size / size];
            self.apply(at.map(|i| min + (max - min) * i as f64 / (size - 1) as f64)).map(|x| x as f32)
        };
        let values = (0..size * size * size).into_par_iter().map(entry).collect();
        let cube = Lut3::new(size, values, [min; 3], [max; 3], Interpolation::Tetrahedral)?;
        Some(Shaped { shaper: None, cube: Some(cube) })
    }
}

fn residual(lut: &Shaped<f32>, wanted: &[([f64; 3], [f64; 3])]) -> Residual {
    let distance = |(input, wanted): &([f64; 3], [f64; 3])| {
        let found = lut.apply(input.map(|x| x as f32));
        let off = |c: usize| (f64::from(found[c]) - wanted[c]).abs() / wanted[c].abs().max(1.0);
        (off(0).max(off(1)).max(off(2)), *input)
    };
    let mut all: Vec<_> = wanted.iter().map(distance).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |share: f64| all[((all.len() - 1) as f64 * share) as usize].0;
    let (max, worst) = all[all.len() - 1];
    Residual { p50: at(0.5), p99: at(0.99), max, worst }
}
