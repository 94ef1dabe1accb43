//! Frames in from files, frames out to files.
//!
//! Video files are made by the `ffmpeg` program with its test pattern, and what the library decodes is
//! compared, byte for byte, with what that program decodes to raw video without conversion. Sample values
//! therefore have an independent reader; DPX both ways.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use greyhold::colour::{BT709, Range};
use greyhold::media::timecode::Counting;
use greyhold::media::{Image, ImageFormat, Interpretation, MediaError, Rate, Source, open, write_image};
use greyhold::picture::{Format, Frame, Model, Sample};

/// As the file says.
const ASIS: Interpretation =
    Interpretation { range: None, matrix: None, siting: None, rate: None, laid_on: None };

/// Runs `ffmpeg` with a space-separated line and gives its standard output.
fn ffmpeg(line: &str, file: &Path) -> Vec<u8> {
    let args = line.split(' ').map(|a| if a == "FILE" { file.to_str().unwrap() } else { a });
    let output = Command::new("ffmpeg")
        .args(["-v", "error", "-nostdin", "-y"])
        .args(args)
        .stdin(Stdio::null())
        .output()
        .expect("these tests need the `ffmpeg` program (Debian: apt-get install ffmpeg)");
    assert!(output.status.success(), "ffmpeg {line}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// A moving test pattern.
fn pattern(size: &str, frames: u32, rest: &str) -> String {
    format!("-f lavfi -i testsrc2=size={size}:rate=24 -frames:v {frames} {rest} FILE")
}

fn message<T>(result: Result<T, MediaError>) -> String {
    match result {
        Ok(_) => panic!("this should have been an error"),
        Err(e) => e.to_string(),
    }
}

/// A frame's planes, in order, one after the other.
fn bytes(frame: &Frame) -> Vec<u8> {
    frame.planes.iter().flat_map(|p| p.data.iter().copied()).collect()
}

/// The same of what FFmpeg writes for planar GBR.
fn rgb_of_gbr(gbr: &[u8]) -> Vec<u8> {
    let n = gbr.len() / 3;
    [&gbr[2 * n..], &gbr[..n], &gbr[n..2 * n]].concat()
}

/// The same of interleaved pixels of `channels` samples of `size` bytes.
fn planes_of_packed(packed: &[u8], channels: usize, size: usize) -> Vec<u8> {
    let plane =
        |c: usize| packed.chunks_exact(channels * size).flat_map(move |p| p[c * size..][..size].to_vec());
    (0..3).flat_map(plane).collect()
}

/// A small generator: tests draw the same numbers every time. (Knuth's MMIX constants.)
struct Draw(u64);

impl Draw {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// Pixels that are different everywhere and reach both ends of a depth.
fn codes(width: u32, height: u32, depth: u32) -> Vec<[u16; 3]> {
    let mut draw = Draw(7);
    let top = (1u64 << depth) - 1;
    let mut pixels: Vec<[u16; 3]> =
        (0..width * height).map(|_| std::array::from_fn(|_| draw.below(top + 1) as u16)).collect();
    pixels[0] = [0, top as u16, 0];
    pixels[1] = [top as u16, 0, top as u16];
    pixels
}

fn pixels_16(frame: &Frame) -> Vec<[u16; 3]> {
    let n = (frame.width * frame.height) as usize;
    let at = |c: usize, i: usize| match frame.format.sample {
        Sample::U8 => u16::from(frame.planes[c].data[i]),
        _ => u16::from_le_bytes([frame.planes[c].data[2 * i], frame.planes[c].data[2 * i + 1]]),
    };
    (0..n).map(|i| [at(0, i), at(1, i), at(2, i)]).collect()
}

#[test]
fn sources_can_move_to_a_thread() {
    fn moves<T: Send>() {}
    moves::<Box<dyn Source>>();
    moves::<MediaError>();
}

#[cfg(feature = "video")]
mod video {
    use super::*;
    use greyhold::colour::YcbcrMatrix;
    use greyhold::picture::{Chroma, Siting};

    enum Order {
        AsIs,
        Gbr,
        Packed(usize),
    }

    /// What the program decodes, unconverted: FFmpeg's own planes one after the other.
    fn raw(file: &Path) -> Vec<u8> {
        ffmpeg("-i FILE -map 0:v:0 -vsync passthrough -f rawvideo -", file)
    }

    /// Makes a file, reads all of it in order and then `seeks` frames out of order, and compares every one
    /// with what the program decodes. Gives the opened source.
    fn compare(name: &str, make: &str, frames: u64, order: Order, seeks: u64) -> Box<dyn Source> {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(name);
        ffmpeg(make, &file);
        compare_file(&file, frames, order, seeks)
    }

    fn compare_file(file: &Path, frames: u64, order: Order, seeks: u64) -> Box<dyn Source> {
        let mut source = open(file, &ASIS).unwrap_or_else(|e| panic!("{e}"));
        let all = raw(file);
        let info = source.info().clone();
        assert_eq!(info.frames, frames, "{}", file.display());
        assert_eq!(all.len() as u64 % frames, 0, "{}: the program decodes another number", file.display());
        let size = all.len() / frames as usize;
        let wanted = |n: u64| {
            let raw = &all[n as usize * size..][..size];
            match order {
                Order::AsIs => raw.to_vec(),
                Order::Gbr => rgb_of_gbr(raw),
                Order::Packed(channels) => planes_of_packed(raw, channels, info.format.sample.bytes()),
            }
        };
        let mut check = |n: u64, how: &str| {
            let frame = source.frame(n).unwrap_or_else(|e| panic!("{how}: {e}"));
            assert_eq!((frame.width, frame.height, frame.format), (info.width, info.height, info.format));
            let (found, wanted) = (bytes(&frame), wanted(n));
            // FFmpeg may append an alpha plane, which is left out here.
            let alpha = if info.description.contains("alpha") { found.len() / 3 } else { 0 };
            let planar_alpha = if matches!(order, Order::Packed(_)) { 0 } else { alpha };
            assert_eq!(wanted.len(), found.len() + planar_alpha, "{how}: frame {n}");
            assert!(wanted[..found.len()] == found[..], "{}: {how}: frame {n} differs", file.display());
        };
        (0..frames).for_each(|n| check(n, "in order"));
        let mut draw = Draw(seeks);
        (0..seeks).for_each(|_| check(draw.below(frames), "after a seek"));
        (0..frames.min(5)).for_each(|n| check(frames - 1 - n, "backwards"));
        (0..frames.min(3)).for_each(|n| check(n, "from the start again"));
        source
    }

    #[test]
    fn hevc_of_long_groups() {
        let x265 = "-c:v libx265 -pix_fmt yuv422p10le -x265-params log-level=none:keyint=48:bframes=4";
        let source = compare("clip.mp4", &pattern("256x144", 72, x265), 72, Order::AsIs, 60);
        let info = source.info();
        assert_eq!(info.description, "HEVC 4:2:2 10 bit, narrow, BT.601 (untagged: assumed)");
        assert_eq!((info.rate, info.first_number, info.missing), (Rate::FPS_24, 0, 0));
        assert_eq!(info.format.chroma, Chroma::C422);
        assert_eq!(info.name, "clip.mp4");
    }

    #[test]
    fn h264_of_long_groups_with_b_frames() {
        // Closed and open groups, in containers with and without an index.
        let x264 = "-c:v libx264 -pix_fmt yuv420p -g 50 -bf 3 -sc_threshold 0 -preset veryfast";
        compare("clip.mp4", &pattern("320x180", 150, x264), 150, Order::AsIs, 60);
        compare("clip.mkv", &pattern("320x180", 150, x264), 150, Order::AsIs, 60);
        let open_groups = format!("{x264} -x264-params open-gop=1:bframes=3:b-pyramid=normal");
        compare("clip.mov", &pattern("320x180", 150, &open_groups), 150, Order::AsIs, 60);
        compare("clip.ts", &pattern("320x180", 150, &open_groups), 150, Order::AsIs, 60);
        // A bare stream has no time stamps: counted from the start.
        let source = compare("clip.h264", &pattern("160x90", 40, x264), 40, Order::AsIs, 10);
        assert!(source.info().description.starts_with("H.264 4:2:0 8 bit"), "{}", source.info().description);
    }

    #[test]
    fn h264_of_key_frames_only() {
        let x264 = "-c:v libx264 -pix_fmt yuv422p10le -g 1 -preset ultrafast";
        compare("clip.mov", &pattern("160x90", 60, x264), 60, Order::AsIs, 30);
        compare("clip.mkv", &pattern("160x90", 60, x264), 60, Order::AsIs, 30);
    }

    #[test]
    fn intra_refresh_without_key_frames() {
        let x264 = "-c:v libx264 -pix_fmt yuv420p -g 20 -bf 0 -x264-params intra-refresh=1";
        compare("clip.mp4", &pattern("160x90", 60, x264), 60, Order::AsIs, 20);
    }

    #[test]
    fn prores_and_dnxhr() {
        let hq =
            compare("hq.mov", &pattern("256x144", 30, "-c:v prores_ks -profile:v 3"), 30, Order::AsIs, 60);
        assert!(hq.info().description.starts_with("ProRes HQ 4:2:2 10 bit"), "{}", hq.info().description);
        let make = pattern("256x144", 20, "-c:v prores_ks -profile:v 4 -pix_fmt yuva444p10le -alpha_bits 16");
        let full = compare("4444.mov", &make, 20, Order::AsIs, 20);
        assert!(full.info().description.starts_with("ProRes 4444 4:4:4"), "{}", full.info().description);
        assert!(full.info().description.contains("alpha ignored"), "{}", full.info().description);
        let make = pattern("256x144", 30, "-c:v dnxhd -profile:v dnxhr_hqx -pix_fmt yuv422p10le");
        for name in ["hqx.mov", "hqx.mxf"] {
            let hqx = compare(name, &make, 30, Order::AsIs, 60);
            assert!(
                hqx.info().description.starts_with("DNxHR HQX 4:2:2 10 bit"),
                "{}",
                hqx.info().description
            );
        }
    }

    #[test]
    fn pixel_formats() {
        // Odd sizes round chroma up; line padding must not show.
        for format in [
            "yuv420p",
            "yuv422p",
            "yuv444p",
            "yuv420p10le",
            "yuv422p10le",
            "yuv444p10le",
            "yuv420p12le",
            "yuv422p12le",
            "yuv444p12le",
            "gbrp10le",
            "gbrp12le",
        ] {
            let order = if format.starts_with("gbr") { Order::Gbr } else { Order::AsIs };
            let make = pattern("127x71", 3, &format!("-c:v ffv1 -pix_fmt {format}"));
            let source = compare("clip.mkv", &make, 3, order, 4);
            let format = source.info().format;
            assert_eq!(format.sample, if format.depth == 8 { Sample::U8 } else { Sample::U16 });
        }
        for (name, rest, order) in [
            ("clip.nut", "-c:v rawvideo -pix_fmt gbrp", Order::Gbr),
            ("clip.mov", "-c:v png -pix_fmt rgb24", Order::Packed(3)),
            ("clip.mov", "-c:v png -pix_fmt rgba", Order::Packed(4)),
            ("clip.nut", "-c:v rawvideo -pix_fmt rgb48le", Order::Packed(3)),
            ("clip.nut", "-c:v rawvideo -pix_fmt rgba64le", Order::Packed(4)),
            ("clip.avi", "-c:v mjpeg -pix_fmt yuvj422p -q:v 2", Order::AsIs),
        ] {
            let source = compare(name, &pattern("127x71", 3, rest), 3, order, 4);
            assert_eq!(source.info().format.range, Range::Full, "{}", source.info().description);
        }
    }

    #[test]
    fn other_pixel_formats_are_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("clip.mov");
        ffmpeg(&pattern("64x64", 1, "-c:v png -pix_fmt rgb48be"), &file);
        let said = message(open(&file, &ASIS));
        assert!(
            said.contains("clip.mov") && said.contains("rgb48be") && said.contains("yuv422p10le"),
            "{said}"
        );
    }

    #[test]
    fn tags_assumptions_and_overrides() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("clip.mov");
        let x264 = "-c:v libx264 -preset ultrafast -pix_fmt yuv420p";
        // Tagged.
        let tags = "-color_range pc -colorspace bt2020nc -chroma_sample_location topleft";
        ffmpeg(&pattern("64x64", 2, &format!("{x264} {tags}")), &file);
        let format = open(&file, &ASIS).unwrap().info().format;
        assert_eq!((format.range, format.siting), (Range::Full, Siting::TopLeft));
        assert_eq!(format.model, Model::Ycbcr(YcbcrMatrix::Bt2020));
        // Overridden.
        let as_ = Interpretation {
            range: Some(Range::Narrow),
            matrix: Some(YcbcrMatrix::Bt601),
            siting: Some(Siting::Centre),
            rate: Rate::new(25, 1),
            laid_on: None,
        };
        let source = open(&file, &as_).unwrap();
        let info = source.info();
        assert_eq!((info.format.range, info.format.siting), (Range::Narrow, Siting::Centre));
        assert_eq!(info.format.model, Model::Ycbcr(YcbcrMatrix::Bt601));
        assert_eq!(info.rate.to_string(), "25");
        assert!(info.description.contains("set by hand"), "{}", info.description);
        // Untagged, and high enough for BT.709.
        ffmpeg(&pattern("64x720", 2, x264), &file);
        let source = open(&file, &ASIS).unwrap();
        assert_eq!(source.info().description, "H.264 4:2:0 8 bit, narrow, BT.709 (untagged: assumed)");
        assert_eq!(source.info().format.siting, Siting::Left);
        // A matrix that is not ours.
        ffmpeg(&pattern("64x64", 2, &format!("{x264} -colorspace ycgco")), &file);
        let said = message(open(&file, &ASIS));
        assert!(said.contains("YCGCO") && said.contains("BT.709"), "{said}");
    }

    #[test]
    fn rates_timecode_and_uneven_times() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("clip.mov");
        let line = |rate: &str, rest: &str| {
            format!("-f lavfi -i testsrc2=size=128x128:rate={rate} -frames:v 12 -c:v prores_ks {rest} FILE")
        };
        ffmpeg(&line("24000/1001", "-timecode 01:00:00:00"), &file);
        let info = open(&file, &ASIS).unwrap().info().clone();
        assert_eq!((info.rate.num(), info.rate.den(), info.frames), (24000, 1001, 12));
        assert_eq!((info.timecode_start, info.drop_frame), (Some(86400), false));
        ffmpeg(&line("30000/1001", "-timecode 01:00:00;00"), &file);
        let info = open(&file, &ASIS).unwrap().info().clone();
        assert_eq!((info.timecode_start, info.drop_frame), (Some(107_892), true));
        // Frames 2, 3 and 6 taken out: numbered by what is there.
        let file = folder.path().join("uneven.mp4");
        let filter = "-vf select='not(eq(n\\,2)+eq(n\\,3)+eq(n\\,6))' -vsync vfr";
        let filter = format!("{filter} -c:v libx264 -bf 2 -pix_fmt yuv420p");
        ffmpeg(&pattern("64x64", 9, &filter), &file);
        let source = compare_file(&file, 9, Order::AsIs, 20);
        assert!(source.info().description.contains("uneven"), "{}", source.info().description);
        // Cut without encoding anew: the container says which frames are not shown.
        let (long, cut) = (folder.path().join("long.mp4"), folder.path().join("cut.mp4"));
        ffmpeg(&pattern("64x64", 60, "-c:v libx264 -g 24 -bf 2 -pix_fmt yuv420p"), &long);
        ffmpeg(&format!("-ss 1.25 -i {} -c copy FILE", long.display()), &cut);
        compare_file(&cut, 30, Order::AsIs, 20);
        // Cut at the other end, inside a group: 36, 37 or 38 packets as the program sees fit, and a gap
        // before the last of them.
        ffmpeg(&format!("-i {} -t 1.5 -c copy FILE", long.display()), &cut);
        let frames = raw(&cut).len() as u64 / (64 * 64 * 3 / 2);
        compare_file(&cut, frames, Order::AsIs, 20);
    }

    #[test]
    fn truncated_and_empty_files_say_so() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("clip.mov");
        let cut = |share: u64| {
            let data = fs::OpenOptions::new().write(true).open(&file).unwrap();
            data.set_len(data.metadata().unwrap().len() * share / 100).unwrap();
        };
        for codec in ["-c:v prores_ks", "-c:v libx264 -g 24 -pix_fmt yuv420p -qp 10"] {
            // The index at the end: nothing is known without it.
            ffmpeg(&pattern("128x128", 48, codec), &file);
            cut(60);
            let said = message(open(&file, &ASIS));
            assert!(said.contains("clip.mov") && said.contains("accepted"), "{said}");
            // The index at the start: what is there can be read, what is not is an error.
            ffmpeg(&pattern("128x128", 48, &format!("{codec} -movflags faststart")), &file);
            let whole = raw(&file);
            cut(60);
            let mut source = open(&file, &ASIS).unwrap();
            assert_eq!(source.info().frames, 48);
            let size = whole.len() / 48;
            assert!(bytes(&source.frame(5).unwrap()) == whole[5 * size..6 * size], "{codec}");
            let said = message(source.frame(47));
            assert!(said.contains("clip.mov") && said.contains("frame 47"), "{said}");
            assert!(bytes(&source.frame(6).unwrap()) == whole[6 * size..7 * size], "{codec}: after an error");
            // No frame may be wrong: each is whole, or an error.
            for n in 0..48usize {
                if let Ok(frame) = source.frame(n as u64) {
                    assert!(bytes(&frame) == whole[n * size..(n + 1) * size], "{codec}: frame {n}");
                }
            }
            let said = message(source.frame(48));
            assert!(said.contains("0 to 47"), "{said}");
        }
        for name in ["empty.mov", "empty.mp4", "empty.dpx", "empty.png", "empty.exr", "empty.tif"] {
            let file = folder.path().join(name);
            fs::write(&file, b"").unwrap();
            let said = message(open(&file, &ASIS));
            assert!(said.contains(name) && said.contains("0 bytes") && said.contains("accepted"), "{said}");
        }
        let text = folder.path().join("notes.mov");
        fs::write(&text, "not a video at all, only words").unwrap();
        let said = message(open(&text, &ASIS));
        assert!(said.contains("notes.mov") && said.contains("accepted"), "{said}");
        let said = message(open(&folder.path().join("nothing.mov"), &ASIS));
        assert!(said.contains("nothing.mov"), "{said}");
    }
}

