//! Camera files: what comes out of the reader is what FFmpeg's own program decodes, bit for bit, for every codec and layout in the table;
//! turned, squeezed and uneven files; clips of whole folders, found again, and cut.
#![cfg(feature = "video")]

mod support;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use greyhold::media::{Interpretation, Rate, clips_in, open};
use greyhold::picture::Frame;
use support::{greyhold, sequence};

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// Runs `ffmpeg` with a line of arguments; `FILE` stands for the file.
fn ffmpeg(line: &str, file: &Path) -> Vec<u8> {
    let args = line.split(' ').map(|a| if a == "FILE" { path(file) } else { a });
    let out = Command::new("ffmpeg")
        .args(["-v", "error", "-nostdin", "-y"])
        .args(args)
        .stdin(Stdio::null())
        .output();
    let out = out.expect("these tests need the `ffmpeg` program (Debian: apt-get install ffmpeg)");
    assert!(out.status.success(), "ffmpeg {line}: {}", String::from_utf8_lossy(&out.stderr));
    out.stdout
}

fn fine(arguments: &[&str]) -> String {
    let out = greyhold().args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{arguments:?}: {said}{}", String::from_utf8_lossy(&out.stderr));
    said
}

fn planes(frame: &Frame) -> Vec<u8> {
    frame.planes.iter().flat_map(|p| p.data.iter().copied()).collect()
}

/// How FFmpeg lays out what it writes raw.
#[derive(Clone, Copy, PartialEq)]
enum Raw {
    /// Planes in our order, perhaps with alpha behind them.
    Planes,
    /// Green, blue, red.
    Gbr,
}

struct Row {
    /// Name of the file, with its container's ending.
    file: &'static str,
    /// FFmpeg's arguments for it.
    make: &'static str,
    /// The decoder's pixel format, as ffprobe and FFmpeg's raw output have it.
    pixel: &'static str,
    raw: Raw,
}

const fn row(file: &'static str, make: &'static str, pixel: &'static str) -> Row {
    Row { file, make, pixel, raw: Raw::Planes }
}

const fn gbr(file: &'static str, make: &'static str, pixel: &'static str) -> Row {
    Row { file, make, pixel, raw: Raw::Gbr }
}

const X265: &str = "-c:v libx265 -x265-params log-level=none:keyint=12:bframes=3";

