//! Files out: movies with their tags, sound and timecode, looked at by FFmpeg's own programs; renders in parts, killed and taken up
//! again.
#![cfg(feature = "video")]

mod support;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use greyhold::media::{Interpretation, open};
use serde_json::Value;
use support::{greyhold, sequence};

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

fn fine(arguments: &[&str]) -> String {
    let out = greyhold().args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{arguments:?}: {said}{}", String::from_utf8_lossy(&out.stderr));
    said
}

fn refused(arguments: &[&str]) -> String {
    let out = greyhold().args(arguments).output().unwrap();
    assert_eq!(out.status.code(), Some(2), "{arguments:?}");
    String::from_utf8_lossy(&out.stderr).into_owned()
}

/// Runs one of FFmpeg's programs and gives its standard output.
fn tool(program: &str, arguments: &[&str]) -> Vec<u8> {
    let out = Command::new(program).args(arguments).stdin(Stdio::null()).output();
    let out = out.expect("these tests need FFmpeg's programs (Debian: apt-get install ffmpeg)");
    assert!(out.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    out.stdout
}

/// What ffprobe says of a file's first picture and its streams.
fn probe(file: &Path) -> Value {
    let arguments =
        ["-v", "error", "-of", "json", "-show_streams", "-show_frames", "-read_intervals", "%+#1"];
    serde_json::from_slice(&tool("ffprobe", &[&arguments[..], &["-show_format", path(file)]].concat()))
        .unwrap()
}

fn stream<'a>(probed: &'a Value, kind: &str) -> &'a Value {
    let all = probed["streams"].as_array().unwrap();
    all.iter().find(|s| s["codec_type"] == kind).unwrap_or_else(|| panic!("no {kind} in {probed}"))
}

/// A show of one shot, "take", from a sequence; gives its folder.
fn show(dir: &Path, size: (u32, u32), frames: u32) -> PathBuf {
    let clip = sequence(&dir.join("footage"), size, frames);
    show_of(dir, &clip)
}

fn show_of(dir: &Path, clip: &Path) -> PathBuf {
    let show = dir.join("show");
    fine(&["new", path(&show), "--rate", "24"]);
    fine(&["add", path(&show), path(clip), "--encoding", "logc4"]);
    show
}

/// Every file below a folder but those that begin with a dot, by its path there.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut out = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap().flatten() {
            let at = entry.path();
            if entry.file_name() == ".greyhold" {
                continue;
            }
            if at.is_dir() {
                folders.push(at);
            } else {
                out.insert(at.strip_prefix(folder).unwrap().to_owned(), fs::read(at).unwrap());
            }
        }
    }
    out
}

struct Wanted {
    format: &'static str,
    codec: &'static str,
    pixel: &'static str,
    profile: &'static str,
}

const WANTED: [Wanted; 9] = [
    Wanted { format: "prores-422-hq", codec: "prores", pixel: "yuv422p10le", profile: "HQ" },
    Wanted { format: "prores-422", codec: "prores", pixel: "yuv422p10le", profile: "Standard" },
    Wanted { format: "prores-422-proxy", codec: "prores", pixel: "yuv422p10le", profile: "Proxy" },
    Wanted { format: "prores-4444", codec: "prores", pixel: "yuv444p12le", profile: "4444" },
    Wanted { format: "dnxhr-hqx", codec: "dnxhd", pixel: "yuv422p10le", profile: "DNXHR HQX" },
    Wanted { format: "ffv1", codec: "ffv1", pixel: "gbrp16le", profile: "" },
    Wanted { format: "h264", codec: "h264", pixel: "yuv420p", profile: "High" },
    Wanted { format: "h264-10", codec: "h264", pixel: "yuv422p10le", profile: "High 4:2:2" },
    Wanted { format: "hevc-10", codec: "hevc", pixel: "yuv420p10le", profile: "Main 10" },
];

