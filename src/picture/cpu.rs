//! The CPU's way through a recipe: the definition that the shaders are held to.

use rayon::prelude::*;

use super::balance::BalanceValues;
use super::plan::tail_values;
use super::spread;
use super::{
    Balance, Decode, Frame, Recipe, ShowLutValues, Source, Tail, TrimValues, Unpack, noise, quantise,
};
use crate::colour::{
    Aces2, Aces2InverseValues, Aces2Values, CurveValues, OutputTransform, Real, Shaped, ToneScale,
    acescct_decode, acescct_encode, apply,
};
use crate::look::{Declaration, Domain, Spot};

/// A number that the stages' twins come in.
pub trait Twin: Real {
    /// The stage's twin in this number.
    fn stage(
        declaration: &Declaration,
        values: &[Self],
        lut: Option<&Shaped<Self>>,
        spot: Spot,
        rgb: [Self; 3],
    ) -> [Self; 3];
}

impl Twin for f32 {
    fn stage(
        declaration: &Declaration,
        values: &[f32],
        lut: Option<&Shaped<f32>>,
        spot: Spot,
        rgb: [f32; 3],
    ) -> [f32; 3] {
        (declaration.apply_f32)(values, lut, spot, rgb)
    }
}

impl Twin for f64 {
    fn stage(
        declaration: &Declaration,
        values: &[f64],
        lut: Option<&Shaped<f64>>,
        spot: Spot,
        rgb: [f64; 3],
    ) -> [f64; 3] {
        (declaration.apply_f64)(values, lut, spot, rgb)
    }
}

struct Step<T> {
    declaration: &'static Declaration,
    strength: T,
    values: Vec<T>,
    lut: Option<Shaped<T>>,
}

/// The end of a path ready for the pixel loop.
enum End<T> {
    Light,
    Encoding,
    Plain(ToneScale<T>),
    Aces2(Aces2Values<T>),
    /// A display's light without an output transform.
    Unrendered,
    Lut(Box<(ShowLutValues<T>, Shaped<T>)>),
}

/// An output transform to be undone, ready for the pixel loop.
enum Undoing<T> {
    Plain(ToneScale<T>),
    Aces2(Aces2InverseValues<T>),
    None,
}

/// A [`Decode`] ready for the pixel loop.
pub(super) struct Decoder<T> {
    curve: CurveValues<T>,
    to_acescg: [T; 9],
    undoing: Undoing<T>,
}

impl<T: Real> Decoder<T> {
    pub fn new(decode: &Decode) -> Self {
        Self {
            curve: decode.encoding.curve.values(),
            to_acescg: decode.encoding.to_acescg().rows(),
            undoing: match decode.undone() {
                Some((OutputTransform::Plain, d)) => Undoing::Plain(ToneScale::for_peak(d.peak)),
                Some((OutputTransform::Aces2, d)) => Undoing::Aces2(Aces2::of(d).inverse_values()),
                Some((OutputTransform::None | OutputTransform::Lut, _)) | None => Undoing::None,
            },
        }
    }

    /// Signal to ACEScg light.
    pub fn light(&self, signal: [T; 3]) -> [T; 3] {
        let light = signal.map(|s| self.curve.decode(s));
        match &self.undoing {
            Undoing::Plain(tone) => apply(&self.to_acescg, held(light)).map(|x| tone.invert(x)),
            Undoing::Aces2(inverse) => inverse.apply(light),
            Undoing::None => apply(&self.to_acescg, light),
        }
    }
}

/// A recipe ready for the pixel loop.
pub struct Grader<T> {
    source: Source,
    decoder: Decoder<T>,
    balance: Option<BalanceValues<T>>,
    steps: Vec<Step<T>>,
    ending: End<T>,
    trim: TrimValues<T>,
    calibration: Option<Shaped<T>>,
    matrix: [T; 9],
    widening: Option<[T; 9]>,
    encode: CurveValues<T>,
    frame: u32,
}

impl<T: Twin> Grader<T> {
    /// Works out a recipe's constants, for colours without a place: they lie in the middle of a raster, which is its only
    /// pixel, so that nothing falls off towards corners and grain is averaged over a whole gate.
    pub fn new(recipe: &Recipe) -> Self {
        Self::in_raster(recipe, (1, 1))
    }

