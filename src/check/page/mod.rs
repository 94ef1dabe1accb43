//! The report as a page: one file of HTML, with its pictures inside and nothing to fetch.

pub(super) mod plot;

use std::fmt::Write;

use self::plot::Plot;
pub(crate) use self::plot::{base64, png};
use super::hue::{CHROMAS, LUMINANCES, turn};
use super::{Report, Row, Verdict};
use crate::colour::display;

/// A report as a page of HTML.
pub fn page(report: &Report) -> String {
    let name = escaped(&report.name);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width\"><title>{name}: look check</title>\
         <style>{}</style></head><body><main>\n",
        include_str!("page.css")
    );
    head(&mut out, report, &name);
    let figures = [
        (
            "Tone of neutrals",
            "Stops over middle grey, in and out, each channel. Dashed: no look.",
            tone(report),
        ),
        ("Slope of the tone", "What a stop becomes. Shaded: where it may lie.", slope(report)),
        ("Tint of neutrals", "How far neutrals are from neutral; 1 is just visible.", tint(report)),
        (
            "Hue in, hue out",
            "Nine rings of colour. A line that falls is a hue that runs backwards.",
            hues(report),
        ),
        (
            "Skin",
            "From open to full dots, −2 to +1 stops. Dashed: the line at 123° that skins lie about.",
            skins(report),
        ),
    ];
    out.push_str("<section class=\"figures\">\n");
    for (title, about, svg) in figures {
        let _ = writeln!(out, "<figure><figcaption><b>{title}</b>{about}</figcaption>{svg}</figure>");
    }
    let _ = writeln!(
        out,
        "<figure><figcaption><b>Growth of volumes</b>The smallest on each line of sight through the cube of colours. Red: \
         folds, the darker the more.</figcaption>{}</figure>\n</section>",
        folds(report)
    );
    ramps(&mut out, report);
    table(&mut out, report);
    out.push_str("</main></body></html>\n");
    out
}

pub(super) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// The same with the sign that numbers have in print.
pub(super) fn minus(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text.chars().peekable();
    let mut before = ' ';
    while let Some(c) = rest.next() {
        let sign = c == '-' && before == ' ' && rest.peek().is_some_and(char::is_ascii_digit);
        out.push(if sign { '−' } else { c });
        before = c;
    }
    out
}

fn head(out: &mut String, report: &Report, name: &str) {
    let failed = report.failures().count();
    let judged = report.rows.iter().filter(|r| r.verdict != Verdict::Told).count();
    let (class, verdict) = match failed {
        0 => ("pass", "Sound".to_owned()),
        n => ("fail", format!("{n} of {judged} past their limits")),
    };
    let says = report.intent.map_or("a colour look".to_owned(), |i| format!("says that it is {}", i.id()));
    let _ = write!(
        out,
        "<header><p class=\"kind\">Look check</p><h1>{name}</h1>\
         <p class=\"verdict {class}\">{verdict}</p>\
         <p class=\"facts\">strength {} · {says} · {judged} values judged, seen through ACES 2.0 on a \
         BT.1886 display of 100 cd/m²</p>",
        report.strength
    );
    if failed > 0 {
        out.push_str("<ul class=\"failures\">");
        for row in report.failures() {
            let _ = write!(
                out,
                "<li>{} <b>{}</b> <span>{}{}</span></li>",
                row.declared.name,
                minus(&row.shown()),
                limit_text(row),
                if row.note.is_empty() {
                    String::new()
                } else {
                    format!(" · {}", minus(&escaped(&row.note)))
                }
            );
        }
        out.push_str("</ul>");
    }
    for note in &report.notes {
        let _ = write!(out, "<p class=\"note\">{}</p>", escaped(note));
    }
    out.push_str("</header>\n");
}

/// "limit ≤ 3", or nothing.
fn limit_text(row: &Row) -> String {
    let text = row.limit.as_ref().map_or(String::new(), |l| l.text());
    if text.is_empty() { text } else { format!("limit {text}") }
}

/// Size of a plot's field.
const FIELD: [f64; 2] = [300.0, 220.0];
const STOPS: [f64; 8] = [-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0, 8.0];
const STOPS_NAME: &str = "stops over grey, in";

