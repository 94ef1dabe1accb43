//! How a stage is declared, once, for everything that needs to know about it.

use super::{Kernel, NamedLut, Spot};
use crate::colour::Shaped;
use std::borrow::Cow;

/// The space a stage computes in and is mixed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Domain {
    /// ACEScct, the logarithmic working signal.
    Acescct,
    /// Scene-linear ACEScg.
    Linear,
}

/// What a stage is about: where in a chain it goes when nobody says where, see
/// [`Chain::place_for`](super::Chain::place_for).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nature {
    /// How light becomes tone.
    Tone,
    /// What colours become.
    Colour,
    /// What lens and film do to an image ahead of any tone: glow, softness.
    Texture,
    /// What lies over the finished image.
    Grain,
}

/// What a stage reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// Its own pixel; it fuses with its neighbours in the chain.
    Point,
    /// Pixels around it; it owns its passes.
    Neighbourhood,
}

/// What a parameter's number counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A plain ratio.
    Ratio,
    /// Stops: doublings of light.
    Stops,
    /// Printer points: 0.025 of log10 exposure, 12.04 a stop, positive = brighter (of a density: darker).
    Points,
    /// Degrees on the (C_B, C_R) plane, counter-clockwise from +C_B.
    Degrees,
    /// Mired, 10⁶ ÷ kelvin: steps along the Planckian locus that look alike.
    Mired,
    /// Thousandths of Duv, the distance from the Planckian locus in CIE 1960 (u, v); + is greener.
    Duv,
    /// Thousandths of a millimetre, on film.
    Micrometres,
    /// Which of several, by these names: whole numbers from 0. Files write the name.
    Choice(&'static [&'static str]),
}

impl Unit {
    /// As written after a number; empty for a ratio.
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Ratio | Self::Choice(_) => "",
            Self::Stops => "stops",
            Self::Points => "pts",
            Self::Degrees => "°",
            Self::Mired => "mired",
            Self::Duv => "‰ Duv",
            Self::Micrometres => "µm",
        }
    }
}

/// How a parameter's range is spread over a control's travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Evenly.
    Even,
    /// Evenly in ratios (the range must be positive).
    Ratios,
    /// Round and round: the ends of the range are one point.
    Circle,
}

/// One number of a stage.
#[derive(Clone, Copy, Debug)]
pub struct Parameter {
    /// What files and addresses call it.
    pub key: &'static str,
    /// One line for the person who turns it.
    pub doc: &'static str,
    /// What it counts.
    pub unit: Unit,
    /// Where it stands when nobody has touched it.
    pub default: f64,
    /// Least value.
    pub min: f64,
    /// Greatest value.
    pub max: f64,
    /// One detent of an encoder.
    pub step: f64,
    /// Spread over a control's travel.
    pub scale: Scale,
}

impl Parameter {
    /// `value` brought into the range: held at its ends, or wrapped where it is a circle; a choice is whole.
    /// NaN, and an infinity on a circle, give the default.
    pub fn held(&self, value: f64) -> f64 {
        if value.is_nan() {
            return self.default;
        }
        let value = if self.choices().is_empty() { value } else { value.round() };
        match self.scale {
            Scale::Circle if value.is_infinite() => self.default,
            // Both ends are there, so that a knob that was turned to its end keeps its hold.
            Scale::Circle if !(self.min..=self.max).contains(&value) => {
                // A hair under the start wraps to the end, by rounding; the end is the start.
                let wrapped = self.min + (value - self.min).rem_euclid(self.max - self.min);
                if wrapped < self.max { wrapped } else { self.min }
            }
            _ => value.clamp(self.min, self.max),
        }
    }