    /// The same for pixels of a raster of a size, across and down.
    pub fn in_raster(recipe: &Recipe, raster: (u32, u32)) -> Self {
        let (tone, matrix, encode) = tail_values(&recipe.tail);
        Self {
            source: recipe.source,
            decoder: Decoder::new(&recipe.decode),
            balance: recipe.balance.map(|b| b.prepared()),
            // A pixel alone is taken for one of a flat field, which stages that read their neighbours leave alone.
            steps: recipe
                .stages
                .iter()
                .filter(|s| s.kind.declaration().neighbourhood.is_none())
                .map(|s| Step {
                    declaration: s.kind.declaration(),
                    strength: T::of(s.strength),
                    values: s.placed(raster).iter().map(|&v| T::of(v)).collect(),
                    lut: s.lut.as_ref().map(|l| l.to()),
                })
                .collect(),
            ending: match &recipe.tail {
                Tail::Display { transform: OutputTransform::Plain, .. } => End::Plain(tone),
                Tail::Display { transform: OutputTransform::Aces2, display, .. } => {
                    End::Aces2(Aces2::of(display).values())
                }
                Tail::Display { display, .. } => match recipe.tail.show_lut() {
                    Some(lut) => End::Lut(Box::new((lut.prepared(display), lut.lut.lut.to()))),
                    None => End::Unrendered,
                },
                Tail::Encoding(_) => End::Encoding,
                Tail::Light => End::Light,
            },
            trim: recipe.tail.trim().prepared(),
            calibration: recipe.tail.calibration().map(|table| table.to()),
            matrix: matrix.rows(),
            widening: recipe.tail.widening().map(|m| m.rows()),
            encode,
            frame: recipe.frame,
        }
    }

    /// Another balance, everything else as it is; for recipes that have one.
    pub fn set_balance(&mut self, balance: Balance) {
        if self.balance.is_some() {
            self.balance = Some(balance.prepared());
        }
    }

    /// One pixel: what the recipe's source holds in, what its tail gives out.
    pub fn pixel(&self, signal: [T; 3]) -> [T; 3] {
        self.pixel_at(signal, 0, 0)
    }

    /// The same at a column and row of the raster.
    pub fn pixel_at(&self, signal: [T; 3], x: u32, y: u32) -> [T; 3] {
        let mut v = match self.source {
            Source::Frame | Source::Signal => self.decoder.light(signal),
            Source::Light => signal,
        };
        if let Some(balance) = &self.balance {
            v = balance.linear(v);
        }
        if self.balance.is_some() || !self.steps.is_empty() {
            v = v.map(acescct_encode);
            if let Some(balance) = &self.balance {
                v = balance.acescct(v);
            }
            let spot = Spot { x, y, frame: self.frame };
            for step in &self.steps {
                v = step.run(v, spot);
            }
            v = v.map(acescct_decode);
        }
        self.tail(v)
    }

    /// The chain alone: ACEScct in, ACEScct out.
    pub fn chain(&self, acescct: [T; 3]) -> [T; 3] {
        let spot = Spot { frame: self.frame, ..Spot::default() };
        self.steps.iter().fold(acescct, |v, step| step.run(v, spot))
    }

    fn tail(&self, v: [T; 3]) -> [T; 3] {
        let trimmed = || self.trim.apply(v);
        let light = match &self.ending {
            End::Light => return v,
            End::Encoding => return apply(&self.matrix, v).map(|x| self.encode.encode(x)),
            End::Plain(tone) => apply(&self.matrix, trimmed().map(|x| tone.apply(x))),
            End::Aces2(aces2) => aces2.apply(trimmed()),
            End::Unrendered => apply(&self.matrix, trimmed()),
            End::Lut(both) => return self.calibrated(both.0.apply(&both.1, trimmed())),
        };
        let mut light = held(light);
        if let Some(widening) = &self.widening {
            light = held(apply(widening, light));
        }
        self.calibrated(self.encode.encode_light(light))
    }

    /// A signal as one monitor wants it.
    fn calibrated(&self, signal: [T; 3]) -> [T; 3] {
        let Some(table) = &self.calibration else { return signal };
        table.apply(signal).map(|x| x.at_least(T::of(0.0)).at_most(T::of(1.0)))
    }

    /// The signal beside the frame: black.
    pub fn beside(&self) -> [T; 3] {
        self.calibrated([T::of(0.0); 3])
    }
}

/// Light within a display's gamut and its peak.
fn held<T: Real>(light: [T; 3]) -> [T; 3] {
    light.map(|x| x.at_least(T::of(0.0)).at_most(T::of(1.0)))
}