/// Codec, layout, range, tags, number of frames, rate and timecode of every kind of movie, as ffprobe and our own reader see them.
#[test]
fn every_kind_of_movie_says_what_it_is() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (256, 144), 60);
    for wanted in WANTED {
        let out = dir.path().join(wanted.format);
        let arguments =
            ["render", path(&show), "--out", path(&out), "--format", wanted.format, "--on", "cpu"];
        // More than one group of two seconds.
        let said = fine(&[&arguments[..], &["--timecode", "10:00:00:12", "--frames", "3..53"]].concat());
        assert!(said.starts_with("51 frames written"), "{said}");
        let movie = files(&out).into_keys().next().expect("a movie");
        let movie = out.join(movie);
        assert!(said.contains(&format!("{} is complete", movie.display())), "{said}");
        let probed = probe(&movie);
        let video = stream(&probed, "video");
        let is =
            |key: &str, value: &str| assert_eq!(video[key], value, "{}: {key} in {video}", wanted.format);
        is("codec_name", wanted.codec);
        is("pix_fmt", wanted.pixel);
        if !wanted.profile.is_empty() {
            is("profile", wanted.profile);
        }
        is("r_frame_rate", "24/1");
        is("avg_frame_rate", "24/1");
        let packets =
            ["-v", "error", "-of", "csv=p=0", "-show_entries", "packet=pts", "-select_streams", "v"];
        let packets = tool("ffprobe", &[&packets[..], &[path(&movie)]].concat());
        assert_eq!(String::from_utf8_lossy(&packets).lines().count(), 51, "{}", wanted.format);
        let rgb = wanted.pixel.starts_with("gbr");
        is("color_range", if rgb { "pc" } else { "tv" });
        is("color_space", if rgb { "gbr" } else { "bt709" });
        is("color_primaries", "bt709");
        is("color_transfer", "bt709");
        let start: f64 = video["start_time"].as_str().unwrap().parse().unwrap();
        assert!(start.abs() < 1e-3, "{}: the picture begins at {start}", wanted.format);
        let timecode = [&video["tags"], &probed["format"]["tags"]];
        let label = timecode.iter().find_map(|t| t["timecode"].as_str().or(t["TIMECODE"].as_str()));
        assert_eq!(label, Some("10:00:00:12"), "{}: {probed}", wanted.format);
        if wanted.codec == "hevc" {
            is("codec_tag_string", "hvc1");
        }

        let mut source = open(&movie, &Interpretation::default()).unwrap();
        let info = source.info().clone();
        assert_eq!((info.frames, info.width, info.height), (51, 256, 144), "{}", info.description);
        assert_eq!(info.rate.to_string(), "24");
        assert_eq!(info.timecode_start, Some(10 * 3600 * 24 + 12), "{}", info.description);
        assert!(!info.description.contains("assumed"), "{}", info.description);
        // Long groups decode from any of their frames.
        for frame in [50, 0, 48, 47, 13] {
            source.frame(frame).unwrap_or_else(|e| panic!("{}: {e}", wanted.format));
        }
    }
}

