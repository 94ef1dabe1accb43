//! A recipe: everything that is done to a frame, as immutable data.

use std::borrow::Cow;
use std::sync::Arc;

use super::framing::FramingValues;
use super::{Balance, Frame, Framing, ShowLut, Source, Trim};
use crate::colour::{Aces2, Display, Encoding, Matrix, OUTPUT_TRANSFORMS, OutputTransform, Real, Shaped};
use crate::look::{Chain, Kernel, Kind, NamedLut};

/// How a frame's signal becomes scene-linear light.
#[derive(Clone, Copy, Debug)]
pub struct Decode {
    /// The footage's encoding.
    pub encoding: &'static Encoding,
    /// The output transform that display-referred footage is taken back through. It does nothing to footage that
    /// refers to the scene.
    pub rendered: OutputTransform,
}

impl From<&'static Encoding> for Decode {
    /// With the light of display-referred footage as it is.
    fn from(encoding: &'static Encoding) -> Self {
        Self { encoding, rendered: OutputTransform::None }
    }
}

impl Decode {
    /// What is undone, and the display that it was made for; `None` where light passes as it is.
    ///
    /// A show's own table has no inverse; the default output transform's stands in for it.
    pub fn undone(&self) -> Option<(OutputTransform, &'static Display)> {
        let display = self.encoding.display()?;
        if self.rendered == OutputTransform::Lut {
            return Some((OUTPUT_TRANSFORMS[0], display));
        }
        (self.rendered != OutputTransform::None).then_some((self.rendered, display))
    }
}

/// A stage's numbers as the pixel loop wants them.
#[derive(Clone, Debug, PartialEq)]
pub struct StageValues {
    /// Which stage.
    pub kind: Kind,
    /// Effective strength, 0 … the stage's maximum.
    pub strength: f64,
    /// Parameters, then what is derived from them; see [`StageValues::placed`].
    pub values: Vec<f64>,
    /// The table that it reads.
    pub lut: Option<Arc<Shaped<f32>>>,
}

impl StageValues {
    /// How a stage that reads its neighbours spreads light in a raster.
    pub fn kernel(&self, raster: (u32, u32)) -> Option<Kernel> {
        self.kind.declaration().neighbourhood.as_ref().map(|n| (n.kernel)(&self.values, raster))
    }

    /// A stage's parameters, worked out.
    pub fn new(kind: Kind, strength: f64, values: &[f64], lut: Option<&NamedLut>) -> Self {
        let values = kind.declaration().prepared(values, lut);
        Self { kind, strength, values, lut: lut.map(|l| l.lut.clone()) }
    }

    /// Its values in a raster of a size, across and down.
    pub fn placed(&self, raster: (u32, u32)) -> Cow<'_, [f64]> {
        self.kind.declaration().placed(&self.values, raster)
    }
}

/// What the graded picture is turned into.
#[derive(Clone, Debug)]
pub enum Tail {
    /// A display's signal, clipped to 0…1.
    Display {
        /// How scene light becomes display light.
        transform: OutputTransform,
        /// The display.
        display: Arc<Display>,
        /// What this output's version differs in.
        trim: Trim,
        /// The table of [`OutputTransform::Lut`].
        show_lut: Option<Arc<ShowLut>>,
        /// A table on the signal, for one monitor.
        calibration: Option<Arc<Shaped<f32>>>,
    },
    /// The values of an encoding, not clipped.
    Encoding(&'static Encoding),
    /// Scene-linear ACEScg, for passes to come.
    Light,
}

impl Tail {
    /// A display's signal, with no trim and no calibration. See [`Tail::by_lut`] for [`OutputTransform::Lut`].
    pub fn display(transform: OutputTransform, display: impl Into<Arc<Display>>) -> Self {
        let display = display.into();
        Self::Display { transform, display, trim: Trim::default(), show_lut: None, calibration: None }
    }

    /// A display's signal by a show's own table.
    pub fn by_lut(lut: impl Into<Arc<ShowLut>>, display: impl Into<Arc<Display>>) -> Self {
        let (transform, show_lut) = (OutputTransform::Lut, Some(lut.into()));
        let display = display.into();
        Self::Display { transform, display, trim: Trim::default(), show_lut, calibration: None }
    }