#[cfg(not(feature = "video"))]
#[test]
fn without_video_the_error_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("clip.mov");
    fs::write(&file, "anything").unwrap();
    let said = message(open(&file, &ASIS));
    assert!(said.contains("without video") && said.contains("clip.mov"), "{said}");
}

#[test]
fn dpx_read_as_ffmpeg_reads_it() {
    let folder = tempfile::tempdir().unwrap();
    for (format, depth) in [
        ("gbrp10le", 10),
        ("gbrp10be", 10),
        ("gbrp12le", 12),
        ("gbrp12be", 12),
        ("rgb48le", 16),
        ("rgb48be", 16),
        ("rgb24", 8),
    ] {
        // 64 pixels fill every line to a word boundary, 63 do not.
        for size in ["64x31", "63x31"] {
            let file = folder.path().join(format!("{format}-{size}.dpx"));
            ffmpeg(&pattern(size, 1, &format!("-pix_fmt {format} -c:v dpx")), &file);
            let little = format.replace("be", "le");
            let decoded = ffmpeg(&format!("-i FILE -f rawvideo -pix_fmt {little} -"), &file);
            let wanted = match depth {
                8 => planes_of_packed(&decoded, 3, 1),
                16 => planes_of_packed(&decoded, 3, 2),
                _ => rgb_of_gbr(&decoded),
            };
            let mut source = open(&file, &ASIS).unwrap_or_else(|e| panic!("{format}: {e}"));
            assert_eq!((source.info().format.depth, source.info().frames), (depth, 1));
            assert!(bytes(&source.frame(0).unwrap()) == wanted, "{format} {size}");
        }
    }
}

