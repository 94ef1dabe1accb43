//! What a window's surface is: chosen from what the window system offers, by the display that its output is for.

use wgpu::{SurfaceColorSpace, SurfaceFormatCapabilities, TextureFormat};

use crate::colour::{BT2020, Curve, Display, display};

/// What lies in a window besides the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Beside {
    /// Nothing: the whole window may hold a signal of high dynamic range.
    Nothing,
    /// The interface, whose greys are those of standard range.
    Interface,
}

/// A surface's format, and what the window system is told that its values mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    pub format: TextureFormat,
    pub space: SurfaceColorSpace,
}

impl Choice {
    /// The formats that hold a display's signal as it is, best first. Those that convert what is written (`…Srgb`) do
    /// not.
    pub const FORMATS: [TextureFormat; 3] =
        [TextureFormat::Rgb10a2Unorm, TextureFormat::Bgra8Unorm, TextureFormat::Rgba8Unorm];

    /// The best of what is offered for a display's signal; nothing if no format holds it.
    ///
    /// A signal goes into a surface whose colour space is the signal's own; otherwise it goes as it is into one that is
    /// taken for sRGB, as the signal of a display that is calibrated to it does, and [`Choice::truth`] says so.
    /// What a space counts in the compositor's own white (extended sRGB) is not used: how many cd/m² that is, few
    /// systems tell.
    pub fn best(display: &Display, beside: Beside, offers: &[SurfaceFormatCapabilities]) -> Option<Self> {
        Self::first(own_space(display).filter(|s| beside == Beside::Nothing || !s.is_hdr()), offers)
    }

    /// The best of what is offered for a signal that is calibrated for its monitor: nobody is to convert it.
    pub fn untouched(offers: &[SurfaceFormatCapabilities]) -> Option<Self> {
        Self::first(None, offers)
    }

    fn first(own: Option<SurfaceColorSpace>, offers: &[SurfaceFormatCapabilities]) -> Option<Self> {
        let spaces = own.into_iter().chain([SurfaceColorSpace::Srgb]);
        let all = spaces.flat_map(|space| Self::FORMATS.map(|format| Self { format, space }));
        // Eight bits of PQ or HLG would show as bands.
        let mut fitting = all.filter(|c| !c.space.is_hdr() || c.bits() >= 10);
        fitting.find(|c| c.is_among(offers))
    }

    fn is_among(&self, offers: &[SurfaceFormatCapabilities]) -> bool {
        let space = self.space.to_color_spaces();
        offers.iter().any(|o| o.format == self.format && space.is_some_and(|s| o.color_spaces.contains(s)))
    }

    /// Bits of a channel.
    pub fn bits(&self) -> u32 {
        if self.format == TextureFormat::Rgb10a2Unorm { 10 } else { 8 }
    }

    /// What is true of a window that shows a display's signal in this surface.
    pub fn truth(&self, display: &Display) -> String {
        let managed = match self.space {
            SurfaceColorSpace::DisplayP3 => "shown as Display P3",
            SurfaceColorSpace::Bt2100Pq => "shown as BT.2100 PQ",
            SurfaceColorSpace::Bt2100Hlg => "shown as BT.2100 HLG",
            _ if own_space(display).is_some_and(|s| s.is_hdr()) => "not colour-managed, not HDR",
            _ => "not colour-managed",
        };
        format!("{} bit, {managed}", self.bits())
    }
}