/// BT.2100 PQ and HLG, P3-D65 and sRGB: code points of H.273, mastering display of ST 2086, content light as measured here from the
/// TIFF of the same frames.
#[test]
fn displays_are_tagged() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (128, 72), 4);
    let rendered = |display: &str, format: &str| {
        let out = dir.path().join(format!("{display}-{format}"));
        let arguments = ["render", path(&show), "--out", path(&out), "--format", format];
        let said = fine(&[&arguments[..], &["--on", "cpu", "--display", display]].concat());
        let found = files(&out).into_keys().next().unwrap();
        (out.join(found), said)
    };
    for (display, primaries, transfer, matrix) in [
        ("rec2100-pq-1000-p3", "bt2020", "smpte2084", "bt2020nc"),
        ("rec2100-hlg-1000", "bt2020", "arib-std-b67", "bt2020nc"),
        ("display-p3", "smpte432", "iec61966-2-1", "bt709"),
        ("srgb", "bt709", "iec61966-2-1", "bt709"),
        ("rec2020", "bt2020", "bt2020-10", "bt2020nc"),
    ] {
        for format in ["hevc-10", "h264-10", "prores-422-hq", "prores-4444"] {
            let (movie, said) = rendered(display, format);
            let probed = probe(&movie);
            let video = stream(&probed, "video");
            let what = format!("{format} for {display}");
            assert_eq!(video["color_primaries"], primaries, "{what}: {video}");
            assert_eq!(video["color_transfer"], transfer, "{what}");
            assert_eq!(video["color_space"], matrix, "{what}");
            assert_eq!(video["color_range"], "tv", "{what}");
            if format == "hevc-10" {
                let siting = if primaries == "bt2020" { "topleft" } else { "left" };
                assert_eq!(video["chroma_location"], siting, "{what}");
            }
            let side = [&video["side_data_list"], &probed["frames"][0]["side_data_list"]];
            let all: Vec<&Value> = side.iter().filter_map(|s| s.as_array()).flatten().collect();
            let find = |kind: &str| all.iter().find(|s| s["side_data_type"] == kind);
            let hdr = display.starts_with("rec2100");
            // FFmpeg's QuickTime muxer writes neither box for ProRes.
            if format.starts_with("prores") && find("Mastering display metadata").is_none() {
                continue;
            }
            assert_eq!(find("Mastering display metadata").is_some(), hdr, "{what}: {all:?}");
            let Some(mastering) = find("Mastering display metadata") else { continue };
            let number = |key: &str| {
                let (over, under) = mastering[key].as_str().unwrap().split_once('/').unwrap();
                over.parse::<f64>().unwrap() / under.parse::<f64>().unwrap()
            };
            // SMPTE ST 2113 (P3-D65), ITU-R BT.2020-2 table 3.
            let red = if display.ends_with("p3") { [0.680, 0.320] } else { [0.708, 0.292] };
            assert!(
                (number("red_x") - red[0]).abs() < 1e-4 && (number("red_y") - red[1]).abs() < 1e-4,
                "{what}"
            );
            assert!((number("white_point_x") - 0.3127).abs() < 1e-4, "{what}");
            assert!(
                (number("max_luminance") - 1000.0).abs() < 1e-3 && number("min_luminance") < 0.001,
                "{what}"
            );
            let light = find("Content light level metadata");
            assert_eq!(light.is_some(), display.contains("pq"), "{what}: {all:?}");
            if let Some(light) = light {
                let (most, mean) = measured(&show, dir.path(), display);
                let close = |key: &str, value: f64| {
                    (light[key].as_f64().unwrap() - value).abs() <= 0.02 * value + 1.0
                };
                assert!(close("max_content", most), "{what}: {light} but {most}");
                assert!(close("max_average", mean), "{what}: {light} but {mean}");
                assert!(said.contains("MaxCLL"), "{said}");
            }
        }
    }
    // No code point says gamma 2.6: said, not guessed.
    let (movie, said) = rendered("p3-d65", "h264-10");
    assert!(said.contains("gamma 2.6"), "{said}");
    let probed = probe(&movie);
    assert_eq!(stream(&probed, "video")["color_primaries"], "smpte432");
    assert!(
        ["unknown", "null"].contains(&stream(&probed, "video")["color_transfer"].as_str().unwrap_or("null"))
    );
}

/// MaxCLL and MaxFALL (CTA-861.3-A) of the frames as 16-bit TIFF, by ST 2084's EOTF written out.
fn measured(show: &Path, dir: &Path, display: &str) -> (f64, f64) {
    let out = dir.join(format!("{display}-tiff"));
    if !out.exists() {
        fine(&[
            "render",
            path(show),
            "--out",
            path(&out),
            "--format",
            "tiff",
            "--on",
            "cpu",
            "--display",
            display,
        ]);
    }
    let eotf = |e: f64| {
        let (m1, m2) = (2610.0 / 16384.0, 2523.0 / 4096.0 * 128.0);
        let (c1, c2, c3) = (3424.0 / 4096.0, 2413.0 / 4096.0 * 32.0, 2392.0 / 4096.0 * 32.0);
        let p = e.powf(1.0 / m2);
        10_000.0 * ((p - c1).max(0.0) / (c2 - c3 * p)).powf(1.0 / m1)
    };
    let (mut most, mut mean) = (0.0f64, 0.0f64);
    for file in files(&out).into_keys() {
        let picture = image::open(out.join(file)).unwrap().into_rgb16();
        let lights = picture.pixels().map(|p| eotf(f64::from(*p.0.iter().max().unwrap()) / 65535.0));
        let all: Vec<f64> = lights.collect();
        most = all.iter().fold(most, |a, b| a.max(*b));
        mean = mean.max(all.iter().sum::<f64>() / all.len() as f64);
    }
    (most, mean)
}

/// Planes of every frame as FFmpeg decodes them, 16 bits a code.
fn decoded(movie: &Path, frame: usize, planes: usize, pixels: &[usize]) -> Vec<u16> {
    let raw = tool("ffmpeg", &["-v", "error", "-i", path(movie), "-f", "rawvideo", "-"]);
    let codes: Vec<u16> = raw.as_chunks::<2>().0.iter().map(|b| u16::from_le_bytes(*b)).collect();
    let size: usize = pixels.iter().sum();
    codes[frame * size..][..pixels[..planes].iter().sum()].to_vec()
}