    /// The names it chooses among; none for a number.
    pub const fn choices(&self) -> &'static [&'static str] {
        match self.unit {
            Unit::Choice(names) => names,
            _ => &[],
        }
    }

    /// The name that `value` chooses, for one that chooses.
    pub fn choice(&self, value: f64) -> Option<&'static str> {
        self.choices().get(self.held(value) as usize).copied()
    }

    /// Where `value` lies in the range, 0…1.
    pub fn position(&self, value: f64) -> f64 {
        match self.scale {
            Scale::Ratios => (value / self.min).ln() / (self.max / self.min).ln(),
            _ => (value - self.min) / (self.max - self.min),
        }
    }

    /// The value at `position` 0…1 of the range; exactly the ends at 0 and 1.
    pub fn at(&self, position: f64) -> f64 {
        let p = position.clamp(0.0, 1.0);
        if p == 1.0 {
            return self.max;
        }
        match self.scale {
            Scale::Ratios => self.min * (self.max / self.min).powf(p),
            _ => self.min + (self.max - self.min) * p,
        }
    }

    /// `value` as a person reads it: decimals after the step, and the unit; of a choice its name.
    pub fn show(&self, value: f64) -> String {
        if let Some(name) = self.choice(value) {
            return name.to_owned();
        }
        let decimals = (-self.step.log10()).ceil().clamp(0.0, 4.0) as usize;
        let sign = if self.min < 0.0 { "+" } else { "" };
        // Adding zero turns −0 into +0.
        let value = if value.abs() < 0.5 * 10f64.powi(-(decimals as i32)) { 0.0 } else { value };
        let number = if sign == "+" && value == 0.0 {
            format!("{value:.decimals$}")
        } else if sign == "+" {
            format!("{value:+.decimals$}")
        } else {
            format!("{value:.decimals$}")
        };
        match self.unit {
            Unit::Ratio => number,
            Unit::Degrees => format!("{number}°"),
            Unit::Duv if value != 0.0 => {
                let side = if value > 0.0 { "green" } else { "magenta" };
                format!("{number} {} {side}", Unit::Duv.suffix())
            }
            unit => format!("{number} {}", unit.suffix()),
        }
    }
}

/// Strength is declared like any other parameter, so that it can be bound like any other.
pub const fn strength(max: f64) -> Parameter {
    Parameter {
        key: "strength",
        doc: "How much of it acts: 0 none, 1 as designed.",
        unit: Unit::Ratio,
        default: 1.0,
        min: 0.0,
        max,
        step: 0.01,
        scale: Scale::Even,
    }
}

/// The twin of a stage that reads its neighbours: what of each pixel is spread, how far, and what is made of the
/// pixel, its own part that was spread, and what was spread to it. A flat field is left as it is.
#[derive(Debug)]
pub struct Neighbourhood {
    /// Parameters and derived values, and the raster, to how it is spread.
    pub kernel: fn(&[f64], (u32, u32)) -> Kernel,
    /// Parameters and derived values, and a pixel, to what of it is spread.
    pub source: fn(&[f32], [f32; 3]) -> [f32; 3],
    /// Parameters and derived values, a pixel, what of it was spread, and what reached it, to what it becomes.
    pub combine: fn(&[f32], [f32; 3], [f32; 3], [f32; 3]) -> [f32; 3],
}

/// Everything there is to know about a stage.
///
/// A stage instance's numbers are a flat slice: its parameters in order, then what `prepare` derived from
/// them. The uniform buffer holds its effective strength first, then that slice.
#[derive(Debug)]
pub struct Declaration {
    /// What files and addresses call it.
    pub key: &'static str,
    /// What it does, for a person.
    pub doc: &'static str,
    /// What it is about.
    pub nature: Nature,
    /// The space it computes in.
    pub domain: Domain,
    /// What it reads.
    pub reach: Reach,
    /// Does it leave middle grey alone, at any setting? One that asks for its place: in the raster's middle.
    pub holds_grey: bool,
    /// Does a grey ramp stay in order, at any setting?
    pub monotone: bool,
    /// Its strength, and how far that goes.
    pub strength: Parameter,
    /// Its parameters.
    pub parameters: &'static [Parameter],
    /// Names of what is derived from them once, not for every pixel.
    pub derived: &'static [&'static str],
    /// Does it read a table from a file? Without one it does nothing.
    pub table: bool,
    /// Does it ask where in the raster a pixel is, and in which frame?
    pub spot: bool,
    /// How it reads its neighbours, if it does.
    pub neighbourhood: Option<Neighbourhood>,
    /// Parameters, the table if it reads one and the raster's size if it asks for its place, to derived values.
    pub prepare: fn(&[f64], Option<&NamedLut>, (u32, u32)) -> Vec<f64>,
    /// The CPU twin in f32: parameters and derived values, the table, the place, pixel in, pixel out.
    pub apply_f32: fn(&[f32], Option<&Shaped<f32>>, Spot, [f32; 3]) -> [f32; 3],
    /// The same in f64.
    pub apply_f64: fn(&[f64], Option<&Shaped<f64>>, Spot, [f64; 3]) -> [f64; 3],
    /// Name of the Rust struct, and of the WGSL one.
    pub struct_name: &'static str,
    /// Text of the WGSL twin.
    pub wgsl: &'static str,
}