fn tone(report: &Report) -> String {
    let range = [-6.0, 8.2];
    let mut plot = Plot::new(FIELD, range, range)
        .axes(&STOPS, STOPS_NAME, &STOPS, "out")
        .line("bare", [[-6.0, -6.0], [8.2, 8.2]]);
    for (c, class) in ["blue", "green", "red"].into_iter().enumerate() {
        let c = 2 - c;
        plot = plot.line(class, report.figures.tone.points.iter().map(|(x, y)| [*x, y[c]]));
    }
    plot.svg()
}

fn slope(report: &Report) -> String {
    let limit = |key: &str| report.row(key).and_then(|r| r.limit.as_ref());
    let most = limit("slope-most").and_then(|l| l.most);
    let mut plot = Plot::new(FIELD, [-6.0, 8.2], [-0.25, 2.25]);
    if let Some(most) = most {
        plot = plot.area("allowed", [-4.0, 0.0], [4.0, most]);
    }
    plot = plot.axes(&STOPS, STOPS_NAME, &[0.0, 0.5, 1.0, 1.5, 2.0], "out per in");
    if let Some((least, most)) = limit("slope-grey").and_then(|l| l.least.zip(l.most)) {
        plot = plot.line("mark", [[0.0, least], [0.0, most]]);
        plot = plot.words("tick", [0.0, least], [5.0, 11.0], "start", "at grey");
    }
    plot.line("ink", report.figures.tone.slopes.iter().copied()).svg()
}

fn tint(report: &Report) -> String {
    let limit = |key: &str| report.row(key).and_then(|r| r.limit.as_ref()?.most);
    let curve = &report.figures.toning;
    let top = curve.iter().map(|p| p[1]).fold(limit("toning-most").unwrap_or(1.0), f64::max);
    let step =
        [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0].into_iter().find(|s| top / s < 6.0).unwrap_or(200.0);
    let ticks: Vec<f64> = (0..=6).map(|i| f64::from(i) * step).take_while(|v| *v <= top * 1.08).collect();
    let mut plot = Plot::new(FIELD, [-6.0, 8.2], [0.0, top * 1.08]);
    if let Some(most) = limit("toning-most") {
        plot = plot.area("allowed", [-6.0, 0.0], [8.2, most]);
    }
    plot = plot.axes(&STOPS, STOPS_NAME, &ticks, "ΔE ITP");
    if let Some(most) = limit("toning-grey") {
        plot = plot.line("mark", [[0.0, 0.0], [0.0, most]]);
        plot = plot.words("tick", [0.0, most], [5.0, 3.0], "start", "at grey");
    }
    plot.line("ink", curve.iter().copied()).svg()
}

fn hues(report: &Report) -> String {
    let degrees = [-180.0, -90.0, 0.0, 90.0, 180.0];
    let range = [-180.0, 180.0];
    let mut plot = Plot::new(FIELD, range, range)
        .axes(&degrees, "degrees in", &degrees, "degrees out")
        .line("bare", [[-180.0, -180.0], [180.0, 180.0]]);
    for ring in report.figures.rings.iter().filter(|r| !r.pale) {
        let light = LUMINANCES.iter().position(|l| *l == ring.luminance).unwrap_or(0);
        let chroma = CHROMAS.iter().position(|c| *c == ring.chroma).unwrap_or(0);
        // Folded into one turn; where a line leaves at an edge it is broken.
        let mut last: Option<[f64; 2]> = None;
        let mut points = Vec::new();
        for hue in &ring.hues {
            let at = [turn(hue[0]), turn(hue[1])];
            if last.is_some_and(|l| (0..2).any(|k| (at[k] - l[k]).abs() > 180.0)) {
                points.push([f64::NAN; 2]);
            }
            points.push(at);
            last = Some(at);
        }
        plot = plot.line(&format!("ring light{light} chroma{chroma}"), points);
    }
    if report.figures.rings.iter().all(|r| r.pale) {
        plot = plot.words("tick", [0.0, 60.0], [0.0, 0.0], "middle", "neutral: no hues");
    }
    let key = ["Y 0.02", "Y 0.18", "Y 0.9"]
        .iter()
        .enumerate()
        .map(|(i, t)| format!("<span class=\"key light{i}\">{t}</span>"))
        .collect::<String>();
    format!("{}<p class=\"keys\">{key}<span>thin to thick: chroma 0.2, 0.5, 0.8</span></p>", plot.svg())
}