/// What comes back of a rendered movie is the picture: exactly where the codec loses nothing, within a 10-bit code in the mean of a
/// pixel's neighbourhood for the intermediate codecs. The picture is smooth, so that loss is the codec's floor and not detail.
#[test]
fn what_is_decoded_is_what_was_rendered() {
    let dir = tempfile::tempdir().unwrap();
    let (w, h) = (256usize, 144usize);
    let folder = dir.path().join("ramp");
    fs::create_dir_all(&folder).unwrap();
    for frame in 0..3u32 {
        let pixels: Vec<[u16; 3]> = (0..w * h)
            .map(|i| {
                let (x, y) = ((i % w) as f64 / w as f64, (i / w) as f64 / h as f64);
                let wave = |k: f64| 300.0 + 350.0 * x + 40.0 * (k + 3.0 * y + f64::from(frame) * 0.1).sin();
                [wave(0.0), wave(1.5), wave(3.0)].map(|v| v as u16)
            })
            .collect();
        let image =
            greyhold::media::Image::Codes { width: w as u32, height: h as u32, depth: 10, pixels: &pixels };
        let file = folder.join(format!("ramp.{frame:04}.dpx"));
        greyhold::media::write_image(&file, greyhold::media::ImageFormat::Dpx, &image).unwrap();
    }
    let show = show_of(dir.path(), &folder.join("ramp.####.dpx"));
    let rendered = |format: &str| {
        let out = dir.path().join(format!("out-{format}"));
        fine(&["render", path(&show), "--out", path(&out), "--format", format, "--on", "cpu"]);
        let mut all: Vec<PathBuf> = files(&out).into_keys().map(|f| out.join(f)).collect();
        all.sort();
        all
    };
    // R'G'B' of 16 bits, which the test of the CPU twin holds to the definition.
    let tiffs: Vec<Vec<[f64; 3]>> = rendered("tiff")
        .iter()
        .map(|f| {
            image::open(f)
                .unwrap()
                .into_rgb16()
                .pixels()
                .map(|p| p.0.map(|v| f64::from(v) / 65535.0))
                .collect()
        })
        .collect();
    let ffv1 = &rendered("ffv1")[0];
    for (frame, wanted) in tiffs.iter().enumerate() {
        let gbr = decoded(ffv1, frame, 3, &[w * h; 3]);
        for (i, pixel) in wanted.iter().enumerate() {
            for (c, plane) in [2, 0, 1].into_iter().enumerate() {
                let wanted = (pixel[c] * 65535.0).round();
                assert_eq!(
                    f64::from(gbr[plane * w * h + i]),
                    wanted,
                    "FFV1, frame {frame}, pixel {i}, channel {c}"
                );
            }
        }
    }
    // BT.709-6 item 3: Y' from R'G'B', narrow at 10 bits.
    let luma = |p: &[f64; 3]| 64.0 + 876.0 * (0.2126 * p[0] + 0.7152 * p[1] + 0.0722 * p[2]);
    // Masters keep to a code; what is made for viewing is quantised more coarsely, and keeps to it in the mean.
    for (format, chroma, scale, beyond) in [
        ("prores-422-hq", w / 2 * h, 1.0, 0.002),
        ("prores-4444", w * h, 0.25, 0.002),
        ("dnxhr-hqx", w / 2 * h, 1.0, 0.002),
        ("h264-10", w / 2 * h, 1.0, 0.25),
        ("hevc-10", w / 2 * (h / 2), 1.0, 0.25),
    ] {
        let movie = &rendered(format)[0];
        let (mut worst, mut sum, mut far, mut count) = (0.0f64, 0.0, 0, 0);
        for (frame, wanted) in tiffs.iter().enumerate() {
            let ys = decoded(movie, frame, 1, &[w * h, chroma, chroma]);
            // Dither is a code of noise either way: over three by three pixels little of it is left.
            for y in 1..h - 1 {
                for x in 1..w - 1 {
                    let mut error = 0.0;
                    for (dx, dy) in (0..9).map(|n| (n % 3, n / 3)) {
                        let i = (y + dy - 1) * w + x + dx - 1;
                        error += (f64::from(ys[i]) * scale - luma(&wanted[i])) / 9.0;
                    }
                    worst = worst.max(error.abs());
                    far += u32::from(error.abs() > 1.0);
                    sum += error;
                    count += 1;
                }
            }
        }
        let (share, mean) = (f64::from(far) / f64::from(count), sum / f64::from(count));
        println!(
            "{format}: luma off by at most {worst:.2} of a 10-bit code, {:.3} % beyond one, mean {mean:.3}",
            share * 100.0
        );
        assert!(mean.abs() < 0.1, "{format}: the mean is off by {mean}");
        assert!(
            share < beyond,
            "{format}: {share} of the neighbourhoods are off by more than a code, at most {worst}"
        );
    }
}

