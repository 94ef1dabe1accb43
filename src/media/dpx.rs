//! DPX, SMPTE ST 268-1: read and written here, RGB only.
//!
//! Offsets are bytes from the start of the file. A field that is all ones is undefined. Every number has
//! the byte order that the magic number shows.

use std::io::{self, Write};

use super::error::Problem;
use super::{Rate, timecode};
use crate::picture::MAX_SIDE;

/// "SDPX" read in the file's own byte order.
const MAGIC: u32 = 0x5344_5058;
/// Generic header (file, image, orientation) and industry header (film, television).
const HEADER: usize = 1664 + 384;
/// What an undefined number holds.
const UNDEFINED: u32 = u32::MAX;

// File information.
const IMAGE_OFFSET: usize = 4;
const VERSION: usize = 8;
const FILE_SIZE: usize = 16;
const DITTO: usize = 20;
const GENERIC_SIZE: usize = 24;
const INDUSTRY_SIZE: usize = 28;
const USER_SIZE: usize = 32;
const FILE_NAME: usize = 36;
const FILE_NAME_LEN: usize = 100;
const CREATOR: usize = 160;
const ENCRYPTION: usize = 660;
// Image information; the first of eight elements starts at 780.
const ORIENTATION: usize = 768;
const ELEMENTS: usize = 770;
const WIDTH: usize = 772;
const HEIGHT: usize = 776;
const SIGN: usize = 780;
const REFERENCE_LOW: usize = 784;
const REFERENCE_HIGH: usize = 792;
const DESCRIPTOR: usize = 800;
const TRANSFER: usize = 801;
const COLORIMETRIC: usize = 802;
const BITS: usize = 803;
const PACKING: usize = 804;
const ENCODING: usize = 806;
const ELEMENT_OFFSET: usize = 808;
const LINE_PADDING: usize = 812;
const IMAGE_PADDING: usize = 816;
const ELEMENT_LEN: usize = 72;
// Orientation header.
const ASPECT: usize = 1628;
// Film and television headers.
const FILM_RATE: usize = 1724;
const TIMECODE: usize = 1920;
const VIDEO_RATE: usize = 1940;

/// Descriptor: R, G, B in that order.
const RGB: u8 = 50;

const ACCEPTED: &str = "DPX with one element of RGB (descriptor 50), unsigned, left to right and top to \
                        bottom, not run-length encoded, of 8, 10 (filled, method A), 12 (filled, method A) \
                        or 16 bits";

/// What a DPX file's header says.
#[derive(Clone, Debug)]
pub(super) struct Header {
    pub width: u32,
    pub height: u32,
    /// 8, 10, 12 or 16.
    pub depth: u32,
    pub rate: Option<Rate>,
    /// As written, and whether it drops labels.
    pub timecode: Option<(String, bool)>,
    /// Width to height of a pixel.
    pub pixel_aspect: (u32, u32),
    big_endian: bool,
    offset: usize,
    line_padding: usize,
}

/// Numbers out of a header in its byte order.
struct Fields<'a> {
    bytes: &'a [u8],
    big_endian: bool,
}

impl Fields<'_> {
    fn u8(&self, at: usize) -> u8 {
        self.bytes[at]
    }

    fn u16(&self, at: usize) -> u16 {
        let b = [self.bytes[at], self.bytes[at + 1]];
        if self.big_endian { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) }
    }

    fn u32(&self, at: usize) -> u32 {
        let b = [self.bytes[at], self.bytes[at + 1], self.bytes[at + 2], self.bytes[at + 3]];
        if self.big_endian { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) }
    }

    fn defined(&self, at: usize) -> Option<u32> {
        Some(self.u32(at)).filter(|v| *v != UNDEFINED)
    }

    fn rate(&self, at: usize) -> Option<Rate> {
        Rate::from_decimal(f32::from_bits(self.u32(at)).into())
    }
}

/// Is this the beginning of a DPX file, in either byte order?
pub(super) fn is_dpx(start: &[u8]) -> bool {
    start.starts_with(b"SDPX") || start.starts_with(b"XPDS")
}

