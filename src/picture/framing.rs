//! Framing: where a shot's frame lies in the show's raster, and its samples at the raster's pixels.
//!
//! Pixels are square, of the frame as of the raster. The frame is fitted (all of it inside the raster, or all
//! of the raster covered), scaled about its middle, then moved. The raster's pixels take the camera's signal,
//! before it is decoded, by cubic convolution (R. G. Keys, *Cubic Convolution Interpolation for Digital Image
//! Processing*, IEEE Trans. ASSP 29(6), 1981, with a = −1/2), across and down. A frame that is made smaller is
//! averaged by the same kernel, as much wider as there are frame pixels to one of the raster. At the frame's
//! edges its last pixels are repeated; a raster pixel whose middle lies outside the frame is black.
//!
//! - A kernel reads at most [`MOST_TAPS`] pixels each way: all of them down to a 16th of the frame's size.
//!   Below that it reads every second, third … one, and detail finer than those can alias. However small the
//!   frame is made, all kernels together read each of its pixels 36 times at most.
//! - A frame is never made smaller than [`SMALLEST`] of its size.

use super::parameters::parameters;
use super::{Frame, Unpack};
use crate::colour::Real;

parameters! {
    /// The parameters of framing, in the order of [`FramingField`].
    FRAMING,
    /// A parameter of framing.
    FramingField;

    /// Size at scale 1: fit is the whole frame inside the raster, with black beside it or above and below; fill is
    /// the whole raster covered, with two edges of the frame cut.
    Fitting "fitting": Choice(FITTINGS) = 0.0 in 0.0..1.0 step 1.0 Even;
    /// Across, in widths of the raster: 0 is centred, + is to the right.
    PanX "pan-x": Ratio = 0.0 in -2.0..2.0 step 0.001 Even;
    /// Up and down, in heights of the raster: 0 is centred, + is up.
    PanY "pan-y": Ratio = 0.0 in -2.0..2.0 step 0.001 Even;
    /// Size about the frame's middle: 1 is as fitted, 2 twice as large.
    Scale "scale": Ratio = 1.0 in 0.1..10.0 step 0.005 Ratios;
}

/// The fittings, as files and rows name them.
const FITTINGS: &[&str] = &["fit", "fill"];

/// How a frame is fitted into the raster: the size at which scale is 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[repr(usize)]
pub enum Fitting {
    /// The whole frame inside the raster, with black beside it or above and below.
    #[default]
    Fit,
    /// The whole raster covered, with two edges of the frame cut.
    Fill,
}

impl Fitting {
    /// Both of them, in the order of the parameter's choices.
    pub const ALL: [Self; 2] = [Self::Fit, Self::Fill];

    /// The other one.
    pub const fn other(self) -> Self {
        match self {
            Self::Fit => Self::Fill,
            Self::Fill => Self::Fit,
        }
    }
}

/// A shot's framing: a number for each of [`FRAMING`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Framing {
    /// The numbers, in the declaration's order.
    pub values: [f64; FramingField::COUNT],
}

impl Default for Framing {
    fn default() -> Self {
        Self { values: std::array::from_fn(|i| FRAMING[i].default) }
    }
}

/// Most frame pixels that a kernel reads each way.
pub const MOST_TAPS: i32 = 64;

/// The least size that a frame is brought to, as a share of its own.
pub const SMALLEST: f64 = 1.0 / 4096.0;

impl Framing {
    /// One of its numbers.
    pub fn get(&self, field: FramingField) -> f64 {
        self.values[field as usize]
    }

    /// The same with another number; not held to its range.
    pub fn with(mut self, field: FramingField, value: f64) -> Self {
        self.values[field as usize] = value;
        self
    }

    /// The same, fitted otherwise.
    pub fn fitted(mut self, fitting: Fitting) -> Self {
        self.values[FramingField::Fitting as usize] = fitting as usize as f64;
        self
    }

