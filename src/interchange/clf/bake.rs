//! A shaper and a 3D LUT in place of a list of processes, for where only tables are computed.

use rayon::prelude::*;

use super::Process;
use super::process::Step;
use crate::colour::{
    Curve, CurveValues, Family, HALVES, Interpolation, LINEAR_MAX, Lut1, Lut3, Matrix, STOP_ACESCCT, Shaped,
    acescct_decode, acescct_encode,
};
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

    /// A signal's domain reaching a little farther, and how many entries it then takes, no more than `most`, so that
    /// there is one at each of `bends`. One from 0 to 1 stays, since lists have their own tables there.
    fn with_entries_at(self, bends: [f64; 2], most: usize) -> (Self, usize) {
        let (min, max) = self.ends();
        let [low, high] = bends;
        if (min, max) == (0.0, 1.0) || !(min <= low && low < high && high <= max) {
            return (self, most);
        }
        let count = |between: f64| {
            let step = (high - low) / between;
            [(low - min) / step, between, (max - high) / step].map(f64::ceil)
        };
        let mut between = ((high - low) / (max - min) * (most - 1) as f64).floor();
        while between > 1.0 && count(between).iter().sum::<f64>() > (most - 1) as f64 {
            between -= 1.0;
        }
        let counts @ [below, _, above] = count(between.max(1.0));
        let step = (high - low) / counts[1];
        let domain = Self::Signal { min: low - below * step, max: high + above * step };
        (domain, counts.iter().sum::<f64>() as usize + 1)
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
            let residual = residual(|v| looked_up(&lut, v), &choosing);
            if best.as_ref().is_none_or(|b| residual.p99 < b.residual.p99) {
                best = Some(Baked { lut, shaping, residual });
            }
        }
        let Some(mut baked) = best else {
            return Err(Error::invalid("domain", format!("{min} to {max}"), "ends farther from each other"));
        };
        baked.residual = residual(|v| looked_up(&baked.lut, v), &measuring);
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

/// Tables and matrices for a stage that reads a curve, a cube or both.
///
/// Where an end is light, the tables have it as ACEScct's signal.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// A curve alone where no channel depends on another, a 3D LUT by tetrahedra, with or without a curve ahead of
    /// it, or nothing at all.
    pub lut: Shaped<f32>,
    /// Are the tables' input and output light?
    pub light: [bool; 2],
    /// Matrices on light, ahead of the tables and after them.
    pub matrices: [Option<Matrix>; 2],
    /// What it costs, tables in f32 against the processes in f64, in the signal of the list's output (ACEScct's where
    /// that is light): as [`Residual`] says, but of colours of the working signal. Three quarters of them lie between 0
    /// and 1, a quarter from a sixteenth of light below black to 65504; of each a quarter is neutral, a quarter nearly
    /// so, a quarter within four stops, and the last quarter too, but between 0 and 1 anywhere. 64 greys more lie about
    /// 0 and 1 of the input's signal, where lists are steep or bend. The worst input is light.
    pub residual: Residual,
}

/// Entries of a curve.
const CURVE: usize = HALVES;

/// Entries of a curve ahead of a cube.
const SHAPER: usize = 16_385;

/// Entries along an axis of a cube that is tried first, and of a finer one.
const CUBES: [usize; 2] = [33, 65];

/// The most entries along an axis up to `most` among which are those of a table of `size`; twice as fine as that at
/// least.
fn finer(size: usize, most: usize) -> usize {
    let steps = size - 1;
    steps * ((most - 1) / steps).max(2) + 1
}

/// A residual that nothing finer is tried for: a twentieth of a 10-bit code.
const FINE: f64 = 0.05 / 1023.0;

/// The light that tables are made for.
const LIGHT: [f64; 2] = [-0.0625, LINEAR_MAX];

/// What is made smallest: a tail counts by how many colours are in it.
fn score(residual: &Residual) -> f64 {
    residual.p99 + 0.01 * residual.max
}

/// What a colour goes through from the light that arrives to the output's signal, the tables aside.
struct Ends {
    curves: [CurveValues<f64>; 2],
    light: [bool; 2],
    matrices: [Option<Matrix>; 2],
}

impl Ends {
    /// The tables' input.
    fn input(&self, light: [f64; 3]) -> [f64; 3] {
        match self.light[0] {
            true => on_light(self.matrices[0], light).map(acescct_encode),
            false => light.map(|x| self.curves[0].encode(x)),
        }
    }

    /// The signal of the tables' output.
    fn output(&self, v: [f64; 3]) -> [f64; 3] {
        match self.light[1] {
            true => self.signal(on_light(self.matrices[1], v.map(acescct_decode))),
            false => v,
        }
    }

    /// The signal of light that goes out.
    fn signal(&self, light: [f64; 3]) -> [f64; 3] {
        match self.curves[1].family {
            Family::Linear => light.map(acescct_encode),
            _ => light.map(|x| self.curves[1].encode(x)),
        }
    }

    fn residual(&self, lut: &Shaped<f32>, wanted: &[Sample]) -> Residual {
        residual(|light| self.output(looked_up(lut, self.input(light))), wanted)
    }
}