#[test]
fn dpx_written_for_ffmpeg_to_read() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("out.dpx");
    let pixels = codes(127, 71, 10);
    let image = Image::Codes { width: 127, height: 71, depth: 10, pixels: &pixels };
    write_image(&file, ImageFormat::Dpx, &image).unwrap();
    let decoded = rgb_of_gbr(&ffmpeg("-i FILE -f rawvideo -pix_fmt gbrp10le -", &file));
    let wanted: Vec<u8> = (0..3).flat_map(|c| pixels.iter().flat_map(move |p| p[c].to_le_bytes())).collect();
    assert!(decoded == wanted, "codes differ");
    let mut source = open(&file, &ASIS).unwrap();
    assert!(pixels_16(&source.frame(0).unwrap()) == pixels);
    assert_eq!(source.info().description, "DPX RGB 10 bit, full");
    // ST 268-1: magic, offset to the image, version; 2048 bytes of header and 4 bytes a pixel.
    let bytes = fs::read(&file).unwrap();
    assert_eq!(&bytes[..4], b"SDPX");
    assert_eq!(bytes[4..8], 2048u32.to_be_bytes());
    assert_eq!(&bytes[8..12], b"V2.0");
    assert_eq!(bytes.len(), 2048 + 4 * pixels.len());
    assert_eq!(bytes[16..20], (bytes.len() as u32).to_be_bytes());
}