    /// How the frame is fitted.
    pub fn fitting(&self) -> Fitting {
        let choice = FramingField::Fitting.parameter().held(self.get(FramingField::Fitting));
        Fitting::ALL[choice as usize]
    }

    /// Raster pixels to a pixel of a `frame` that is framed so in a `raster`; sizes are across and down.
    pub fn magnification(&self, frame: (u32, u32), raster: (u32, u32)) -> f64 {
        let across = f64::from(raster.0) / f64::from(frame.0);
        let down = f64::from(raster.1) / f64::from(frame.1);
        let fitted = match self.fitting() {
            Fitting::Fit => across.min(down),
            Fitting::Fill => across.max(down),
        };
        (fitted * self.get(FramingField::Scale)).max(SMALLEST)
    }

    /// The place of a frame that a place of the raster shows, both in shares of width and height from the upper left
    /// corner; outside 0…1 beside the frame.
    pub fn place(&self, frame: (u32, u32), raster: (u32, u32), at: [f64; 2]) -> [f64; 2] {
        let magnification = self.magnification(frame, raster);
        let pan = [self.get(FramingField::PanX), -self.get(FramingField::PanY)];
        let sizes = [(frame.0, raster.0), (frame.1, raster.1)];
        std::array::from_fn(|axis| {
            let (frame, raster) = (f64::from(sizes[axis].0), f64::from(sizes[axis].1));
            (at[axis] - 0.5 - pan[axis]) * raster / (magnification * frame) + 0.5
        })
    }

    /// As a twin computes with it, for a `frame` in a `raster`; sizes are across and down.
    pub fn prepared<T: Real>(&self, frame: (u32, u32), raster: (u32, u32)) -> FramingValues<T> {
        self.reaching(frame, raster, 2.0)
    }

    /// The same, rough: a pixel of the raster takes in what it covers of the frame alone, which costs as much as reading each
    /// frame pixel once and is not free of jagged edges. For pictures to look at that have to keep time.
    pub fn roughly<T: Real>(&self, frame: (u32, u32), raster: (u32, u32)) -> FramingValues<T> {
        self.reaching(frame, raster, 0.5)
    }

    /// With a kernel that reaches so many raster pixels far where the frame is made smaller.
    fn reaching<T: Real>(&self, frame: (u32, u32), raster: (u32, u32), reach: f64) -> FramingValues<T> {
        let magnification = self.magnification(frame, raster);
        let step = 1.0 / magnification;
        let (x, y) = (self.get(FramingField::PanX), self.get(FramingField::PanY));
        // The first raster pixel's middle, in frame pixels whose middles are whole numbers.
        let start = |raster: u32, frame: u32, pan: f64| {
            let raster = f64::from(raster);
            (0.5 - raster * (0.5 + pan)) * step + 0.5 * f64::from(frame) - 0.5
        };
        let reduction = step.max(1.0);
        let direct = magnification == 1.0 && x == 0.0 && y == 0.0 && frame == raster;
        // A frame that is not made smaller by a whole pixel has the whole kernel.
        let reach = if reduction < 2.0 { 2.0 } else { reach };
        let reach = (reach * reduction).ceil() as i32;
        let (first, taps) = if direct { (0, 1) } else { (1 - reach, 2 * reach) };
        let stride = (taps + MOST_TAPS - 1) / MOST_TAPS;
        FramingValues {
            step: digits(step),
            start: [digits(start(raster.0, frame.0, x)), digits(start(raster.1, frame.1, -y))],
            size: [frame.0 as i32, frame.1 as i32],
            first,
            stride,
            count: (taps + stride - 1) / stride,
            direct,
            rate: T::of(1.0 / reduction),
        }
    }
}

/// A number as whole ones and three digits of 16 bits. Positions are sums of multiples of these, in
/// integers, so that twins place every pixel alike to the last bit.
fn digits(value: f64) -> [i32; 4] {
    let all = (value * 2f64.powi(48)).round() as i128;
    let digit = |shift: u32| ((all >> shift) & 0xffff) as i32;
    [(all >> 48) as i32, digit(32), digit(16), digit(0)]
}