fn on_light(matrix: Option<Matrix>, v: [f64; 3]) -> [f64; 3] {
    matrix.map_or(v, |m| m.times(v))
}

/// The tables with the smallest score so far, and how they were made: over which domain, and with the first
/// processes ahead of the cube or not.
struct Best<'a> {
    choosing: &'a [Sample],
    ends: &'a Ends,
    found: Option<(f64, (Domain, bool), Shaped<f32>)>,
}

impl Best<'_> {
    fn consider(&mut self, way: (Domain, bool), lut: Option<Shaped<f32>>) {
        let Some(lut) = lut else { return };
        let score = score(&self.ends.residual(&lut, self.choosing));
        if self.found.as_ref().is_none_or(|b| score < b.0) {
            self.found = Some((score, way, lut));
        }
    }
}

/// Takes the matrices that a list begins or ends with away: their product, if there are any.
fn take_matrices(steps: &mut Vec<Step<f64>>, first: bool) -> Option<Matrix> {
    let mut product = None;
    loop {
        let at = if first { 0 } else { steps.len().saturating_sub(1) };
        let Some(matrix) = steps.get(at).and_then(Step::matrix) else { return product };
        steps.remove(at);
        product = Some(match product {
            None => matrix,
            Some(sooner) if first => matrix.after(&sooner),
            Some(later) => later.after(&matrix),
        });
    }
}

/// Does a function leave light as it is, but for what rounded constants do?
fn keeps_light(f: impl Fn(f64) -> [f64; 3]) -> bool {
    let grid = (0..=64).map(|i| acescct_decode(1.2 * f64::from(i) / 64.0));
    grid.chain([-0.01]).all(|x| f(x).iter().all(|y| (y - x).abs() <= 2e-4 * x.abs().max(0.01)))
}

/// How many of a list's first (or last) processes do no more than to undo (or to do) a curve, if others that
/// begin with a matrix come after (or before) them.
fn curve_steps(steps: &[Step<f64>], curve: &CurveValues<f64>, first: bool) -> Option<usize> {
    let run = |steps: &[Step<f64>], v| steps.iter().fold(v, |v, step| step.apply(v));
    let place = |k: usize| if first { k } else { steps.len() - 1 - k };
    let alone = (0..steps.len()).take_while(|k| steps[place(*k)].is_by_channel()).count();
    (1..=alone).find(|&k| {
        k < steps.len()
            && steps[place(k)].matrix().is_some()
            && keeps_light(|x| match first {
                true => run(&steps[..k], [curve.encode(x); 3]),
                false => run(&steps[steps.len() - k..], [x; 3]).map(|y| curve.decode(y)),
            })
    })
}

/// Colours of the working signal, ACEScct, to measure on: as [`Fitted::residual`] says.
fn arrivals(seed: u64) -> Vec<[f64; 3]> {
    let mut random = Random(seed);
    let ends = LIGHT.map(acescct_encode);
    let colour = |i: usize| {
        let far = i / 4 % 4 == 3;
        let (min, max) = if far { (ends[0], ends[1]) } else { (0.0, 1.0) };
        let grey = min + (max - min) * random.next();
        let spread = [0.0, 0.04, 4.0 * STOP_ACESCCT, 4.0 * STOP_ACESCCT][i % 4];
        let anywhere = i % 4 == 3 && !far;
        let mut near = || match anywhere {
            true => random.next(),
            false => (grey + spread * (2.0 * random.next() - 1.0)).clamp(min, max),
        };
        [near(), near(), near()]
    };
    (0..SAMPLES).map(colour).collect()
}