#[test]
fn dpx_headers_carry_rate_and_timecode() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("out.0001.dpx");
    let pixels = codes(4, 2, 10);
    let image = Image::Codes { width: 4, height: 2, depth: 10, pixels: &pixels };
    write_image(&file, ImageFormat::Dpx, &image).unwrap();
    assert_eq!(open(&file, &ASIS).unwrap().info().timecode_start, None);
    // ST 268-1: time code at byte 1920 of the television header, frame rate at 1940.
    let mut bytes = fs::read(&file).unwrap();
    bytes[1920..1924].copy_from_slice(&0x01_00_00_05u32.to_be_bytes());
    bytes[1940..1944].copy_from_slice(&25f32.to_be_bytes());
    fs::write(&file, &bytes).unwrap();
    let info = open(&file, &ASIS).unwrap().info().clone();
    assert_eq!((info.timecode_start, info.rate), (Some(25 * 3600 + 5), Rate::new(25, 1).unwrap()));
    // What is not read is named: descriptor 51 (R, G, B, A) at byte 800, packing 0 at 804.
    for (at, bad, words) in
        [(800, 51, "descriptor 51"), (805, 0, "packing 0"), (803, 9, "9 bits"), (771, 2, "2 image")]
    {
        let mut changed = bytes.clone();
        changed[at] = bad;
        fs::write(&file, &changed).unwrap();
        let said = message(open(&file, &ASIS));
        assert!(
            said.contains(words) && said.contains("descriptor 50") && said.contains("out.0001.dpx"),
            "{said}"
        );
    }
}