/// Reads the header from a file's first bytes ([`HEADER`] of them, if it has so many).
pub(super) fn header(bytes: &[u8]) -> Result<Header, Problem> {
    let refuse = |what: String| Err(Problem::new(what, ACCEPTED));
    if !is_dpx(bytes) {
        return refuse("it does not begin like a DPX file".into());
    }
    // Old files may have no industry header: the generic one must be there.
    if bytes.len() < 1664 {
        return refuse(format!("the header ends after {} of 1664 bytes", bytes.len()));
    }
    let f = Fields { bytes, big_endian: bytes.starts_with(b"SDPX") };
    debug_assert_eq!(f.u32(0), MAGIC);

    let (width, height) = (f.u32(WIDTH), f.u32(HEIGHT));
    if !(1..=MAX_SIDE).contains(&width) || !(1..=MAX_SIDE).contains(&height) {
        return Err(Problem::new(
            format!("it says {width}×{height} pixels"),
            format!("sides from 1 to {MAX_SIDE}"),
        ));
    }
    if !matches!(f.u16(ORIENTATION), 0 | 0xFFFF) {
        return refuse(format!("orientation {}", f.u16(ORIENTATION)));
    }
    if f.u16(ELEMENTS) != 1 {
        return refuse(format!("{} image elements", f.u16(ELEMENTS)));
    }
    if f.u8(DESCRIPTOR) != RGB {
        return refuse(format!("image descriptor {}", f.u8(DESCRIPTOR)));
    }
    if !matches!(f.u32(SIGN), 0 | UNDEFINED) {
        return refuse("signed samples".into());
    }
    if !matches!(f.u16(ENCODING), 0 | 0xFFFF) {
        return refuse(format!("encoding {}", f.u16(ENCODING)));
    }
    let (depth, packing) = (u32::from(f.u8(BITS)), f.u16(PACKING));
    match (depth, packing) {
        (10 | 12, 1) | (8 | 16, _) => {}
        _ => return refuse(format!("{depth} bits with packing {packing}")),
    }
    let offset = f.defined(ELEMENT_OFFSET).filter(|o| *o != 0).unwrap_or(f.u32(IMAGE_OFFSET));
    if offset < 1664 {
        return refuse(format!("image data at byte {offset}, inside the header"));
    }
    let industry = bytes.len() >= HEADER && offset as usize >= HEADER;
    Ok(Header {
        width,
        height,
        depth,
        rate: if industry { f.rate(VIDEO_RATE).or(f.rate(FILM_RATE)) } else { None },
        timecode: if industry { f.defined(TIMECODE).and_then(timecode::from_bcd) } else { None },
        pixel_aspect: match (f.defined(ASPECT), f.defined(ASPECT + 4)) {
            (Some(x @ 1..=100_000), Some(y @ 1..=100_000)) => (x, y),
            _ => (1, 1),
        },
        big_endian: f.big_endian,
        offset: offset as usize,
        line_padding: f.defined(LINE_PADDING).unwrap_or(0) as usize,
    })
}

impl Header {
    /// Bytes a stored sample takes in a plane.
    pub fn sample_bytes(&self) -> usize {
        if self.depth == 8 { 1 } else { 2 }
    }

    /// Unpacks a whole file into R, G and B planes of [`Header::sample_bytes`] a sample, little-endian.
    pub fn unpack(&self, file: &[u8], planes: &mut [&mut [u8]; 3]) -> Result<(), Problem> {
        let width = self.width as usize;
        let row_bytes = match self.depth {
            8 => width * 3,
            10 => width * 4,
            _ => width * 6,
        };
        let height = self.height as usize;
        let data = file.get(self.offset..).unwrap_or_default();
        // Lines end on a 32-bit boundary (ST 268-1); some writers do not fill them up.
        let filled = row_bytes.next_multiple_of(4).saturating_add(self.line_padding);
        let needed = |stride: usize| stride.saturating_mul(height - 1).saturating_add(row_bytes);
        let stride = match data.len() {
            have if have >= needed(filled) => filled,
            have if self.line_padding == 0 && have >= needed(row_bytes) && row_bytes != filled => row_bytes,
            have => {
                return Err(Problem::new(
                    format!("the image data ends after {have} of {} bytes", needed(filled)),
                    "a complete file",
                ));
            }
        };
        let plane_row = width * self.sample_bytes();
        for y in 0..height {
            let row = &data[y * stride..][..row_bytes];
            let [r, g, b] = planes.each_mut().map(|p| &mut p[y * plane_row..][..plane_row]);
            match self.depth {
                8 => {
                    for (x, pixel) in row.chunks_exact(3).enumerate() {
                        (r[x], g[x], b[x]) = (pixel[0], pixel[1], pixel[2]);
                    }
                }
                10 => unpack_10(row, self.big_endian, r, g, b),
                depth => unpack_16(row, self.big_endian, 16 - depth, r, g, b),
            }
        }
        Ok(())
    }
}

/// Three ten-bit samples in a 32-bit word, the two lowest bits unused (filled, method A).
fn unpack_10(row: &[u8], big_endian: bool, r: &mut [u8], g: &mut [u8], b: &mut [u8]) {
    let planes = r.chunks_exact_mut(2).zip(g.chunks_exact_mut(2)).zip(b.chunks_exact_mut(2));
    for (word, ((r, g), b)) in row.chunks_exact(4).zip(planes) {
        let word = [word[0], word[1], word[2], word[3]];
        let v = if big_endian { u32::from_be_bytes(word) } else { u32::from_le_bytes(word) };
        r.copy_from_slice(&((v >> 22) as u16).to_le_bytes());
        g.copy_from_slice(&((v >> 12 & 1023) as u16).to_le_bytes());
        b.copy_from_slice(&((v >> 2 & 1023) as u16).to_le_bytes());
    }
}