/// Planes of Y'CbCr are those that zimg makes of the same R'G'B', an independent converter; with dither each code is at most one and a
/// half away.
#[test]
fn planes_are_those_of_zimg() {
    use greyhold::colour::{Range, YcbcrMatrix};
    use greyhold::picture::{Chroma, Format, Model, Sample, Siting, pack};
    let dir = tempfile::tempdir().unwrap();
    let (w, h) = (96u32, 54u32);
    let mut state = 5u32;
    let mut draw = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as u16
    };
    let pixels: Vec<[u16; 3]> = (0..w * h).map(|_| [draw(), draw(), draw()]).collect();
    let file = dir.path().join("rgb.raw");
    let gbr: Vec<u8> =
        [1, 2, 0].iter().flat_map(|c| pixels.iter().flat_map(|p| p[*c].to_le_bytes())).collect();
    fs::write(&file, gbr).unwrap();
    let signal: Vec<[f32; 3]> = pixels.iter().map(|p| p.map(|v| f32::from(v) / 65535.0)).collect();
    for (matrix, name) in
        [(YcbcrMatrix::Bt709, "709"), (YcbcrMatrix::Bt2020, "2020_ncl"), (YcbcrMatrix::Bt601, "170m")]
    {
        for (chroma, siting, pixel, place) in [
            (Chroma::C444, Siting::Left, "yuv444p10le", "left"),
            (Chroma::C422, Siting::Left, "yuv422p10le", "left"),
            (Chroma::C420, Siting::Left, "yuv420p10le", "left"),
            (Chroma::C420, Siting::TopLeft, "yuv420p10le", "topleft"),
            (Chroma::C420, Siting::Centre, "yuv420p10le", "center"),
        ] {
            let filter = format!(
                "zscale=matrix={name}:matrixin=gbr:rangein=full:range=limited:chromal={place}:filter=bilinear:dither=none,format={pixel}"
            );
            let size = format!("{w}x{h}");
            let raw = tool(
                "ffmpeg",
                &[
                    "-v",
                    "error",
                    "-f",
                    "rawvideo",
                    "-pix_fmt",
                    "gbrp16le",
                    "-s",
                    &size,
                    "-i",
                    path(&file),
                    "-vf",
                    &filter,
                    "-f",
                    "rawvideo",
                    "-",
                ],
            );
            let wanted: Vec<i32> =
                raw.as_chunks::<2>().0.iter().map(|b| u16::from_le_bytes(*b).into()).collect();
            let model = Model::Ycbcr(matrix);
            let format =
                Format { model, sample: Sample::U16, depth: 10, range: Range::Narrow, chroma, siting };
            for dither in [false, true] {
                let packed = pack(&signal, (w, h), format, 7, dither);
                let found: Vec<i32> = packed.planes.iter().flatten().map(|v| (*v).into()).collect();
                assert_eq!(found.len(), wanted.len());
                let off = found.iter().zip(&wanted).map(|(a, b)| (a - b).abs());
                let (most, count) = (off.clone().max().unwrap(), off.filter(|d| *d > 0).count());
                let share = count as f64 / found.len() as f64;
                // zimg makes chroma smaller before it rounds, in floats too: a tie here and there.
                let (limit, few) = if dither { (1, 1.0) } else { (1, 0.01) };
                assert!(
                    most <= limit && share <= few,
                    "{name} {chroma:?} {siting:?} dither {dither}: {most}, {share}"
                );
            }
        }
    }
}

