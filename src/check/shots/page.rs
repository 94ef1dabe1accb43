//! The report of shots as a page: one file of HTML with nothing to fetch.

use std::fmt::Write;

use super::super::Verdict;
use super::super::page::plot::Plot;
use super::super::page::{escaped, minus};
use super::super::report::Row;
use super::{ShotFigures, ShotReport};

/// A report as a page of HTML.
pub fn page(report: &ShotReport) -> String {
    let name = escaped(&report.name);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width\"><title>{name}: shot check</title>\
         <style>{}</style></head><body><main>\n",
        include_str!("../page/page.css")
    );
    let failed: Vec<(&ShotFigures, &Row)> = report
        .shots
        .iter()
        .flat_map(|s| s.rows.iter().map(move |r| (s, r)))
        .filter(|(_, r)| r.verdict == Verdict::Fail)
        .collect();
    let (class, verdict) = match failed.len() {
        0 => ("pass", "Within its limits".to_owned()),
        n => ("fail", format!("{n} past their limits")),
    };
    let _ = write!(
        out,
        "<header><p class=\"kind\">Shot check</p><h1>{name}</h1><p class=\"verdict {class}\">{verdict}</p>\
         <p class=\"facts\">{} shots · {}</p>",
        report.shots.len(),
        escaped(&report.output)
    );
    if !failed.is_empty() {
        out.push_str("<ul class=\"failures\">");
        for (shot, row) in &failed {
            let _ = write!(
                out,
                "<li>{}: {} <b>{}</b> <span>{} · {}</span></li>",
                escaped(&shot.name),
                row.declared.name,
                minus(&row.shown()),
                limit(row),
                escaped(&row.note)
            );
        }
        out.push_str("</ul>");
    }
    for note in &report.notes {
        let _ = write!(out, "<p class=\"note\">{}</p>", escaped(note));
    }
    out.push_str("</header>\n");
    table(&mut out, "The whole running order", &report.whole);
    for shot in &report.shots {
        plots(&mut out, shot, report.rate);
        table(&mut out, &shot.name, &shot.rows);
    }
    out.push_str("</main></body></html>\n");
    out
}

fn limit(row: &Row) -> String {
    row.limit.as_ref().map_or(String::new(), |l| l.text())
}

fn table(out: &mut String, title: &str, rows: &[Row]) {
    let _ = writeln!(
        out,
        "<section><h2>{}</h2><table><thead><tr><th>measured</th><th class=\"r\">worst</th>\
         <th class=\"r\">limit</th><th>verdict</th></tr></thead><tbody>",
        escaped(title)
    );
    for row in rows {
        let (class, word) = match row.verdict {
            Verdict::Pass => ("pass", "holds"),
            Verdict::Fail => ("fail", "past its limit"),
            Verdict::Advice => ("advice", "advice"),
            Verdict::Told => ("told", "told"),
        };
        let why = row.limit.as_ref().map_or("", |l| l.why.as_str());
        let _ = writeln!(
            out,
            "<tr class=\"{class}\"><td><b>{}</b><em>{}</em><details><summary>how</summary>{} <span>({})</span></details></td>\
             <td class=\"r v\">{}</td><td class=\"r\">{}</td><td><span class=\"mark\">{word}</span><small>{}</small></td></tr>",
            row.declared.name,
            escaped(&row.note),
            escaped(row.declared.definition),
            escaped(row.declared.source),
            minus(&row.shown()),
            minus(&limit(row)),
            escaped(why)
        );
    }
    out.push_str("</tbody></table></section>\n");
}

/// Size of a plot's field.
const FIELD: [f64; 2] = [300.0, 150.0];

fn plots(out: &mut String, shot: &ShotFigures, rate: f64) {
    let seconds = (shot.frames.len() as f64 / rate).max(1.0 / rate);
    let step =
        [0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0].into_iter().find(|s| seconds / s <= 6.0);
    let step = step.unwrap_or(600.0);
    let times: Vec<f64> = (0..=(seconds / step) as usize).map(|i| i as f64 * step).collect();
    let line = |value: &dyn Fn(&super::FrameFigures) -> f64| -> Vec<[f64; 2]> {
        let points = shot.frames.iter().enumerate();
        // A frame lasts, so that one alone is seen too.
        points.flat_map(|(i, f)| [i, i + 1].map(|i| [i as f64 / rate, value(f)])).collect()
    };
    let x = [0.0, seconds];
    let levels = Plot::new(FIELD, x, [-15.0, 115.0])
        .area("allowed", [0.0, -5.0], [seconds, 105.0])
        .axes(&times, "seconds", &[0.0, 50.0, 100.0], "%")
        .line("ink", line(&|f| f.range[0]))
        .line("ink", line(&|f| f.range[1]));
    let shares = Plot::new(FIELD, x, [0.0, 100.0])
        .axes(&times, "seconds", &[0.0, 25.0, 50.0, 75.0, 100.0], "% of the picture")
        .line("blue", line(&|f| f.black))
        .line("red", line(&|f| f.clipped));
    let flashes = Plot::new(FIELD, x, [0.0, 8.0])
        .area("allowed", [0.0, 0.0], [seconds, 3.0])
        .axes(&times, "seconds", &[0.0, 3.0, 6.0], "in a second")
        .line("ink", line(&|f| f.flashes.min(7.9)))
        .line("red", line(&|f| f.red_flashes.min(7.9)));
    let _ = writeln!(out, "<h2>{}</h2><section class=\"figures\">", escaped(&shot.name));
    for (title, about, plot) in [
        ("Levels", "Least and greatest of Y', R', G', B'. Shaded: −5 … 105 %.", levels),
        ("Black and peak", "Share of the picture at black (blue) and at the display's peak (red).", shares),
        ("Flashes", "Within the last second: of luminance (black), of saturated red (red).", flashes),
    ] {
        let _ =
            writeln!(out, "<figure><figcaption><b>{title}</b>{about}</figcaption>{}</figure>", plot.svg());
    }
    out.push_str("</section>\n");
}