    /// The same with another trim; nothing for what is no display.
    pub fn trimmed(mut self, to: Trim) -> Self {
        if let Self::Display { trim, .. } = &mut self {
            *trim = to;
        }
        self
    }

    /// The same with another calibration; nothing for what is no display.
    pub fn calibrated(mut self, by: Option<Arc<Shaped<f32>>>) -> Self {
        if let Self::Display { calibration, .. } = &mut self {
            *calibration = by;
        }
        self
    }

    /// The output transform, or none where there is no display. One by a table that is not there is none either.
    pub fn transform(&self) -> Option<OutputTransform> {
        match self {
            Self::Display { transform: OutputTransform::Lut, show_lut: None, .. } => {
                Some(OutputTransform::None)
            }
            Self::Display { transform, .. } => Some(*transform),
            Self::Encoding(_) | Self::Light => None,
        }
    }

    /// The table in the output transform's place.
    pub fn show_lut(&self) -> Option<&Arc<ShowLut>> {
        match self {
            Self::Display { transform: OutputTransform::Lut, show_lut, .. } => show_lut.as_ref(),
            _ => None,
        }
    }

    /// The table on the signal.
    pub fn calibration(&self) -> Option<&Arc<Shaped<f32>>> {
        match self {
            Self::Display { calibration, .. } => calibration.as_ref(),
            Self::Encoding(_) | Self::Light => None,
        }
    }

    /// What the version differs in; nothing for what is no display.
    pub fn trim(&self) -> Trim {
        match self {
            Self::Display { trim, .. } => *trim,
            Self::Encoding(_) | Self::Light => Trim::default(),
        }
    }

    /// From the primaries that a display keeps within to those of its signal, if they are others and the output
    /// transform leaves that to do.
    pub fn widening(&self) -> Option<Matrix> {
        match (self, self.transform()) {
            (Self::Display { .. }, Some(OutputTransform::Aces2)) => None,
            (Self::Display { display, .. }, Some(OutputTransform::Lut)) => ShowLut::widening(display),
            (Self::Display { display, .. }, _) => display.widening(),
            (Self::Encoding(_) | Self::Light, _) => None,
        }
    }
}

/// What is done to a frame, from its signal to an output's.
#[derive(Clone, Debug)]
pub struct Recipe {
    /// What it begins with.
    pub source: Source,
    /// Signal to scene-linear.
    pub decode: Decode,
    /// The shot's balance; `None` converts without passing through ACEScct.
    pub balance: Option<Balance>,
    /// The chain, in the order light takes.
    pub stages: Vec<StageValues>,
    /// Scene-linear to output.
    pub tail: Tail,
    /// Number of the frame, which seeds its noise.
    pub frame: u32,
    /// Where the frame lies in the raster.
    pub framing: Framing,
    /// Is it placed there roughly, see [`Framing::roughly`]?
    pub rough: bool,
    /// Size of the picture, across and down; `None`: the frame's.
    pub raster: Option<(u32, u32)>,
}

impl Recipe {
    /// The full path: balance, chain and tail. Display-referred footage is taken back through the tail's output
    /// transform; see [`Recipe::rendered_by`].
    pub fn graded(encoding: &'static Encoding, balance: Balance, chain: &Chain, tail: Tail) -> Self {
        Self {
            source: Source::Frame,
            decode: Decode { encoding, rendered: tail.transform().unwrap_or(OutputTransform::None) },
            balance: Some(balance),
            stages: chain
                .in_order()
                .map(|(stage, strength)| {
                    StageValues::new(stage.kind, strength, &stage.values, stage.lut.as_ref())
                })
                .collect(),
            tail,
            frame: 0,
            framing: Framing::default(),
            rough: false,
            raster: None,
        }
    }

    /// A plain conversion from one encoding to a tail, with nothing between.
    pub fn conversion(encoding: &'static Encoding, tail: Tail) -> Self {
        Self {
            source: Source::Frame,
            decode: Decode { encoding, rendered: tail.transform().unwrap_or(OutputTransform::None) },
            balance: None,
            stages: Vec::new(),
            tail,
            frame: 0,
            framing: Framing::default(),
            rough: false,
            raster: None,
        }
    }