/// Codec × layout × container.
const MATRIX: &[Row] = &[
    row("hevc-420-10-long.mp4", "-pix_fmt yuv420p10le X265", "yuv420p10le"),
    row("hevc-422-10-long.mov", "-pix_fmt yuv422p10le X265", "yuv422p10le"),
    row("hevc-422-10-long.mkv", "-pix_fmt yuv422p10le X265", "yuv422p10le"),
    row(
        "hevc-422-10-intra.mov",
        "-pix_fmt yuv422p10le -c:v libx265 -x265-params log-level=none:keyint=1",
        "yuv422p10le",
    ),
    row("hevc-444-10.mp4", "-pix_fmt yuv444p10le X265", "yuv444p10le"),
    row("hevc-422-12.mp4", "-pix_fmt yuv422p12le X265", "yuv422p12le"),
    row("hevc-420-8.mp4", "-pix_fmt yuv420p X265", "yuv420p"),
    row("h264-420-10-long.mp4", "-pix_fmt yuv420p10le -c:v libx264 -g 12 -bf 3", "yuv420p10le"),
    row("h264-422-10-long.mov", "-pix_fmt yuv422p10le -c:v libx264 -g 12 -bf 3", "yuv422p10le"),
    row("h264-422-10-intra.mxf", "-pix_fmt yuv422p10le -c:v libx264 -g 1", "yuv422p10le"),
    row("h264-422-10-intra.mov", "-pix_fmt yuv422p10le -c:v libx264 -g 1", "yuv422p10le"),
    row("h264-444-10.mkv", "-pix_fmt yuv444p10le -c:v libx264 -g 12", "yuv444p10le"),
    row("h264-420-8.ts", "-pix_fmt yuv420p -c:v libx264 -g 12 -bf 2", "yuv420p"),
    row("prores-proxy.mov", "-c:v prores_ks -profile:v 0", "yuv422p10le"),
    row("prores-lt.mov", "-c:v prores_ks -profile:v 1", "yuv422p10le"),
    row("prores-422.mov", "-c:v prores_ks -profile:v 2", "yuv422p10le"),
    row("prores-hq.mov", "-c:v prores_ks -profile:v 3", "yuv422p10le"),
    row("prores-hq.mxf", "-c:v prores_aw -profile:v 3 -pix_fmt yuv422p10le", "yuv422p10le"),
    row("prores-4444.mov", "-c:v prores_ks -profile:v 4 -pix_fmt yuv444p10le", "yuv444p12le"),
    row("prores-4444-alpha.mov", "-c:v prores_ks -profile:v 4 -pix_fmt yuva444p10le", "yuva444p12le"),
    row("prores-4444-xq.mov", "-c:v prores_ks -profile:v 5 -pix_fmt yuv444p10le", "yuv444p12le"),
    row("dnxhr-hqx.mov", "-c:v dnxhd -profile:v dnxhr_hqx -pix_fmt yuv422p10le", "yuv422p10le"),
    row("dnxhr-hqx.mxf", "-c:v dnxhd -profile:v dnxhr_hqx -pix_fmt yuv422p10le", "yuv422p10le"),
    row("dnxhr-444.mov", "-c:v dnxhd -profile:v dnxhr_444 -pix_fmt yuv444p10le", "yuv444p10le"),
    gbr("dnxhr-444-rgb.mov", "-c:v dnxhd -profile:v dnxhr_444 -pix_fmt gbrp10le", "gbrp10le"),
    row("dnxhr-sq.mov", "-c:v dnxhd -profile:v dnxhr_sq -pix_fmt yuv422p", "yuv422p"),
    row("ffv1-422-10.mkv", "-c:v ffv1 -level 3 -pix_fmt yuv422p10le", "yuv422p10le"),
    row("ffv1-444-16.mkv", "-c:v ffv1 -level 3 -pix_fmt yuv444p16le", "yuv444p16le"),
    row("ffv1-420-9.mkv", "-c:v ffv1 -level 3 -pix_fmt yuv420p9le", "yuv420p9le"),
    gbr("ffv1-rgb-12.mkv", "-c:v ffv1 -level 3 -pix_fmt gbrp12le", "gbrp12le"),
    gbr("ffv1-rgb-16.mkv", "-c:v ffv1 -level 3 -pix_fmt gbrp16le", "gbrp16le"),
    row("v210.mov", "-c:v v210 -pix_fmt yuv422p10le", "yuv422p10le"),
    row("mpeg2-422.mxf", "-c:v mpeg2video -pix_fmt yuv422p -intra_vlc 1", "yuv422p"),
    row("mjpeg.mov", "-c:v mjpeg -pix_fmt yuvj422p -q:v 2", "yuvj422p"),
    row("odd-h264.mp4", "-s 255x143 -pix_fmt yuv444p10le -c:v libx264", "yuv444p10le"),
    row("odd-prores.mov", "-s 259x145 -c:v prores_ks -profile:v 3", "yuv422p10le"),
    row("odd-ffv1.mkv", "-s 255x143 -c:v ffv1 -level 3 -pix_fmt yuv420p10le", "yuv420p10le"),
];

