//! An HDR chart, rendered by the program and read back from its files: the signals are BT.2100's.
//!
//! `tests/oracle/hdr_chart.py` made the chart; its first lines say from what. FFmpeg reads the files, and a DPX's codes
//! are besides taken from where SMPTE ST 268-1 puts them.

mod support;

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use greyhold::colour::AP1;
use greyhold::media::{Image, ImageFormat, write_image};
use support::greyhold;

/// Pixels of a patch, each way: a mean of so many dithered codes lies within 0.05 of the signal.
const PATCH: usize = 32;
/// Patches of a row of the chart.
const ACROSS: usize = 8;

struct Patch {
    name: String,
    nits: [f64; 3],
    acescg: [f64; 3],
    /// PQ and HLG.
    signals: [[f64; 3]; 2],
}

fn chart() -> Vec<Patch> {
    let text = include_str!("data/hdr_chart.csv");
    assert!(text.starts_with("# colour-science "));
    let mut lines = text.lines().skip_while(|l| l.starts_with('#'));
    assert_eq!(
        lines.next().unwrap(),
        "name,nits_r,nits_g,nits_b,acescg_r,acescg_g,acescg_b,pq_r,pq_g,pq_b,hlg_r,hlg_g,hlg_b"
    );
    let patches: Vec<Patch> = lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let three = |from: usize| std::array::from_fn(|c| cells[from + c].parse().unwrap());
            Patch { name: cells[0].into(), nits: three(1), acescg: three(4), signals: [three(7), three(10)] }
        })
        .collect();
    assert_eq!(patches.len(), 48);
    patches
}

/// ITU-R BT.2100-2, table 4: PQ's inverse EOTF.
fn pq(nits: f64) -> f64 {
    let (m_1, m_2) = (2610.0 / 16384.0, 2523.0 / 4096.0 * 128.0);
    let (c_1, c_2, c_3) = (3424.0 / 4096.0, 2413.0 / 4096.0 * 32.0, 2392.0 / 4096.0 * 32.0);
    let y = (nits / 10_000.0).powf(m_1);
    ((c_1 + c_2 * y) / (1.0 + c_3 * y)).powf(m_2)
}

/// ITU-R BT.2100-2, table 5, for a neutral: the OOTF of gamma 1.2 undone, then the OETF.
fn hlg(nits: f64) -> f64 {
    let (a, b, c) = (0.17883277, 0.28466892, 0.55991073);
    let e = (nits / 1000.0).powf(1.0 / 1.2);
    if e <= 1.0 / 12.0 { (3.0 * e).sqrt() } else { a * (12.0 * e - b).ln() + c }
}

fn tool(arguments: &[&str]) -> Vec<u8> {
    let out = Command::new("ffmpeg").args(arguments).stderr(Stdio::piped()).output();
    let out = out.unwrap_or_else(|e| panic!("ffmpeg does not start ({e}): see tests/setup.sh"));
    assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
    out.stdout
}

fn fine(arguments: &[&str]) {
    let out = greyhold().args(arguments).output().unwrap();
    assert!(out.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&out.stderr));
}

fn path(p: &Path) -> &str {
    p.to_str().unwrap()
}

/// A show of one shot, a chart of patches of ACEScg light, under an output transform.
fn show(dir: &Path, light: &[[f64; 3]], transform: &str) -> PathBuf {
    let rows = light.len().div_ceil(ACROSS);
    let (width, height) = (ACROSS * PATCH, rows * PATCH);
    let pixels: Vec<[f32; 3]> = (0..width * height)
        .map(|i| {
            let patch = i / width / PATCH * ACROSS + i % width / PATCH;
            light.get(patch).unwrap_or(&[0.0; 3]).map(|v| v as f32)
        })
        .collect();
    let (width, height) = (width as u32, height as u32);
    let image = Image::Floats { width, height, pixels: &pixels, primaries: AP1, half: false };
    std::fs::create_dir_all(dir).unwrap();
    let (file, show) = (dir.join("chart.exr"), dir.join("show"));
    write_image(&file, ImageFormat::Exr, &image).unwrap();
    fine(&["new", path(&show)]);
    fine(&["add", path(&show), path(&file), "--encoding", "acescg"]);
    let toml = show.join("show.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    assert!(text.contains("transform = \"aces2\""));
    std::fs::write(&toml, text.replace("transform = \"aces2\"", &format!("transform = \"{transform}\"")))
        .unwrap();
    show
}