/// A clip with sound of two kinds: PCM is kept to the sample, AAC by its packets, and what a container does not hold is named.
#[test]
fn the_source_s_sound_is_kept() {
    let dir = tempfile::tempdir().unwrap();
    let make = |name: &str, audio: &[&str]| {
        let file = dir.path().join(name);
        let mut arguments =
            vec!["-v", "error", "-y", "-f", "lavfi", "-i", "testsrc2=size=96x54:rate=24:duration=4"];
        arguments.extend(["-f", "lavfi", "-i", "aevalsrc=0.5*sin(440*t*(1+t))|0.4*sin(330*t*t):s=48000:d=4"]);
        arguments.extend(["-c:v", "prores_ks", "-profile:v", "3", "-timecode", "01:00:00:00"]);
        arguments.extend(audio);
        arguments.push(path(&file));
        tool("ffmpeg", &arguments);
        file
    };
    let pcm = |file: &Path, from: f64| -> Vec<u8> {
        tool(
            "ffmpeg",
            &[
                "-v",
                "error",
                "-ss",
                &from.to_string(),
                "-i",
                path(file),
                "-map",
                "0:a",
                "-f",
                "s24le",
                "-c:a",
                "pcm_s24le",
                "-",
            ],
        )
    };
    let clip = make("pcm.mov", &["-c:a", "pcm_s24le"]);
    let show = show_of(dir.path(), &clip);
    let out = dir.path().join("out");
    let range = ["--frames", "17..64", "--on", "cpu"];
    fine(&[&["render", path(&show), "--out", path(&out), "--format", "prores-422"], &range[..]].concat());
    let movie = out.join("pcm.mov");
    let whole = pcm(&clip, 0.0);
    let (first, last) = (17 * 2000 * 6, 65 * 2000 * 6);
    assert!(pcm(&movie, 0.0) == whole[first..last], "48 frames of 2000 samples, to the sample");
    let probed = probe(&movie);
    assert_eq!(stream(&probed, "audio")["codec_name"], "pcm_s24le");
    // The source's timecode, 17 frames in.
    assert_eq!(open(&movie, &Interpretation::default()).unwrap().info().timecode_start, Some(86400 + 17));
    let said =
        fine(&[&["render", path(&show), "--out", path(&out), "--format", "h264"], &range[..]].concat());
    assert!(said.contains("mp4 does not hold it") && said.contains("--container mov"), "{said}");
    assert!(
        probe(&out.join("pcm.mp4"))["streams"].as_array().unwrap().iter().all(|s| s["codec_type"] != "audio")
    );

    let other = dir.path().join("aac");
    fs::create_dir(&other).unwrap();
    let clip = make("aac.mov", &["-c:a", "aac", "-b:a", "192k"]);
    let show = show_of(&other, &clip);
    let said =
        fine(&[&["render", path(&show), "--out", path(&out), "--format", "h264"], &range[..]].concat());
    assert!(said.contains("cut at its own packets"), "{said}");
    let movie = out.join("aac.mp4");
    let probed = probe(&movie);
    let audio = stream(&probed, "audio");
    assert_eq!(audio["codec_name"], "aac");
    let number = |key: &str| audio[key].as_str().unwrap().parse::<f64>().unwrap();
    assert!((number("duration") - 2.0).abs() < 0.05 && number("start_time") < 0.03, "{audio}");
    let said = fine(
        &[
            &["render", path(&show), "--out", path(&out.join("silent")), "--format", "h264", "--silent"],
            &range[..],
        ]
        .concat(),
    );
    assert!(!said.contains("sound"), "{said}");
}

fn render_command(show: &Path, out: &Path, rest: &[&str]) -> Command {
    let mut command = greyhold();
    command.args(["render", path(show), "--out", path(out)]).args(rest);
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn succeeded(out: &Output) -> String {
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{said}{}", String::from_utf8_lossy(&out.stderr));
    said
}

/// Eight processes, an eighth each at the same time, write what one writes, byte for byte: 200 images, and a movie.
#[test]
fn eight_parts_are_the_whole() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (64, 36), 200);
    for format in ["dpx", "prores-422", "h264"] {
        let (whole, parts) =
            (dir.path().join(format!("whole-{format}")), dir.path().join(format!("parts-{format}")));
        let said = fine(&["render", path(&show), "--out", path(&whole), "--format", format]);
        assert!(said.starts_with("200 frames"), "{said}");
        let all: Vec<_> = (1..=8)
            .map(|k| {
                let part = format!("{k}/8");
                render_command(&show, &parts, &["--format", format, "--part", &part]).spawn().unwrap()
            })
            .collect();
        let mut written = 0;
        for child in all {
            let said = succeeded(&child.wait_with_output().unwrap());
            written += said.split(' ').next().unwrap().parse::<u32>().unwrap();
        }
        assert_eq!(written, 200, "{format}");
        let (whole, parts) = (files(&whole), files(&parts));
        assert_eq!(whole.len(), if format == "dpx" { 200 } else { 1 });
        assert!(whole == parts, "{format}: the parts are not the whole");
    }
}

