//! What a table's input or output may mean: an encoding's values or a display's signal.

use super::{Display, Encoding, Reference, display, encoding};

/// An encoding or a display, which are one list of names where a LUT says what it expects and what it gives.
/// Equal when the ids are.
#[derive(Clone, Copy, Debug)]
pub enum Space {
    /// The values of an encoding.
    Encoding(&'static Encoding),
    /// The signal of a display.
    Display(&'static Display),
}

impl Space {
    /// What files and commands call it.
    pub fn id(self) -> &'static str {
        match self {
            Self::Encoding(e) => e.id,
            Self::Display(d) => &d.id,
        }
    }

    /// What people call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Encoding(e) => e.name,
            Self::Display(d) => &d.name,
        }
    }

    /// The encoding, if its light is the scene's.
    pub fn scene(self) -> Option<&'static Encoding> {
        match self {
            Self::Encoding(e) => (e.reference == Reference::Scene).then_some(e),
            Self::Display(_) => None,
        }
    }
}

impl PartialEq for Space {
    fn eq(&self, other: &Self) -> bool {
        self.id() == other.id()
    }
}

/// The encoding or display called `id`. An id that is both is that of a display and of its signal as an encoding.
pub fn space(id: &str) -> Option<Space> {
    encoding(id).map(Space::Encoding).or_else(|| display(id).map(Space::Display))
}