impl Process<f64> {
    /// Tables that come near to this list. `curves` are those of its input and output; `arriving` says which light
    /// of the list's input a colour of the working signal, ACEScct, is.
    ///
    /// Where the list takes or gives light, by a linear curve or because its own processes undo or do the curve,
    /// matrices at that end are kept as such. Tables from 0 to 1 and over all the signals that light has are
    /// tried, even and with the list's first processes as a curve ahead; then the best of them in finer steps, and
    /// in those of the list's own 3D LUTs. What lies outside a table counts as its nearest end.
    ///
    /// Takes up to a million colours; tenths of a second.
    pub fn fit(
        &self,
        curves: [Curve; 2],
        arriving: impl Fn([f64; 3]) -> [f64; 3] + Sync,
    ) -> Result<Fitted, Error> {
        let curves = curves.map(|c| c.values::<f64>());
        let mut steps: Vec<_> = self.steps.iter().cloned().flat_map(Step::parts).collect();
        let mut light = curves.map(|c| c.family == Family::Linear);
        if let Some(k) = curve_steps(&steps, &curves[0], true).filter(|_| !light[0]) {
            steps.drain(..k);
            light[0] = true;
        }
        if let Some(k) = curve_steps(&steps, &curves[1], false).filter(|_| !light[1]) {
            steps.truncate(steps.len() - k);
            light[1] = true;
        }
        let before = light[0].then(|| take_matrices(&mut steps, true)).flatten();
        let after = light[1].then(|| take_matrices(&mut steps, false)).flatten();
        let ends = Ends { curves, light, matrices: [before, after] };
        let exact = |light: [f64; 3]| match curves[1].family {
            Family::Linear => self.apply(light.map(|x| curves[0].encode(x))).map(acescct_encode),
            _ => self.apply(light.map(|x| curves[0].encode(x))),
        };
        let unit = Domain::Signal { min: 0.0, max: 1.0 };
        let working = Domain::Signal { min: acescct_encode(LIGHT[0]), max: acescct_encode(LIGHT[1]) };
        let [choosing, measuring] = SEEDS.map(|seed| {
            let steep = (4..20)
                .flat_map(|i| [1.0, -1.0].map(|sign| sign * 0.5f64.powi(i)))
                .flat_map(|x| [x, 1.0 + x]);
            let steep = steep.map(|signal| [curves[0].decode(signal); 3]);
            let lights: Vec<_> = arrivals(seed).into_iter().map(&arriving).chain(steep).collect();
            lights.into_par_iter().map(|light| (light, exact(light))).collect::<Vec<_>>()
        });
        let whole = match (light[0], LIGHT.map(|x| curves[0].encode(x))) {
            (true, _) => working,
            (false, [min, max]) => Domain::Signal { min: min.clamp(-0.6, 0.0), max: max.clamp(1.0, 2.0) },
        };
        let bends = if light[0] { [0.0, 1.0].map(acescct_encode) } else { [0.0, 1.0] };
        let mut best = Best { choosing: &choosing, ends: &ends, found: None };
        let nothing = steps.is_empty() && light[0] == light[1];
        let inner = Process { steps }.by_acescct(light[0], light[1]);
        if nothing {
            best.consider((unit, false), Some(Shaped::default()));
        } else if inner.steps.iter().all(Step::is_by_channel) {
            [unit, whole]
                .into_iter()
                .for_each(|domain| best.consider((domain, false), inner.curve(domain, bends)));
        } else {
            inner.fit_cube(&[unit, whole], bends, &mut best);
        }
        let Some((.., lut)) = best.found else {
            return Err(Error::invalid("processes", "no table", "a list that tables can stand for"));
        };
        let residual = ends.residual(&lut, &measuring);
        Ok(Fitted { lut, light, matrices: ends.matrices, residual })
    }

    fn fit_cube(&self, domains: &[Domain], bends: [f64; 2], best: &mut Best<'_>) {
        let cube = |(domain, by_nodes): (Domain, bool), size: usize| {
            let (domain, entries) = domain.with_entries_at(bends, if by_nodes { SHAPER } else { size });
            match by_nodes {
                true => self.tables(entries, size, domain, Shaping::Nodes),
                false => self.even_cube(entries, domain),
            }
        };
        let own: Vec<usize> = self.steps.iter().filter_map(Step::cube_size).collect();
        let first = own.first().map_or(CUBES[0], |n| finer(*n, CUBES[0]));
        for way in domains.iter().flat_map(|domain| [(*domain, false), (*domain, true)]) {
            best.consider(way, cube(way, first));
        }
        let Some((score, way)) = best.found.as_ref().map(|b| (b.0, b.1)) else { return };
        if score <= FINE {
            return;
        }
        // Finer than the file's own too, since it may go between its entries otherwise than by tetrahedra.
        let mut sizes: Vec<_> = own.iter().flat_map(|n| [*n, finer(*n, CUBES[1])]).chain(CUBES).collect();
        sizes.retain(|n| *n != first && super::SIZES_3D.contains(n));
        sizes.sort_unstable();
        sizes.dedup();
        sizes.into_iter().for_each(|size| best.consider(way, cube(way, size)));
    }

    /// The list as a curve: entries where a LUT1D that begins the list has its own, if there is one.
    fn curve(&self, domain: Domain, bends: [f64; 2]) -> Option<Shaped<f32>> {
        let own = self.steps.iter().find_map(Step::curve_length).unwrap_or(2) - 1;
        let entries = own * ((CURVE - 1) / own).max(1) + 1;
        let (domain, entries) = domain.with_entries_at(bends, entries);
        let (min, max) = domain.ends();
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

type Sample = ([f64; 3], [f64; 3]);

/// The tables' value.
fn looked_up(lut: &Shaped<f32>, input: [f64; 3]) -> [f64; 3] {
    lut.apply(input.map(|x| x as f32)).map(f64::from)
}

/// How far what is found lies from what is wanted, over inputs and what is wanted of them.
fn residual(find: impl Fn([f64; 3]) -> [f64; 3], wanted: &[Sample]) -> Residual {
    let distance = |(input, wanted): &Sample| {
        let found = find(*input);
        let off = |c: usize| (found[c] - wanted[c]).abs() / wanted[c].abs().max(1.0);
        (off(0).max(off(1)).max(off(2)), *input)
    };
    let mut all: Vec<_> = wanted.iter().map(distance).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |share: f64| all[((all.len() - 1) as f64 * share) as usize].0;
    let (max, worst) = all[all.len() - 1];
    Residual { p50: at(0.5), p99: at(0.99), max, worst }
}