/// Every row: the same frames, forwards, backwards and after seeks, as FFmpeg's program decodes to raw video without converting.
#[test]
fn every_codec_and_layout_is_decoded_to_ffmpeg_s_own_codes() {
    let dir = tempfile::tempdir().unwrap();
    let mut wrong = Vec::new();
    for row in MATRIX {
        let file = dir.path().join(row.file);
        let make = row.make.replace("X265", X265);
        let size = if make.contains("-s ") { "" } else { "-s 256x144 " };
        ffmpeg(
            &format!("-f lavfi -i testsrc2=size=320x180:rate=24 -frames:v 14 {size}{make} -strict -2 FILE"),
            &file,
        );
        let raw = ffmpeg("-i FILE -map 0:v:0 -vsync passthrough -f rawvideo -", &file);
        let probed = Command::new("ffprobe")
            .args([
                "-v",
                "error",
                "-select_streams",
                "v",
                "-show_entries",
                "stream=pix_fmt",
                "-of",
                "csv=p=0",
                path(&file),
            ])
            .output()
            .unwrap();
        let pixel = String::from_utf8_lossy(&probed.stdout)
            .lines()
            .next()
            .unwrap_or("")
            .trim_end_matches(',')
            .to_owned();
        assert_eq!(pixel, row.pixel, "{}: the table says another layout", row.file);
        let mut source = match open(&file, &Interpretation::default()) {
            Ok(source) => source,
            Err(e) => {
                wrong.push(e.to_string());
                continue;
            }
        };
        let info = source.info().clone();
        assert_eq!(info.frames, 14, "{}: {}", row.file, info.description);
        let bytes = raw.len() / 14;
        for n in (0..14).chain((0..14).rev()).chain([7, 2, 11]) {
            let frame = source.frame(n).unwrap_or_else(|e| panic!("{}: {e}", row.file));
            let found = planes(&frame);
            let of_raw = &raw[n as usize * bytes..][..bytes];
            let wanted = match row.raw {
                Raw::Planes => of_raw[..found.len()].to_vec(),
                Raw::Gbr => {
                    let third = bytes / 3;
                    [&of_raw[2 * third..], &of_raw[..third], &of_raw[third..2 * third]].concat()
                }
            };
            if found != wanted {
                wrong.push(format!("{}: frame {n} differs", row.file));
                break;
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {}: {wrong:#?}", wrong.len(), MATRIX.len());
    println!("{} files", MATRIX.len());
}

/// Stills of every kind, against FFmpeg; EXR of several layers against its first that has R, G and B.
#[test]
fn stills_are_read_code_for_code() {
    let dir = tempfile::tempdir().unwrap();
    for (name, pixel, channels) in [
        ("a.png", "rgb48le", 3usize),
        ("a.tif", "rgb48le", 3),
        ("a.dpx", "gbrp10le", 0),
        ("b.dpx", "gbrp12le", 0),
        ("c.dpx", "rgb48le", 3),
        ("a.jpg", "yuvj444p", 0),
        ("b.jpg", "yuvj420p", 0),
    ] {
        let file = dir.path().join(format!("{}-{name}", name.len()));
        // FFmpeg's writers of PNG, TIFF and DPX want big-endian samples of their own.
        let written = match (name, pixel) {
            ("a.png", _) | ("c.dpx", _) => "rgb48be",
            ("a.dpx", _) => "gbrp10be",
            ("b.dpx", _) => "gbrp12be",
            (_, pixel) => pixel,
        };
        let _ = fs::remove_file(&file);
        ffmpeg(&format!("-f lavfi -i testsrc2=size=97x53 -frames:v 1 -pix_fmt {written} -q:v 2 FILE"), &file);
        let frame =
            open(&file, &Interpretation::default()).unwrap_or_else(|e| panic!("{e}")).frame(0).unwrap();
        let raw = ffmpeg(&format!("-i FILE -f rawvideo -pix_fmt {pixel} -"), &file);
        let third = raw.len() / 3;
        let wanted = match channels {
            0 if pixel.starts_with("gbr") => {
                [&raw[2 * third..], &raw[..third], &raw[third..2 * third]].concat()
            }
            0 => raw,
            n => (0..3)
                .flat_map(|c| {
                    raw.chunks_exact(2 * n).flat_map(move |p| p[2 * c..][..2].to_vec()).collect::<Vec<_>>()
                })
                .collect(),
        };
        assert!(planes(&frame) == wanted, "{name} of {pixel}");
    }
    let file = dir.path().join("layers.exr");
    let mut layers = Vec::new();
    for (name, value) in [("depth", None), ("beauty", Some(0.25f32)), ("other", Some(0.75))] {
        let sample = |v: f32| exr::prelude::FlatSamples::F32(vec![v; 32]);
        let channels = match value {
            None => vec![exr::prelude::AnyChannel::new("Z", sample(1.0))],
            Some(v) => {
                ["B", "G", "R"].into_iter().map(|c| exr::prelude::AnyChannel::new(c, sample(v))).collect()
            }
        };
        layers.push(exr::prelude::Layer::new(
            (8, 4),
            exr::prelude::LayerAttributes::named(name),
            exr::prelude::Encoding::FAST_LOSSLESS,
            exr::prelude::AnyChannels::sort(channels.into()),
        ));
    }
    let image = exr::prelude::Image::from_layers(exr::prelude::ImageAttributes::with_size((8, 4)), layers);
    exr::prelude::WritableImage::write(&image).to_file(&file).unwrap();
    let frame = open(&file, &Interpretation::default()).unwrap().frame(0).unwrap();
    assert_eq!(
        f32::from_le_bytes(frame.planes[0].data[..4].try_into().unwrap()),
        0.25,
        "the first with R, G and B"
    );
}

/// Turned files are upright, as FFmpeg's program turns them; smaller chroma is interpolated, luma moved.
#[test]
fn turned_files_are_upright() {
    let dir = tempfile::tempdir().unwrap();
    for (pixel, exact) in [("yuv444p10le", true), ("yuv420p", false)] {
        let plain = dir.path().join(format!("{pixel}.mp4"));
        ffmpeg(
            &format!(
                "-f lavfi -i testsrc2=size=128x72:rate=24 -frames:v 4 -pix_fmt {pixel} -c:v libx264 FILE"
            ),
            &plain,
        );
        for degrees in [90, 180, 270] {
            let file = dir.path().join(format!("{pixel}-{degrees}.mp4"));
            ffmpeg(&format!("-i {} -c copy -metadata:s:v:0 rotate={degrees} FILE", path(&plain)), &file);
            let mut source = open(&file, &Interpretation::default()).unwrap();
            let info = source.info().clone();
            let upright = if degrees == 180 { (128, 72) } else { (72, 128) };
            assert_eq!((info.width, info.height, info.turned % 180), (upright.0, upright.1, degrees % 180));
            assert!(info.description.contains("turned by"), "{}", info.description);
            let raw = ffmpeg(&format!("-i FILE -vsync passthrough -f rawvideo -pix_fmt {pixel} -"), &file);
            let size = raw.len() / 4;
            let frame = source.frame(2).unwrap();
            let found = planes(&frame);
            let wanted = &raw[2 * size..][..size];
            let luma = frame.planes[0].data.len();
            assert!(found[..luma] == wanted[..luma], "{pixel} turned by {degrees}: luma");
            if exact {
                assert!(found == wanted, "{pixel} turned by {degrees}");
            }
        }
    }
}

/// Uneven times are laid on the show's rate: each of its frames shows what FFmpeg's own even output shows, give or take the frame whose
/// time lies on an edge.
#[test]
fn uneven_files_keep_their_time() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("phone.mp4");
    // Frames of 30 a second, of which some are missing, each of its own grey.
    let filter = "-vf geq=lum='16+3*N':cb=128:cr=128,select='not(eq(mod(n\\,7)\\,3))*not(between(n\\,20\\,26))' -vsync vfr";
    ffmpeg(
        &format!(
            "-f lavfi -i color=size=64x64:rate=30:duration=2 {filter} -pix_fmt yuv420p -c:v libx264 -qp 0 FILE"
        ),
        &file,
    );
    let laid = Interpretation { laid_on: Rate::new(24, 1), ..Interpretation::default() };
    let mut source = open(&file, &laid).unwrap();
    let info = source.info().clone();
    assert!(info.description.contains("laid on 24 frames/s"), "{}", info.description);
    assert!((47..=48).contains(&info.frames), "two seconds, not {} frames", info.frames);
    let mut last = 0;
    for n in 0..info.frames {
        let code = source.frame(n).unwrap().planes[0].data[0];
        let shown = f64::from(code - 16) / 3.0;
        // The newest frame that is there at the middle of this one: at most the middle's own, at least one or a gap before it.
        let middle = (n as f64 + 0.5) / 24.0 * 30.0;
        let gap = if (20.0..28.0).contains(&middle) { 9.0 } else { 2.1 };
        assert!(
            shown <= middle && shown > middle - gap,
            "frame {n} shows frame {shown} of 30, its middle is {middle}"
        );
        assert!(code >= last);
        last = code;
    }
    fine(&["new", path(&dir.path().join("show")), "--rate", "24"]);
    let said = fine(&["add", path(&dir.path().join("show")), path(&file), "--encoding", "logc4"]);
    assert!(said.contains("laid on 24 frames/s"), "{said}");
}

/// What a file says of its colours is told, as numbers and words; what it does not say too.
#[test]
fn tags_are_told() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("a.mov");
    let tags = "-color_primaries bt2020 -color_trc arib-std-b67 -colorspace bt2020nc -color_range tv";
    ffmpeg(
        &format!(
            "-f lavfi -i testsrc2=size=64x64:rate=25 -f lavfi -i sine -t 1 -pix_fmt yuv422p10le -c:v libx264 {tags} -c:a pcm_s16le -timecode 01:02:03:04 FILE"
        ),
        &file,
    );
    let said = fine(&["media", path(&file)]);
    for wanted in [
        "H.264 4:2:2 10 bit, narrow",
        "primaries BT.2020, transfer HLG, matrix BT.2020",
        "25 frames, 25 frames/s",
        "timecode 01:02:03:04",
        "sound: pcm_s16le, 1 channels",
    ] {
        assert!(said.contains(wanted), "{wanted:?} is not in {said}");
    }
    let json: serde_json::Value = serde_json::from_str(&fine(&["media", "--json", path(&file)])).unwrap();
    assert_eq!((&json[0]["transfer"], &json[0]["timecode"]), (&18.into(), &"01:02:03:04".into()));
    let file = dir.path().join("squeezed.mov");
    ffmpeg(
        "-f lavfi -i testsrc2=size=64x64:rate=24 -frames:v 2 -vf setsar=2/1 -pix_fmt yuv422p10le -c:v prores_ks FILE",
        &file,
    );
    let said = fine(&["media", path(&file)]);
    assert!(said.contains("primaries untagged") && said.contains("pixels of 2:1 made square"), "{said}");
    assert!(said.contains("128×64, 2 frames"), "{said}");
}

/// A squeezed clip is as wide as it should be: against zimg's bicubic, which is the same kernel, on luma.
#[test]
fn squeezed_pixels_are_made_square() {
    let dir = tempfile::tempdir().unwrap();
    for (aspect, size, name) in [("2/1", (192u32, 54u32), "192x54"), ("8/9", (96, 61), "96x61")] {
        let file = dir.path().join(format!("{name}.mkv"));
        ffmpeg(
            &format!(
                "-f lavfi -i testsrc2=size=96x54:rate=24 -frames:v 2 -vf setsar={aspect} -c:v ffv1 -level 3 -pix_fmt yuv444p10le FILE"
            ),
            &file,
        );
        let mut source = open(&file, &Interpretation::default()).unwrap();
        assert_eq!((source.info().width, source.info().height), size);
        let frame = source.frame(1).unwrap();
        let filter = format!("zscale=s={name}:filter=bicubic:param_a=0:param_b=0.5:dither=none");
        let raw = ffmpeg(&format!("-i FILE -vf {filter} -f rawvideo -"), &file);
        let wanted = &raw[raw.len() / 2..];
        let code = |bytes: &[u8], i: usize| i32::from(u16::from_le_bytes([bytes[2 * i], bytes[2 * i + 1]]));
        let luma = &frame.planes[0].data;
        let (mut far, mut most) = (0, 0);
        for i in 0..luma.len() / 2 {
            let (x, y) = (i as u32 % size.0, i as u32 / size.0);
            // Beyond the edges zimg mirrors what is held here.
            if x < 4 || y < 4 || x + 4 >= size.0 || y + 4 >= size.1 {
                continue;
            }
            let off = (code(luma, i) - code(wanted, i)).abs();
            most = most.max(off);
            far += u32::from(off > 1);
        }
        assert_eq!(far, 0, "{name}: off by up to {most} codes");
    }
}

/// A folder of folders is one clip for each movie and sequence in it.
#[test]
fn a_whole_folder_is_added() {
    let dir = tempfile::tempdir().unwrap();
    let card = dir.path().join("card");
    sequence(&card.join("day1/scans"), (32, 18), 3);
    fs::create_dir_all(card.join("day2/.trash")).unwrap();
    for name in ["day2/b.mov", "day2/a.mp4", "day2/.trash/no.mov"] {
        ffmpeg(
            "-f lavfi -i testsrc2=size=64x64:rate=24 -frames:v 2 -pix_fmt yuv420p -c:v libx264 FILE",
            &card.join(name),
        );
    }
    fs::write(card.join("day2/notes.txt"), "x").unwrap();
    let found: Vec<PathBuf> =
        clips_in(&card).unwrap().iter().map(|p| p.strip_prefix(&card).unwrap().to_owned()).collect();
    assert_eq!(found, ["day1/scans/take.####.dpx", "day2/a.mp4", "day2/b.mov"].map(PathBuf::from));
    let show = dir.path().join("show");
    fine(&["new", path(&show)]);
    fine(&["add", path(&show), path(&card), "--encoding", "logc4"]);
    let names: Vec<String> =
        greyhold::show::load(&show).unwrap().shots.iter().map(|s| s.name.clone()).collect();
    assert_eq!(names, ["take", "a", "b"]);
}

/// Clips that moved are found by what they are: renamed, among others of the same name, and only with leave by name alone.
#[test]
fn what_moved_is_found_again() {
    let dir = tempfile::tempdir().unwrap();
    let (card, show) = (dir.path().join("card"), dir.path().join("show"));
    fs::create_dir(&card).unwrap();
    let make = |file: &Path, seed: u32| {
        ffmpeg(
            &format!(
                "-f lavfi -i mandelbrot=size=64x64:rate=24:start_scale={seed} -frames:v 6 -pix_fmt yuv422p10le -c:v prores_ks -timecode 01:00:00:0{seed} FILE"
            ),
            file,
        );
    };
    make(&card.join("A.mov"), 1);
    make(&card.join("B.mov"), 2);
    sequence(&card.join("scans"), (32, 18), 3);
    fine(&["new", path(&show)]);
    fine(&["add", path(&show), path(&card), "--encoding", "logc4"]);
    assert!(fine(&["find", path(&show), path(dir.path())]).contains("every clip is where it was"));
    // Moved, one of them renamed; in its old name's place stands another.
    let disk = dir.path().join("disk/deep");
    fs::create_dir_all(&disk).unwrap();
    fs::rename(card.join("A.mov"), disk.join("renamed.mov")).unwrap();
    fs::rename(card.join("B.mov"), disk.join("B.mov")).unwrap();
    fs::rename(card.join("scans"), disk.join("scans")).unwrap();
    make(&disk.join("A.mov"), 3);
    let before = fs::read(show.join("show.toml")).unwrap();
    let said = fine(&["find", path(&show), path(&dir.path().join("disk"))]);
    assert!(said.contains("renamed.mov: the same contents") && said.contains("3 shots would have"), "{said}");
    assert_eq!(fs::read(show.join("show.toml")).unwrap(), before, "nothing was taken yet");
    let said = fine(&["find", path(&show), path(&dir.path().join("disk")), "--take"]);
    assert!(said.contains("3 shots have their clips again"), "{said}");
    let loaded = greyhold::show::load(&show).unwrap();
    let sources: Vec<_> = loaded.shots.iter().map(|s| s.source_path(&show)).collect();
    assert!(sources.contains(&disk.join("renamed.mov")), "{sources:?}");
    assert!(sources.iter().all(|s| open(s, &Interpretation::default()).is_ok()), "{sources:?}");
    // Only the name in common.
    fs::remove_file(disk.join("B.mov")).unwrap();
    fs::create_dir(dir.path().join("other")).unwrap();
    make(&dir.path().join("other/B.mov"), 4);
    let find = |rest: &[&str]| {
        let folder = dir.path().join("other");
        let base = ["find", path(&show), path(&folder)];
        greyhold().args([&base[..], rest].concat()).output().unwrap()
    };
    let out = find(&["--take"]);
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.code() == Some(1) && said.contains("--by-name takes it"), "{said}");
    assert!(find(&["--take", "--by-name"]).status.success());
}

/// A movie of several shots is cut where they meet.
#[test]
fn a_movie_is_cut_into_shots() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("reel.mp4");
    let inputs = "-f lavfi -i testsrc2=size=128x72:rate=24:duration=2 -f lavfi -i smptebars=size=128x72:rate=24:duration=1 -f lavfi -i mandelbrot=size=128x72:rate=24:end_pts=90";
    ffmpeg(
        &format!(
            "{inputs} -filter_complex [2:v]trim=duration=1.5[c];[0:v][1:v][c]concat=n=3:v=1 -pix_fmt yuv420p -c:v libx264 FILE"
        ),
        &file,
    );
    let show = dir.path().join("show");
    fine(&["new", path(&show), "--rate", "24"]);
    fine(&["add", path(&show), path(&file), "--encoding", "bt1886"]);
    let said = fine(&["cut", path(&show), "reel"]);
    assert!(
        said.contains("frame 48") && said.contains("frame 72") && said.contains("3 shots would"),
        "{said}"
    );
    assert_eq!(greyhold::show::load(&show).unwrap().shots.len(), 1, "proposed, not taken");
    let found: serde_json::Value =
        serde_json::from_str(&fine(&["cut", path(&show), "reel", "--json"])).unwrap();
    assert_eq!(found.as_array().unwrap().len(), 2);
    fine(&["cut", path(&show), "reel", "--take"]);
    let shots = greyhold::show::load(&show).unwrap().shots;
    let ranges: Vec<_> = shots.iter().map(|s| (s.name.as_str(), s.start, s.end)).collect();
    assert_eq!(ranges, [("reel", 0, 48), ("reel 2", 48, 72), ("reel 3", 72, 108)]);
    // By hand.
    fine(&["cut", path(&show), "reel 3", "--at", "10,20", "--take"]);
    let shots = greyhold::show::load(&show).unwrap().shots;
    assert_eq!(shots.iter().map(|s| s.end).collect::<Vec<_>>(), [48, 72, 82, 92, 108]);
    let out = greyhold().args(["cut", path(&show), "reel", "--at", "48"]).output().unwrap();
    assert!(String::from_utf8_lossy(&out.stderr).contains("accepted: 1 to 47"));
}
