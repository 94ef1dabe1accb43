//! A map, drawn from its own file: what is where is not known, so controls stand in the map's order.

use super::{Binding, Button, LSB_ABOVE, Map, Mode, Source, When};
use std::fmt::Write;

/// Boxes in a row.
const ROW: usize = 8;
/// Size of a box, and what is between two.
const BOX: (usize, usize) = (132, 118);
const GAP: usize = 8;
const MARGIN: usize = 16;
const HEAD: usize = 34;

/// A drawing as SVG: knobs with their ends, endless ones as a broken ring, buttons; with their names, messages and
/// what they do.
pub fn svg(map: &Map) -> String {
    let rows = |count: usize| count.div_ceil(ROW);
    let widest = map.controls.len().max(map.buttons.len()).clamp(1, ROW);
    let width = 2 * MARGIN + widest * (BOX.0 + GAP) - GAP;
    let height =
        MARGIN + HEAD + (rows(map.controls.len()) + rows(map.buttons.len())) * (BOX.1 + GAP) + MARGIN;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} \
         {height}\" font-family=\"sans-serif\" text-anchor=\"middle\">\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
         <text x=\"{MARGIN}\" y=\"{}\" font-size=\"17\" text-anchor=\"start\">{}</text>\n",
        MARGIN + 16,
        escaped(&map.name)
    );
    let place = |at: usize, above: usize| {
        let (column, row) = (at % ROW, above + at / ROW);
        (MARGIN + column * (BOX.0 + GAP), MARGIN + HEAD + row * (BOX.1 + GAP))
    };
    for (at, control) in map.controls.iter().enumerate() {
        let (x, y) = place(at, 0);
        let (cx, cy) = (x + BOX.0 / 2, y + 30);
        frame(&mut out, x, y);
        let dashes = if control.coding.is_relative() { " stroke-dasharray=\"3 4\"" } else { "" };
        _ = writeln!(
            out,
            "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"20\" fill=\"none\" stroke=\"#333\" stroke-width=\"3\"{dashes}/>"
        );
        if control.coding.is_relative() {
            _ = writeln!(out, "<circle cx=\"{cx}\" cy=\"{}\" r=\"3\" fill=\"#333\"/>", cy - 11);
        } else {
            // A pointer, and the gap between the ends below.
            _ = writeln!(out, "<path d=\"M{cx} {cy}V{}\" stroke=\"#333\" stroke-width=\"3\"/>", cy - 19);
            _ = writeln!(out, "<path d=\"M{} {}h18\" stroke=\"#fff\" stroke-width=\"7\"/>", cx - 9, cy + 19);
        }
        lines(&mut out, x, y, &control.label, &sends(control), &moves(control));
    }
    for (at, button) in map.buttons.iter().enumerate() {
        let (x, y) = place(at, rows(map.controls.len()));
        frame(&mut out, x, y);
        let (bx, by) = (x + BOX.0 / 2 - 26, y + 16);
        _ = writeln!(
            out,
            "<rect x=\"{bx}\" y=\"{by}\" width=\"52\" height=\"28\" rx=\"5\" fill=\"none\" stroke=\"#333\" stroke-width=\"3\"/>"
        );
        lines(&mut out, x, y, &button.label, &presses(button), &button.action);
    }
    out.push_str("</svg>\n");
    out
}

/// The same as a table of Markdown.
pub fn table(map: &Map) -> String {
    let mut out = String::new();
    let cell = |text: &str| text.replace('|', "\\|");
    if !map.controls.is_empty() {
        out.push_str("| control | sends | moves | is told |\n|---|---|---|---|\n");
        for c in &map.controls {
            _ = writeln!(out, "| {} | {} | {} | {} |", cell(&c.label), sends(c), cell(&moves(c)), told(c));
        }
    }
    if !map.buttons.is_empty() {
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str("| button | sends | does |\n|---|---|---|\n");
        for b in &map.buttons {
            _ = writeln!(out, "| {} | {} | {} |", cell(&b.label), presses(b), cell(&b.action));
        }
    }
    out
}

fn frame(out: &mut String, x: usize, y: usize) {
    let (w, h) = BOX;
    _ = writeln!(
        out,
        "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" rx=\"4\" fill=\"#f4f4f4\" stroke=\"#ccc\"/>"
    );
}

fn lines(out: &mut String, x: usize, y: usize, label: &str, message: &str, does: &str) {
    let middle = x + BOX.0 / 2;
    let mut line = |dy: usize, size: usize, ink: &str, text: &str| {
        let shown = cut(text, (BOX.0 - 8) * 2 / size);
        _ = writeln!(
            out,
            "<text x=\"{middle}\" y=\"{}\" font-size=\"{size}\" fill=\"{ink}\"><title>{}</title>{}</text>",
            y + dy,
            escaped(text),
            escaped(&shown)
        );
    };
    line(70, 13, "#000", label);
    line(86, 10, "#555", message);
    line(103, 10, "#000", does);
}

/// The first so many characters.
fn cut(text: &str, most: usize) -> String {
    match text.chars().count() > most {
        true => text.chars().take(most.saturating_sub(1)).chain(['…']).collect(),
        false => text.to_owned(),
    }
}

fn on(channel: Option<u8>) -> String {
    channel.map_or(String::new(), |c| format!(", channel {}", c + 1))
}

/// What a control sends, in words.
fn sends(control: &Binding) -> String {
    let cc = control.cc;
    let what = match control.fine {
        true => format!("CC {cc} and {}, 14 bits", cc + LSB_ABOVE),
        false => format!("CC {cc}, {}", control.coding.name().replace('-', " ")),
    };
    what + &on(control.channel)
}

fn presses(button: &Button) -> String {
    let what = match button.source {
        Source::Cc(cc) => format!("CC {cc}"),
        Source::Note(note) => format!("note {note}"),
    };
    let mode = if button.mode == Mode::Toggle { ", by turns" } else { "" };
    format!("{what}{mode}{}", on(button.channel))
}

fn moves(control: &Binding) -> String {
    let one = |t: &super::Target| match t.by * control.scale {
        1.0 => t.address.to_string(),
        by => format!("{} × {}", t.address, (by * 1000.0).round() / 1000.0),
    };
    control.targets.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn told(control: &Binding) -> &'static str {
    match (control.feedback.when, control.feedback.way.is_some() || control.feedback.text.is_some()) {
        (When::Never, _) | (_, false) => "nothing",
        (When::Released, true) => "its value, when let go",
        (When::Always, true) => "its value",
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