#[test]
fn png_and_tiff_go_round() {
    let folder = tempfile::tempdir().unwrap();
    for format in [ImageFormat::Png, ImageFormat::Tiff] {
        for depth in [8, 16] {
            let file = folder.path().join(format!("{depth}x.{}", format.extension()));
            let pixels = codes(63, 31, depth);
            let image = Image::Codes { width: 63, height: 31, depth, pixels: &pixels };
            write_image(&file, format, &image).unwrap();
            let frame = open(&file, &ASIS).unwrap().frame(0).unwrap();
            assert_eq!(frame.format.depth, depth);
            assert!(pixels_16(&frame) == pixels, "{format:?} {depth}");
            // FFmpeg reads the same from it.
            let raw_format = if depth == 8 { "rgb24" } else { "rgb48le" };
            let decoded = ffmpeg(&format!("-i FILE -f rawvideo -pix_fmt {raw_format} -"), &file);
            assert!(planes_of_packed(&decoded, 3, depth as usize / 8) == bytes(&frame), "{format:?} {depth}");
        }
    }
    // Alpha is left out, grey goes to all three.
    let (rgba, grey) = (folder.path().join("alpha.png"), folder.path().join("grey.png"));
    ffmpeg(&pattern("63x31", 1, "-pix_fmt rgba"), &rgba);
    let mut source = open(&rgba, &ASIS).unwrap();
    let decoded = ffmpeg("-i FILE -f rawvideo -pix_fmt rgba -", &rgba);
    assert!(bytes(&source.frame(0).unwrap()) == planes_of_packed(&decoded, 4, 1));
    assert!(source.info().description.contains("alpha ignored"));
    ffmpeg(&pattern("63x31", 1, "-pix_fmt gray"), &grey);
    let decoded = ffmpeg("-i FILE -f rawvideo -pix_fmt gray -", &grey);
    let frame = open(&grey, &ASIS).unwrap().frame(0).unwrap();
    assert!(frame.planes.iter().all(|p| p.data[..] == decoded[..]));
    // Narrow range is a matter of interpretation.
    let as_ = Interpretation { range: Some(Range::Narrow), ..ASIS };
    let wanted = Format { range: Range::Narrow, ..Format::rgb(Sample::U8, 8) };
    assert_eq!(open(&grey, &as_).unwrap().info().format, wanted);
}

fn floats(pixels: &[[f32; 3]], half: bool, width: u32) -> Image<'_> {
    Image::Floats { width, height: pixels.len() as u32 / width, pixels, primaries: BT709, half }
}

#[test]
fn exr_goes_round() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("out.exr");
    let mut draw = Draw(3);
    let mut pixels: Vec<[f32; 3]> = (0..63 * 31)
        .map(|_| std::array::from_fn(|_| (draw.below(1 << 20) as f32 / 65536.0 - 4.0).exp2() - 0.05))
        .collect();
    pixels[0] = [1e9, -1e9, f32::NAN];
    pixels[1] = [f32::INFINITY, f32::NEG_INFINITY, 65519.0];
    // Halfway between two halves: IEEE 754 rounds to the even one.
    pixels[2] = [1.0 + 1.0 / 2048.0, 1.0 + 3.0 / 2048.0, 0.18];

    write_image(&file, ImageFormat::Exr, &floats(&pixels, true, 63)).unwrap();
    let mut source = open(&file, &ASIS).unwrap();
    assert_eq!(source.info().description, "OpenEXR RGB half float");
    let frame = source.frame(0).unwrap();
    assert_eq!((frame.format.sample, frame.format.model), (Sample::F16, Model::Rgb));
    let half = |c: usize, i: usize| {
        half::f16::from_le_bytes([frame.planes[c].data[2 * i], frame.planes[c].data[2 * i + 1]])
    };
    assert_eq!([half(0, 0), half(1, 0), half(2, 0)].map(f32::from), [65504.0, -65504.0, 0.0]);
    assert_eq!([half(0, 1), half(1, 1), half(2, 1)].map(f32::from), [65504.0, -65504.0, 65504.0]);
    // 0.18 = 1.44 × 2^-3: exponent 12, fraction 0.44 × 1024 = 450.56, so 451 = 0x1C3.
    assert_eq!([half(0, 2), half(1, 2), half(2, 2)].map(|h| h.to_bits()), [0x3C00, 0x3C02, 0x31C3]);
    for (i, p) in pixels.iter().enumerate().skip(3) {
        for c in 0..3 {
            assert_eq!(half(c, i), half::f16::from_f32(p[c]));
        }
    }
    // FFmpeg widens them to single floats.
    let decoded = rgb_of_gbr(&ffmpeg("-i FILE -f rawvideo -pix_fmt gbrpf32le -", &file));
    let n = pixels.len();
    for i in 3..n {
        for c in 0..3 {
            let at = 4 * (c * n + i);
            let v = f32::from_le_bytes(decoded[at..at + 4].try_into().unwrap());
            assert_eq!(v, f32::from(half(c, i)), "pixel {i}");
        }
    }
    // The primaries are in the file (BT.709-6 section 1: red 0.640, 0.330; white D65).
    let meta = exr::meta::MetaData::read_from_file(&file, true).unwrap();
    let found = meta.headers[0].shared_attributes.chromaticities.unwrap();
    assert_eq!((found.red.0, found.red.1, found.white.0, found.white.1), (0.64, 0.33, 0.3127, 0.329));

    // Single floats keep every bit, NaN too; the picture path is what cleans them.
    write_image(&file, ImageFormat::Exr, &floats(&pixels, false, 63)).unwrap();
    let frame = open(&file, &ASIS).unwrap().frame(0).unwrap();
    assert_eq!(frame.format.sample, Sample::F32);
    for (c, plane) in frame.planes.iter().enumerate() {
        for (p, bytes) in pixels.iter().zip(plane.data.chunks_exact(4)) {
            assert_eq!(p[c].to_bits().to_le_bytes(), *bytes);
        }
    }
    let unpack = greyhold::picture::Unpack::<f32>::of(&frame.format);
    assert_eq!(unpack.at(&frame, 0, 0), [65504.0, -65504.0, 0.0]);
}

