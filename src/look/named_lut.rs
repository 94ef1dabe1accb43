//! A LUT as a chain has it: tables, the file they came from, and what goes in and comes out.

use std::path::PathBuf;
use std::sync::Arc;

use crate::colour::{Curve, Matrix, Shaped, Space, encoding};

/// Who says what a LUT expects or gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Said {
    /// Nobody: it is taken to be ACEScct.
    Assumed,
    /// The LUT's file.
    File,
    /// The show or the look, and so a person.
    Hand,
}

/// One side of a LUT.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Side {
    /// What its values mean.
    pub space: Space,
    /// Who says so.
    pub said: Said,
}

impl Side {
    /// ACEScct, since nobody says anything.
    pub fn assumed() -> Self {
        let acescct = encoding("acescct").expect("the working encodings are in the table");
        Self { space: Space::Encoding(acescct), said: Said::Assumed }
    }

    /// What a person says, else what the file says, else ACEScct.
    pub fn of(hand: Option<Space>, file: Option<Space>) -> Self {
        let of = |space, said| Self { space, said };
        hand.map(|s| of(s, Said::Hand)).or(file.map(|s| of(s, Said::File))).unwrap_or_else(Self::assumed)
    }

    /// What a person says of it.
    pub fn by_hand(&self) -> Option<Space> {
        (self.said == Said::Hand).then_some(self.space)
    }
}

/// What the tables that stand for a CLF's processes cost, and what the file says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Bake {
    /// Of 100 colours 99 are nearer to what the processes say than this: codes of 10 bits of the LUT's output
    /// signal (where that is light, of ACEScct's); beyond a signal of 1, in proportion to it.
    pub p99: f64,
    /// The farthest colour.
    pub max: f64,
    /// Are the tables' input and output light, by ACEScct's curve?
    pub light: [bool; 2],
    /// Matrices on light ahead of the tables and after them, in the primaries that the LUT expects and gives.
    pub matrices: [Option<Matrix>; 2],
    /// The file's `InputDescriptor`.
    pub input: Option<String>,
    /// The file's `OutputDescriptor`.
    pub output: Option<String>,
}

impl Bake {
    /// Codes beyond which a bake is marked.
    pub const MARKED: f64 = 1.0;

    /// Does a colour lie more than [`Bake::MARKED`] off?
    pub fn is_coarse(&self) -> bool {
        self.max > Self::MARKED
    }
}

/// Tables, the file they came from, and what goes in and comes out.
#[derive(Clone, Debug)]
pub struct NamedLut {
    /// The file: relative to the show's folder when inside it.
    pub file: PathBuf,
    /// What it holds. Where a CLF expects or gives light, its tables do so by ACEScct's curve on the same primaries.
    pub lut: Arc<Shaped<f32>>,
    /// What goes in.
    pub expects: Side,
    /// What comes out.
    pub gives: Side,
    /// How the tables came to be, if they stand for a CLF's processes.
    pub bake: Option<Bake>,
}

impl PartialEq for NamedLut {
    fn eq(&self, other: &Self) -> bool {
        let Self { file, lut, expects, gives, bake } = self;
        // Large tables are looked into only where they are not one.
        *file == other.file
            && *expects == other.expects
            && *gives == other.gives
            && *bake == other.bake
            && (Arc::ptr_eq(lut, &other.lut) || lut == &other.lut)
    }
}

impl NamedLut {
    /// Tables of which nobody says anything.
    pub fn new(file: impl Into<PathBuf>, lut: Arc<Shaped<f32>>) -> Self {
        Self { file: file.into(), lut, expects: Side::assumed(), gives: Side::assumed(), bake: None }
    }

    /// The side that is a display's, "expects" or "gives": such a LUT is an output transform and cannot stand
    /// among stages, which hand scene light on.
    pub fn for_display(&self) -> Option<(&'static str, Space)> {
        let sides = [("expects", self.expects.space), ("gives", self.gives.space)];
        sides.into_iter().rev().find(|(_, space)| space.scene().is_none())
    }

    /// What leads from the working light to the tables' input and back from their output, where that is not ACEScct
    /// itself: the curve of the tables' signal, and the matrix from ACEScg to its primaries, or from these to ACEScg.
    pub fn conversions(&self) -> [Option<(Curve, Matrix)>; 2] {
        let Space::Encoding(acescct) = Side::assumed().space else { return [None; 2] };
        let [before, after] = self.bake.as_ref().map_or([None; 2], |bake| bake.matrices);
        let light = self.bake.as_ref().map_or([false; 2], |bake| bake.light);
        let side = |side: Side, light: bool, own: Option<Matrix>| {
            let encoding = side.space.scene()?;
            let curve = if light { acescct.curve } else { encoding.curve };
            let same = own.is_none() && curve == acescct.curve && encoding.primaries == acescct.primaries;
            (!same).then_some((curve, encoding, own.unwrap_or(Matrix::IDENTITY)))
        };
        [
            side(self.expects, light[0], before).map(|(c, e, own)| (c, own.after(&e.from_acescg()))),
            side(self.gives, light[1], after).map(|(c, e, own)| (c, e.to_acescg().after(&own))),
        ]
    }

    /// What it expects and gives, in words, and who says so.
    pub fn sides_text(&self) -> String {
        if (self.expects.said, self.gives.said) == (Said::Assumed, Said::Assumed) {
            return "expects and gives acescct: assumed, since nothing says otherwise".to_owned();
        }
        let side = |side: &Side| {
            let said = match side.said {
                Said::Assumed => " (assumed)",
                Said::File => " (its file says so)",
                Said::Hand => "",
            };
            format!("{}{said}", side.space.id())
        };
        format!("expects {}, gives {}", side(&self.expects), side(&self.gives))
    }

    /// What the bake costs, in words, if it is one.
    pub fn bake_text(&self) -> Option<String> {
        let bake = self.bake.as_ref()?;
        let how = if bake.is_coarse() { "coarsely baked" } else { "baked" };
        let codes = |x: f64| match x {
            x if x < 100.0 => format!("{x:.2}"),
            x if x < 1e5 => format!("{x:.0}"),
            _ => "100000 and more".to_owned(),
        };
        let (p99, max) = (codes(bake.p99), codes(bake.max));
        Some(format!("{how}: 99 of 100 colours within {p99} of a 10-bit code, all within {max}"))
    }

    /// What a CLF says of its input and output, in words, if it says anything.
    pub fn descriptors_text(&self) -> Option<String> {
        let bake = self.bake.as_ref()?;
        let all = [("input", &bake.input), ("output", &bake.output)];
        let said: Vec<_> =
            all.iter().filter_map(|(side, text)| Some(format!("{side}: {}", (*text).as_ref()?))).collect();
        (!said.is_empty()).then(|| said.join("; "))
    }
}