fn skins(report: &Report) -> String {
    // Both axes have the same scale, so that angles are angles; whatever is there, and no colour, is in view.
    let ends = || report.figures.skins.iter().flat_map(|s| [s.before, s.after]).chain([[0.0, 0.0]]);
    let end = |k: usize, pick: fn(f64, f64) -> f64| ends().map(|p| p[k]).reduce(pick).unwrap_or(0.0);
    let (low, high) = ([0, 1].map(|k| end(k, f64::min)), [0, 1].map(|k| end(k, f64::max)));
    let share = (0..2).map(|k| (high[k] - low[k]) / FIELD[k]).fold(0.02 / FIELD[1], f64::max);
    let [x, y] = [0, 1].map(|k| {
        let (middle, half) = (0.5 * (low[k] + high[k]), 0.6 * share * FIELD[k]);
        [middle - half, middle + half]
    });
    let line = |degrees: f64, length: f64| {
        let (s, c) = degrees.to_radians().sin_cos();
        [[0.0, 0.0], [c * length, s * length]]
    };
    let ticks = |range: [f64; 2]| -> Vec<f64> {
        (-10..=10).map(|i| f64::from(i) * 0.05).filter(|v| (range[0]..range[1]).contains(v)).collect()
    };
    let sub = |letter: &str| format!("C<tspan dy=\"2\" font-size=\"8\">{letter}</tspan>");
    let mut plot = Plot::new(FIELD, x, y)
        .axes(&ticks(x), &sub("B"), &ticks(y), &sub("R"))
        .line("bare", line(123.0, 1.0));
    for skin in &report.figures.skins {
        let class = if skin.which == 0 { "dark" } else { "light" };
        plot = plot
            .line(&format!("way {class}"), [skin.before, skin.after])
            .dot(&format!("open {class}"), skin.before, 3.2)
            .dot(&format!("full {class}"), skin.after, 3.2);
    }
    format!(
        "{}<p class=\"keys\"><span class=\"key skin0\">dark skin</span><span class=\"key skin1\">light skin</span>\
         <span>open: without the look</span></p>",
        plot.svg()
    )
}

/// From flat through shrunk to as it was and grown; and the more of a line of sight is folded, the redder.
fn volume_colour(det: f64, folded: f64) -> [u8; 3] {
    let mix = |a: [f64; 3], b: [f64; 3], s: f64| -> [f64; 3] {
        let s = s.clamp(0.0, 1.0);
        std::array::from_fn(|c| a[c] + (b[c] - a[c]) * s)
    };
    let (shrunk, same, grown) = ([58.0, 74.0, 104.0], [226.0, 230.0, 233.0], [250.0, 246.0, 236.0]);
    let (first_fold, all_folded) = ([240.0, 176.0, 160.0], [176.0, 40.0, 28.0]);
    let colour = if folded > 0.0 {
        mix(first_fold, all_folded, folded)
    } else if det < 1.0 {
        // Four halvings.
        mix(same, shrunk, -det.max(1e-9).log2() / 4.0)
    } else {
        mix(same, grown, det.log2() / 3.0)
    };
    colour.map(|v| v.round() as u8)
}

fn folds(report: &Report) -> String {
    let map = &report.figures.folds;
    if report.row("dimensions").is_some_and(|r| r.value < 3.0) {
        return "<p class=\"empty\">Its colours spread over fewer than three dimensions: there are no volumes to show.</p>"
            .into();
    }
    let mut out = "<div class=\"maps\">".to_owned();
    for (k, [x, y]) in [["red", "green"], ["red", "blue"], ["green", "blue"]].into_iter().enumerate() {
        let cells: Vec<[u8; 3]> = map.least[k]
            .iter()
            .zip(&map.folded[k])
            .map(|(det, folded)| volume_colour(*det, *folded))
            .collect();
        // Rows of a picture go down, values go up.
        let pixels: Vec<[u8; 3]> = cells.chunks(map.cells).rev().flatten().copied().collect();
        let _ = write!(
            out,
            "<div><img alt=\"{x} across, {y} up\" src=\"{}\"><p>{x} →<br>{y} ↑</p></div>",
            png(map.cells, &pixels)
        );
    }
    out.push_str("</div><p class=\"keys scale\">");
    let scale = [
        (0.0, 1.0, "folded"),
        (1e-9, 0.0, "flat"),
        (0.25, 0.0, "¼"),
        (0.5, 0.0, "½"),
        (1.0, 0.0, "1"),
        (4.0, 0.0, "4×"),
    ];
    for (det, folded, name) in scale {
        let [r, g, b] = volume_colour(det, folded);
        let _ = write!(out, "<span><i style=\"background:rgb({r},{g},{b})\"></i>{name}</span>");
    }
    out.push_str("</p>");
    out
}

