//! A frame that is gone to is the frame that playing on would have come to: long-GOP files that the `ffmpeg` program wrote, with
//! frames asked for at random, against what that program decodes from the first frame to the last.

use std::path::Path;
use std::process::{Command, Stdio};

use greyhold::media::{Interpretation, open};

const FRAMES: usize = 260;
const SIZE: (u32, u32) = (192, 108);

fn ffmpeg(line: &str, file: &Path) -> Vec<u8> {
    let args = line.split(' ').map(|a| if a == "FILE" { file.to_str().unwrap() } else { a });
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-nostdin", "-y"]).args(args).stdin(Stdio::null());
    let output =
        command.output().expect("these tests need the `ffmpeg` program (Debian: apt-get install ffmpeg)");
    assert!(output.status.success(), "ffmpeg {line}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// 200 random frames, and each of the first and last few, equal FFmpeg's decoding in order, byte for byte.
fn check(name: &str, encoder: &str, pixel: &str, rate: &str) {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join(name);
    let (width, height) = SIZE;
    // Noise over a moving pattern, so that no two frames are alike.
    let source = format!("testsrc2=size={width}x{height}:rate={rate},noise=alls=12:allf=t");
    ffmpeg(&format!("-f lavfi -i {source} -frames:v {FRAMES} -pix_fmt {pixel} {encoder} FILE"), &file);
    let all = ffmpeg(&format!("-i FILE -f rawvideo -fps_mode passthrough -pix_fmt {pixel} -"), &file);
    let each = all.len() / FRAMES;
    assert_eq!(each * FRAMES, all.len(), "{name}");
    let linear: Vec<&[u8]> = all.chunks_exact(each).collect();
    assert!((1..FRAMES).all(|i| linear[i] != linear[i - 1]), "{name}: frames can be told apart");

    let mut source = open(&file, &Interpretation::default()).unwrap();
    assert_eq!(source.info().frames as usize, FRAMES, "{name}");
    let mut seed = 0x2545_f491_u32;
    let mut random = || {
        seed = seed.wrapping_mul(1664525).wrapping_add(1013904223);
        (seed >> 8) as usize % FRAMES
    };
    let ends = [0, FRAMES - 1, 1, FRAMES - 2, 0, FRAMES / 2];
    // Jumps either way, and single steps on and back from where they led.
    let mut asked: Vec<usize> = ends.into_iter().chain((0..200).map(|_| random())).collect();
    let steps: Vec<usize> =
        asked[6..26].iter().flat_map(|at| [*at, (at + 1).min(FRAMES - 1), at.saturating_sub(1)]).collect();
    asked.extend(steps);
    for (i, at) in asked.into_iter().enumerate() {
        let frame = source.frame(at as u64).unwrap_or_else(|e| panic!("{name}, frame {at}: {e}"));
        let planes: Vec<u8> = frame.planes.iter().flat_map(|p| p.data.iter().copied()).collect();
        if planes != linear[at] {
            let is = linear.iter().position(|frame| *frame == planes);
            panic!("{name}: number {i}, frame {at} is {is:?} of those decoded in order");
        }
    }
}

#[test]
fn h264_with_long_groups() {
    check("a.mp4", "-c:v libx264 -preset veryfast -g 60 -bf 3", "yuv420p", "25");
    check(
        "b.mov",
        "-c:v libx264 -preset veryfast -g 48 -bf 3 -x264-params open-gop=1",
        "yuv422p10le",
        "24000/1001",
    );
}

#[test]
fn hevc_with_long_groups() {
    let quiet = "log-level=error:pools=1:frame-threads=1";
    let encoder =
        format!("-c:v libx265 -preset ultrafast -x265-params keyint=60:bframes=4:open-gop=1:{quiet}");
    check("a.mov", &encoder, "yuv420p10le", "24");
    let encoder =
        format!("-c:v libx265 -preset ultrafast -x265-params keyint=72:bframes=3:open-gop=0:{quiet}");
    check("b.mp4", &encoder, "yuv422p10le", "30000/1001");
}