/// Framing ready for the pixel loop. Twin: `shaders/picture/framing.wgsl`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FramingValues<T> {
    /// Frame pixels from one raster pixel to the next.
    pub step: [i32; 4],
    /// Where the first raster pixel lies in the frame, across and down.
    pub start: [[i32; 4]; 2],
    /// The frame's size, across and down.
    pub size: [i32; 2],
    /// The first frame pixel that a kernel reads, counted from the one before its middle.
    pub first: i32,
    /// From one frame pixel that it reads to the next.
    pub stride: i32,
    /// How many it reads each way.
    pub count: i32,
    /// Are raster pixels frame pixels? Then one is read.
    pub direct: bool,
    /// Steps of the kernel's argument from one frame pixel to the next: 1, or less for a frame made smaller.
    pub rate: T,
}

/// A raster pixel's middle in the frame, one way.
struct Place<T> {
    /// The frame pixel whose middle is there or before.
    pixel: i32,
    /// From that middle, 0…1.
    phase: T,
    /// The frame pixel that the place is in.
    inside: i32,
}

impl<T: Real> FramingValues<T> {
    /// The frame's signal at a raster pixel; `None` outside the frame. Twin: `framed_signal`.
    pub fn at(&self, unpack: &Unpack<T>, frame: &Frame, x: u32, y: u32) -> Option<[T; 3]> {
        if self.direct {
            return Some(unpack.at(frame, x, y));
        }
        let (x, y) = (self.place(0, x), self.place(1, y));
        if !(0..self.size[0]).contains(&x.inside) || !(0..self.size[1]).contains(&y.inside) {
            return None;
        }
        let held = |at: i32, axis: usize| at.clamp(0, self.size[axis] - 1) as u32;
        let zero = T::of(0.0);
        let (mut sum, mut weights) = ([zero; 3], zero);
        for row in 0..self.count {
            let j = self.first + row * self.stride;
            let (mut line, mut across) = ([zero; 3], zero);
            for column in 0..self.count {
                let i = self.first + column * self.stride;
                let weight = kernel((x.phase - T::of(i.into())) * self.rate);
                let samples = unpack.samples(frame, held(x.pixel + i, 0), held(y.pixel + j, 1));
                line = std::array::from_fn(|c| line[c] + weight * samples[c]);
                across = across + weight;
            }
            let weight = kernel((y.phase - T::of(j.into())) * self.rate);
            sum = std::array::from_fn(|c| sum[c] + weight * line[c]);
            weights = weights + weight * across;
        }
        Some(unpack.signal(sum.map(|v| v / weights)))
    }

    /// Twin: `framing_place`.
    fn place(&self, axis: usize, at: u32) -> Place<T> {
        let (at, s, d) = (at as i32, self.start[axis], self.step);
        let low = s[3] + at * d[3];
        let middle = s[2] + at * d[2] + (low >> 16);
        let high = s[1] + at * d[1] + (middle >> 16);
        let pixel = s[0] + at * d[0] + (high >> 16);
        let digit = |v: i32| T::of((v & 0xffff).into());
        // The last digit only carries.
        let phase = digit(high) * T::of(2f64.powi(-16)) + digit(middle) * T::of(2f64.powi(-32));
        Place { pixel, phase, inside: pixel + ((high >> 15) & 1) }
    }
}

/// Keys's kernel for a = −1/2, which is 0 from a distance of 2 on. Twin: `framing_kernel`.
pub fn kernel<T: Real>(distance: T) -> T {
    let x = distance.magnitude().at_most(T::of(2.0));
    if x < T::of(1.0) {
        (T::of(1.5) * x - T::of(2.5)) * x * x + T::of(1.0)
    } else {
        let rest = T::of(2.0) - x;
        (T::of(0.5) - T::of(0.5) * x) * rest * rest
    }
}