fn ramps(out: &mut String, report: &Report) {
    out.push_str("<section class=\"ramps\"><h2>Ramps</h2><p>From black to 8 stops over grey by 10-bit codes. The \
                  thin strip above is without the look. Steps that the thin strip has too come from your screen's 8 bits.</p>");
    let srgb = display("srgb").map(|d| d.curve.values::<f64>());
    for ramp in &report.figures.ramps {
        let strip = |light: &[[f64; 3]]| {
            let code =
                |v: f64| (255.0 * srgb.as_ref().map_or(v, |c| c.encode(v))).round().clamp(0.0, 255.0) as u8;
            png(light.len().max(1), &light.iter().map(|l| l.map(code)).collect::<Vec<_>>())
        };
        let _ = writeln!(
            out,
            "<div class=\"ramp\"><span>{}</span><div><img class=\"before\" alt=\"without the look\" src=\"{}\">\
             <img class=\"after\" alt=\"with the look\" src=\"{}\"></div></div>",
            ramp.name,
            strip(&ramp.before),
            strip(&ramp.after)
        );
    }
    out.push_str("</section>\n");
}

/// What the ten measurements ask.
const QUESTIONS: [(&str, &str); 10] = [
    ("M1", "Does middle grey stay?"),
    ("M2", "What colour do neutrals take?"),
    ("M3", "Does tone rise, and how steeply?"),
    ("M4", "Does any colour change places with its neighbours?"),
    ("M5", "Do smooth ramps stay smooth?"),
    ("M6", "Do hues keep their order?"),
    ("M7", "What becomes of skin?"),
    ("M8", "How much is driven to the display's ends?"),
    ("M9", "How much does noise grow?"),
    ("M10", "Does a LUT hold the look?"),
];

fn table(out: &mut String, report: &Report) {
    out.push_str(
        "<section><h2>Measured</h2><table><thead><tr><th>measured</th><th class=\"r\">value</th>\
                  <th class=\"r\">limit</th><th>verdict</th></tr></thead>\n",
    );
    for (measure, question) in QUESTIONS {
        let rows: Vec<&Row> = report.rows.iter().filter(|r| r.declared.measure == measure).collect();
        if rows.is_empty() {
            continue;
        }
        let _ = writeln!(
            out,
            "<tbody><tr class=\"question\"><th colspan=\"4\"><i>{measure}</i> {question}</th></tr>"
        );
        for row in rows {
            let (class, word) = match row.verdict {
                Verdict::Pass => ("pass", "holds"),
                Verdict::Fail => ("fail", "past its limit"),
                Verdict::Advice => ("advice", "advice"),
                Verdict::Told => ("told", "told"),
            };
            let why = row.limit.as_ref().map_or("", |l| l.why.as_str());
            let note = if row.note.is_empty() {
                String::new()
            } else {
                format!("<em>{}</em>", minus(&escaped(&row.note)))
            };
            let limit = row.limit.as_ref().map_or(String::new(), |l| l.text());
            let _ = writeln!(
                out,
                "<tr class=\"{class}\"><td><b>{}</b>{note}<details><summary>how</summary>{} <span>({})</span></details></td>\
                 <td class=\"r v\">{}</td><td class=\"r\">{limit}</td><td><span class=\"mark\">{word}</span>\
                 <small>{}</small></td></tr>",
                row.declared.name,
                escaped(row.declared.definition),
                escaped(row.declared.source),
                minus(&row.shown()),
                escaped(why)
            );
        }
        out.push_str("</tbody>\n");
    }
    out.push_str("</table></section>\n");
}