impl<T: Twin> Step<T> {
    /// Between stages the picture rests in ACEScct; a stage in linear light converts for itself, so that
    /// strength 0 leaves the very bits.
    fn run(&self, v: [T; 3], spot: Spot) -> [T; 3] {
        if self.strength <= T::of(0.0) {
            return v;
        }
        let mix = |x: [T; 3]| {
            let y = T::stage(self.declaration, &self.values, self.lut.as_ref(), spot, x);
            if self.strength == T::of(1.0) {
                y
            } else {
                std::array::from_fn(|c| x[c].toward(y[c], self.strength))
            }
        };
        match self.declaration.domain {
            Domain::Acescct => mix(v),
            Domain::Linear => mix(v.map(acescct_decode)).map(acescct_encode),
        }
    }
}

/// A finished picture in floats.
pub struct Signal {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Row by row.
    pub pixels: Vec<[f32; 3]>,
}

/// A finished picture in integer codes.
pub struct Codes {
    /// Pixels across.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Bits of a code.
    pub depth: u32,
    /// Row by row.
    pub pixels: Vec<[u16; 3]>,
}

/// Runs a recipe over a frame.
pub fn signal(recipe: &Recipe, frame: &Frame) -> Signal {
    let parts = recipe.parts();
    let (width, height) = recipe.size(frame);
    let framing = recipe.placing::<f32>((frame.width, frame.height), (width, height));
    let unpack = Unpack::<f32>::of(&frame.format);
    let grader = Grader::<f32>::in_raster(&parts[0], (width, height));
    // Outside the frame it stays black, whatever comes.
    let mut pixels = vec![None; width as usize * height as usize];
    pixels.par_chunks_mut(width as usize).enumerate().for_each(|(y, row)| {
        for (x, pixel) in row.iter_mut().enumerate() {
            *pixel = framing
                .at(&unpack, frame, x as u32, y as u32)
                .map(|signal| grader.pixel_at(signal, x as u32, y as u32));
        }
    });
    for part in &parts[1..] {
        pixels = pass(part, (width, height), &pixels);
    }
    let beside = Grader::<f32>::new(&parts[parts.len() - 1]).beside();
    let pixels = pixels.into_iter().map(|p| p.unwrap_or(beside)).collect();
    Signal { width, height, pixels }
}

/// A picture in scene-linear light through a part that begins with a stage that reads its neighbours.
fn pass(part: &Recipe, size: (u32, u32), picture: &[Option<[f32; 3]>]) -> Vec<Option<[f32; 3]>> {
    let grader = Grader::<f32>::in_raster(part, size);
    let light: Vec<[f32; 3]> = picture.iter().map(|p| p.unwrap_or_default()).collect();
    let spread = part.spread().and_then(|s| Some((s, s.kernel(size)?)));
    let light =
        match spread.as_ref().zip(part.spread().and_then(|s| s.kind.declaration().neighbourhood.as_ref())) {
            Some(((stage, kernel), neighbourhood)) => {
                let values: Vec<f32> = stage.values.iter().map(|&v| v as f32).collect();
                let size = (size.0 as usize, size.1 as usize);
                spread::run(neighbourhood, &values, stage.strength as f32, kernel, size, &light)
            }
            None => light,
        };
    let place = |i: usize| (i as u32 % size.0, i as u32 / size.0);
    let pixel = |(i, (v, was)): (usize, (&[f32; 3], &Option<[f32; 3]>))| {
        let (x, y) = place(i);
        was.map(|_| grader.pixel_at(*v, x, y))
    };
    light.par_iter().zip(picture).enumerate().map(pixel).collect()
}

/// Runs a recipe over a frame and rounds it to codes of `depth` bits.
pub fn codes(recipe: &Recipe, frame: &Frame, depth: u32, dither: bool) -> Codes {
    let signal = signal(recipe, frame);
    let max = ((1u32 << depth) - 1) as f32;
    let width = signal.width as usize;
    let pixels = signal
        .pixels
        .par_iter()
        .enumerate()
        .map(|(i, p)| {
            let (x, y) = ((i % width) as u32, (i / width) as u32);
            std::array::from_fn(|c| {
                let n = if dither { noise(x, y, c as u32, recipe.frame) } else { 0.0 };
                quantise(p[c], max, n) as u16
            })
        })
        .collect();
    Codes { width: signal.width, height: signal.height, depth, pixels }
}