/// A sample in each 16-bit word, in its high bits (filled, method A).
fn unpack_16(row: &[u8], big_endian: bool, shift: u32, r: &mut [u8], g: &mut [u8], b: &mut [u8]) {
    let planes = r.chunks_exact_mut(2).zip(g.chunks_exact_mut(2)).zip(b.chunks_exact_mut(2));
    for (pixel, ((r, g), b)) in row.chunks_exact(6).zip(planes) {
        let sample = |i: usize| {
            let word = [pixel[i], pixel[i + 1]];
            let v = if big_endian { u16::from_be_bytes(word) } else { u16::from_le_bytes(word) };
            (v >> shift).to_le_bytes()
        };
        r.copy_from_slice(&sample(0));
        g.copy_from_slice(&sample(2));
        b.copy_from_slice(&sample(4));
    }
}

/// Writes ten-bit RGB, filled by method A, big-endian, full-range codes 0…1023.
///
/// `pixels` are `width × height` and within ten bits: the caller has checked.
pub(super) fn write(
    out: &mut impl Write,
    name: &str,
    width: u32,
    height: u32,
    pixels: &[[u16; 3]],
) -> io::Result<()> {
    let mut h = vec![0xFF; HEADER];
    let mut put = |at: usize, bytes: &[u8]| h[at..at + bytes.len()].copy_from_slice(bytes);
    let text = |text: &str, len: usize| {
        // One byte is kept for the terminating zero.
        let mut field: Vec<u8> = text.bytes().take(len - 1).collect();
        field.resize(len, 0);
        field
    };
    let image_bytes = pixels.len() * 4;
    put(0, &MAGIC.to_be_bytes());
    put(IMAGE_OFFSET, &(HEADER as u32).to_be_bytes());
    put(VERSION, b"V2.0\0\0\0\0");
    put(FILE_SIZE, &u32::try_from(HEADER + image_bytes).unwrap_or(UNDEFINED).to_be_bytes());
    // 1: header fields are new in this frame.
    put(DITTO, &1u32.to_be_bytes());
    put(GENERIC_SIZE, &1664u32.to_be_bytes());
    put(INDUSTRY_SIZE, &384u32.to_be_bytes());
    put(USER_SIZE, &0u32.to_be_bytes());
    // Text from the file name to the copyright, then the key; reserved bytes are zero.
    put(FILE_NAME, &[0; 660 - FILE_NAME]);
    put(FILE_NAME, &text(name, FILE_NAME_LEN));
    put(CREATOR, &text("greyhold", 100));
    put(ENCRYPTION, &UNDEFINED.to_be_bytes());
    put(ENCRYPTION + 4, &[0; 104]);

    put(ORIENTATION, &0u16.to_be_bytes());
    put(ELEMENTS, &1u16.to_be_bytes());
    put(WIDTH, &width.to_be_bytes());
    put(HEIGHT, &height.to_be_bytes());
    put(SIGN, &0u32.to_be_bytes());
    put(REFERENCE_LOW, &0u32.to_be_bytes());
    put(REFERENCE_HIGH, &1023u32.to_be_bytes());
    put(DESCRIPTOR, &[RGB]);
    // 0: user defined. What the codes encode is the document's business.
    put(TRANSFER, &[0]);
    put(COLORIMETRIC, &[0]);
    put(BITS, &[10]);
    put(PACKING, &1u16.to_be_bytes());
    put(ENCODING, &0u16.to_be_bytes());
    put(ELEMENT_OFFSET, &(HEADER as u32).to_be_bytes());
    put(LINE_PADDING, &0u32.to_be_bytes());
    put(IMAGE_PADDING, &0u32.to_be_bytes());
    put(IMAGE_PADDING + 4, &[0; 32]);
    put(SIGN + 8 * ELEMENT_LEN, &[0; 52]);
    put(ASPECT, &[0, 0, 0, 1, 0, 0, 0, 1]);
    out.write_all(&h)?;

    let mut row = Vec::with_capacity(width as usize * 4);
    for line in pixels.chunks_exact(width as usize) {
        row.clear();
        for [r, g, b] in line {
            let word = u32::from(*r) << 22 | u32::from(*g) << 12 | u32::from(*b) << 2;
            row.extend(word.to_be_bytes());
        }
        out.write_all(&row)?;
    }
    Ok(())
}
