//! Signal to integer codes, with triangular noise that is the same on every machine.

use crate::look::hash;

/// Triangular noise in −1…1 for a pixel, channel and frame. Twin: `dither_noise`.
pub fn noise(x: u32, y: u32, channel: u32, frame: u32) -> f32 {
    let pixel = hash(x ^ hash(y ^ hash(frame)));
    let drawn = hash(pixel.wrapping_add(channel));
    // The difference of two even draws of 16 bits.
    ((drawn >> 16) as f32 - (drawn & 0xffff) as f32) * (1.0 / 65_536.0)
}

/// Signal 0…1 to a code 0…`max`, rounded to the nearest after `noise` codes are added. A signal at or
/// beyond either end gets that end's code without noise. Twin: `quantise`.
pub fn quantise(signal: f32, max: f32, noise: f32) -> f32 {
    if signal <= 0.0 {
        0.0
    } else if signal >= 1.0 {
        max
    } else {
        (signal * max + 0.5 + noise).floor().max(0.0).min(max)
    }
}