/// Renders the only frame of a show; its file.
fn render(show: &Path, display: &str, format: &str, on: &str) -> PathBuf {
    let out = show.with_file_name(format!("{display}-{format}-{on}"));
    fine(&["render", path(show), "--out", path(&out), "--display", display, "--format", format, "--on", on]);
    out.join("chart").join(format!("chart.00000.{format}"))
}

/// The planes of a file as FFmpeg reads them, G, B, R, and put in order: R, G, B.
fn planes<const N: usize, T>(file: &Path, format: &str, read: impl Fn([u8; N]) -> T) -> [Vec<T>; 3] {
    let raw = tool(&["-v", "error", "-i", path(file), "-f", "rawvideo", "-pix_fmt", format, "-"]);
    let all: Vec<T> = raw.as_chunks::<N>().0.iter().map(|b| read(*b)).collect();
    let size = all.len() / 3;
    let mut parts: Vec<Vec<T>> = Vec::new();
    let mut all = all.into_iter();
    for _ in 0..3 {
        parts.push(all.by_ref().take(size).collect());
    }
    let red = parts.pop().unwrap();
    let blue = parts.pop().unwrap();
    [red, parts.pop().unwrap(), blue]
}

/// The pixels of a patch.
fn of_patch<T: Copy>(plane: &[T], patch: usize) -> Vec<T> {
    let (left, top) = (patch % ACROSS * PATCH, patch / ACROSS * PATCH);
    (0..PATCH * PATCH).map(|i| plane[(top + i / PATCH) * ACROSS * PATCH + left + i % PATCH]).collect()
}

/// ST 268-1: where the image begins stands at byte 4; one element of RGB in 10 bits a sample, filled to 32-bit words
/// from the left (method A), at 800 to 804.
fn dpx_codes(file: &Path) -> [Vec<u16>; 3] {
    let bytes = std::fs::read(file).unwrap();
    assert_eq!(&bytes[..4], b"SDPX", "the most significant byte comes first");
    let word = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    assert_eq!((bytes[800], bytes[803], &bytes[804..806]), (50, 10, &[0u8, 1][..]));
    let pixels = word(772) as usize * word(776) as usize;
    let words: Vec<u32> = (0..pixels).map(|i| word(word(4) as usize + 4 * i)).collect();
    [22, 12, 2].map(|shift| words.iter().map(|w| (w >> shift & 1023) as u16).collect())
}

/// Renders to both files and holds every patch to its signal.
fn check(show: &Path, display: &str, wanted: &[[f64; 3]], bar: impl Fn(&str) -> f64) {
    for on in ["cpu", "gpu"] {
        let floats = planes(&render(show, display, "exr", on), "gbrpf32le", f32::from_le_bytes);
        let dpx = render(show, display, "dpx", on);
        let codes = planes(&dpx, "gbrp10le", u16::from_le_bytes);
        assert!(codes == dpx_codes(&dpx), "FFmpeg and the published layout read one file alike");
        let (mut of_signal, mut of_mean) = (0f64, 0f64);
        for (n, signal) in wanted.iter().enumerate() {
            for c in 0..3 {
                for found in of_patch(&floats[c], n) {
                    of_signal = of_signal.max((f64::from(found) - signal[c]).abs());
                }
                // HLG's signal of a saturated colour near peak is above 1: floats hold it, codes end there.
                let code = 1023.0 * signal[c].min(1.0);
                let found = of_patch(&codes[c], n);
                let mean = found.iter().map(|&v| f64::from(v)).sum::<f64>() / found.len() as f64;
                // Triangular noise of a code either way, and rounding.
                assert!(
                    found.iter().all(|&v| (f64::from(v) - code).abs() <= 1.51),
                    "{display} {on}: patch {n} is not {code}"
                );
                // Noise that would pass an end is held there, so that means next to it lean inwards.
                let next_to_an_end = (0.0..1.5).contains(&(1023.0 - code).min(code)) && code < 1023.0;
                assert!(
                    (mean - code).abs() <= if next_to_an_end { 0.3 } else { 0.1 },
                    "{display} {on}: patch {n}"
                );
                if !next_to_an_end {
                    of_mean = of_mean.max((mean - code).abs());
                }
            }
        }
        println!(
            "{display} {on}: EXR within {of_signal:.1e} of signal, means of 10-bit patches within {of_mean:.3} codes"
        );
        assert!(of_signal <= bar(on), "{display} {on}: {of_signal:e}");
    }
}

