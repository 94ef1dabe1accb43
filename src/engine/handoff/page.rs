//! The page that says what was handed over: one file, no scripts, nothing from elsewhere.

use std::fmt::Write as _;

use super::measure::Distance;
use super::samples::Sampled;
use super::{Job, Lut, LutKind, Report, ShotReport, cdl_text, is_trimmed, transform_text};
use crate::check::png;
use crate::colour::DISPLAYS;
use crate::media::timecode::Counting;
use crate::picture::{Recipe, Tail, cpu};
use crate::show::recipe;

/// The page's file.
pub const FILE: &str = "handoff.html";

/// Pixels across a picture.
const WIDTH: u32 = 384;

/// A distance beyond which the page warns, in codes of ten bits at the 99th percentile.
const NEAR: f64 = 1.0;

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn named(keys: &[&str]) -> String {
    let mut names: Vec<String> = keys.iter().map(|k| k.replace('-', " ")).collect();
    names.dedup();
    names.join(", ")
}

/// What people have to know before they use any of it.
pub fn warnings(job: &Job<'_>, left_out: &[&'static str], shots: &[ShotReport]) -> Vec<String> {
    let mut all = Vec::new();
    if !left_out.is_empty() {
        all.push(format!(
            "No table holds {}: what reads its neighbours or asks for its place is no function of a colour. Files rendered by \
             Greyhold have it; pictures made with these tables do not.",
            named(left_out)
        ));
    }
    let names = |pick: &dyn Fn(&ShotReport) -> bool| {
        let names: Vec<_> =
            shots.iter().filter(|s| pick(s)).map(|s| job.show.shots[s.shot].name.as_str()).collect();
        (!names.is_empty()).then(|| names.join(", "))
    };
    if let Some(names) = names(&|s| s.decision.fitted && s.decision.distance.p99 > NEAR) {
        all.push(format!(
            "The decisions of these shots stand for a balance that no ASC CDL carries, and are more than one 10-bit code from it at \
             the 99th percentile: {names}. Their own tables hold all of it; in a CDL-safe show decisions do."
        ));
    }
    let chain = &job.show.chain;
    if let Some(names) = names(&|s| *job.show.chain_of(&job.show.shots[s.shot]) != *chain) {
        all.push(format!(
            "These shots have more or less of the look than the show: {names}. The show's tables do not know; the shots' own do."
        ));
    }
    let settings = job.settings();
    if is_trimmed(&settings) {
        all.push(format!("The tables to {} hold that output's trim.", settings.display.name));
    }
    if job.show.outputs.get(job.output).calibration.is_some() {
        all.push("The output's calibration, which is for one monitor, is in no table.".to_owned());
    }
    all
}

/// The page.
pub fn page(job: &Job<'_>, sampled: &[Sampled], report: &Report) -> String {
    let display = job.display();
    let mut out = String::new();
    let title = escaped(&job.show.name);
    let _ = write!(
        out,
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <title>{title}: hand-off</title><style>{STYLE}</style></head><body><header><h1>{title}</h1><p>Hand-off of {} \
         shots, {}. Pictures and figures are for {} by {}; colour decisions work on {}.</p></header>\n",
        report.shots.len(),
        &super::files::date_time(job.now)[..10],
        escaped(&display.name),
        escaped(&transform_text(job.show)),
        escaped(job.space.name)
    );
    if !report.warnings.is_empty() {
        out.push_str("<section class=\"warn\"><h2>To know beforehand</h2><ul>");
        report.warnings.iter().for_each(|w| _ = write!(out, "<li>{}</li>", escaped(w)));
        out.push_str("</ul></section>\n");
    }
    out.push_str(
        "<section><h2>What a colour goes through</h2><p>The camera's signal is decoded to scene-linear light in ACES AP1 and put on \
         the working encoding; there the shot's decision acts, without holding values to 0…1, power leaving negative ones alone \
         (Academy S-2016-001, appendix A). Then comes the show's chain, then the output transform. Figures are differences from \
         the live path in codes of 10 bits, of a colour's channel that differs most: half of the show's own colours are nearer \
         than p50, 99 of 100 nearer than p99.</p></section>\n<section><h2>The show's tables</h2>",
    );
    luts(&mut out, &report.luts);
    out.push_str("</section>\n<section><h2>Shots</h2>");
    for (shot, sampled) in report.shots.iter().zip(sampled) {
        one(&mut out, job, shot, sampled);
    }
    out.push_str("</section>\n<section><h2>Checksums</h2><p>SHA-256; <code>sha256sum --check checksums.sha256</code> holds them against the \
                  files.</p><table class=\"sums\">");
    for file in &report.files {
        let _ = write!(out, "<tr><td>{}</td><td><code>{}</code></td></tr>", escaped(&file.path), file.sha256);
    }
    out.push_str("</table></section></body></html>\n");
    out
}

