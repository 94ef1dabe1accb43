//! A recipe: everything that is done to a frame, as immutable data.

use std::sync::Arc;

use super::Balance;
use crate::colour::{Aces2, Display, Encoding, OutputTransform};
use crate::look::{Chain, Kind};

/// How a frame's signal becomes scene-linear light.
#[derive(Clone, Copy, Debug)]
pub struct Decode {
    /// The footage's encoding.
    pub encoding: &'static Encoding,
}

/// A stage's numbers as the pixel loop wants them.
#[derive(Clone, Debug, PartialEq)]
pub struct StageValues {
    /// Which stage.
    pub kind: Kind,
    /// Effective strength, 0 … the stage's maximum.
    pub strength: f64,
    /// Parameters, then what is derived from them.
    pub values: Vec<f64>,
}

/// What the graded picture is turned into.
#[derive(Clone, Copy, Debug)]
pub enum Tail {
    /// A display's signal, clipped to 0…1.
    Display {
        /// How scene light becomes display light.
        transform: OutputTransform,
        /// The display.
        display: &'static Display,
    },
    /// The values of an encoding, not clipped.
    Encoding(&'static Encoding),
}

/// What is done to a frame, from its signal to an output's.
#[derive(Clone, Debug)]
pub struct Recipe {
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
}

impl Recipe {
    /// The full path: balance, chain and tail.
    pub fn graded(encoding: &'static Encoding, balance: Balance, chain: &Chain, tail: Tail) -> Self {
        Self {
            decode: Decode { encoding },
            balance: Some(balance),
            stages: chain
                .in_order()
                .map(|(stage, strength)| StageValues {
                    kind: stage.kind,
                    strength,
                    values: stage.declaration().prepared(&stage.values),
                })
                .collect(),
            tail,
            frame: 0,
        }
    }

    /// A plain conversion from one encoding to a tail, with nothing between.
    pub fn conversion(encoding: &'static Encoding, tail: Tail) -> Self {
        Self { decode: Decode { encoding }, balance: None, stages: Vec::new(), tail, frame: 0 }
    }

    /// The ACES 2.0 output transform, where the tail has it. The first time for a display it is worked out.
    pub fn aces2(&self) -> Option<Arc<Aces2>> {
        match self.tail {
            Tail::Display { transform: OutputTransform::Aces2, display } => Some(Aces2::of(display)),
            _ => None,
        }
    }

    /// The same for another frame.
    pub fn at_frame(mut self, frame: u32) -> Self {
        self.frame = frame;
        self
    }
}
