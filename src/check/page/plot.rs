//! Plots as SVG, and small pictures as PNG in a data address.

use std::fmt::Write;

use image::ImageEncoder;
use image::codecs::png::PngEncoder;

/// A rectangle with two axes.
pub(in crate::check) struct Plot {
    svg: String,
    x: [f64; 2],
    y: [f64; 2],
    size: [f64; 2],
}

/// Room for the labels of the axes.
const LEFT: f64 = 50.0;
const BOTTOM: f64 = 38.0;
const TOP: f64 = 10.0;
const RIGHT: f64 = 16.0;

impl Plot {
    /// For values from `x[0]` to `x[1]` across and `y[0]` to `y[1]` up, on a field of that size.
    pub fn new(size: [f64; 2], x: [f64; 2], y: [f64; 2]) -> Self {
        let (w, h) = (size[0] + LEFT + RIGHT, size[1] + TOP + BOTTOM);
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" role=\"img\">\
             <rect class=\"field\" x=\"{LEFT}\" y=\"{TOP}\" width=\"{}\" height=\"{}\"/>",
            size[0], size[1]
        );
        Self { svg, x, y, size }
    }

    fn across(&self, x: f64) -> f64 {
        LEFT + self.size[0] * (x - self.x[0]) / (self.x[1] - self.x[0])
    }

    fn up(&self, y: f64) -> f64 {
        // What is far outside is cut at the field, and must stay a number that a reader can hold.
        let share = ((y - self.y[0]) / (self.y[1] - self.y[0])).clamp(-10.0, 10.0);
        TOP + self.size[1] * (1.0 - share)
    }

    /// Lines and numbers at those values across and up, and what the axes count.
    pub fn axes(mut self, x: &[f64], x_name: &str, y: &[f64], y_name: &str) -> Self {
        let signed = |v: f64, range: [f64; 2]| {
            if range[0] <= -1.0 && v > 0.0 {
                format!("+{v}")
            } else {
                format!("{}", (v * 100.0).round() / 100.0).replace('-', "−")
            }
        };
        let (right, foot) = (LEFT + self.size[0], TOP + self.size[1]);
        for &v in x {
            let at = self.across(v);
            let class = if v == 0.0 && self.x[0] < 0.0 { "zero" } else { "grid" };
            let _ = write!(
                self.svg,
                "<path class=\"{class}\" d=\"M{at:.1} {TOP}V{foot}\"/>\
                 <text class=\"num\" x=\"{at:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
                foot + 14.0,
                signed(v, self.x)
            );
        }
        for &v in y {
            let at = self.up(v);
            let class = if v == 0.0 && self.y[0] < 0.0 { "zero" } else { "grid" };
            let _ = write!(
                self.svg,
                "<path class=\"{class}\" d=\"M{LEFT} {at:.1}H{right}\"/>\
                 <text class=\"num\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
                LEFT - 6.0,
                at + 3.5,
                signed(v, self.y)
            );
        }
        let _ = write!(
            self.svg,
            "<text class=\"axis\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{x_name}</text>\
             <text class=\"axis\" transform=\"translate(11 {:.1}) rotate(-90)\" text-anchor=\"middle\">{y_name}</text>",
            LEFT + self.size[0] / 2.0,
            foot + 32.0,
            TOP + self.size[1] / 2.0
        );
        self
    }

    /// A line through points. The class gives its colour; what leaves the field is cut there.
    pub fn line(mut self, class: &str, points: impl IntoIterator<Item = [f64; 2]>) -> Self {
        let mut d = String::new();
        let mut drawing = false;
        for [x, y] in points {
            if !(x.is_finite() && y.is_finite()) {
                drawing = false;
                continue;
            }
            let _ = write!(d, "{}{:.1} {:.1}", if drawing { "L" } else { "M" }, self.across(x), self.up(y));
            drawing = true;
        }
        self.inside(&format!("<path class=\"{class}\" d=\"{d}\"/>"));
        self
    }

    /// A rectangle from one corner's values to another's.
    pub fn area(mut self, class: &str, from: [f64; 2], to: [f64; 2]) -> Self {
        let (x, y) = (self.across(from[0].min(to[0])), self.up(from[1].max(to[1])));
        let (w, h) =
            ((self.across(to[0]) - self.across(from[0])).abs(), (self.up(to[1]) - self.up(from[1])).abs());
        self.inside(&format!(
            "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{y:.1}\" width=\"{w:.1}\" height=\"{h:.1}\"/>"
        ));
        self
    }

    /// A dot.
    pub fn dot(mut self, class: &str, [x, y]: [f64; 2], radius: f64) -> Self {
        let _ = write!(
            self.svg,
            "<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"{radius}\"/>",
            self.across(x),
            self.up(y)
        );
        self
    }

    /// Words beside a place.
    pub fn words(mut self, class: &str, [x, y]: [f64; 2], shift: [f64; 2], anchor: &str, text: &str) -> Self {
        let _ = write!(
            self.svg,
            "<text class=\"{class}\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\">{text}</text>",
            self.across(x) + shift[0],
            self.up(y) + shift[1]
        );
        self
    }

    /// Draws something that is cut at the field's edges: a picture of its own, with the same units.
    fn inside(&mut self, drawn: &str) {
        let [w, h] = self.size;
        let _ = write!(
            self.svg,
            "<svg x=\"{LEFT}\" y=\"{TOP}\" width=\"{w}\" height=\"{h}\" viewBox=\"{LEFT} {TOP} {w} {h}\">{drawn}</svg>"
        );
    }

    /// The picture.
    pub fn svg(self) -> String {
        self.svg + "</svg>"
    }
}

/// Pixels, row by row, as the address of a PNG.
pub(crate) fn png(width: usize, pixels: &[[u8; 3]]) -> String {
    let mut bytes = Vec::new();
    let height = (pixels.len() / width) as u32;
    let encoder = PngEncoder::new(&mut bytes);
    // Writing to memory cannot fail; pixels are as many as width × height by the callers' loops.
    let written =
        encoder.write_image(pixels.as_flattened(), width as u32, height, image::ExtendedColorType::Rgb8);
    debug_assert!(written.is_ok());
    format!("data:image/png;base64,{}", base64(&bytes))
}

/// RFC 4648.
pub(crate) fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let n = at(0) << 16 | at(1) << 8 | at(2);
        for i in 0..4 {
            let letter = LETTERS[(n >> (18 - 6 * i) & 63) as usize];
            out.push(if i <= three.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    /// RFC 4648, section 10.
    #[test]
    fn base64_of_the_rfc() {
        let cases = [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foobar", "Zm9vYmFy")];
        for (bytes, text) in cases {
            assert_eq!(super::base64(bytes.as_bytes()), text);
        }
    }
}
