//! What a look means to do with colour.

/// A look's word about itself. It changes which limits the look check holds it to, and nothing in the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Intent {
    /// A colour picture whose neutrals stay neutral.
    Neutral,
    /// One neutral image out of three channels.
    Monochrome,
    /// One image out of three channels, in a colour of its own: sepia, selenium, blue.
    Toned,
    /// Two dyes: every colour is a mixture of two and of their light.
    TwoColour,
}

impl Intent {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Neutral, Self::Monochrome, Self::Toned, Self::TwoColour];

    /// What files and commands call it.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Neutral => "neutral",
            Self::Monochrome => "monochrome",
            Self::Toned => "toned",
            Self::TwoColour => "two-colour",
        }
    }

    /// The intent called `id`.
    pub fn named(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|i| i.id() == id)
    }
}