#[test]
fn exr_windows_layers_and_missing_channels() {
    use exr::prelude::{
        AnyChannel, AnyChannels, Encoding, FlatSamples, Image as Exr, IntegerBounds, Layer, LayerAttributes,
        SmallVec, Vec2, WritableImage,
    };
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("layer.exr");
    let write = |names: [&str; 3], position: Vec2<i32>, display: IntegerBounds| {
        let channel = |(i, name): (usize, &str)| {
            // 4 × 3 samples: channel number, then a running number.
            let samples = (0..12).map(|s| (100 * i + s) as f32).collect();
            AnyChannel::new(name, FlatSamples::F32(samples))
        };
        let list: SmallVec<[_; 4]> = names.into_iter().enumerate().map(channel).collect();
        let attributes = LayerAttributes { layer_position: position, ..LayerAttributes::named("x") };
        let layer = Layer::new((4, 3), attributes, Encoding::UNCOMPRESSED, AnyChannels::sort(list));
        let mut image = Exr::from_layer(layer);
        image.attributes.display_window = display;
        image.write().to_file(&file).unwrap();
    };
    let whole = IntegerBounds::new((0, 0), (4, 3));
    write(["beauty.R", "beauty.G", "beauty.B"], Vec2(0, 0), whole);
    let mut source = open(&file, &ASIS).unwrap();
    assert!(source.info().description.contains("layer beauty"), "{}", source.info().description);
    let frame = source.frame(0).unwrap();
    let first = |c: usize| f32::from_le_bytes(frame.planes[c].data[..4].try_into().unwrap());
    assert_eq!([first(0), first(1), first(2)], [0.0, 100.0, 200.0]);

    // A data window that reaches beyond the display window on the left and leaves its right column empty.
    write(["R", "G", "B"], Vec2(9, 20), IntegerBounds::new((10, 20), (4, 3)));
    let frame = open(&file, &ASIS).unwrap().frame(0).unwrap();
    let green: Vec<f32> =
        frame.planes[1].data.chunks_exact(4).map(|b| f32::from_le_bytes(b.try_into().unwrap())).collect();
    assert_eq!(green, [101., 102., 103., 0., 105., 106., 107., 0., 109., 110., 111., 0.]);

    write(["R", "G", "Z"], Vec2(0, 0), whole);
    let said = message(open(&file, &ASIS));
    assert!(said.contains("layer.exr") && said.contains("G, R, Z"), "{said}");
}

/// Three small PNG files, numbers 8, 9 and 11, whose first sample is their number.
fn numbered(folder: &Path, name: impl Fn(u32) -> String) -> Vec<PathBuf> {
    let write = |n: u16| {
        let file = folder.join(name(n.into()));
        let image = Image::Codes { width: 2, height: 1, depth: 8, pixels: &[[n; 3], [0; 3]] };
        write_image(&file, ImageFormat::Png, &image).unwrap();
        file
    };
    [8, 9, 11].into_iter().map(write).collect()
}

#[test]
fn sequences_by_file_folder_and_pattern() {
    let folder = tempfile::tempdir().unwrap();
    let files = numbered(folder.path(), |n| format!("shot.{n:04}.png"));
    let join = |name: &str| folder.path().join(name);
    let whole = folder.path().to_owned();
    for way in [files[0].clone(), files[1].clone(), whole, join("shot.####.png"), join("shot.%04d.png")] {
        let mut source = open(&way, &ASIS).unwrap_or_else(|e| panic!("{e}"));
        let info = source.info().clone();
        assert_eq!((info.frames, info.missing, info.first_number), (4, 1, 8), "{}", way.display());
        assert_eq!((info.name.as_str(), &info.path), ("shot.####.png", &files[0]));
        assert!(info.description.contains("1 missing"), "{}", info.description);
        assert_eq!([0, 1, 3].map(|n| source.frame(n).unwrap().planes[0].data[0]), [8, 9, 11]);
        let said = message(source.frame(2));
        assert!(said.contains("shot.0010.png") && said.contains("missing"), "{said}");
        assert!(matches!(source.frame(4), Err(MediaError::PastEnd { number: 4, frames: 4, .. })));
    }
    let said = message(open(&join("other.####.png"), &ASIS));
    assert!(said.contains("other.####.png"), "{said}");

    // Two sequences in a folder are one too many.
    numbered(folder.path(), |n| format!("take{n}.png"));
    let said = message(open(folder.path(), &ASIS));
    assert!(said.contains("2 sequences") && said.contains("take#.png"), "{said}");
    // Unpadded numbers run on from 9 to 10 and more.
    assert_eq!(open(&join("take8.png"), &ASIS).unwrap().info().frames, 4);
    assert_eq!(open(&join("take11.png"), &ASIS).unwrap().info().frames, 4);

    // A file alone is one frame, numbered or not.
    let alone = tempfile::tempdir().unwrap();
    for (name, number) in [("plate_0042.png", 42), ("chart.png", 0)] {
        let file = alone.path().join(name);
        fs::copy(&files[0], &file).unwrap();
        let info = open(&file, &ASIS).unwrap().info().clone();
        assert_eq!((info.frames, info.missing, info.first_number), (1, 0, number));
        fs::remove_file(&file).unwrap();
    }
    let said = message(open(alone.path(), &ASIS));
    assert!(said.contains("no image files"), "{said}");

    // A frame of another size does not slip in.
    let image = Image::Codes { width: 3, height: 1, depth: 8, pixels: &[[1; 3]; 3] };
    write_image(&files[1], ImageFormat::Png, &image).unwrap();
    let said = message(open(&files[0], &ASIS).unwrap().frame(1));
    assert!(said.contains("shot.0009.png") && said.contains("3×1") && said.contains("2×1"), "{said}");
    let as_ = Interpretation { rate: "23.976".parse().ok(), ..ASIS };
    assert_eq!(open(&files[0], &as_).unwrap().info().rate, Rate::new(24000, 1001).unwrap());
}