/// The chart's table is BT.2100's: the closed forms, and the values that documents print. PQ of 100 cd/m² is 0.5081,
/// of 1000 0.7518; HDR reference white, 203 cd/m², is 58 % PQ and 75 % HLG, grey at 26 cd/m² 38 % of both
/// (ITU-R BT.2408-7, table 1, from memory).
#[test]
fn the_chart_is_bt_2100s() {
    let mut greys = 0;
    for patch in chart() {
        for c in 0..3 {
            assert!((patch.signals[0][c] - pq(patch.nits[c])).abs() < 1e-6, "{}", patch.name);
        }
        if patch.name == "grey" {
            assert!((patch.signals[1][0] - hlg(patch.nits[0])).abs() < 1e-6);
            greys += 1;
        }
    }
    assert_eq!(greys, 12);
    for (nits, of_pq, of_hlg, within) in [(203.0, 0.58, 0.75, 0.005), (26.0, 0.38, 0.38, 0.005)] {
        assert!((pq(nits) - of_pq).abs() < within && (hlg(nits) - of_hlg).abs() < within, "{nits}");
    }
    assert!((pq(100.0) - 0.508078).abs() < 1e-6 && (pq(1000.0) - 0.751827).abs() < 1e-6);
    assert!((hlg(1000.0) - 1.0).abs() < 1e-6);
}

/// Known display light through no output transform.
#[test]
fn known_light_has_bt_2100s_signals() {
    let dir = tempfile::tempdir().unwrap();
    let chart = chart();
    let light: Vec<_> = chart.iter().map(|p| p.acescg).collect();
    let show = show(dir.path(), &light, "none");
    // Rounding of light where PQ is steepest, at 0.01 cd/m²; the GPU's is that of gpu::PQ_SIGNAL.
    let bar = |on: &str| if on == "cpu" { 2e-5 } else { 4e-5 };
    for (display, n) in [("rec2100-pq-1000", 0), ("rec2100-hlg-1000", 1)] {
        let wanted: Vec<_> = chart.iter().map(|p| p.signals[n]).collect();
        check(&show, display, &wanted, bar);
    }
}

/// Scene light of neutrals through both renderings: the Academy's ACES 2 documentation, Output Transforms, Tone
/// Mapping, prints the cd/m² of 0.18, 1 and 2 at a peak of 1000 (tests/data/tone_scale.csv).
#[test]
fn rendered_neutrals_have_the_academys_light() {
    let dir = tempfile::tempdir().unwrap();
    let printed = [(0.18, 14.512), (1.0, 106.564), (2.0, 205.783)];
    let light = printed.map(|(scene, _)| [scene; 3]);
    for transform in ["aces2", "plain"] {
        let show = show(&dir.path().join(transform), &light, transform);
        for (display, encode) in [("rec2100-pq-1000", pq as fn(f64) -> f64), ("rec2100-hlg-1000", hlg)] {
            // Light printed to 0.0005 cd/m² of 14.512 is 1e-5 of signal.
            check(&show, display, &printed.map(|(_, nits)| [encode(nits); 3]), |_| 4e-5);
        }
    }
}