/// Killed twenty times at moments drawn by lot, and taken up again: the same files as without that, no frame rendered twice that was
/// whole, nothing left beside them, and never half a file under its name.
#[test]
fn killed_twenty_times_and_taken_up_again() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (64, 36), 200);
    for (format, kills) in [("png", 10), ("prores-422", 6), ("h264", 4)] {
        let (whole, killed) =
            (dir.path().join(format!("w-{format}")), dir.path().join(format!("k-{format}")));
        let start = Instant::now();
        fine(&["render", path(&show), "--out", path(&whole), "--format", format, "--on", "cpu"]);
        let takes = start.elapsed();
        let wanted = files(&whole);
        let mut seed = 11u64;
        for round in 0..kills {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let share = 0.05 + 0.25 * ((seed >> 33) as f64 / f64::from(1u32 << 31));
            let mut child =
                render_command(&show, &killed, &["--format", format, "--on", "cpu"]).spawn().unwrap();
            std::thread::sleep(takes.mul_f64(share).max(Duration::from_millis(30)));
            child.kill().unwrap();
            child.wait().unwrap();
            if !killed.exists() {
                continue;
            }
            for (name, bytes) in files(&killed) {
                if name.file_name().unwrap().to_string_lossy().starts_with('.') {
                    continue;
                }
                assert!(
                    wanted.get(&name) == Some(&bytes),
                    "{format}, round {round}: {} is not whole",
                    name.display()
                );
            }
        }
        let said = fine(&["render", path(&show), "--out", path(&killed), "--format", format, "--on", "cpu"]);
        let number =
            |line: usize| said.lines().nth(line).and_then(|l| l.split(' ').next()?.parse::<u32>().ok());
        let (written, kept) = (number(0).unwrap(), number(1).unwrap_or(0));
        assert_eq!(written + kept, 200, "{said}");
        println!("{format}: after {kills} kills {kept} of 200 frames were there");
        assert!(files(&killed) == wanted, "{format}: it is not what it would have been");
        let again = fine(&["render", path(&show), "--out", path(&killed), "--format", format, "--on", "cpu"]);
        assert!(again.starts_with("0 frames written") && again.contains("200 frames were there"), "{again}");
    }
}

/// Other settings are seen and named, and their frames rendered anew; a frame that was removed, or whose source is newer, too.
#[test]
fn frames_of_other_settings_are_rendered_anew() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (64, 36), 10);
    let out = dir.path().join("out");
    let render = |rest: &[&str]| {
        let base = ["render", path(&show), "--out", path(&out), "--on", "cpu"];
        fine(&[&base[..], rest].concat())
    };
    assert!(render(&["--frames", "0..5"]).starts_with("6 frames written"));
    assert!(render(&[]).starts_with("4 frames written"), "a longer range keeps what is there");
    fs::remove_file(out.join("take/take.00003.png")).unwrap();
    assert!(render(&[]).starts_with("1 frames written"));
    let newer = fs::File::options().write(true).open(dir.path().join("footage/take.0007.dpx")).unwrap();
    newer.set_modified(std::time::SystemTime::now() + Duration::from_secs(5)).unwrap();
    assert!(render(&[]).starts_with("1 frames written"));
    newer.set_modified(std::time::SystemTime::now() - Duration::from_secs(3600)).unwrap();
    assert!(render(&["--again"]).starts_with("10 frames written"));
    let before = files(&out);
    fine(&["stage", path(&show), "contrast"]);
    let text = fs::read_to_string(show.join("show.toml")).unwrap();
    assert!(text.contains("contrast"));
    let said = render(&[]);
    assert!(said.starts_with("10 frames written") && said.contains("other settings (look)"), "{said}");
    let after = files(&out);
    assert_ne!(before, after);
    assert!(render(&[]).starts_with("0 frames written"));
    let said = render(&["--display", "srgb"]);
    assert!(said.starts_with("10 frames written") && said.contains("(output)"), "{said}");
    let small = render(&["--size", "32x18"]);
    assert!(small.starts_with("10 frames written"), "{small}");
    assert_eq!(image::open(out.join("take/take.00000.png")).unwrap().width(), 32);
    // The same kind in a movie: packets of other settings are not taken.
    let movie = |rest: &[&str]| render(&[&["--format", "prores-422"], rest].concat());
    assert!(movie(&[]).starts_with("10 frames written"));
    assert!(movie(&[]).starts_with("0 frames written"));
    let said = movie(&["--timecode", "02:00:00:00"]);
    assert!(said.contains("(timecode)"), "{said}");
    assert_eq!(
        open(&out.join("take.mov"), &Interpretation::default()).unwrap().info().timecode_start,
        Some(2 * 86400)
    );
}

