//! Pictures as bytes: made smaller in the display's light, JPEG while they move, PNG when they rest.

use std::time::Duration;

use rayon::prelude::*;

use crate::colour::Curve;
use crate::engine::sheet::spans;

/// JPEG's quality, with chroma at full resolution.
pub const QUALITY: u8 = 97;
/// A picture that rests this long is sent again, exactly.
pub const PNG_AFTER: Duration = Duration::from_millis(150);

/// A JPEG with 4:4:4 chroma of RGB codes, or `None` for a size that JPEG does not have.
pub fn jpeg(codes: &[u8], (width, height): (u32, u32)) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(codes.len() / 6);
    let mut encoder = jpeg_encoder::Encoder::new(&mut out, QUALITY);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_1_1);
    let (w, h) = (width.try_into().ok()?, height.try_into().ok()?);
    encoder.encode(codes, w, h, jpeg_encoder::ColorType::Rgb).ok()?;
    Some(out)
}

/// A PNG of RGB codes, without a word about colour: who gets it knows what the codes are for.
pub fn png(codes: &[u8], (width, height): (u32, u32)) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(codes.len());
    let mut encoder = png::Encoder::new(&mut out, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().ok()?;
    writer.write_image_data(codes).ok()?;
    writer.finish().ok()?;
    Some(out)
}

/// RGB codes of a display with `curve` made smaller: every pixel the mean of the display's light over the part of
/// the picture that it covers.
pub fn smaller(curve: &Curve, codes: &[u8], from: (u32, u32), to: (u32, u32)) -> Vec<u8> {
    if from == to {
        return codes.to_vec();
    }
    let curve = curve.values::<f32>();
    let light: Vec<f32> = (0..=255u8).map(|c| curve.decode_light([f32::from(c) / 255.0; 3])[0]).collect();
    // Codes by light: the table is fine enough that its steps are well under a code's, also near black.
    let last = 1 << 14;
    let by_root: Vec<u8> = (0..=last)
        .map(|i| {
            let root = i as f32 / last as f32;
            (curve.encode_light([root * root; 3])[0].clamp(0.0, 1.0) * 255.0).round() as u8
        })
        .collect();
    let (columns, rows) = (spans(from.0, to.0), spans(from.1, to.1));
    let narrow: Vec<f32> = codes
        .par_chunks(from.0 as usize * 3)
        .flat_map_iter(|row| {
            let light = &light;
            columns.iter().flat_map(move |span| {
                [0, 1, 2]
                    .map(|c| span.iter().map(|(i, w)| light[usize::from(row[i * 3 + c])] * w).sum::<f32>())
            })
        })
        .collect();
    let width = to.0 as usize * 3;
    rows.par_iter()
        .flat_map_iter(|span| {
            let (narrow, by_root) = (&narrow, &by_root);
            (0..width).map(move |x| {
                let light: f32 = span.iter().map(|(y, w)| narrow[y * width + x] * w).sum();
                by_root[((light.max(0.0).sqrt() * last as f32).round() as usize).min(last)]
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::display;

    fn picture((width, height): (u32, u32)) -> Vec<u8> {
        (0..width * height)
            .flat_map(|i| {
                let (x, y) = (i % width, i / width);
                [x * 255 / width, y * 255 / height, (x + y) * 255 / (width + height)].map(|v| v as u8)
            })
            .collect()
    }

    /// Both are read by other crates than those that wrote them.
    #[test]
    fn a_png_is_exact_and_a_jpeg_near() {
        let size = (160, 90);
        let codes = picture(size);
        let read = image::load_from_memory(&png(&codes, size).unwrap()).unwrap().into_rgb8();
        assert_eq!((read.dimensions(), read.as_raw()), (size, &codes));
        let bytes = jpeg(&codes, size).unwrap();
        assert_eq!(&bytes[..2], &[0xFF, 0xD8]);
        assert!(jpeg(&codes, (70_000, 1)).is_none());
    }

    #[test]
    fn a_smaller_picture_has_the_same_light() {
        let srgb = display("srgb").unwrap();
        // Grey stays; a checkerboard of black and white becomes half the light, whose sRGB code is 188 (IEC 61966-2-1: 187.5).
        let flat = smaller(&srgb.curve, &[77; 3 * 64], (8, 8), (3, 2));
        assert_eq!(flat, [77; 3 * 6]);
        let board: Vec<u8> =
            (0..64).flat_map(|i| [if (i % 8 + i / 8) % 2 == 0 { 0 } else { 255 }; 3]).collect();
        assert_eq!(smaller(&srgb.curve, &board, (8, 8), (2, 2)), [188; 12]);
        for code in 0..=255u8 {
            assert_eq!(smaller(&srgb.curve, &[code; 12], (2, 2), (1, 1)), [code; 3], "{code}");
        }
    }
}