#[test]
fn truncated_stills_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let wide = codes(63, 31, 16);
    let ten = codes(63, 31, 10);
    let float: Vec<[f32; 3]> = wide.iter().map(|p| p.map(f32::from)).collect();
    for format in ImageFormat::ALL {
        let name = format!("cut.{}", format.extension());
        let file = folder.path().join(&name);
        let image = match format {
            ImageFormat::Dpx => Image::Codes { width: 63, height: 31, depth: 10, pixels: &ten },
            ImageFormat::Exr => floats(&float, false, 63),
            _ => Image::Codes { width: 63, height: 31, depth: 16, pixels: &wide },
        };
        write_image(&file, format, &image).unwrap();
        let whole = fs::read(&file).unwrap();
        for share in [3, 20, 50, 90, 99] {
            fs::write(&file, &whole[..whole.len() * share / 100]).unwrap();
            let said = message(open(&file, &ASIS).and_then(|mut s| s.frame(0)));
            assert!(said.contains(&name) && said.contains("accepted"), "{said}");
        }
    }
}

#[test]
fn damaged_headers_never_panic() {
    let folder = tempfile::tempdir().unwrap();
    let ten = codes(20, 10, 10);
    let float = vec![[0.5f32, 1.0, 2.0]; 200];
    let mut draw = Draw(11);
    let (mut read, mut refused) = (0, 0);
    for format in ImageFormat::ALL {
        let file = folder.path().join(format!("bad.{}", format.extension()));
        let image = match format {
            ImageFormat::Dpx => Image::Codes { width: 20, height: 10, depth: 10, pixels: &ten },
            ImageFormat::Exr => floats(&float, true, 20),
            _ => Image::Codes { width: 20, height: 10, depth: 16, pixels: &ten },
        };
        write_image(&file, format, &image).unwrap();
        let whole = fs::read(&file).unwrap();
        let ends = whole.len().min(2048) as u64;
        for _ in 0..400 {
            let mut bad = whole.clone();
            for _ in 0..=draw.below(4) {
                // A TIFF's directory is at its end.
                let at = draw.below(ends) as usize;
                let at = if draw.below(2) == 0 { at } else { whole.len() - 1 - at };
                bad[at] = [0, 0xFF, 0x80, draw.below(256) as u8][draw.below(4) as usize];
            }
            fs::write(&file, &bad).unwrap();
            match open(&file, &ASIS).and_then(|mut s| s.frame(0)) {
                Ok(frame) => {
                    read += 1;
                    let samples = frame.width as usize * frame.height as usize;
                    assert_eq!(frame.planes[0].data.len(), samples * frame.format.sample.bytes());
                }
                Err(_) => refused += 1,
            }
        }
    }
    assert!(
        read > 100 && refused > 100,
        "{read} read, {refused} refused: the damage is too mild or too strong"
    );
}

/// Names in a folder, hidden ones too.
fn names(folder: &Path) -> Vec<String> {
    folder.read_dir().unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect()
}