/// Ctrl C: what is written is whole, the exit status is a shell's for it, and the same command goes on.
#[cfg(unix)]
#[test]
fn stopped_by_hand() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (96, 54), 200);
    for format in ["tiff", "prores-4444", "h264"] {
        let out = dir.path().join(format);
        let mut child = render_command(&show, &out, &["--format", format, "--on", "cpu"]).spawn().unwrap();
        let start = Instant::now();
        while !out.exists() && start.elapsed() < support::PATIENCE {
            std::thread::sleep(Duration::from_millis(5));
        }
        std::thread::sleep(Duration::from_millis(60));
        // SAFETY: a signal to a child that has not been waited for.
        assert_eq!(unsafe { libc::kill(child.id() as i32, libc::SIGINT) }, 0);
        let ended = child.wait().unwrap();
        let stopped = ended.code() == Some(130);
        // A quick machine may be done before the signal.
        assert!(stopped || ended.success(), "{ended:?}");
        for name in files(&out).keys() {
            assert!(!name.to_string_lossy().contains(".part"), "{} was left", name.display());
        }
        let said = fine(&["render", path(&show), "--out", path(&out), "--format", format, "--on", "cpu"]);
        assert!(stopped || said.starts_with("0 frames"), "{said}");
        let info = match format {
            "tiff" => open(&out.join("take"), &Interpretation::default()),
            "h264" => open(&out.join("take.mp4"), &Interpretation::default()),
            _ => open(&out.join("take.mov"), &Interpretation::default()),
        };
        assert_eq!(info.unwrap().info().frames, 200, "{format}");
    }
}

/// All shots in one movie, in order; sizes that do not divide; a target that cannot be written to.
#[test]
fn one_movie_of_all_and_what_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (64, 36), 30);
    fine(&["add", path(&show), path(&dir.path().join("footage/take.####.dpx")), "--encoding", "logc4"]);
    let out = dir.path().join("out");
    let said = fine(&[
        "render",
        path(&show),
        "--out",
        path(&out),
        "--format",
        "h264",
        "--one-movie",
        "reel",
        "--on",
        "cpu",
    ]);
    assert!(said.contains("60 frames"), "{said}");
    assert_eq!(open(&out.join("reel.mp4"), &Interpretation::default()).unwrap().info().frames, 60);
    let base = ["render", path(&show), "--out", path(&out), "--on", "cpu"];
    let bad = |rest: &[&str]| refused(&[&base[..], rest].concat());
    assert!(bad(&["--format", "h264", "--size", "99x53"]).contains("--size 100x54"));
    assert!(bad(&["--format", "prores-422", "--container", "mp4"]).contains("mov, mkv"));
    assert!(bad(&["--format", "png", "--timecode", "01:00:00:00"]).contains("for movies"));
    assert!(bad(&["--format", "prores-422", "--timecode", "01:00:00:31"]).contains("31 frames are too many"));
    assert!(bad(&["--format", "film"]).contains("prores-4444"));
    assert!(bad(&["--part", "9/8"]).contains("3/8"));
    // A file where the folder should be.
    let file = dir.path().join("plain");
    fs::write(&file, "x").unwrap();
    let said =
        refused(&["render", path(&show), "--out", path(&file), "--on", "cpu", "--format", "prores-422"]);
    assert!(said.contains("could not be made") && said.contains("plain"), "{said}");
    assert_eq!(fs::read(&file).unwrap(), b"x");
}

/// EXR in halves and singles, light and signal.
#[test]
fn exr_of_both_kinds() {
    let dir = tempfile::tempdir().unwrap();
    let show = show(dir.path(), (32, 18), 1);
    for (rest, kind, primaries) in [
        (&[][..], "half", [0.713, 0.293]),
        (&["--floats", "single"][..], "float", [0.713, 0.293]),
        (&["--output", "files"][..], "float", [0.64, 0.33]),
        (&["--output", "files", "--floats", "half"][..], "half", [0.64, 0.33]),
    ] {
        let out = dir.path().join(rest.join("") + "out");
        fine(
            &[&["render", path(&show), "--out", path(&out), "--on", "cpu", "--format", "exr"], rest].concat(),
        );
        let file = out.join("take/take.00000.exr");
        let info = open(&file, &Interpretation::default()).unwrap().info().clone();
        assert!(info.description.contains(kind), "{rest:?}: {}", info.description);
        let meta = exr::meta::MetaData::read_from_file(&file, false).unwrap();
        let red = meta.headers[0].shared_attributes.chromaticities.unwrap().red;
        assert!(
            (f64::from(red.0) - primaries[0]).abs() < 1e-4 && (f64::from(red.1) - primaries[1]).abs() < 1e-4,
            "{red:?}"
        );
    }
}