/// The colour space whose values are a display's signal, where window systems have one that is not sRGB.
fn own_space(of: &Display) -> Option<SurfaceColorSpace> {
    let p3 = display("display-p3");
    match of.curve {
        Curve::Pq { .. } if of.primaries == BT2020 => Some(SurfaceColorSpace::Bt2100Pq),
        Curve::Hlg { .. } if of.primaries == BT2020 => Some(SurfaceColorSpace::Bt2100Hlg),
        curve if p3.is_some_and(|p| p.curve == curve && p.primaries == of.primaries) => {
            Some(SurfaceColorSpace::DisplayP3)
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use TextureFormat::{Bgra8Unorm, Bgra8UnormSrgb, Rgb10a2Unorm, Rgba8Unorm, Rgba16Float};
    use wgpu::SurfaceColorSpaces as Spaces;

    use super::*;
    use crate::colour::DISPLAYS;

    fn offers(list: &[(TextureFormat, Spaces)]) -> Vec<SurfaceFormatCapabilities> {
        list.iter()
            .map(|&(format, color_spaces)| SurfaceFormatCapabilities { format, color_spaces })
            .collect()
    }

    fn best(id: &str, beside: Beside, list: &[(TextureFormat, Spaces)]) -> Option<(TextureFormat, String)> {
        let display = display(id).unwrap();
        let offers = offers(list);
        let choice = Choice::best(display, beside, &offers)?;
        assert!(choice.is_among(&offers));
        Some((choice.format, choice.truth(display)))
    }

    /// A screen of eight bits, as Xvfb and most are; the same with the formats that convert first.
    const EIGHT: &[(TextureFormat, Spaces)] = &[(Bgra8UnormSrgb, Spaces::SRGB), (Bgra8Unorm, Spaces::SRGB)];
    const TEN: &[(TextureFormat, Spaces)] = &[(Bgra8Unorm, Spaces::SRGB), (Rgb10a2Unorm, Spaces::SRGB)];
    /// High dynamic range as Vulkan drivers list it.
    const HIGH: &[(TextureFormat, Spaces)] = &[
        (Bgra8UnormSrgb, Spaces::SRGB),
        (Bgra8Unorm, Spaces::SRGB.union(Spaces::DISPLAY_P3)),
        (Rgb10a2Unorm, Spaces::SRGB.union(Spaces::BT2100_PQ).union(Spaces::BT2100_HLG)),
        (Rgba16Float, Spaces::EXTENDED_SRGB_LINEAR.union(Spaces::BT2100_PQ)),
    ];

    #[test]
    fn eight_bits_where_there_are_no_more() {
        for beside in [Beside::Nothing, Beside::Interface] {
            for d in DISPLAYS {
                let (format, truth) = best(&d.id, beside, EIGHT).unwrap();
                assert_eq!(format, Bgra8Unorm);
                let high = d.id.starts_with("rec2100");
                let said =
                    if high { "8 bit, not colour-managed, not HDR" } else { "8 bit, not colour-managed" };
                assert_eq!(truth, said, "{}", d.id);
            }
        }
        assert_eq!(best("rec709", Beside::Nothing, &[(Rgba8Unorm, Spaces::SRGB)]).unwrap().0, Rgba8Unorm);
    }

    #[test]
    fn ten_bits_where_they_are_offered() {
        for beside in [Beside::Nothing, Beside::Interface] {
            let (format, truth) = best("rec709", beside, TEN).unwrap();
            assert_eq!((format, truth.as_str()), (Rgb10a2Unorm, "10 bit, not colour-managed"));
        }
    }

    #[test]
    fn high_range_has_its_own_surface_where_nothing_is_beside_it() {
        for (id, said) in [
            ("rec2100-pq-1000", "10 bit, shown as BT.2100 PQ"),
            ("rec2100-hlg-1000", "10 bit, shown as BT.2100 HLG"),
        ] {
            let (format, truth) = best(id, Beside::Nothing, HIGH).unwrap();
            assert_eq!((format, truth.as_str()), (Rgb10a2Unorm, said));
            let (format, truth) = best(id, Beside::Interface, HIGH).unwrap();
            assert_eq!((format, truth.as_str()), (Rgb10a2Unorm, "10 bit, not colour-managed, not HDR"));
        }
        // Standard range never goes into a space of high range.
        for id in ["rec709", "srgb", "p3-d65", "rec2020"] {
            assert_eq!(best(id, Beside::Nothing, HIGH).unwrap().1, "10 bit, not colour-managed", "{id}");
        }
    }

    #[test]
    fn eight_bits_are_not_enough_for_high_range() {
        let all = Spaces::SRGB.union(Spaces::BT2100_PQ);
        let (format, truth) = best("rec2100-pq-1000", Beside::Nothing, &[(Bgra8Unorm, all)]).unwrap();
        assert_eq!((format, truth.as_str()), (Bgra8Unorm, "8 bit, not colour-managed, not HDR"));
    }

    #[test]
    fn a_signal_goes_into_its_own_space_sooner_than_into_more_bits() {
        for beside in [Beside::Nothing, Beside::Interface] {
            let (format, truth) = best("display-p3", beside, HIGH).unwrap();
            assert_eq!((format, truth.as_str()), (Bgra8Unorm, "8 bit, shown as Display P3"));
        }
    }

    #[test]
    fn nothing_is_chosen_where_nothing_holds_the_signal() {
        assert_eq!(best("rec709", Beside::Nothing, &[]), None);
        let converting = [(Bgra8UnormSrgb, Spaces::SRGB), (Rgba16Float, Spaces::EXTENDED_SRGB_LINEAR)];
        assert_eq!(best("rec709", Beside::Nothing, &converting), None);
        // A space that only high range is in takes no standard range.
        assert_eq!(best("rec709", Beside::Nothing, &[(Rgb10a2Unorm, Spaces::BT2100_PQ)]), None);
    }

    /// What is calibrated for its monitor is handed on as it is; PQ in other primaries is no BT.2100.
    #[test]
    fn nobody_converts_what_is_not_the_spaces_own() {
        let choice = Choice::untouched(&offers(HIGH)).unwrap();
        let high = display("rec2100-pq-1000").unwrap();
        assert_eq!(choice.format, Rgb10a2Unorm);
        assert_eq!(choice.truth(high), "10 bit, not colour-managed, not HDR");
        let mut p3 = high.clone();
        p3.primaries = crate::colour::P3_D65;
        let choice = Choice::best(&p3, Beside::Nothing, &offers(HIGH)).unwrap();
        assert_eq!(choice.truth(&p3), "10 bit, not colour-managed");
    }
}