#[test]
fn failed_writing_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let pixels = [[1u16, 2, 3]; 4];
    let image = Image::Codes { width: 2, height: 2, depth: 16, pixels: &pixels };
    let nowhere = folder.path().join("no/such/out.png");
    let said = message(write_image(&nowhere, ImageFormat::Png, &image));
    assert!(said.contains("out.png") && said.contains("written"), "{said}");
    // What is there and cannot be replaced: a folder of that name. The temporary file is made by then.
    let taken = folder.path().join("taken.png");
    fs::create_dir(&taken).unwrap();
    let said = message(write_image(&taken, ImageFormat::Png, &image));
    assert!(said.contains("taken.png"), "{said}");
    assert_eq!(names(folder.path()), ["taken.png"]);
    fs::remove_dir(&taken).unwrap();

    // What is not written, and what would have been.
    let file = folder.path().join("out");
    let codes = |depth, pixels| Image::Codes { width: 2, height: 2, depth, pixels };
    let float = [[0.5f32; 3]; 4];
    for (format, image, words) in [
        (ImageFormat::Png, codes(10, &pixels[..]), "8 or 16"),
        (ImageFormat::Tiff, codes(12, &pixels[..]), "8 or 16"),
        (ImageFormat::Dpx, codes(16, &pixels[..]), "10 bits"),
        (ImageFormat::Exr, codes(16, &pixels[..]), "floats"),
        (ImageFormat::Png, floats(&float, true, 2), "codes"),
        (ImageFormat::Png, codes(16, &pixels[..3]), "4 pixels"),
        (ImageFormat::Png, codes(8, &[[256u16, 0, 0]; 4][..]), "0 to 255"),
        (ImageFormat::Dpx, codes(10, &[[0u16, 1024, 0]; 4][..]), "0 to 1023"),
    ] {
        let said = message(write_image(&file, format, &image));
        assert!(said.contains("out") && said.contains(words), "{said}");
    }
    assert!(names(folder.path()).is_empty());

    // A folder without write permission; root is not stopped by it, but then nothing fails either.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let closed = folder.path().join("closed");
        fs::create_dir(&closed).unwrap();
        fs::set_permissions(&closed, fs::Permissions::from_mode(0o555)).unwrap();
        let stopped = fs::File::create(closed.join("probe")).is_err();
        let result = write_image(&closed.join("out.png"), ImageFormat::Png, &image);
        assert_eq!(result.is_err(), stopped);
        if stopped {
            assert!(message(result).contains("out.png"));
            assert!(names(&closed).is_empty());
        }
    }
    // Success leaves the file and nothing else, and replaces what was there.
    let free = tempfile::tempdir().unwrap();
    let out = free.path().join("out.png");
    fs::write(&out, "old").unwrap();
    write_image(&out, ImageFormat::Png, &image).unwrap();
    assert_eq!(names(free.path()), ["out.png"]);
    assert!(fs::read(&out).unwrap().starts_with(b"\x89PNG"));
}

#[test]
fn image_formats_have_names() {
    for format in ImageFormat::ALL {
        assert_eq!(ImageFormat::from_key(format.key()), Some(format));
        assert_eq!(ImageFormat::of_path(&Path::new("A").with_extension(format.extension())), Some(format));
    }
    assert_eq!(ImageFormat::of_path(Path::new("A.TIFF")), Some(ImageFormat::Tiff));
    assert_eq!(ImageFormat::from_key("gif"), None);
}

#[test]
fn rates_are_read_and_shown() {
    for (text, num, den, shown) in [
        ("24", 24, 1, "24"),
        ("24000/1001", 24000, 1001, "23.976"),
        ("23.976", 24000, 1001, "23.976"),
        ("23.98", 24000, 1001, "23.976"),
        ("29.97", 30000, 1001, "29.97"),
        ("59.94", 60000, 1001, "59.94"),
        ("119.88", 120_000, 1001, "119.88"),
        ("25.000", 25, 1, "25"),
        ("12.5", 25, 2, "12.5"),
        ("50/2", 25, 1, "25"),
    ] {
        let rate: Rate = text.parse().unwrap();
        assert_eq!((rate.num(), rate.den(), rate.to_string().as_str()), (num, den, shown), "{text}");
    }
    for text in ["", "0", "-24", "24/0", "0/1", "nan", "inf", "1001", "fast", "24/1/1"] {
        let said = message(text.parse::<Rate>());
        assert!(said.contains("24000/1001"), "{said}");
    }
    assert_eq!(Rate::new(24000, 1001).unwrap().nominal(), 24);
    assert!((Rate::new(24000, 1001).unwrap().seconds(24000) - 1001.0).abs() < 1e-9);
}

#[test]
fn timecode_counts_after_st_12_1() {
    let whole = Counting::whole;
    assert_eq!(whole(24).text(86400), "01:00:00:00");
    assert_eq!(whole(24).count("01:00:00:00").unwrap(), 86400);
    assert_eq!(whole(25).text(25 * 3661 + 7), "01:01:01:07");
    assert_eq!(whole(24).text(24 * 86400), "00:00:00:00", "a day is over");
    assert_eq!(whole(120).text(119), "00:00:00:119");
    // ST 12-1 drop-frame compensation: labels 0 and 1 are left out at each minute but every tenth; 107 892
    // frames an hour and 2 589 408 a day follow from it.
    let drop = Counting::dropping(Rate::new(30000, 1001).unwrap()).unwrap();
    for (count, text) in [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (3597, "00:01:59;29"),
        (3598, "00:02:00;02"),
        (17981, "00:09:59;29"),
        (17982, "00:10:00;00"),
        (17982 + 1800, "00:11:00;02"),
        (107_892, "01:00:00;00"),
        (2_589_407, "23:59:59;29"),
    ] {
        assert_eq!(drop.text(count), text);
        assert_eq!(drop.count(text).unwrap(), count);
    }
    assert_eq!(drop.day(), 2_589_408);
    for count in 0..2 * 107_892 {
        assert_eq!(drop.count(&drop.text(count)).unwrap(), count);
    }
    // Four labels at 60000/1001.
    let fast = Counting::dropping(Rate::new(60000, 1001).unwrap()).unwrap();
    assert_eq!((fast.text(3599).as_str(), fast.text(3600).as_str()), ("00:00:59;59", "00:01:00;04"));
    assert_eq!(fast.text(35964), "00:10:00;00");
    for count in (0..fast.day()).step_by(977) {
        assert_eq!(fast.count(&fast.text(count)).unwrap(), count);
    }
    assert!(Counting::dropping(Rate::new(24000, 1001).unwrap()).is_none());
    assert!(Counting::dropping(Rate::new(30, 1).unwrap()).is_none());
    for text in [
        "00:01:00;00",
        "00:01:00;01",
        "24:00:00:00",
        "00:60:00:00",
        "00:00:00:30",
        "0:0:0",
        "a:b:c:d",
        "-1:0:0:0",
        "",
    ] {
        let said = message(drop.count(text));
        assert!(said.contains("23:59:59:29"), "{said}");
    }
}