fn codes(distance: &Distance) -> String {
    let far = if distance.p99 > NEAR { " class=\"far\"" } else { "" };
    format!(
        "<td class=\"n\">{:.2}</td><td class=\"n\"><span{far}>{:.2}</span></td><td class=\"n\">{:.2}</td>",
        distance.p50, distance.p99, distance.max
    )
}

fn luts(out: &mut String, luts: &[Lut]) {
    out.push_str("<table><tr><th>File</th><th>What it is</th><th class=\"n\">p50</th><th class=\"n\">p99</th><th class=\"n\">max</th></tr>");
    for lut in luts {
        let outside = match lut.outside {
            (0, _) => String::new(),
            (n, of) => {
                format!("; {:.2} % of the colours lie outside of what it reads", 100.0 * n as f64 / of as f64)
            }
        };
        let on = if matches!(lut.kind, LutKind::Aces | LutKind::Chain) { "; figures on ACEScct" } else { "" };
        let _ = write!(
            out,
            "<tr><td>{}</td><td>{}{}{on}</td>{}</tr>",
            escaped(&lut.file.path),
            escaped(&lut.about),
            outside,
            codes(&lut.distance)
        );
    }
    out.push_str("</table>");
}

fn one(out: &mut String, job: &Job<'_>, report: &ShotReport, sampled: &Sampled) {
    let shot = &job.show.shots[report.shot];
    let counting = Counting::of(sampled.info.rate, sampled.info.drop_frame);
    let first = super::super::incoming::first_frame(&sampled.info) + shot.start;
    let last = first + (shot.end - shot.start);
    let _ = write!(
        out,
        "<article><h3>{}</h3><p class=\"about\">{}, {}, {} to {}, {} frames</p><div class=\"pair\">",
        escaped(&shot.name),
        escaped(&sampled.info.name),
        escaped(shot.encoding.name),
        counting.text(first),
        counting.text(last),
        shot.end - shot.start
    );
    let frame = sampled.frames.get(sampled.frames.len() / 2).copied().unwrap_or(0);
    for (what, picture) in
        [("before", picture(job, report, sampled, false)), ("after", picture(job, report, sampled, true))]
    {
        if let Some((width, pixels)) = picture {
            let _ = write!(
                out,
                "<figure><img alt=\"frame {frame}, {what}\" src=\"{}\"><figcaption>{what}, frame {frame}</figcaption></figure>",
                png(width, &pixels)
            );
        }
    }
    out.push_str("</div><table class=\"cdl\"><tr><th></th><th class=\"n\">red, green, blue</th></tr>");
    let values = cdl_text(&report.decision.cdl);
    for (name, value) in ["Slope", "Offset", "Power", "Saturation"].iter().zip(values) {
        let _ = write!(out, "<tr><th>{name}</th><td class=\"n\">{value}</td></tr>");
    }
    let how = if report.decision.fitted {
        "Fitted to a balance that no decision on this encoding is; what is left, in 10-bit codes:"
    } else {
        "The shot's balance exactly; measured all the same, in 10-bit codes:"
    };
    let _ = write!(out, "</table><p>{how} {}.</p>", report.decision.distance.text());
    if !report.left_out.is_empty() {
        let _ = write!(out, "<p>In no table: {}.</p>", escaped(&named(&report.left_out)));
    }
    if !report.luts.is_empty() {
        luts(out, &report.luts);
    }
    let others: Vec<_> = report.files.iter().map(|f| escaped(&f.path)).collect();
    let _ = write!(out, "<p class=\"about\">{}</p></article>", others.join(", "));
}