    /// All of it but the tail: what the outputs of one graded picture have in common.
    pub fn without_tail(&self) -> Self {
        Self { tail: Tail::Light, ..self.clone() }
    }

    /// Cut before each stage that reads its neighbours and acts: the recipes of the passes one after the other, the last
    /// with the tail. Such a stage stands first in its part; where none acts, there is one part without any.
    pub fn parts(&self) -> Vec<Self> {
        let reads = |s: &StageValues| s.kind.declaration().neighbourhood.is_some();
        let mut stages: Vec<Vec<StageValues>> = vec![Vec::new()];
        for stage in &self.stages {
            if reads(stage) && stage.strength > 0.0 {
                stages.push(Vec::new());
            }
            if !reads(stage) || stage.strength > 0.0 {
                stages.last_mut().expect("there is one at least").push(stage.clone());
            }
        }
        let last = stages.len() - 1;
        let part = |(i, stages): (usize, Vec<StageValues>)| Self {
            source: if i == 0 { self.source } else { Source::Light },
            balance: if i == 0 { self.balance } else { None },
            tail: if i == last { self.tail.clone() } else { Tail::Light },
            stages,
            ..self.clone()
        };
        stages.into_iter().enumerate().map(part).collect()
    }

    /// The stage that reads its neighbours and that this part begins with, if it does.
    pub fn spread(&self) -> Option<&StageValues> {
        self.stages.first().filter(|s| s.kind.declaration().neighbourhood.is_some())
    }

    /// The tail alone, of a graded picture.
    pub fn tail_only(&self) -> Self {
        Self { source: Source::Light, balance: None, stages: Vec::new(), ..self.clone() }
    }

    /// The same with display-referred footage taken back through another output transform than the tail's: for
    /// tails that have none.
    pub fn rendered_by(mut self, transform: OutputTransform) -> Self {
        self.decode.rendered = transform;
        self
    }

    /// What display-referred footage is taken back through, where the recipe begins with footage.
    pub fn undone(&self) -> Option<(OutputTransform, &'static Display)> {
        if self.source == Source::Light { None } else { self.decode.undone() }
    }

    /// The ACES 2.0 output transform that the footage is taken back through, if it is. The first time for a display it
    /// is worked out.
    pub fn undone_aces2(&self) -> Option<Arc<Aces2>> {
        match self.undone() {
            Some((OutputTransform::Aces2, display)) => Some(Aces2::of(display)),
            _ => None,
        }
    }

    /// The ACES 2.0 output transform, where the tail has it. The first time for a display it is worked out.
    pub fn aces2(&self) -> Option<Arc<Aces2>> {
        match &self.tail {
            Tail::Display { transform: OutputTransform::Aces2, display, .. } => Some(Aces2::of(display)),
            _ => None,
        }
    }

    /// Is [`Recipe::aces2`] worked out, so that nobody waits for it?
    pub fn is_worked_out(&self) -> bool {
        match &self.tail {
            Tail::Display { transform: OutputTransform::Aces2, display, .. } => {
                Aces2::ready(display).is_some()
            }
            _ => true,
        }
    }

    /// The same for another frame.
    pub fn at_frame(mut self, frame: u32) -> Self {
        self.frame = frame;
        self
    }

    /// The same in a raster; `None`: in one of the frame's size.
    pub fn framed(mut self, framing: Framing, raster: Option<(u32, u32)>) -> Self {
        self.framing = framing;
        self.raster = raster;
        self
    }

    /// Where a frame lies in a raster, ready for the pixel loop.
    pub fn placing<T: Real>(&self, frame: (u32, u32), raster: (u32, u32)) -> FramingValues<T> {
        match self.rough {
            false => self.framing.prepared(frame, raster),
            true => self.framing.roughly(frame, raster),
        }
    }

    /// Size of the picture that a frame becomes, across and down.
    pub fn size(&self, frame: &Frame) -> (u32, u32) {
        self.raster.unwrap_or((frame.width, frame.height))
    }
}