impl Declaration {
    /// The key as WGSL and Rust names have it.
    pub fn function(&self) -> String {
        self.key.replace('-', "_")
    }

    /// Which parameter is called `key`.
    pub fn index(&self, key: &str) -> Option<usize> {
        self.parameters.iter().position(|p| p.key == key)
    }

    /// Every parameter at its default.
    pub fn defaults(&self) -> Vec<f64> {
        self.parameters.iter().map(|p| p.default).collect()
    }

    /// Parameters and what is derived from them: the slice that `apply` takes. Of one that asks for its place, as in a
    /// raster of one pixel, until [`Declaration::placed`] says better.
    pub fn prepared(&self, values: &[f64], table: Option<&NamedLut>) -> Vec<f64> {
        let mut all = values.to_vec();
        all.extend((self.prepare)(values, table, (1, 1)));
        all
    }

    /// A prepared slice in a raster of a size, across and down.
    pub fn placed<'a>(&self, prepared: &'a [f64], raster: (u32, u32)) -> Cow<'a, [f64]> {
        if !self.spot {
            return Cow::Borrowed(prepared);
        }
        let mut all = prepared[..self.parameters.len()].to_vec();
        all.extend((self.prepare)(prepared, None, raster));
        Cow::Owned(all)
    }

    /// Numbers a stage instance takes in the uniform buffer, filling aside.
    pub fn storage_len(&self) -> usize {
        1 + self.parameters.len() + self.derived.len()
    }

    /// The WGSL struct of a stage instance.
    pub fn wgsl_struct(&self) -> String {
        let fields = self.parameters.iter().map(|p| p.key.replace('-', "_"));
        let derived = self.derived.iter().map(|d| (*d).to_owned());
        let mut text = format!("struct {} {{\n    strength: f32,\n", self.struct_name);
        for name in fields.chain(derived) {
            text += &format!("    {name}: f32,\n");
        }
        text + "}\n"
    }
}