/// A shot's middle frame as a browser shows it: for Rec. 709's primaries and sRGB's curve, whatever the output has,
/// where the show's output transform can. Small, and with texture as it is at that size.
fn picture(
    job: &Job<'_>,
    report: &ShotReport,
    sampled: &Sampled,
    graded: bool,
) -> Option<(usize, Vec<[u8; 3]>)> {
    let srgb = DISPLAYS.iter().find(|d| d.id == "srgb")?;
    let display = if job.show.check_display(srgb).is_ok() { srgb.clone().into() } else { job.display() };
    let settings = crate::show::OutputSettings::new(display);
    let tail: Tail = job.show.tail_of(&settings);
    let (width, height) = job.show.raster.unwrap_or((sampled.frame.width, sampled.frame.height));
    let across = WIDTH.min(width);
    let down = (u64::from(height) * u64::from(across) / u64::from(width.max(1))).max(1) as u32;
    let mut made: Recipe = recipe(job.show, report.shot, tail, 0)?;
    made.raster = Some((across, down));
    if !graded {
        made.balance = Some(crate::picture::Balance::default());
        made.stages.clear();
    }
    let signal = cpu::signal(&made, &sampled.frame);
    let code = |x: f32| (x.clamp(0.0, 1.0) * 255.0).round() as u8;
    Some((across as usize, signal.pixels.iter().map(|p| p.map(code)).collect()))
}

const STYLE: &str = "\
:root{color-scheme:light}\
body{font:15px/1.5 system-ui,-apple-system,\"Segoe UI\",\"Liberation Sans\",sans-serif;color:#222;background:#f4f4f4;margin:0 auto;max-width:60rem;padding:2.5rem 1.5rem}\
h1{font-size:1.7rem;font-weight:600;margin:0}h2{font-size:1.15rem;font-weight:600;margin:2.2rem 0 .6rem}h3{font-size:1.05rem;font-weight:600;margin:0}\
p{margin:.4rem 0}.about{color:#666}\
section.warn{background:#e6e6e6;border-left:4px solid #555;padding:.2rem 1.2rem .6rem;margin-top:1.5rem}section.warn h2{margin-top:.8rem}\
table{border-collapse:collapse;width:100%;margin:.6rem 0;font-size:.9rem}th,td{text-align:left;vertical-align:top;padding:.3rem .9rem .3rem 0;border-bottom:1px solid #ddd}\
td:first-child{overflow-wrap:anywhere}th{font-weight:600}.n{text-align:right;font-variant-numeric:tabular-nums;white-space:pre}\
.n:last-child{padding-right:0}.far{font-weight:700;border-bottom:2px solid #222}\
table.cdl{width:auto}table.sums code{font-size:.72rem;overflow-wrap:anywhere}\
article{background:#fff;border:1px solid #ddd;padding:1.1rem 1.3rem;margin:1rem 0;break-inside:avoid}\
.pair{display:grid;grid-template-columns:1fr 1fr;gap:.8rem;background:#777;padding:.8rem;margin:.8rem 0;print-color-adjust:exact;-webkit-print-color-adjust:exact}\
figure{margin:0}img{width:100%;display:block}figcaption{color:#fff;font-size:.8rem;padding-top:.3rem}\
@media print{body{background:#fff;max-width:none;padding:0}article{border-color:#bbb}}\
@page{margin:14mm}";