/// Declares a stage: its constants, its parameters, what is derived from them. The file that calls this
/// defines `prepare(&Parameters<f64>) -> [f64; N]` and `apply(&Parameters<T>, [T; 3]) -> [T; 3]`. A stage marked
/// `table` is given an `Option<&NamedLut>` and an `Option<&Shaped>` as the last argument of them; one marked `spot`
/// the raster's size, `(u32, u32)`, and a `Spot`; one marked `spread`, which reads its neighbours, defines the functions
/// of a [`Neighbourhood`] in place of `apply`.
macro_rules! declare {
    (@call $function:ident($($argument:expr),+) $table:ident $spot:ident) => {{
        let _ = ($table, $spot);
        $function($($argument),+)
    }};
    (@call $function:ident($($argument:expr),+) $table:ident $spot:ident table) => {{
        let _ = $spot;
        $function($($argument),+, $table)
    }};
    (@call $function:ident($($argument:expr),+) $table:ident $spot:ident spot) => {{
        let _ = $table;
        $function($($argument),+, $spot)
    }};
    // A stage that reads its neighbours leaves a flat field alone; see `Neighbourhood`.
    (@call apply($p:expr, $rgb:expr) $table:ident $spot:ident spread) => {{
        let _ = ($p, $table, $spot);
        $rgb
    }};
    (@call prepare($p:expr) $table:ident $spot:ident spread) => {{
        let _ = ($table, $spot);
        prepare($p)
    }};
    (@neighbourhood $name:ident spread) => {
        Some($crate::look::Neighbourhood {
            kernel: |v, raster| kernel(&$name::from_slice(v), raster),
            source: |v, rgb| source(&$name::from_slice(v), rgb),
            combine: |v, rgb, source, spread| combine(&$name::from_slice(v), rgb, source, spread),
        })
    };
    (@neighbourhood $name:ident $($other:ident)?) => { None };
    (
        $(#[doc = $doc:literal])+
        $name:ident $key:literal, shader $wgsl:literal $(, $mark:ident)? {
            nature: $nature:ident,
            domain: $domain:ident,
            reach: $reach:ident,
            holds_grey: $grey:literal,
            monotone: $monotone:literal,
            strength: $max:literal,
        }
        parameters {
            $(
                $(#[doc = $pdoc:literal])+
                $field:ident $pkey:literal: $unit:ident $(($choices:expr))? = $default:literal in $min:literal..$pmax:literal step $step:literal $scale:ident;
            )*
        }
        derived { $( $(#[doc = $ddoc:literal])+ $derived:ident; )* }
    ) => {
        $(#[doc = $doc])+
        #[derive(Clone, Copy, Debug)]
        // What only the shader reads is there too.
        #[allow(dead_code)]
        pub struct $name<T> {
            $( $(#[doc = $pdoc])+ pub $field: T, )*
            $( $(#[doc = $ddoc])+ pub $derived: T, )*
        }

        impl<T: $crate::colour::Real> $name<T> {
            /// From the flat slice: parameters, then derived values.
            pub fn from_slice(v: &[T]) -> Self {
                let mut v = v.iter().copied();
                // The slice is made from the same declaration, so it is as long as the fields are many.
                let mut next = || v.next().expect("a stage's slice is as long as its declaration");
                Self { $( $field: next(), )* $( $derived: next(), )* }
            }
        }

        /// The declaration of this stage.
        pub static DECLARATION: $crate::look::Declaration = {
            const DERIVED: &[&str] = &[$(stringify!($derived)),*];
            const MARK: &[u8] = stringify!($($mark)?).as_bytes();
            fn prepare_values(
                v: &[f64],
                table: Option<&$crate::look::NamedLut>,
                raster: (u32, u32),
            ) -> Vec<f64> {
                let mut all = v.to_vec();
                all.resize(v.len() + DERIVED.len(), 0.0);
                $crate::look::declare!(@call prepare(&$name::from_slice(&all)) table raster $($mark)?).to_vec()
            }
            $crate::look::Declaration {
                key: $key,
                doc: concat!($($doc),+),
                nature: $crate::look::Nature::$nature,
                domain: $crate::look::Domain::$domain,
                reach: $crate::look::Reach::$reach,
                holds_grey: $grey,
                monotone: $monotone,
                strength: $crate::look::strength($max),
                parameters: &[$(
                    $crate::look::Parameter {
                        key: $pkey,
                        doc: concat!($($pdoc),+),
                        unit: $crate::look::Unit::$unit $(($choices))?,
                        default: $default,
                        min: $min,
                        max: $pmax,
                        step: $step,
                        scale: $crate::look::Scale::$scale,
                    }
                ),*],
                derived: DERIVED,
                prepare: prepare_values,
                table: matches!(MARK, b"table"),
                spot: matches!(MARK, b"spot"),
                neighbourhood: $crate::look::declare!(@neighbourhood $name $($mark)?),
                apply_f32: |p, table, spot, rgb| {
                    $crate::look::declare!(@call apply(&$name::from_slice(p), rgb) table spot $($mark)?)
                },
                apply_f64: |p, table, spot, rgb| {
                    $crate::look::declare!(@call apply(&$name::from_slice(p), rgb) table spot $($mark)?)
                },
                struct_name: stringify!($name),
                wgsl: include_str!(concat!("../../shaders/", $wgsl)),
            }
        };
    };
}
pub(crate) use declare;
